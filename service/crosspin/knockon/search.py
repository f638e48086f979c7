"""Search proposes: the cheapest complete change that goes together, or why there is none."""

from collections.abc import Iterable, Mapping
from dataclasses import replace

import numpy as np

from crosspin.catalog.catalog import Catalog
from crosspin.knockon.ask import Ask
from crosspin.knockon.barriers import Barriers, exhausted
from crosspin.knockon.compiled import Compiled
from crosspin.knockon.conflict import Conflicts
from crosspin.knockon.domain import KnownDomains
from crosspin.knockon.explain import ALTERNATIVES_LIMIT, Explanation
from crosspin.knockon.keeping import Relaxed, Relaxing
from crosspin.knockon.limits import INFINITE, QUICK_LIMIT
from crosspin.knockon.network import Network
from crosspin.knockon.opening import Opening
from crosspin.knockon.proposal import Choice, Conflict, Proposal
from crosspin.knockon.solve import Best, Solver
from crosspin.knockon.wishes import Question, understand
from crosspin.model.schema import Model


class Searcher:
    """Answers asks about one ontology and one catalog, which must not change meanwhile.

    What can be worked out before an ask is kept and reused.  Threads may share a searcher: two of them may
    work the same thing out at the same time, but it comes out the same, and either result serves.
    `quick_limit` says from which size of table on networks are handed over; answers do not depend on it.
    What a searcher `before` prepared for an earlier catalog, under the same ontology, is taken over.
    """

    def __init__(
        self,
        model: Model,
        catalog: Catalog,
        quick_limit: int = QUICK_LIMIT,
        before: "Searcher | None" = None,
    ) -> None:
        self._model = model
        self._catalog = catalog
        self._quick_limit = quick_limit
        self._known: dict[tuple[str, bool], KnownDomains] = {}
        if before is not None:
            for (layout, stocked), earlier in list(before._known.items()):
                fresh = Compiled(model, catalog, model.layouts[layout], stocked, earlier.compiled)
                self._known[layout, stocked] = KnownDomains(fresh)

    def prepare(self, layout: str) -> None:
        """Make a layout ready before the first ask about it."""
        self._ready(layout, stocked=False)

    def _ready(self, layout: str, stocked: bool) -> KnownDomains:
        """What is prepared for a layout; the table of a joint kind is filled when it is first met."""
        key = layout, stocked
        if key not in self._known:
            self._known[key] = KnownDomains(Compiled(self._model, self._catalog, self._model.layouts[layout], stocked))
        return self._known[key]

    def propose(self, ask: Ask, force: Mapping[str, Choice] | None = None) -> Proposal | Conflict:
        """The best plan for an ask, or the conflict among its wishes.

        `force` pins positions to a choice, to see what a whole plan costs that has it.  Raises AskError where
        the ask cannot be understood, SearchLimit where a bound of `limits` was reached, and ValueError where
        no plan has the forced choices.
        """
        question = understand(self._model, self._catalog, ask)
        known = self._ready(question.layout.id, ask.in_stock_only)
        found = self._plan(known, question, force or {})
        if found is not None:
            return found
        if force:
            raise ValueError("no plan has the forced choices")
        names = [wish.id for wish in question.wishes]
        finder = Conflicts(names, lambda granted: self._cost(known, question.only(granted)), known.compiled.weights)
        conflict = finder.find()
        opening = Opening(known, question.only(frozenset(conflict.wishes)), {})
        opening.hold_to_all()
        if opening.dead:
            return replace(conflict, exhausted=exhausted(opening))
        return replace(conflict, barriers=Barriers(opening).all())

    def without(self, ask: Ask, given_up: Iterable[str]) -> Proposal:
        """The best plan when some wishes of an ask are given up ("keep/0"), as a way out of a conflict counts it.

        What those wishes would admit beyond what is usual (a part that is not in stock, an empty place) stays
        admitted.  Raises AskError and SearchLimit as `propose` does, and ValueError where there is no plan.
        """
        question = understand(self._model, self._catalog, ask)
        granted = frozenset(wish.id for wish in question.wishes) - set(given_up)
        found = self._plan(self._ready(question.layout.id, ask.in_stock_only), question.only(granted), {})
        if found is None:
            raise ValueError("the wishes that remain contradict each other")
        return found

    def keeping(
        self, ask: Ask, found: Proposal, function: str, gave: tuple[str, ...]
    ) -> tuple[Proposal | None, Relaxed]:
        """The best plan for an ask whose proposal loses a function that some positions `gave`, once what takes it away
        is relaxed; and what was relaxed.  The plan may lose it still; None where there is none.

        Raises AskError and SearchLimit as `propose` does.
        """
        question = understand(self._model, self._catalog, ask)
        relaxed = Relaxing(self._model, self._catalog, question, found).keeping(function, gave)
        return self._plan(self._ready(question.layout.id, ask.in_stock_only), relaxed.question, {}), relaxed

    def _solver(self, compiled: Compiled, network: Network) -> Solver:
        return Solver(network.sizes, network.factors, len(network.paths), compiled.weights.extra, self._quick_limit)

    def _cost(self, known: KnownDomains, question: Question) -> int | None:
        """The packed cost of the best plan for a question; None where there is no plan."""
        solved = self._solved(Opening(known, question, {}))
        return None if solved is None else solved[1].cost

    def _solved(self, opening: Opening) -> tuple[Network, Best] | None:
        """The network of an opening with its optimum, after opening as much more as that takes; None where there is no
        plan."""
        weights = opening.compiled.weights
        while not opening.dead:
            network = Network(opening)
            best = self._solver(opening.compiled, network).best()
            if best is None:
                return None
            if not weights.is_marked(best.cost):
                return network, best
            exceeded = network.exceeded(best.assignment())
            assert exceeded, "a plan that exceeds nothing needs no mark"
            opening.hold_to(exceeded)
        return None

    def _plan(self, known: KnownDomains, question: Question, force: Mapping[str, Choice]) -> Proposal | None:
        """The best plan for a question with its reasons; None where there is no plan."""
        return self._told(Opening(known, question, force), force)

    def _told(self, opening: Opening, force: Mapping[str, Choice]) -> Proposal | None:
        """The same, from what is open so far."""
        solved = self._solved(opening)
        if solved is None:
            return None
        network, best = solved
        question, weights = opening.question, opening.compiled.weights
        assignment = best.assignment()
        worth = {v: network.worth(v, ALTERNATIVES_LIMIT) for v in network.changed(assignment)}
        costs = best.marginals(worth)
        if any(weights.is_marked(found[sorted(worth[v].always)]).any() for v, found in costs.items()):
            # Whether a change is forced must be known whatever it takes.
            opening.hold_to_all()
            return self._told(opening, force)
        spread = {network.paths[v]: network.spread(v, found) for v, found in costs.items()}
        told = Explanation(
            opening,
            network.values(assignment),
            {path: np.where(weights.is_marked(found), INFINITE, found) for path, found in spread.items()},
        )
        roots = {path for path in question.by_path if opening.named(path)} | force.keys()
        return Proposal(
            choices=told.choices(),
            asked={path: tuple(wish.id for wish in wishes) for path, wishes in sorted(question.by_path.items())},
            mendings=told.mendings(),
            cost=weights.cost(best.cost),
            causes=told.causes(sorted(roots)),
            forced=told.forced(),
            alternatives={path: told.alternatives(path) for path in told.changed},
            ruled_out={path: told.ruled_out(path) for path in told.changed},
        )


def propose(model: Model, catalog: Catalog, ask: Ask, force: Mapping[str, Choice] | None = None) -> Proposal | Conflict:
    """One answer without keeping anything; see `Searcher.propose`."""
    return Searcher(model, catalog).propose(ask, force)
