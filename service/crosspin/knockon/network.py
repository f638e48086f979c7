"""The open positions as one network of relations, made as small as it can be without losing a plan.

Values of a position that meet every neighbour alike become one variable value, the cheapest; what the
others cost more is added back afterwards, so nothing is lost by it.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from crosspin.knockon.compiled import Codes
from crosspin.knockon.diagram import Branch, Diagram
from crosspin.knockon.figure_nodes import Elements, Leaf
from crosspin.knockon.gauge import Gauge
from crosspin.knockon.gauge_relations import Axis, GaugeRelations
from crosspin.knockon.limits import FAR, INFINITE
from crosspin.knockon.opening import Opening
from crosspin.knockon.proposal import State
from crosspin.knockon.relation import Numbers, Places, Relation
from crosspin.knockon.solve import Worth
from crosspin.knockon.tally import Adds, Chain
from crosspin.knockon.view import View


@dataclass(frozen=True, eq=False)
class _Merged:
    """A position's values after merging: `best` are the values kept; `group` leads from every value to its
    place in `best` (-1 where the value is dead); `costs` is every value's own packed cost."""

    best: Places
    group: Places
    costs: Codes

    def spread(self, marginals: Numbers) -> Numbers:
        """Min-marginals of every value from those of the values kept."""
        base = marginals - self.costs[self.best]
        costs = np.where(marginals[self.group] < FAR, base[self.group] + self.costs, marginals[self.group])
        return np.asarray(np.where(self.group < 0, INFINITE, costs), dtype=np.int64)


@dataclass(frozen=True, slots=True)
class _Sum:
    """A sum over the whole vehicle: what it costs to exceed it, what closed positions add (None: not known) and
    whether it is judged whatever changes, and what every value of the open ones adds."""

    exceeding: int
    start: int | None
    changed: bool
    adds: dict[str, Adds]


