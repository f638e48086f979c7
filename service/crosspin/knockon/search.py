"""Search proposes: the cheapest complete change that goes together, or why there is none."""

from collections.abc import Mapping

from crosspin.catalog.catalog import Catalog
from crosspin.knockon.ask import Ask
from crosspin.knockon.compiled import Compiled
from crosspin.knockon.conflict import find_conflict
from crosspin.knockon.explain import Explanation
from crosspin.knockon.limits import INFINITE
from crosspin.knockon.network import Network
from crosspin.knockon.opening import Opening
from crosspin.knockon.proposal import Choice, Conflict, Proposal
from crosspin.knockon.wishes import understand
from crosspin.model.schema import Model


class Searcher:
    """Answers asks about one ontology and one catalog, which must not change meanwhile.

    What can be worked out before an ask is kept and reused.  Threads may share a searcher: two of them may
    work the same thing out at the same time, but it comes out the same, and either result serves.
    """

    def __init__(self, model: Model, catalog: Catalog) -> None:
        self._model = model
        self._catalog = catalog
        self._compiled: dict[tuple[str, bool], Compiled] = {}

    def compiled(self, layout: str, in_stock_only: bool = False) -> Compiled:
        """The prepared tables of a layout; preparing them ahead makes the first ask as fast as the others."""
        key = layout, in_stock_only
        if key not in self._compiled:
            self._compiled[key] = Compiled(self._model, self._catalog, self._model.layouts[layout], in_stock_only)
        return self._compiled[key]

    def propose(self, ask: Ask, force: Mapping[str, Choice] | None = None) -> Proposal | Conflict:
        """The best plan for an ask, or the conflict among its wishes.

        `force` pins positions to a choice, to see what a whole plan costs that has it.  Raises AskError where
        the ask cannot be understood, SearchLimit where a bound of `limits` was reached, and ValueError where
        no plan has the forced choices.
        """
        question = understand(self._model, self._catalog, ask)
        compiled = self.compiled(question.layout.id, ask.in_stock_only)
        opening = Opening(compiled, question, soft=False, force=force or {})
        found = None if opening.dead else self._plan(opening, roots=frozenset(force or ()))
        if found is not None:
            return found
        if force:
            raise ValueError("no plan has the forced choices")
        return find_conflict(compiled, question)

    @staticmethod
    def _plan(opening: Opening, roots: frozenset[str]) -> Proposal | None:
        """The best plan of an opening with its reasons; None where there is no plan."""
        network = Network(opening, soft=False)
        solved = network.solve()
        if solved.optimum >= INFINITE:
            return None
        told = Explanation(opening, network.plan(solved), network.marginals(solved))
        question = opening.question
        return Proposal(
            choices=told.choices(),
            asked={path: tuple(wish.id for wish in wishes) for path, wishes in sorted(question.by_path.items())},
            mendings=told.mendings(),
            cost=opening.compiled.weights.cost(solved.optimum),
            causes=told.causes(sorted(roots.union(path for path in question.by_path if opening.named(path)))),
            forced=told.forced(),
            alternatives={path: told.alternatives(path) for path in told.changed},
            ruled_out={path: told.ruled_out(path) for path in told.changed},
        )


def propose(model: Model, catalog: Catalog, ask: Ask, force: Mapping[str, Choice] | None = None) -> Proposal | Conflict:
    """One answer without keeping anything; see `Searcher.propose`."""
    return Searcher(model, catalog).propose(ask, force)
