"""Why a plan changes what nobody asked to change, and what else would serve or would not."""

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from heapq import merge
from itertools import islice

import numpy as np

from crosspin.knockon.compiled import Compiled, Facet, Link
from crosspin.knockon.domain import Domain, holds
from crosspin.knockon.figure_nodes import Element, Probe
from crosspin.knockon.gauge import Gauge, Judgement
from crosspin.knockon.limits import FAR, INFINITE
from crosspin.knockon.mating import Outcome
from crosspin.knockon.opening import Opening
from crosspin.knockon.proposal import Alternative, Cause, Choice, Mending, RuledOut, State
from crosspin.knockon.relation import Numbers
from crosspin.knockon.stakes import Stake
from crosspin.knockon.tally import Share
from crosspin.knockon.view import View
from crosspin.model.schema import Part

ALTERNATIVES_LIMIT = 100
"""Most alternatives named at one position."""

RULED_OUT_LIMIT = 12
"""Most parts named as ruled out at one position."""


@dataclass(frozen=True, slots=True)
class Held:
    """What stands at a position in a plan, and in which state."""

    state: State
    part: Part | None

    @property
    def fresh(self) -> bool:
        """Whether the part comes from the catalog."""
        return self.state is State.FRESH


class Explanation:
    """Reads the reasons off a solved plan: `chosen` is the value of every open position."""

    def __init__(self, opening: Opening, chosen: Mapping[str, int], marginals: Mapping[str, Numbers]) -> None:
        self.opening = opening
        self.compiled: Compiled = opening.compiled
        self.chosen = chosen
        self.marginals = marginals
        self.held = {path: self._hold(path) for path in self.compiled.positions}
        self.changed = [path for path, held in self.held.items() if held.state is not State.RECEIVED]
        self._links: dict[str, list[tuple[Link, Numbers]]] = {}
        self._view = self._standing({})
        self._values_judged: dict[
            str, tuple[list[Gauge], list[list[Element]], dict[tuple[Element, ...], list[Judgement]]]
        ] = {}
        self._shares = {
            tally.resource.id: {path: tally.share(self.held[path].part) for path in opening.parties(tally)}
            for tally in self.compiled.tallies
        }
        self._parties = [(tally, opening.parties(tally)) for tally in self.compiled.tallies]

    def _hold(self, path: str) -> Held:
        if path not in self.opening.domains:
            return Held(State.RECEIVED, self.opening.question.received[path])
        return self._instead(path, self.chosen[path])

    def choices(self) -> dict[str, Choice]:
        """What stands at every position."""
        return {path: Choice(held.state, held.part.id if held.part else None) for path, held in self.held.items()}

    def mendings(self) -> tuple[Mending, ...]:
        """The remedies that the plan takes, by joint and criterion."""
        found = []
        for path in self.changed:
            for other, links in self.compiled.links[path].items():
                if other in self.changed and other < path:
                    continue
                for link in links:
                    found += self._mendings_at(link)
        for gauge in self._touched(self.changed):
            found += [
                Mending(gauge.id, cure.limit, cure.remedy, None) for cure in self._judged(gauge, self._view).cures
            ]
        return tuple(sorted(found, key=lambda m: (m.joint, m.criterion)))

    def _touched(self, paths: Iterable[str]) -> list[Gauge]:
        """The gauges on which some positions bear."""
        at = self.compiled.gauges.at
        return list(dict.fromkeys(gauge for path in paths for gauge in at.get(path, ())))

    def _standing(self, instead: Mapping[str, Held]) -> View:
        """What figures rest on in the plan, with something else at some positions."""

        def element(path: str, probe: Probe) -> Element:
            held = instead.get(path) or self.held[path]
            return probe.read(self.compiled.model, self.compiled.catalog, held.part, held.fresh)

        beside = (self._view, frozenset(instead)) if instead else None
        return View(lambda leaf: (element(leaf.path, leaf.probe),), self.opening.came, beside)

    def _judged(self, gauge: Gauge, view: View) -> Judgement:
        return gauge.judge(gauge.reading(view), self.opening.before(gauge))

    def _judged_at(self, path: str, value: int) -> Iterable[tuple[Gauge, Judgement]]:
        """What is said of the figures that could be exceeded, with a value of an open position beside the plan; the
        same of all values that are seen alike."""
        known = self._values_judged.get(path)
        if known is None:
            gauges = [gauge for gauge in self._touched((path,)) if gauge.id in self.opening.barring]
            probes = dict.fromkeys(leaf.probe for gauge in gauges for leaf in gauge.leaves if leaf.path == path)
            columns = [self.opening.domains[path].seen(probe) for probe in probes]
            known = self._values_judged[path] = gauges, columns, {}
        gauges, columns, judged = known
        seen = tuple(column[value] for column in columns)
        if seen not in judged:
            view = self._standing({path: self._instead(path, value)})
            judged[seen] = [self._judged(gauge, view) for gauge in gauges]
        return zip(gauges, judged[seen], strict=True)

    def _mendings_at(self, link: Link) -> list[Mending]:
        first, second = self.held[link.first], self.held[link.second]
        codes = link.ruling.first.code(first.part), link.ruling.second.code(second.part)
        if link.ruling.mating is None or not (first.fresh or second.fresh) or 0 in codes:
            return []
        return [
            Mending(link.id, repair.criterion, repair.remedy, repair.adapter)
            for repair in link.ruling.mating.outcome(*codes).repairs
        ]

    def _beside(self, path: str) -> list[tuple[Link, Numbers]]:
        """Every link of an open position with the packed cost of each of its values beside the plan."""
        if path not in self._links:
            domain = self.opening.domains[path]
            self._links[path] = [
                (link, link.costs(path, domain.indices(link.facet_at(path)), self._index(link.facet_at(other), other)))
                for other, links in self.compiled.links[path].items()
                for link in links
                if holds(link, domain, self.opening.domains.get(other) or self.opening.received(other))
            ]
        return self._links[path]

    def _index(self, facet: Facet, path: str) -> int:
        """Where the plan's choice at a position lies in the matrix of a rule."""
        if path in self.opening.domains:
            return int(self.opening.domains[path].indices(facet)[self.chosen[path]])
        return int(self.opening.received(path).indices(facet)[0])

    def against(self, path: str, value: int) -> list[Cause]:
        """What speaks against a value of an open position beside the plan everywhere else: clashes first, then what a
        new part would leave unsafe and which functions would be lost, where that is not so in the plan."""
        clashes, unsafe, lost = [], [], []
        here = self._instead(path, value)
        chosen = self.chosen[path]
        for link, costs in self._beside(path):
            if costs[value] >= INFINITE:
                clashes += self._clash(link, path, here)
            elif costs[value] >= self.compiled.weights.unsafe > costs[chosen]:
                unsafe += self._unsafe(link, path, here)
        for resource, sources in self._exceeded({path: here}).items():
            clashes += [Cause(source, resource) for source in sources]
        for stake, sources in self._bereft({path: here}):
            lost += [Cause(source, stake.function) for source in sources]
        beyond, left_unsafe = self._beyond((path,), self._judged_at(path, value))
        return clashes + beyond + unsafe + left_unsafe + lost

    def _instead(self, path: str, value: int) -> Held:
        """What stands at an open position with one of its values."""
        domain = self.opening.domains[path]
        return Held(domain.values[value].state, domain.part_of(domain.values[value]))

    def _beyond(
        self, instead: Collection[str], judgements: Iterable[tuple[Gauge, Judgement]]
    ) -> tuple[list[Cause], list[Cause]]:
        """The limits of figures, and the needs that these trigger, that forbid something else at some positions, and
        the limits that it would leave unsafe where the plan does not; to blame are the other changed positions that
        bear on it, or all others."""
        beyond: list[Cause] = []
        left_unsafe: list[Cause] = []
        for gauge, judged in judgements:
            unsafe = judged.unsafe and not self._judged(gauge, self._view).unsafe
            if not judged.barred and not unsafe:
                continue
            parties = sorted(gauge.parties.difference(instead))
            sources = [path for path in parties if path in self.changed]
            sources = sources or [path for path in parties if self.held[path].part is not None] or sorted(instead)
            criteria = judged.barred or gauge.criteria
            (beyond if judged.barred else left_unsafe).extend(
                Cause(source, gauge.id, criterion) for source in sources for criterion in criteria
            )
        return beyond, left_unsafe

    def _outcome(self, link: Link, path: str, here: Held) -> tuple[Outcome, Held, Held] | None:
        """What a joint says with something else at `path`, and both ends; None for needs and renewals."""
        if link.ruling.mating is None:
            return None
        there = self.held[link.other(path)]
        first, second = (here, there) if path == link.first else (there, here)
        codes = link.ruling.first.code(first.part), link.ruling.second.code(second.part)
        return link.ruling.mating.outcome(*codes), first, second

    def _clash(self, link: Link, path: str, here: Held) -> list[Cause]:
        judged = self._outcome(link, path, here)
        criteria: tuple[str | None, ...] = (None,) if judged is None else judged[0].blocked
        return [Cause(link.other(path), link.id, criterion) for criterion in criteria]

    def _unsafe(self, link: Link, path: str, here: Held) -> list[Cause]:
        judged = self._outcome(link, path, here)
        assert judged is not None  # only joints are ever unsafe
        outcome, first, second = judged
        return [Cause(link.other(path), link.id, c) for c in outcome.unsafe(first.fresh, second.fresh)]

    def _exceeded(self, instead: Mapping[str, Held]) -> dict[str, list[str]]:
        """The resources exceeded with something else at some positions, and who else is to blame: the changed
        positions that take part, those that draw more than before first; where there are none, all that take
        part, the greatest draw first; where nothing else does, the position itself."""
        found = {}
        for tally, parties in self._parties:
            if parties.keys().isdisjoint(instead):
                continue
            now = self._shares[tally.resource.id]
            other = {path: tally.share(held.part) for path, held in instead.items()}
            if all(share is None and now.get(path) is None for path, share in other.items()):
                continue  # the sum is that of the plan, which is not exceeded
            shares = {path: share for path, share in {**now, **other}.items() if share is not None}
            moved = [path for path in parties if (instead.get(path) or self.held[path]).state is not State.RECEIVED]
            judged = any(parties[path] is not None or path in shares for path in moved)
            if not judged or any(share.net is None for share in shares.values()):
                continue
            if sum(share.net or 0 for share in shares.values()) > 0:
                changed = [path for path in moved if path not in instead and (parties[path] or now.get(path))]
                changed.sort(key=lambda path: (_net(parties[path]) - _net(now.get(path)), path))
                others = sorted(shares.keys() - instead.keys(), key=lambda path: (-_net(shares[path]), path))
                found[tally.resource.id] = changed or others or sorted(instead)
        return found

    def _bereft(self, instead: Mapping[str, Held]) -> Iterator[tuple[Stake, list[str]]]:
        """The functions lost with something else at some positions that are not in the plan, and who else is to blame:
        the changed positions that gave it; where there are none, the positions themselves."""
        stakes = self.opening.stakes
        for stake in stakes.all:
            if instead.keys().isdisjoint(stake.paths):
                continue
            now = {path: self.held[path].part for path in stake.paths}
            then = now | {path: instead[path].part for path in stake.paths if path in instead}
            if stakes.given(stake, now) and not stakes.given(stake, then):
                took = [path for path in stake.gave if path in self.changed and path not in instead]
                yield stake, took or sorted(instead)

    def causes(self, roots: Iterable[str]) -> dict[str, tuple[Cause, ...]]:
        """For every changed position that is no root, why it cannot stay as received.

        The first cause is the next link of a shortest chain to a root.  Such a chain always exists: put
        every changed position without one back to as received, and there would be fewer extra positions and
        nothing forbidden, unsafe or lost, except for a resource that all of them together would exceed, or a
        function that all of them together would lose; that is then their cause.
        """
        roots = [path for path in roots if path in self.changed]
        reasons = {path: self.against(path, self._received(path)) for path in self.changed if path not in roots}
        distance = dict.fromkeys(roots, 0)
        while True:
            self._spread(distance, reasons)
            received = self.opening.question.received
            lost = {path: Held(State.RECEIVED, received[path]) for path in reasons if path not in distance}
            if not lost:
                break
            shared = self._exceeded(lost)
            view = self._standing(lost)
            judged = [(gauge, self._judged(gauge, view)) for gauge in self._touched(lost)]
            beyond, left_unsafe = self._beyond(lost, judged)
            for path in lost:
                bears = {gauge.id for gauge in self.compiled.gauges.at.get(path, ())}
                reasons[path] += [cause for cause in (*beyond, *left_unsafe) if cause.rule in bears]
            for resource, sources in shared.items():
                tally = next(t for t in self.compiled.tallies if t.resource.id == resource)
                for path in lost:
                    if tally.share(self.held[path].part) != tally.share(lost[path].part):
                        reasons[path] += [Cause(source, resource) for source in sources]
            bereft = list(self._bereft(lost))
            for stake, sources in bereft:
                for path in stake.paths:
                    if path in lost and self.opening.stakes.gives(stake, self.held[path].part):
                        reasons[path] += [Cause(source, stake.function) for source in sources]
            if not (shared or bereft or beyond or left_unsafe):
                raise AssertionError(f"nothing explains the change at {', '.join(lost)}")
        return {
            path: tuple(sorted(dict.fromkeys(found), key=lambda cause: distance[cause.source]))
            for path, found in sorted(reasons.items())
        }

    def _received(self, path: str) -> int:
        """The value that leaves a position, which no wish names, as received."""
        return [value.state for value in self.opening.domains[path].values].index(State.RECEIVED)

    @staticmethod
    def _spread(distance: dict[str, int], reasons: Mapping[str, list[Cause]]) -> None:
        """Distances from the roots, a step at a time, along causes."""
        step = max(distance.values(), default=0)
        while True:
            step += 1
            reached = [
                path
                for path, found in reasons.items()
                if path not in distance and any(cause.source in distance for cause in found)
            ]
            if not reached:
                return
            distance.update(dict.fromkeys(reached, step))

    def forced(self) -> frozenset[str]:
        """Changed positions that no plan under this ask leaves as received."""
        return frozenset(path for path in self.changed if self._best_received(path) >= INFINITE)

    def _best_received(self, path: str) -> int:
        for value, cost in zip(self.opening.domains[path].values, self.marginals[path].tolist(), strict=True):
            if value.state is State.RECEIVED:
                return int(cost)
        return INFINITE

    def alternatives(self, path: str) -> tuple[Alternative, ...]:
        """Other choices that some plan has, cheapest whole plan first, then in order of preference."""
        domain = self.opening.domains[path]
        costs = self.marginals[path]
        found = [self._ranked(domain, place, int(costs[place])) for place in np.flatnonzero(costs < FAR).tolist()]
        listed = islice(merge(*found), ALTERNATIVES_LIMIT + 1)
        own = domain.choice(domain.values[self.chosen[path]])
        choices = [(Choice(_STATES[rank], part or None), packed) for packed, rank, part in listed]
        weights = self.compiled.weights
        others = (Alternative(choice, weights.cost(packed)) for choice, packed in choices if choice != own)
        return tuple(others)[:ALTERNATIVES_LIMIT]

    @staticmethod
    def _ranked(domain: Domain, place: int, cost: int) -> Iterator[tuple[int, int, str]]:
        """Every choice of one value by the packed cost of its whole plan, then preference, then id."""
        value = domain.values[place]
        rank = _STATES.index(value.state)
        if value.batch is None:
            yield cost, rank, domain.choice(value).part or ""
            return
        best = int(domain.prices[place])
        for price, part in domain.offers(value, ALTERNATIVES_LIMIT + 1):
            yield cost + price - best, rank, part

    def ruled_out(self, path: str) -> tuple[RuledOut, ...]:
        """Parts that no plan has here, nearest miss first: fewest clashes with this plan, then price, then id; where
        alternatives abound, only of those that had to be looked into."""
        domain = self.opening.domains[path]
        clashes = np.zeros(len(domain), dtype=np.int64)
        for _, costs in self._beside(path):
            clashes += costs >= INFINITE
        excluded = np.flatnonzero(self.marginals[path] >= INFINITE).tolist()
        heads = [
            (int(clashes[value]), *domain.best_offer(batch), value)
            for value in excluded
            if (batch := domain.values[value].batch) is not None
        ]
        nearest: list[tuple[int, int, str, int]] = []
        for head in sorted(heads):
            # Figures only add to what joints say, so that the rest need no look at them.
            if len(nearest) == RULED_OUT_LIMIT and nearest[-1] <= head:
                break
            value = head[-1]
            misses = head[0] + sum(bool(judged.barred) for _, judged in self._judged_at(path, value))
            offers = domain.offers(domain.values[value], RULED_OUT_LIMIT)
            nearest = sorted([*nearest, *((misses, price, part, value) for price, part in offers)])[:RULED_OUT_LIMIT]
        reasons = {value: tuple(self.against(path, value)) for value in dict.fromkeys(value for *_, value in nearest)}
        return tuple(RuledOut(part, reasons[value]) for _, _, part, value in nearest)


_STATES = (State.RECEIVED, State.EMPTIED, State.FRESH)
"""What is preferred of equals comes first."""


def _net(share: Share | None) -> int:
    return 0 if share is None or share.net is None else share.net
