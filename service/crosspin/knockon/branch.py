"""The least cost of a network, found from below: what is certain first, one choice at a time after that.

A network within a small budget is small, so it is solved at the cost that it must have at least and a little
more.  Where that finds nothing, its floor was too low because something must change and several things would
do; each of them is then followed by itself, the one that could come out cheapest first.
"""

from heapq import heappop, heappush
from itertools import count

from crosspin.knockon.eliminate import Elimination
from crosspin.knockon.limits import BRANCH_LIMIT, INFINITE, QUICK_LIMIT, TABLE_LIMIT, SearchLimit
from crosspin.knockon.order import Order
from crosspin.knockon.prune import UNLIMITED, Pruner, Reduced

MANY_CHOICES = 12
"""From how many open variables on it pays to look for values that others replace."""

MANY_TRIED = 12
"""How many variables are tried to find one that is worth following."""

NEAR = 14
"""By which power of two less than a step a cost may lie above the floor to be near it."""

WIDER = 2
"""How many steps above the floor a cost is looked for next."""

ROUNDS = 1, 5
"""How often costs are shifted before a variable is followed: first a little, which mostly does."""

MUCH = 4
"""By how many steps a variable must raise the floor, whichever value it takes, for no other to be tried."""


def solved_within(network: Reduced, budget: int, limit: int = TABLE_LIMIT) -> Elimination:
    """A network within a budget, by another order where the first one needs too large a table; see Elimination."""
    try:
        return Elimination(network.sizes, network.factors, budget, limit)
    except SearchLimit:
        return Elimination(network.sizes, network.factors, budget, limit, Order.ROWS)


class Climb:
    """Finds least costs of one network under different restrictions; `step` is by how much budgets grow at first.

        A network is first tried as it is, hardly above its floor, and then with its costs shifted, which makes the
    floor higher.
    """

    def __init__(self, step: int) -> None:
        self._step = step

    def least(self, root: Pruner) -> int:
        """The least cost of an assignment, INFINITE where there is none.  Raises SearchLimit."""
        least = INFINITE
        order = count()
        waiting = [(root.floor, next(order), 0, root)]
        for _ in range(BRANCH_LIMIT):
            if not waiting or waiting[0][0] >= least:
                return least
            floor, _, pains, node = heappop(waiting)
            found, floor = self._near(node, floor, wider=pains == len(ROUNDS))
            least = min(least, found)
            if found < INFINITE or floor >= least:
                continue
            if pains < len(ROUNDS):
                ways, taken = [node.tightened(ROUNDS[pains])], pains + 1
            else:
                ways, taken = self._ways(node), 0
            for way in ways:
                if not way.dead:
                    heappush(waiting, (max(way.floor, floor), next(order), taken, way))
        raise SearchLimit("BRANCH_LIMIT", BRANCH_LIMIT + 1, BRANCH_LIMIT, "networks solved for one least cost")

    def _near(self, node: Pruner, floor: int, wider: bool) -> tuple[int, int]:
        """The least cost of a node where it lies near its floor, else INFINITE; and how high its floor is for sure."""
        for budget in (floor + (self._step >> NEAR), floor + WIDER * self._step)[: 1 + wider]:
            budget = min(budget, UNLIMITED)
            try:
                found = _least_within(node, budget)
            except SearchLimit:
                break
            if found < INFINITE:
                return found, found
            floor = INFINITE if budget >= UNLIMITED else budget + 1
        return INFINITE, floor

    def _ways(self, node: Pruner) -> list[Pruner]:
        """What is left with each value of a variable, of those tried the one that lifts the floor furthest."""
        counts = node.counts()
        few = sorted((number, variable) for variable, number in enumerate(counts) if number > 1)
        must = [(number, variable) for number, variable in few if not node.may_rest(variable)]
        best: list[Pruner] = []
        highest = -1
        for _, variable in dict.fromkeys((*must, *few[:MANY_TRIED])):
            ways = node.ways(variable)
            lowest = min((way.floor for way in ways), default=INFINITE)
            if lowest > highest:
                best, highest = ways, lowest
            if lowest >= node.floor + MUCH * self._step:
                break
        return best


def _least_within(node: Pruner, budget: int) -> int:
    affordable = node.within(budget)
    if not affordable.dead and affordable.choices > MANY_CHOICES:
        affordable = affordable.undominated(budget)
    if affordable.dead:
        return INFINITE
    return solved_within(affordable.reduced(), budget, QUICK_LIMIT).optimum
