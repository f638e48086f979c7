"""Cuts a network down to what a budget still allows, before any table is joined."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from crosspin.knockon.limits import INFINITE
from crosspin.knockon.relation import Numbers, Places, Relation

UNLIMITED = INFINITE - 1


@dataclass(frozen=True, slots=True)
class Reduced:
    """What is left of a network: `kept` holds the values left of every variable, `variables` are those that
    still have a choice; `sizes` and `factors` are about these only, numbered anew."""

    kept: Sequence[Places]
    variables: Sequence[int]
    sizes: Sequence[int]
    factors: Sequence[Relation]

    @classmethod
    def whole(cls, sizes: Sequence[int], factors: Sequence[Relation]) -> "Reduced":
        """A network of which nothing is left out."""
        return cls([np.arange(size) for size in sizes], range(len(sizes)), sizes, factors)


class Pruner:
    """A network without the values and rows that cost more than a budget whatever stands elsewhere.

    No cost is negative, so the least costs of all factors, summed, are a bound on every assignment,
    `floor`.  A row that exceeds the budget on top of it belongs to no assignment within the budget, and
    neither does a value that has no row left in some factor.
    """

    def __init__(self, sizes: Sequence[int], factors: Sequence[Relation]) -> None:
        single: list[Numbers] = [np.zeros(size, dtype=np.int64) for size in sizes]
        self._rows: list[Relation] = []
        self._beside: list[list[int]] = [[] for _ in sizes]
        self.floor = 0
        for factor in factors:
            if len(factor.scope) == 1:
                variable = factor.scope[0]
                single[variable] = np.minimum(single[variable] + factor.table(sizes), INFINITE)
            else:
                for variable in factor.scope:
                    self._beside[variable].append(len(self._rows))
                least, lowered = factor.lowered() if len(factor) else (INFINITE, factor)
                self.floor = min(self.floor + least, INFINITE)
                self._rows.append(lowered)
        # What every value costs by itself beyond the cheapest one of its variable; INFINITE where it is cut.
        self._over = [np.zeros(0, dtype=np.int64)] * len(single)
        for variable, costs in enumerate(single):
            self._set(variable, costs)
        self._propagate(range(len(self._rows)), UNLIMITED)

    @property
    def dead(self) -> bool:
        """Whether nothing is left."""
        return self.floor >= INFINITE

    def floors(self, variable: int) -> Numbers:
        """A bound on every assignment with each value of a variable; INFINITE where there is none."""
        return np.minimum(self.floor + self._over[variable], INFINITE)

    def _copy(self) -> "Pruner":
        other = object.__new__(Pruner)
        other._rows, other._over = list(self._rows), list(self._over)
        other._beside, other.floor = self._beside, self.floor
        return other

    def within(self, budget: int) -> "Pruner":
        """What is left within a budget."""
        other = self._copy()
        while not other.dead:
            changed = other._cut_values(budget)
            if not changed:
                break
            other._propagate(dict.fromkeys(place for v in changed for place in self._beside[v]), budget)
        return other

    def reduced(self) -> Reduced:
        """The network that is left; it must not be dead."""
        kept = [np.flatnonzero(over < INFINITE) for over in self._over]
        variables = [variable for variable, places in enumerate(kept) if places.size > 1]
        number = {variable: place for place, variable in enumerate(variables)}
        # Costs were taken off by every cut; what they came to goes back in as one constant.
        factors = [Relation((), (), np.array([self.floor], dtype=np.int64))]
        for variable in variables:
            places = kept[variable]
            columns = [np.arange(places.size, dtype=np.int32)]
            factors.append(Relation((number[variable],), columns, self._over[variable][places]))
        sizes = [over.size for over in self._over]
        for place in sorted({place for variable in variables for place in self._beside[variable]}):
            factor = self._rows[place].restricted(kept, sizes)
            free = [variable for variable in factor.scope if variable in number]
            columns = [factor.column(variable) for variable in free]
            factors.append(Relation([number[variable] for variable in free], columns, factor.costs))
        return Reduced(kept, variables, [kept[variable].size for variable in variables], factors)

    def _set(self, variable: int, costs: Numbers) -> None:
        """Give a variable new costs, handing the least of them to the floor."""
        least = int(costs.min())
        self.floor = min(self.floor + least, INFINITE)
        self._over[variable] = np.where(costs < INFINITE, costs - least, INFINITE) if least else costs

    def _propagate(self, places: Iterable[int], budget: int) -> set[int]:
        """Cut factors, and again those beside whatever they cut; the variables that lost values."""
        waiting = dict.fromkeys(places)
        changed: set[int] = set()
        while waiting and not self.dead:
            place = next(iter(waiting))
            del waiting[place]
            for variable in self._cut(place, budget):
                changed.add(variable)
                waiting.update(dict.fromkeys(self._beside[variable]))
            if self.floor > budget:
                self.floor = INFINITE
        return changed

    def _cut_values(self, budget: int) -> list[int]:
        """Drop values that alone exceed the budget; the variables that lost some."""
        slack = budget - self.floor
        changed = []
        for variable, over in enumerate(self._over):
            lost = (over > slack) & (over < INFINITE)
            if lost.any():
                self._over[variable] = np.where(lost, INFINITE, over)
                changed.append(variable)
        return changed

    def _cut(self, place: int, budget: int) -> list[int]:
        """Drop the rows of one factor that exceed the budget, and values left without a row; the variables
        that lost some."""
        factor = self._rows[place]
        # A factor has three variables at most, so even infinite costs add up without overflow.
        bound = factor.costs
        for variable, column in zip(factor.scope, factor.columns, strict=True):
            bound = bound + self._over[variable][column]
        rows = bound <= min(budget - self.floor, UNLIMITED)
        if rows.all():
            return []
        factor = factor.take(rows)
        if not len(factor):
            self.floor = INFINITE
            return []
        least, self._rows[place] = factor.lowered()
        self.floor = min(self.floor + least, INFINITE)
        changed = []
        for variable, column in zip(factor.scope, factor.columns, strict=True):
            over = self._over[variable]
            met = np.zeros(over.size, dtype=bool)
            met[column] = True
            lost = ~met & (over < INFINITE)
            if lost.any():
                self._set(variable, np.where(met, over, INFINITE))
                changed.append(variable)
        return changed
