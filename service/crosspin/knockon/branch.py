"""The least cost of a network, found from below: what is certain first, one choice at a time after that.

A network within a small budget is small, so it is solved at the cost that it must have at least and a little
more.  Where that finds nothing, its floor was too low because something must change and several things would
do; each of them is then followed by itself, the one that could come out cheapest first.
"""

from dataclasses import dataclass, replace
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

WIDER = 3
"""How many times further above the floor a cost is looked for each time; at first, one step."""

MUCH = 4
"""By how many steps a variable must raise the floor, whichever value it takes, for no other to be tried."""


def solved_within(network: Reduced, budget: int, limit: int = TABLE_LIMIT) -> Elimination:
    """A network within a budget, by another order where the first one needs too large a table; see Elimination."""
    try:
        return Elimination(network.sizes, network.factors, budget, limit)
    except SearchLimit:
        return Elimination(network.sizes, network.factors, budget, limit, Order.ROWS)


@dataclass(frozen=True, slots=True)
class _Trial:
    """A network, whether its costs were shifted, how often it was looked for a cost further above its floor, and
    whether large tables are made for it.  Its costs came, but for what was cut since, from `origin`, where they were
    shifted."""

    node: Pruner
    origin: Pruner | None = None
    shifted: bool = False
    widened: int = 0
    patient: bool = False


class Climb:
    """Finds least costs of one network under different restrictions; `step` is by how much budgets grow at first.

        A network is first tried as it is, hardly above its floor, and then with its costs shifted, which makes the
    floor higher.
    """

    def __init__(self, step: int) -> None:
        self._step = step

    def least(self, root: Pruner, before: Pruner | None = None) -> int:
        """The least cost of an assignment, INFINITE where there is none.  Raises SearchLimit.

        `before` is a network whose costs were shifted, from which the root came.
        """
        least = INFINITE
        order = count()
        waiting = [(root.floor, next(order), _Trial(root, before))]
        for _ in range(BRANCH_LIMIT):
            if not waiting or waiting[0][0] >= least:
                return least
            floor, _, trial = heappop(waiting)
            wide = WIDER ** (trial.widened - 1) * self._step if trial.widened else self._step >> NEAR
            budget = min(floor + wide, least - 1, UNLIMITED)
            try:
                found = _least_within(trial.node, budget, TABLE_LIMIT if trial.patient else QUICK_LIMIT)
            except SearchLimit:
                following = self._harder(trial) or self._split(trial)
            else:
                if found < INFINITE:
                    least = found
                    continue
                floor = INFINITE if budget >= UNLIMITED else budget + 1
                following = self._harder(trial) or [replace(trial, widened=trial.widened + 1)]
            for other in following:
                bound = max(other.node.floor, floor)
                if bound < least:
                    heappush(waiting, (bound, next(order), other))
        raise SearchLimit("BRANCH_LIMIT", BRANCH_LIMIT + 1, BRANCH_LIMIT, "networks solved for one least cost")

    def _harder(self, trial: "_Trial") -> "list[_Trial]":
        """The same network with its costs shifted; empty where they are."""
        if trial.shifted:
            return []
        return [_Trial(trial.node.tightened(self._step >> NEAR, trial.origin), shifted=True)]

    def _split(self, trial: "_Trial") -> "list[_Trial]":
        """The network in parts, where that lifts its floor; else the same one with more patience, if it had none."""
        ways = self._ways(trial.node)
        lifted = min((way.floor for way in ways), default=INFINITE) > trial.node.floor
        return [_Trial(way, trial.node) for way in ways] if lifted or trial.patient else [replace(trial, patient=True)]

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


def _least_within(node: Pruner, budget: int, limit: int) -> int:
    affordable = node.within(budget)
    if not affordable.dead and affordable.choices > MANY_CHOICES:
        affordable = affordable.undominated(budget)
    if affordable.dead:
        return INFINITE
    return solved_within(affordable.reduced(), budget, limit).optimum