class Network:
    """All open positions of an opening that is not dead: variable i is the i-th of `paths`, further variables
    are the running sums of resources and the figures that limits rest on.  `sizes` and `factors` are what is to be
    solved."""

    def __init__(self, opening: Opening) -> None:
        self._opening = opening
        self.paths = sorted(opening.domains)
        self._number = {path: place for place, path in enumerate(self.paths)}
        self._tallies = self._counted()
        self._diagrams = self._told_apart()
        self._classes = self._classed()
        self._merged = {path: self._merge(path) for path in self.paths}
        self.sizes = [self._merged[path].best.size for path in self.paths]
        self.factors = self._single() + self._pairs()
        self._add_tallies()
        self._add_gauges()

    def _counted(self) -> list[_Sum]:
        """The resources and functions that can cost anything: what closed positions add, and what open ones can."""
        lost = self._opening.compiled.weights.lost
        counted = [_Sum(lost, 1, True, adds) for adds in self._opening.stakes.sums(self._opening.domains)]
        for tally in self._opening.compiled.tallies:
            start: int | None = 0
            for share in self._opening.closed_shares(tally).values():
                if share is not None:
                    start = None if start is None or share.net is None else start + share.net
            live = {path: self._opening.adds(tally, path) for path in self._opening.open_parties(tally)}
            if not any(adds.changes.any() for adds in live.values()):
                continue
            known = start is not None and not any(adds.missing.any() for adds in live.values())
            if known and (start or 0) + sum(adds.most for adds in live.values()) <= 0:
                continue
            adds = {path: self._opening.domains[path].adds(tally) for path, some in live.items() if not some.silent}
            counted.append(_Sum(INFINITE, start, False, adds))
        return counted

    def _told_apart(self) -> dict[Gauge, Diagram]:
        """What the gauges tell apart that could cost anything, of live values."""
        opening = self._opening
        view = opening.view()
        found = {gauge: gauge.diagram(view, opening.before(gauge)) for gauge in opening.weighing}
        return {gauge: diagram for gauge, diagram in found.items() if diagram.costs.any()}

    def _classed(self) -> dict[str, dict[Branch, Places]]:
        """By open position, the class of each value for all that is read off it; 0 where it is dead."""
        found: dict[str, dict[Branch, Places]] = {path: {} for path in self.paths}
        waiting = [branch for diagram in self._diagrams.values() for branch in diagram.below]
        while waiting:
            branch = waiting.pop()
            if branch.leaf is None:
                waiting.extend(branch.below)
            else:
                elements = self._opening.live_elements(branch.leaf)
                number = dict(zip(elements, branch.classes.tolist(), strict=True))
                seen = self._opening.domains[branch.leaf.path].seen(branch.leaf.probe)
                classes = np.array([number.get(element, 0) for element in seen], dtype=np.intp)
                found[branch.leaf.path][branch] = classes
        return found

    def _merge(self, path: str) -> _Merged:
        opening = self._opening
        domain = opening.domains[path]
        costs = opening.unary(path)
        rows = []
        for other in opening.compiled.links[path]:
            if other in opening.domains:
                key = min(path, other), max(path, other)
                table = opening.tables[key] if key[0] == path else opening.tables[key].T
                rows.append(table[:, opening.live[other]])
        joined = np.ascontiguousarray(np.hstack(rows)) if rows else np.zeros((len(domain), 0), dtype=np.int64)
        adds = [counted.adds[path] for counted in self._tallies if path in counted.adds]
        seen = np.array([*self._classes[path].values()], dtype=np.intp).reshape(-1, len(domain)).T
        groups: dict[object, list[int]] = {}
        for value in np.flatnonzero(costs < INFINITE).tolist():
            key = (joined[value].tobytes(), *(a.key(value) for a in adds), seen[value].tobytes())
            groups.setdefault(key, []).append(value)
        # Values stand in order of preference, so the first of the cheapest is the one to keep.
        kept = sorted((min(members, key=lambda v: costs[v]), members) for members in groups.values())
        group = np.full(len(domain), -1, dtype=np.intp)
        for place, (_, members) in enumerate(kept):
            group[members] = place
        return _Merged(np.array([best for best, _ in kept], dtype=np.intp), group, costs)

    def _single(self) -> list[Relation]:
        return [Relation.of_table((self._number[path],), m.costs[m.best]) for path, m in self._merged.items()]

    def _pairs(self) -> list[Relation]:
        factors: list[Relation] = []
        for (first, second), table in sorted(self._opening.tables.items()):
            small = table[self._merged[first].best[:, None], self._merged[second].best]
            if small.any():
                factors.append(Relation.of_table((self._number[first], self._number[second]), small))
        return factors

    def _add_tallies(self) -> None:
        """Every resource and function as a chain over the positions that add now more, now less."""
        for counted in self._tallies:
            start, changed = counted.start, counted.changed
            variables, adds = [], []
            for path, every in sorted(counted.adds.items()):
                here = every.take(self._merged[path].best)
                if len({here.key(value) for value in range(here.net.size)}) > 1:
                    variables.append(self._number[path])
                    adds.append(here)
                    continue
                net, missing, changes = here.key(0)
                start = None if start is None or missing else start + net
                changed = changed or changes
            chain = Chain(self._opening.compiled.weights, variables, adds, (start, changed), counted.exceeding)
            factors, sizes = chain.factors(len(self.sizes))
            self.factors += factors
            self.sizes += sizes

    def _add_gauges(self) -> None:
        """What the limits of figures say of the open positions.  Where closed positions bear on one that could be
        exceeded, all such may be let be at once, for a mark in the cost that tells."""
        opening = self._opening
        if not opening.weighing:
            return
        spared = None
        if opening.loose:
            spared = len(self.sizes)
            self.sizes.append(2)
            self.factors.append(Relation.of_table((spared,), np.array([0, opening.compiled.weights.beyond])))
        relations = GaugeRelations(self._axis, self.sizes)
        for gauge, diagram in self._diagrams.items():
            relations.add(diagram, spared if gauge in opening.loose else None)
        self.factors += relations.factors
        self.sizes = relations.sizes

    def _axis(self, branch: Branch) -> Axis:
        assert branch.leaf is not None, "only what is read off a part is over the variable of its position"
        path = branch.leaf.path
        return Axis(self._number[path], self._classes[path][branch][self._merged[path].best], branch.count)

    def values(self, places: Mapping[int, int]) -> dict[str, int]:
        """The value of every position from the place that its variable takes."""
        return {path: int(self._merged[path].best[places[self._number[path]]]) for path in self.paths}

    def exceeded(self, places: Mapping[int, int]) -> list[Gauge]:
        """The loose gauges that this would take beyond a limit, or leave unsafe."""
        opening = self._opening
        values = self.values(places)

        def element(leaf: Leaf) -> Elements:
            if leaf.path not in values:
                return opening.came.of(leaf)
            return (opening.domains[leaf.path].seen(leaf.probe)[values[leaf.path]],)

        view = View(element, opening.came)
        unsafe = opening.compiled.weights.unsafe
        return [gauge for gauge in opening.loose if int(gauge.costs(view, opening.before(gauge)).max()) >= unsafe]

    def changed(self, places: Mapping[int, int]) -> list[int]:
        """The variables whose position is not left as received."""
        return [
            self._number[path]
            for path, value in self.values(places).items()
            if self._opening.domains[path].values[value].state is not State.RECEIVED
        ]

    def worth(self, variable: int, enough: int) -> Worth:
        """Which costs are worth finding where the cheapest so many parts are told: those, and that of leaving the
        position as received."""
        path = self.paths[variable]
        domain, merged = self._opening.domains[path], self._merged[path]
        parts = np.zeros(merged.best.size, dtype=np.int64)
        reach = np.zeros(merged.best.size, dtype=np.int64)
        always = set()
        for place, value in zip(merged.group.tolist(), domain.values, strict=True):
            if place >= 0 and value.batch is None:
                always.add(place)
        dearer = merged.costs - merged.costs[merged.best[merged.group]] + domain.spread
        alive = merged.group >= 0
        np.add.at(parts, merged.group[alive], domain.counts[alive])
        np.maximum.at(reach, merged.group[alive], dearer[alive])
        return Worth(parts, reach, frozenset(always), enough)

    def spread(self, variable: int, marginals: Numbers) -> Numbers:
        """The packed cost of the best plan with every value of a position, from those of the values kept."""
        return self._merged[self.paths[variable]].spread(marginals)
