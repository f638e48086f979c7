"""Which positions an ask can touch, and the cost tables between them.

Why the others may stay closed. A position is closed while leaving it as received is allowed, and makes nothing
unsafe, beside every value that an open neighbour may still take (its joints, needs, renewals), and while no
resource that it takes part in can be exceeded, no figure that it bears on and that is held to taken beyond a limit
or left unsafe, and no function lost that it could give back, by open values with all closed positions as received.
Let the other figures be for now, and take any plan that changes closed positions and put every closed position back
to as received. Between closed positions nothing is judged then; between closed and open ones nothing is forbidden
or unsafe, by the condition; between open ones nothing changes. A function that the vehicle had is given by a closed
position as received, or by open values whatever they are, or no closed position could give it; so none is lost that
was not. So the result is a plan, with no more unsafe joints and figures, no more lost functions and with fewer
extra positions (no wish to fit or remove names a closed position): it is better, whatever it does to what is
unknown and to money. The open positions hold the same values in both, so the least cost of a plan with any given
value at an open position is found among plans that leave every closed position as received.

The figures that are let be, though open values could exceed them, are *loose*: closed positions bear on them, and
to change one of those might be the way out. It would be one more extra position than the plan has that lets them
be. So what keeps to them with closed positions as received is best if it is no worse, by unsafe, lost and extra,
than what lets them be; the network marks the cost of what is not (`Weights.beyond`), and the search holds to those
that the best plan exceeds until its cost bears no mark (`Opening.hold_to`).
"""

from collections.abc import Iterable
from functools import cached_property

import numpy as np
import numpy.typing as npt

from crosspin.knockon.compiled import Codes
from crosspin.knockon.domain import Domain, Domains, Force, KnownDomains
from crosspin.knockon.figure_nodes import Elements, Leaf
from crosspin.knockon.gauge import Gauge, Reading
from crosspin.knockon.limits import INFINITE, SearchLimit
from crosspin.knockon.stakes import Stakes
from crosspin.knockon.tally import Adds, Share, Tally
from crosspin.knockon.view import View, as_it_came
from crosspin.knockon.wishes import Question

Flags = npt.NDArray[np.bool_]


FEW = 3
"""How many closed positions a gauge may bear on to be held to on a guess, at most."""


