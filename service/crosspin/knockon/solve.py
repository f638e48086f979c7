"""The best plan of a network, and what the best plan costs with every other value at a changed position.

A network of few variables is solved whole, by tables of our own.  Where it has many, or needs large tables, as when
nothing is kept and everything could be changed, its costs are shifted so that the least of them nearly bound the
whole, and it is handed over: for the least cost, and for the least cost with each value that is worth it.  Only which
of several best plans is preferred is then found by tables, within that least cost, which leaves nearly nothing.
"""

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np

from crosspin.knockon.eliminate import Elimination
from crosspin.knockon.handover import Posted, hand_over
from crosspin.knockon.limits import FAR, INFINITE, QUICK_LIMIT, SearchLimit
from crosspin.knockon.prune import Pruner, Reduced
from crosspin.knockon.relation import Numbers, Relation
from crosspin.knockon.tighten import tightened

ROUNDS = 6
"""How often costs are shifted, all variables over, before the network is handed over, at most."""

GAIN = 12
"""By which power of two less than a step shifting once more must lift the bound."""

FAR_STEPS = 12
"""How many more positions than the best plan a plan with another value of a large network may change, to be looked at.

To find what a change costs that drags so much along takes longer than all the others together, and nobody takes it."""

MANY_OPEN = 300
"""From how many variables with a choice on a network is not tried whole: tables that serve up to about 200 of them are
many times too large for the 350 and more of an ask that nothing is kept from."""


@dataclass(frozen=True, slots=True, eq=False)
class Worth:
    """Which costs of the values of one position are worth finding: always those of some, and of the others while
    fewer than `enough` parts are known that cost less.  Every value stands for so many `parts`, of which the dearest
    costs `reach` more than the cheapest."""

    parts: Numbers
    reach: Numbers
    always: frozenset[int]
    enough: int


class Best(Protocol):
    """An optimum.  `cost` is what it costs."""

    cost: int

    def assignment(self) -> dict[int, int]:
        """The value of every position.

        Of several best assignments it is the one whose first position takes its first value, and so on down
        the line.
        """

    def marginals(self, variables: Mapping[int, Worth]) -> dict[int, Numbers]:
        """For some positions, the least cost with each of their values: INFINITE where there is none, FAR where it
        was not worth finding.  Raises SearchLimit."""


class Solver:
    """Solves one network; `step` is the packed cost of one extra position, and half of it marks a cost that is only a
    bound (`Weights.beyond`).

    The first `positions` variables are positions; the others follow from them.  `quick_limit` is the most
    numbers that one table may hold when the network is solved whole.
    """

    def __init__(
        self, sizes: Sequence[int], factors: Sequence[Relation], positions: int, step: int, quick_limit: int
    ) -> None:
        self._positions = range(positions)
        self._sizes = sizes
        self._factors = factors
        self._step = step
        self._quick_limit = quick_limit

    def best(self) -> Best | None:
        """The optimum, or None where there is no assignment.  Raises SearchLimit."""
        if sum(size > 1 for size in self._sizes) <= MANY_OPEN:
            with suppress(SearchLimit):
                solved = Elimination(self._sizes, self._factors, limit=self._quick_limit)
                network = Reduced.whole(self._sizes, self._factors)
                return None if solved.optimum >= INFINITE else _Whole(self._positions, network, solved)
        pruner = Pruner(self._sizes, tightened(self._sizes, self._factors, ROUNDS, max(self._step >> GAIN, 1)))
        if pruner.dead:
            return None
        network = pruner.reduced()
        cost = hand_over(network, self._step, Posted.least)
        return None if cost >= INFINITE else _HandedOver(self._positions, pruner, network, cost, self._step)


