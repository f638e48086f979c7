"""The best plan of a network, and what the best plan costs with every other value at a changed position.

A network is first solved whole.  Where it has many variables, or needs large tables, as when nothing is kept
and everything could be changed, its costs are shifted so that the least of them nearly bound the whole, the least cost
is found with the help of another solver, and the network is solved a little above it, which leaves out nearly
everything.  Values that lie beyond come after, one by one.
"""

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from crosspin.knockon.eliminate import Elimination
from crosspin.knockon.handover import least_cost
from crosspin.knockon.limits import INFINITE, QUICK_LIMIT, SearchLimit
from crosspin.knockon.order import Order
from crosspin.knockon.prune import UNLIMITED, Pruner, Reduced
from crosspin.knockon.relation import Numbers, Relation
from crosspin.knockon.tighten import tightened

ROUNDS = 6
"""How often costs are shifted, all variables over, before values are looked into one by one."""

NEAR = 2
"""By which power of two less than a step a cost may lie above its bound to be near it."""

BEYOND = 2
"""How many steps above the optimum other values' costs are found all at once."""

FAR = INFINITE - 1
"""Stands for the cost of a value that costs more than enough others, or has no plan at all: nobody looked."""


@dataclass(frozen=True, slots=True, eq=False)
class Worth:
    """Which costs of the values of one position are worth finding: always those of some, and of the others while
    fewer than `enough` parts are known that cost less.  Every value stands for so many `parts`, of which the dearest
    costs `reach` more than the cheapest."""

    parts: Numbers
    reach: Numbers
    always: frozenset[int]
    enough: int


MANY_OPEN = 100
"""From how many variables with a choice on a network is not tried whole: it would hardly do."""


class Solver:
    """Solves one network; `step` is the packed cost of one extra position.

    The first `positions` variables are positions; the others follow from them.  `quick_limit` is the most
    numbers that one table may hold when the network is solved whole.
    """

    def __init__(
        self, sizes: Sequence[int], factors: Sequence[Relation], positions: int, step: int, quick_limit: int
    ) -> None:
        self.positions = range(positions)
        self.sizes = sizes
        self._factors = factors
        self._step = step
        self._quick_limit = quick_limit

    def best(self) -> "Best | None":
        """The optimum, or None where there is no assignment.  Raises SearchLimit."""
        if sum(size > 1 for size in self.sizes) <= MANY_OPEN:
            network = Reduced.whole(self.sizes, self._factors)
            try:
                solved = Elimination(network.sizes, network.factors, limit=self._quick_limit)
            except SearchLimit:
                pass
            else:
                return None if solved.optimum >= INFINITE else Best(self, network, solved)
        cost = self._least(self._pruner)
        if cost >= INFINITE:
            return None
        for budget in (min(cost + BEYOND * self._step, UNLIMITED), cost):
            network = self._pruner.within(budget).reduced()
            with suppress(SearchLimit):
                return Best(self, network, Elimination(network.sizes, network.factors, budget, QUICK_LIMIT))
        return Best(self, network, Elimination(network.sizes, network.factors, cost, order=Order.ROWS))

    def _least(self, node: Pruner) -> int:
        return least_cost(node, self._step >> NEAR)

    @cached_property
    def _pruner(self) -> Pruner:
        return Pruner(self.sizes, tightened(self.sizes, self._factors, ROUNDS))

    def complete(self, variable: int, costs: Numbers, worth: Worth) -> None:
        """Add the costs that lay beyond a budget, as far as they are worth finding; others are marked FAR.  Raises
        SearchLimit."""
        missing = [value for value in self._pruner.values(variable) if costs[value] >= INFINITE]
        nodes = {value: self._pruner.with_value(variable, value) for value in missing}
        waiting = sorted((v not in worth.always, node.floor, v) for v, node in nodes.items() if not node.dead)
        while waiting:
            optional, floor, value = waiting[0]
            if optional and int(worth.parts[costs + worth.reach < floor].sum()) > worth.enough:
                break
            costs[value] = self._least(nodes[value])
            del waiting[0]
        costs[[value for _, _, value in waiting]] = FAR


class Best:
    """An optimum: its cost, the preferred one of the assignments that have it, and other values' costs."""

    def __init__(self, solver: Solver, network: Reduced, solved: Elimination) -> None:
        self.cost = solved.optimum
        self._solver = solver
        self._network = network
        self._solved = solved

    @cached_property
    def _found(self) -> list[Numbers]:
        return self._solved.min_marginals()

    def assignment(self) -> dict[int, int]:
        """The value of every position.

        Of several best assignments it is the one whose first position takes its first value, and so on down
        the line.
        """
        network, found, optimum = self._network, self._found, self.cost
        sizes, factors = network.sizes, network.factors
        kept = [network.kept[variable] for variable in network.variables]
        free = [place for place, variable in enumerate(network.variables) if variable in self._solver.positions]
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
        chosen = {variable: int(network.kept[variable][0]) for variable in self._solver.positions}
        chosen.update((network.variables[place], int(kept[place][0])) for place in free)
        return chosen

    def marginals(self, variables: Mapping[int, Worth]) -> dict[int, Numbers]:
        """For some positions, the least cost with each of their values: INFINITE where there is none, FAR where it
        was not worth finding.  Raises SearchLimit."""
        number = {variable: place for place, variable in enumerate(self._network.variables)}
        marginals = {}
        for variable, worth in variables.items():
            costs = np.full(self._solver.sizes[variable], INFINITE, dtype=np.int64)
            kept = self._network.kept[variable]
            costs[kept] = self._found[number[variable]] if variable in number else self.cost
            marginals[variable] = costs
            if self._solved.budget < UNLIMITED:
                self._solver.complete(variable, costs, worth)
        return marginals
