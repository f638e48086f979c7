"""The open positions as one network of factors, made as small as it can be without losing a plan.

Values of a position that meet every neighbour alike become one variable value, the cheapest; what the
others cost more is added back afterwards, so nothing is lost by it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crosspin.knockon.compiled import Codes
from crosspin.knockon.eliminate import Elimination
from crosspin.knockon.limits import INFINITE
from crosspin.knockon.opening import Opening
from crosspin.knockon.tally import Adds, Chain, Factor, Numbers, Tally
from crosspin.knockon.wishes import Wish

Places = npt.NDArray[np.intp]


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
        costs = np.where(marginals[self.group] < INFINITE, base[self.group] + self.costs, INFINITE)
        return np.asarray(np.where(self.group < 0, INFINITE, costs), dtype=np.int64)


class Network:
    """All open positions and, where the wishes are soft, one variable for every wish (0 granted, 1 given up).

    Solving gives, for every value of every position, the packed cost of the best plan that has it.  The
    opening must not be dead.
    """

    def __init__(self, opening: Opening, soft: bool) -> None:
        self.opening = opening
        self.paths = sorted(opening.domains)
        self.wishes: tuple[Wish, ...] = opening.question.wishes if soft else ()
        self._number = {path: place for place, path in enumerate(self.paths)}
        self._wish_number = {wish.id: len(self.paths) + place for place, wish in enumerate(self.wishes)}
        self._tallies = self._counted()
        self._merged = {path: self._merge(path) for path in self.paths}
        self.sizes = [self._merged[path].best.size for path in self.paths] + [2] * len(self.wishes)
        self.factors = self._unary() + self._pairs() + self._wish_factors()
        self._add_tallies()

    def _extra_by_wish(self, path: str) -> bool:
        """Whether a wish variable decides if a change at the position is extra."""
        return bool(self.wishes) and self.opening.named(path)

    def _counted(self) -> list[tuple[Tally, int | None, dict[str, Adds]]]:
        """The resources that can cost anything: what closed positions add, and what open ones can add."""
        counted = []
        for tally in self.opening.compiled.tallies:
            start: int | None = 0
            for share in self.opening.closed_shares(tally).values():
                if share is not None:
                    start = None if start is None or share.net is None else start + share.net
            live = {path: self.opening.adds(tally, path) for path in self.opening.open_parties(tally)}
            if not any(adds.changes.any() for adds in live.values()):
                continue
            known = start is not None and not any(adds.missing.any() for adds in live.values())
            if known and (start or 0) + sum(adds.most for adds in live.values()) <= 0:
                continue
            adds = {path: self.opening.domains[path].adds(tally) for path, some in live.items() if not some.silent}
            counted.append((tally, start, adds))
        return counted

    def _merge(self, path: str) -> _Merged:
        opening = self.opening
        domain = opening.domains[path]
        costs = opening.unary(path, extra=not self._extra_by_wish(path) and not opening.named(path))
        rows = []
        for other in opening.compiled.links[path]:
            if other in opening.domains:
                key = min(path, other), max(path, other)
                table = opening.tables[key] if key[0] == path else opening.tables[key].T
                rows.append(table[:, opening.live[other]])
        joined = np.hstack(rows) if rows else np.zeros((len(domain), 0), dtype=np.int64)
        joined = np.ascontiguousarray(joined)
        adds = [found[path] for _, _, found in self._tallies if path in found]
        wished = bool(self.wishes) and path in opening.question.by_path
        groups: dict[object, list[int]] = {}
        for value in np.flatnonzero(costs < INFINITE).tolist():
            seen = domain.values[value]
            flags = (seen.wished, seen.free, seen.state) if wished else ()
            groups.setdefault((joined[value].tobytes(), *(a.key(value) for a in adds), flags), []).append(value)
        # Values stand in order of preference, so the first of the cheapest is the one to keep.
        kept = sorted((min(members, key=lambda v: costs[v]), members) for members in groups.values())
        group = np.full(len(domain), -1, dtype=np.intp)
        for place, (_, members) in enumerate(kept):
            group[members] = place
        return _Merged(np.array([best for best, _ in kept], dtype=np.intp), group, costs)

    def _unary(self) -> list[Factor]:
        return [((self._number[path],), m.costs[m.best]) for path, m in self._merged.items()]

    def _pairs(self) -> list[Factor]:
        factors: list[Factor] = []
        for (first, second), table in sorted(self.opening.tables.items()):
            small = table[self._merged[first].best[:, None], self._merged[second].best]
            if small.any():
                factors.append(((self._number[first], self._number[second]), small))
        return factors

    def _wish_factors(self) -> list[Factor]:
        """Granted wishes restrict their positions; giving one up costs more than anything else."""
        weights = self.opening.compiled.weights
        factors: list[Factor] = [
            ((number,), np.array([0, weights.wish], dtype=np.int64)) for number in self._wish_number.values()
        ]
        if not self.wishes:
            return factors
        for path in self.paths:
            wishes = self.opening.question.by_path.get(path, ())
            if not wishes:
                continue
            domain, best = self.opening.domains[path], self._merged[path].best
            values = [domain.values[value] for value in best.tolist()]
            granted = np.array([0 if v.wished else INFINITE for v in values], dtype=np.int64)
            extra = weights.extra * domain.changed[best] if self._extra_by_wish(path) else 0
            given_up = np.where([v.free for v in values], extra, INFINITE).astype(np.int64)
            table = np.broadcast_to(granted, (2,) * len(wishes) + granted.shape).copy()
            table[(1,) * len(wishes)] = given_up
            scope = tuple(self._wish_number[wish.id] for wish in wishes)
            factors.append(((*scope, self._number[path]), table))
        return factors

    def _add_tallies(self) -> None:
        """Every resource as a chain over the positions that add something, which all else fixed would not."""
        for _, start, found in self._tallies:
            changed = False
            variables, adds = [], []
            for path in self.paths:
                if path not in found:
                    continue
                here = found[path].take(self._merged[path].best)
                if len({here.key(value) for value in range(here.net.size)}) > 1:
                    variables.append(self._number[path])
                    adds.append(here)
                    continue
                net, missing, changes = here.key(0)
                start = None if start is None or missing else start + net
                changed = changed or changes
            chain = Chain(self.opening.compiled.weights, variables, adds, (start, changed))
            factors, sizes = chain.factors(len(self.sizes))
            self.factors += factors
            self.sizes += sizes

    def solve(self, given_up: Mapping[str, bool] | None = None) -> Elimination:
        """Run the forward pass, with some wishes granted or given up for certain."""
        factors = list(self.factors)
        for wish, lost in (given_up or {}).items():
            pinned = np.array([INFINITE, 0] if lost else [0, INFINITE], dtype=np.int64)
            factors.append(((self._wish_number[wish],), pinned))
        return Elimination(self.sizes, factors)

    def marginals(self, elimination: Elimination) -> dict[str, Numbers]:
        """For every open position, the packed cost of the best plan with each of its values."""
        found = elimination.min_marginals()
        return {path: self._merged[path].spread(found[self._number[path]]) for path in self.paths}

    def decode(self, elimination: Elimination, wanted: Sequence[int]) -> dict[int, int]:
        """The best assignment of the wanted variables, as places among the values kept.

        Of several, the one whose first wanted variable takes its first value, and so on down the line.
        """
        sizes, factors = list(self.sizes), list(elimination.factors)
        kept: list[Places] = [np.arange(size) for size in sizes]
        while True:
            optimum = elimination.optimum
            tied = [np.flatnonzero(m == optimum) for m in elimination.min_marginals()]
            kept = [before[now] for before, now in zip(kept, tied, strict=True)]
            open_variable = next((v for v in wanted if kept[v].size > 1), None)
            if open_variable is None:
                return {v: int(kept[v][0]) for v in wanted}
            tied[open_variable] = tied[open_variable][:1]
            kept[open_variable] = kept[open_variable][:1]
            factors = [(scope, table[np.ix_(*(tied[v] for v in scope))]) for scope, table in factors if scope]
            sizes = [places.size for places in kept]
            elimination = Elimination(sizes, factors)

    def plan(self, elimination: Elimination) -> dict[str, int]:
        """The best plan: for every open position, the value it takes.

        Of equally good plans it is the one that prefers, position by position in the order of their paths,
        to leave it as received, then to empty it, then the fresh part with the lowest id.
        """
        places = self.decode(elimination, range(len(self.paths)))
        return {path: int(self._merged[path].best[places[self._number[path]]]) for path in self.paths}

    def wish_numbers(self) -> dict[str, int]:
        """The variable of every wish."""
        return dict(self._wish_number)