class _Whole:
    """An optimum that was found together with what every other value costs."""

    def __init__(self, positions: range, network: Reduced, solved: Elimination) -> None:
        self.cost = solved.optimum
        self._positions = positions
        self._network = network
        self._solved = solved

    @cached_property
    def _found(self) -> list[Numbers]:
        return self._solved.min_marginals()

    def assignment(self) -> dict[int, int]:
        return _preferred(self._positions, self._network, self._found, self.cost)

    def marginals(self, variables: Mapping[int, Worth]) -> dict[int, Numbers]:
        return {variable: self._found[variable] for variable in variables}


class _HandedOver:
    """An optimum of a large network, of which only the cost is known at first."""

    def __init__(self, positions: range, pruner: Pruner, network: Reduced, cost: int, step: int) -> None:
        self.cost = cost
        self._positions = positions
        self._pruner = pruner
        self._network = network
        self._step = step

    def assignment(self) -> dict[int, int]:
        network = self._pruner.within(self.cost).reduced()
        try:
            solved = Elimination(network.sizes, network.factors, self.cost, QUICK_LIMIT)
        except SearchLimit:
            return self._in_turn(network)
        return _preferred(self._positions, network, solved.min_marginals(), self.cost)

    def _in_turn(self, network: Reduced) -> dict[int, int]:
        """The preferred assignment where tables are too large to tell equal ones apart."""
        free = [place for place, variable in enumerate(network.variables) if variable in self._positions]
        found = hand_over(network, self._step, lambda posted: posted.preferred(free, self.cost))
        chosen = {variable: int(network.kept[variable][0]) for variable in self._positions}
        for place, value in found.items():
            variable = network.variables[place]
            chosen[variable] = int(network.kept[variable][value])
        return chosen

    def marginals(self, variables: Mapping[int, Worth]) -> dict[int, Numbers]:
        def ask(posted: Posted) -> dict[int, Numbers]:
            return {variable: self._costs(posted, variable, worth) for variable, worth in variables.items()}

        return hand_over(self._network, self._step, ask)

    def _costs(self, posted: Posted, variable: int, worth: Worth) -> Numbers:
        floors = self._pruner.floors(variable)
        costs = np.full(floors.size, INFINITE, dtype=np.int64)
        values = np.flatnonzero(floors < INFINITE).tolist()
        if len(values) == 1:
            costs[values] = self.cost
            return costs
        waiting = sorted((value not in worth.always, int(floors[value]), value) for value in values)
        while waiting:
            optional, floor, value = waiting[0]
            if optional and self._parts_below(costs, floor, worth) > worth.enough:
                break
            if optional:
                within = posted.least_within(variable, value, max(self.cost, floor) + FAR_STEPS * self._step)
                costs[value] = FAR if within is None else within
            else:
                costs[value] = posted.least_with(variable, value)
            del waiting[0]
        costs[[value for _, _, value in waiting]] = FAR
        return costs

    def _parts_below(self, costs: Numbers, floor: int, worth: Worth) -> int:
        """How many parts are known to cost less than `floor`, all told; what only bears a mark is not."""
        told = costs % self._step < self._step // 2
        return int(worth.parts[told & (costs + worth.reach < floor)].sum())


def _preferred(positions: range, network: Reduced, found: list[Numbers], optimum: int) -> dict[int, int]:
    """The preferred one of the assignments that cost least; `found` is what the best ones cost with every value."""
    sizes, factors = network.sizes, network.factors
    kept = [network.kept[variable] for variable in network.variables]
    free = [place for place, variable in enumerate(network.variables) if variable in positions]
    while True:
        tied = [np.flatnonzero(costs == optimum) for costs in found]
        choice = next((place for place in free if tied[place].size > 1), None)
        if choice is not None:
            tied[choice] = tied[choice][:1]
        kept = [places[now] for places, now in zip(kept, tied, strict=True)]
        if choice is None:
            break
        factors = [factor.restricted(tied, sizes) for factor in factors]
        sizes = [places.size for places in kept]
        solved = Elimination(sizes, factors)
        found, optimum = solved.min_marginals(), solved.optimum
    chosen = {variable: int(network.kept[variable][0]) for variable in positions}
    chosen.update((network.variables[place], int(kept[place][0])) for place in free)
    return chosen
