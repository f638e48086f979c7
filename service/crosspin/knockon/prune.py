"""Cuts a network down to what a budget still allows, before any table is joined."""

from collections.abc import Sequence

import numpy as np

from crosspin.knockon.limits import INFINITE
from crosspin.knockon.relation import Numbers, Places, Relation


class Pruned:
    """A network without the values and rows that cost more than the budget whatever stands elsewhere.

    No cost is negative, so the least cost of every factor, summed, is a bound on every assignment; a row
    that exceeds the budget on top of it belongs to none within the budget, and a value without any row left
    in some factor neither.  `kept` holds the values left of every variable, `sizes` and `factors` are
    numbered by them; `dead` is true where some variable has none.
    """

    def __init__(self, sizes: Sequence[int], factors: Sequence[Relation], budget: int) -> None:
        self._sizes = sizes
        self._budget = budget
        self._single: list[Numbers] = [np.zeros(size, dtype=np.int64) for size in sizes]
        self._others: list[Relation] = []
        self.dead = False
        for factor in factors:
            if len(factor.scope) == 1:
                self._add_single(factor)
            else:
                self._others.append(factor)
        self._beside: list[list[int]] = [[] for _ in sizes]
        for place, factor in enumerate(self._others):
            for variable in factor.scope:
                self._beside[variable].append(place)
        self._least = [int(costs.min()) for costs in self._single]
        self._lows = [int(factor.costs.min()) if len(factor) else INFINITE for factor in self._others]
        self._run()
        live = [np.flatnonzero(costs < INFINITE) for costs in self._single]
        self.kept: list[Places] = live
        self.dead = any(not places.size for places in live) or self.floor > budget
        if self.dead:
            return
        self.sizes = [places.size for places in live]
        single = [
            Relation((variable,), (np.arange(places.size, dtype=np.int32),), self._single[variable][places])
            for variable, places in enumerate(live)
        ]
        self.factors = single + [factor.restricted(live, sizes) for factor in self._others]

    @property
    def floor(self) -> int:
        """A bound from below on every assignment."""
        return min(sum(self._least) + sum(self._lows), INFINITE)

    def _add_single(self, factor: Relation) -> None:
        costs = np.full(self._sizes[factor.scope[0]], INFINITE, dtype=np.int64)
        costs[factor.columns[0]] = factor.costs
        total = self._single[factor.scope[0]] + costs
        self._single[factor.scope[0]] = np.minimum(total, INFINITE)

    def _run(self) -> None:
        waiting = dict.fromkeys(range(len(self._others)))
        while True:
            while waiting:
                place = next(iter(waiting))
                del waiting[place]
                for variable in self._cut(place):
                    waiting.update(dict.fromkeys(self._beside[variable]))
                if self.floor > self._budget:
                    return
            changed = self._cut_values()
            if not changed:
                return
            waiting = dict.fromkeys(place for variable in changed for place in self._beside[variable])

    def _cut_values(self) -> list[int]:
        """Drop values that alone exceed the budget; the variables that lost some."""
        slack = self._budget - self.floor
        changed = []
        for variable, costs in enumerate(self._single):
            over = (costs < INFINITE) & (costs - self._least[variable] > slack)
            if over.any():
                costs[over] = INFINITE
                changed.append(variable)
        return changed

    def _cut(self, place: int) -> list[int]:
        """Drop the rows of one factor that exceed the budget, and values left without a row; the variables
        that lost some."""
        factor = self._others[place]
        bound = factor.costs - self._lows[place]
        for variable, column in zip(factor.scope, factor.columns, strict=True):
            # An infinite value brings the bound far above any slack; more than one cannot add up to overflow.
            bound = np.minimum(bound + (self._single[variable][column] - self._least[variable]), INFINITE)
        rows = bound <= self._budget - self.floor
        if not rows.all():
            factor = self._others[place] = factor.take(rows)
            self._lows[place] = int(factor.costs.min()) if len(factor) else INFINITE
        changed = []
        for variable, column in zip(factor.scope, factor.columns, strict=True):
            met = np.zeros(self._sizes[variable], dtype=bool)
            met[column] = True
            lost = ~met & (self._single[variable] < INFINITE)
            if lost.any():
                self._single[variable][lost] = INFINITE
                self._least[variable] = int(self._single[variable].min())
                changed.append(variable)
        return changed
