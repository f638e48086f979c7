"""Shifts costs between the factors of a network so that their least costs, summed, bound its least cost better.

Sequential reweighted message passing (V. Kolmogorov, "A new look at reweighted message passing", IEEE
Transactions on Pattern Analysis and Machine Intelligence 37, 2015), in whole numbers: what is taken from one
factor is given to another, so that every assignment costs what it did before.
"""

from collections.abc import Sequence

import numpy as np

from crosspin.knockon.limits import INFINITE
from crosspin.knockon.relation import Numbers, Relation


class _Table:
    """The factor between two variables, `first` along the rows."""

    def __init__(self, first: int, second: int, costs: Numbers) -> None:
        self.ends = first, second
        self.costs = costs

    def take(self, variable: int) -> tuple[Numbers, bool]:
        """Take from the table what every value of a variable costs in it at least; whether that was anything."""
        least = self.costs.min(axis=1 if variable == self.ends[0] else 0)
        shifted = np.where(least < INFINITE, least, 0)
        if not shifted.any():
            return least, False
        self.give(variable, -shifted)
        return least, True

    def give(self, variable: int, amounts: Numbers) -> None:
        """Have every value of a variable cost more in the table."""
        spread = amounts[:, None] if variable == self.ends[0] else amounts
        self.costs = np.where(self.costs < INFINITE, self.costs + spread, INFINITE)

    def beyond(self, variable: int) -> int:
        """The variable at the other end."""
        return self.ends[1] if variable == self.ends[0] else self.ends[0]


def tightened(sizes: Sequence[int], factors: Sequence[Relation], rounds: int, enough: int) -> list[Relation]:
    """The same network, its costs shifted; factors over more than two variables stay as they are.

    All variables are gone through, forth and back, until that gains less than `enough`, `rounds` times at most.
    """
    single: list[Numbers] = [np.zeros(size, dtype=np.int64) for size in sizes]
    tables: dict[tuple[int, int], _Table] = {}
    rest: list[Relation] = []
    for factor in factors:
        if len(factor.scope) == 1:
            variable = factor.scope[0]
            single[variable] = np.minimum(single[variable] + factor.table(sizes), INFINITE)
        elif len(factor.scope) == 2:
            first, second = factor.scope
            known = tables.get((first, second))
            if known is None:
                tables[first, second] = _Table(first, second, factor.table(sizes))
            else:
                known.costs = np.minimum(known.costs + factor.table(sizes), INFINITE)
        else:
            rest.append(factor)
    beside: list[list[_Table]] = [[] for _ in sizes]
    for table in tables.values():
        for variable in table.ends:
            beside[variable].append(table)
    floor = 0
    waiting = set(range(len(sizes)))
    for _ in range(rounds):
        before = floor
        for forth in (True, False):
            for variable in range(len(sizes)) if forth else range(len(sizes) - 1, -1, -1):
                if variable in waiting:
                    waiting.discard(variable)
                    least, disturbed = _settle(variable, single, beside[variable], forth)
                    floor += least
                    if floor >= INFINITE:
                        return [Relation((), (), np.array([INFINITE], dtype=np.int64))]
                    waiting.update(disturbed)
        if floor - before < enough:
            break
    found = [Relation((), (), np.array([floor], dtype=np.int64)), *rest]
    found += [Relation.of_table((variable,), costs) for variable, costs in enumerate(single) if costs.any()]
    found += [Relation.of_table(table.ends, table.costs) for table in tables.values() if table.costs.any()]
    return found


def _settle(variable: int, single: list[Numbers], tables: list[_Table], forth: bool) -> tuple[int, set[int]]:
    """Collect at a variable what it costs in all its tables, take off what it costs at least, which is returned,
    and hand the rest on to the tables toward the variables that come next; also which variables that touches."""
    costs = single[variable]
    touched = set()
    for table in tables:
        least, any_taken = table.take(variable)
        costs = np.minimum(costs + least, INFINITE)
        if any_taken:
            touched.add(table.beyond(variable))
    lowest = int(costs.min())
    if lowest:
        costs = np.where(costs < INFINITE, costs - lowest, INFINITE)
    ahead = [table for table in tables if (max(table.ends) > variable) is forth]
    if ahead and lowest < INFINITE:
        share = np.where(costs < INFINITE, costs // max(len(ahead), len(tables) - len(ahead)), 0)
        if share.any():
            for table in ahead:
                table.give(variable, share)
                touched.add(table.beyond(variable))
            costs = np.where(costs < INFINITE, costs - len(ahead) * share, INFINITE)
    single[variable] = costs
    return lowest, touched