class Opening:
    """Opens positions from those that the wishes name until the rest may stay closed.

    After construction: `domains` of the open positions by path, `live` says which of their values can
    still be part of a plan, `tables` holds the packed costs between neighbours (first path before second),
    `beside` those toward a closed neighbour that stays as received.  `dead` is true where some position has
    no live value, so that there is no plan.
    """

    def __init__(self, known: KnownDomains, question: Question, force: Force) -> None:
        self.compiled = compiled = known.compiled
        self._known = known
        self.question = question
        self.domains: dict[str, Domain] = {}
        self.live: dict[str, Flags] = {}
        self.tables: dict[tuple[str, str], Codes] = {}
        self.beside: dict[str, dict[str, Codes]] = {}
        self.dead = False
        self._hard: dict[str, dict[str, Flags]] = {}
        self._makes = Domains(known, question, force)
        self._kept = {path for wish in question.wishes if wish.keeps for path in wish.wants} - force.keys()
        named = {path for wish in question.wishes if not wish.keeps for path in wish.wants}
        self._received: dict[str, Domain] = {}
        self._parties: dict[str, dict[str, Share | None]] = {}
        self.came = as_it_came(compiled.model, compiled.catalog, question.received)
        """The vehicle as it was received."""
        self._before: dict[str, Reading] = {}
        self._worsts: dict[str, tuple[list[Flags | None], int]] = {}
        self._changeable: dict[str, bool] = {}
        self._elements: dict[Leaf, tuple[Flags, Elements]] = {}
        self.stakes = Stakes(
            compiled.model, compiled.positions, question.received, compiled.gives, compiled.function_facets
        )
        self._held_to: set[Gauge] = set()
        self._open_all(sorted(named | set(force)))
        while not self.dead and (foreseen := self._foreseen()):
            self.hold_to(foreseen)

    def received(self, path: str) -> Domain:
        """A position as received and nothing else."""
        if path not in self._received:
            self._received[path] = self._makes.kept(path)
        return self._received[path]

    def _open_all(self, paths: Iterable[str]) -> None:
        waiting = list(paths)
        while waiting and not self.dead:
            for path in waiting:
                self._open(path)
            self._prune(waiting)
            waiting = [] if self.dead else sorted(self._more())

    def hold_to(self, gauges: Iterable[Gauge]) -> None:
        """Open what bears on these gauges too, as far as they could be exceeded; they are loose no more."""
        self._held_to.update(gauges)
        self._open_all(sorted(self._more()))
        for name in ("weighing", "barring", "loose"):
            self.__dict__.pop(name, None)

    def hold_to_all(self) -> None:
        """The same until nothing is loose."""
        while not self.dead and self.loose:
            self.hold_to(self.loose)

    def _more(self) -> set[str]:
        """The closed positions that may not stay closed beside what is open."""
        return self._disturbed() | self._strained() | self._unsettled() | self._endangered()

    def _open(self, path: str) -> None:
        domain = self._makes.of(path)
        self.domains[path] = domain
        live = np.ones(len(domain), dtype=bool)
        self._hard[path] = {}
        self.beside[path] = {}
        for other in self.compiled.links[path]:
            there = self.domains.get(other)
            costs = self._known.costs(domain, there or self.received(other))
            if there is None:
                self.beside[path][other] = costs[:, 0]
                if other in self._kept:
                    live &= costs[:, 0] < INFINITE
                continue
            self.beside[other].pop(path)
            self.tables[min(path, other), max(path, other)] = costs if path < other else costs.T
            allowed = costs < INFINITE
            if not allowed.all():
                self._hard[path][other] = allowed
                self._hard[other][path] = allowed.T
        self.live[path] = live

    def _prune(self, changed: list[str]) -> None:
        """Arc consistency: drop values that find no partner among a neighbour's live values."""
        queue = dict.fromkeys(changed)
        for path in changed:
            queue.update(dict.fromkeys(self._hard[path]))
        while queue:
            path = next(iter(queue))
            del queue[path]
            live = self.live[path]
            if not live.any():
                self.dead = True
                return
            for other, allowed in self._hard[path].items():
                before = self.live[other]
                after = before & allowed[live].any(axis=0)
                if not np.array_equal(before, after):
                    self.live[other] = after
                    queue[other] = None

    def _disturbed(self) -> set[str]:
        """Closed positions that cannot stay as received, or would be unsafe, beside some live value."""
        unsafe = self.compiled.weights.unsafe
        return {
            other
            for path, toward in self.beside.items()
            for other, costs in toward.items()
            if other not in self._kept and (costs[self.live[path]] >= unsafe).any()
        }

    def _strained(self) -> set[str]:
        """Closed positions that take part in a resource which live values could exceed."""
        found: set[str] = set()
        for tally in self.compiled.tallies:
            closed = self.closed_shares(tally)
            if any(share is not None and share.net is None for share in closed.values()):
                continue
            adds = [self.adds(tally, path) for path in self.open_parties(tally)]
            if not any(a.changes.any() for a in adds):
                continue
            most = sum(share.net or 0 for share in closed.values() if share is not None) + sum(a.most for a in adds)
            if most > 0:
                found.update(path for path in closed if path not in self._kept)
        return found

    def _unsettled(self) -> set[str]:
        """Closed positions that bear on a figure that is held to and which live values could take beyond a limit, or
        leave unsafe."""
        view = self.view()
        found: set[str] = set()
        for gauge in self.touched():
            if gauge in self._held_to and self._worst(view, gauge) >= self.compiled.weights.unsafe:
                found.update(self._closed(gauge))
        return found

    def _closed(self, gauge: Gauge) -> list[str]:
        """The closed positions that bear on a gauge and could hold anything else."""
        return [path for path in gauge.parties if path not in self.domains and self._may_change(path)]

    @cached_property
    def loose(self) -> frozenset[Gauge]:
        """The gauges that could be exceeded, on which positions bear that are left closed nevertheless."""
        return frozenset(gauge for gauge in self.weighing if gauge.id in self.barring and self._closed(gauge))

    def _foreseen(self) -> list[Gauge]:
        """The loose gauges that are exceeded where every open position takes the first of its live values, which is
        mostly to stay as received: the best plan mostly exceeds them too, and need not be found to know.  It is a
        guess, and not made where it would open many positions."""
        view = View(self._first_element, self.came)
        unsafe = self.compiled.weights.unsafe
        few = [gauge for gauge in self.loose if len(self._closed(gauge)) <= FEW]
        return [gauge for gauge in few if int(gauge.costs(view, self.before(gauge)).max()) >= unsafe]

    def _first_element(self, leaf: Leaf) -> Elements:
        if leaf.path not in self.domains:
            return self.came.of(leaf)
        return (self.domains[leaf.path].seen(leaf.probe)[int(self.live[leaf.path].argmax())],)

    def _worst(self, view: View, gauge: Gauge) -> int:
        """The most that live values could make a gauge cost; INFINITE where there are too many to tell."""
        seen = [self.live.get(path) for path in gauge.parties]
        known = self._worsts.get(gauge.id)
        if known is not None and all(was is now for was, now in zip(known[0], seen, strict=True)):
            return known[1]
        try:
            worst = int(gauge.costs(view, self.before(gauge)).max())
        except SearchLimit:
            worst = INFINITE
        self._worsts[gauge.id] = seen, worst
        return worst

    @cached_property
    def weighing(self) -> tuple[Gauge, ...]:
        """The gauges that could cost anything, of all positions that are to be opened."""
        view = self.view()
        return tuple(gauge for gauge in self.touched() if self._worst(view, gauge))

    @cached_property
    def barring(self) -> frozenset[str]:
        """Those that live values could take beyond a limit, or leave unsafe, by name."""
        view = self.view()
        unsafe = self.compiled.weights.unsafe
        return frozenset(gauge.id for gauge in self.weighing if self._worst(view, gauge) >= unsafe)

    def _may_change(self, path: str) -> bool:
        """Whether a closed position could hold anything but what was received."""
        if path not in self._changeable:
            self._changeable[path] = path not in self._kept and len(self._makes.of(path)) > 1
        return self._changeable[path]

    def touched(self) -> list[Gauge]:
        """The gauges on which an open position bears."""
        at = self.compiled.gauges.at
        return list(dict.fromkeys(gauge for path in self.domains for gauge in at.get(path, ())))

    def view(self) -> View:
        """What every node of a gauge comes to with live values, and closed positions as received."""
        return View(self.live_elements, self.came)

    def live_elements(self, leaf: Leaf) -> Elements:
        """The distinct elements that live values bring, or the position as received."""
        if leaf.path not in self.domains:
            return self.came.of(leaf)
        live = self.live[leaf.path]
        known = self._elements.get(leaf)
        if known is None or known[0] is not live:
            seen = self.domains[leaf.path].seen(leaf.probe)
            known = self._elements[leaf] = live, tuple(dict.fromkeys(seen[v] for v in np.flatnonzero(live).tolist()))
        return known[1]

    def before(self, gauge: Gauge) -> Reading:
        """What a gauge showed when the vehicle was received."""
        known = self._before.get(gauge.id)
        if known is None:
            known = self._before[gauge.id] = gauge.reading(self.came)
        return known

    def _endangered(self) -> set[str]:
        """Closed positions that could give back a function which live values could lose."""
        return self.stakes.endangered(self.domains, self.live) - self._kept

    def parties(self, tally: Tally) -> dict[str, Share | None]:
        """The positions that could take part in a resource, and what each adds as received."""
        name = tally.resource.id
        if name not in self._parties:
            found = {}
            for path, position in self.compiled.positions.items():
                share = tally.share(self.question.received[path])
                if share is not None or self.compiled.candidates[position.role].takes_part(tally):
                    found[path] = share
            self._parties[name] = found
        return self._parties[name]

    def closed_shares(self, tally: Tally) -> dict[str, Share | None]:
        """What the closed positions that could take part in a resource add as received."""
        return {path: share for path, share in self.parties(tally).items() if path not in self.domains}

    def open_parties(self, tally: Tally) -> list[str]:
        """The open positions that could take part in a resource."""
        return [path for path in self.parties(tally) if path in self.domains]

    def adds(self, tally: Tally, path: str) -> Adds:
        """What the live values of an open position add."""
        return self.domains[path].adds(tally).take(np.flatnonzero(self.live[path]))

    def named(self, path: str) -> bool:
        """Whether a wish to fit or remove names the position, so that changing it is not extra."""
        return any(not wish.keeps for wish in self.question.by_path.get(path, ()))

    def unary(self, path: str) -> Codes:
        """Packed cost of every value by itself: price, joints with closed neighbours and, where no wish
        names the position, one extra position for every change."""
        domain = self.domains[path]
        costs = domain.prices + (0 if self.named(path) else self.compiled.weights.extra * domain.changed)
        for toward in self.beside[path].values():
            costs = np.minimum(costs + toward, INFINITE)
        return np.asarray(np.where(self.live[path], costs, INFINITE), dtype=np.int64)
