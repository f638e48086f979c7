"""The least cost of a network, found from below: what is certain first, one choice at a time after that.

A network within a small budget is small, so it is solved at the cost that it must have at least and a little
more.  Where that finds nothing, its floor was too low because something must change and several things would
do; each of them is then followed by itself, the one that could come out cheapest first.
"""

from heapq import heappop, heappush
from itertools import count

import numpy as np

from crosspin.knockon.eliminate import Elimination
from crosspin.knockon.limits import BRANCH_LIMIT, INFINITE, SearchLimit
from crosspin.knockon.order import Order
from crosspin.knockon.prune import UNLIMITED, Pruner, Reduced

MANY_CHOICES = 12
"""From how many open variables on it pays to look for values that others replace."""

MANY_WAYS = 12
"""From how many values on a variable is not followed value by value."""

MANY_TRIED = 12
"""How many variables are tried to find one that is worth following."""

MUCH = 4
"""By how many steps a variable must raise the floor, whichever value it takes, for no other to be tried."""


def solved_within(network: Reduced, budget: int) -> Elimination:
    """A network within a budget, by another order where the first one needs too large a table."""
    try:
        return Elimination(network.sizes, network.factors, budget)
    except SearchLimit:
        return Elimination(network.sizes, network.factors, budget, order=Order.ROWS)


class Climb:
    """Finds least costs of one network under different restrictions; `step` is by how much budgets grow at first.

    What proved worth following under one restriction is tried first under the next.
    """

    def __init__(self, step: int) -> None:
        self._step = step
        self._telling: list[int] = []

    def least(self, root: Pruner) -> int:
        """The least cost of an assignment, INFINITE where there is none.  Raises SearchLimit."""
        least = INFINITE
        order = count()
        waiting = [(root.floor, next(order), self._step, root)]
        for _ in range(BRANCH_LIMIT):
            if not waiting:
                return least
            floor, _, stride, node = heappop(waiting)
            if floor >= least:
                return least
            budget = min(floor + stride - 1, least - 1, UNLIMITED)
            ways: list[Pruner] | None = None
            try:
                found = _least_within(node, budget)
            except SearchLimit:
                # Too large a table: follow whatever there is to follow, and come back to the same budget.
                ways, found, bound = self._ways(node, node.floor), INFINITE, floor
                if ways is None:
                    if stride > self._step:
                        heappush(waiting, (floor, next(order), stride // 2, node))
                        continue
                    wide = node.moved(len(node.counts()))[:1] or [int(np.argmax(node.counts()))]
                    ways = node.ways(wide[0])
            else:
                bound = budget + 1
                if found < INFINITE:
                    least = found
                    continue
                if budget >= UNLIMITED:
                    continue
                ways = self._ways(node, bound)
            for way in [node] if ways is None else ways:
                wider = 2 * stride if ways is None else self._step
                heappush(waiting, (max(way.floor, bound), next(order), wider, way))
        raise SearchLimit("BRANCH_LIMIT", BRANCH_LIMIT + 1, BRANCH_LIMIT, "networks solved for one least cost")

    def _ways(self, node: Pruner, bound: int) -> list[Pruner] | None:
        """What is left with each value of a variable that must change, of those tried the one that lifts the node
        furthest, and not under a bound; None where there is none."""
        moved = node.moved(MANY_WAYS)
        first = [variable for variable in self._telling if variable in moved]
        best: list[Pruner] | None = None
        highest = bound - 1
        for variable in [*first, *(v for v in moved if v not in first)][:MANY_TRIED]:
            ways = node.ways(variable)
            lowest = min((way.floor for way in ways), default=INFINITE)
            if lowest > highest:
                best, highest = ways, lowest
                if variable not in first and lowest > node.floor:
                    self._telling.append(variable)
            if lowest >= bound + MUCH * self._step:
                break
        return best


def _least_within(node: Pruner, budget: int) -> int:
    affordable = node.within(budget)
    if not affordable.dead and affordable.choices > MANY_CHOICES:
        affordable = affordable.undominated(budget)
    if affordable.dead:
        return INFINITE
    return solved_within(affordable.reduced(), budget).optimum
