"""The best plan of a network, and what the best plan costs with every other value at a changed position.

A network is first solved whole.  Where it has many variables, or needs large tables, as when nothing is kept
and everything could be changed, it is solved under a budget that grows by extra positions until the optimum
lies within: a budget leaves out nearly everything, and what is found within it is exact.  Values that lie
beyond it come after.
"""

from collections.abc import Iterator, Sequence
from functools import cached_property

import numpy as np

from crosspin.knockon.eliminate import Elimination
from crosspin.knockon.limits import INFINITE, SearchLimit
from crosspin.knockon.order import Order
from crosspin.knockon.prune import UNLIMITED, Pruner, Reduced
from crosspin.knockon.relation import Numbers, Relation

MANY_OPEN = 100
"""From how many variables with a choice on a network is solved by budgets at once: whole, it would hardly do."""

MANY_CHOICES = 40
"""From how many open variables on it pays to look for values that others replace."""

MANY_VALUES = 16
"""From how many values on it pays to go through the whole network instead of trying them one by one."""


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
        network = Reduced.whole(self.sizes, self._factors)
        if sum(size > 1 for size in self.sizes) > MANY_OPEN:
            return self._within_budget(self._pruner)
        try:
            solved = Elimination(network.sizes, network.factors, limit=self._quick_limit)
        except SearchLimit:
            return self._within_budget(self._pruner)
        return None if solved.optimum >= INFINITE else Best(self, network, solved)

    @cached_property
    def _pruner(self) -> Pruner:
        return Pruner(self.sizes, self._factors)

    def _budgets(self, floor: int) -> Iterator[int]:
        """Growing budgets above a bound, the last of them unlimited."""
        extra = 0
        while extra < len(self.positions):
            yield min(floor + (extra + 1) * self._step - 1, UNLIMITED)
            extra += 1 + extra // 4
        yield UNLIMITED

    def _within_budget(self, pruner: Pruner, cost_only: bool = False) -> "Best | None":
        """The optimum of what a pruner left; with `cost_only`, nothing but its cost is sure to be right."""
        if pruner.dead:
            return None
        for budget in self._budgets(pruner.floor):
            affordable = pruner.within(budget)
            if affordable.dead:
                continue
            if cost_only and affordable.choices > MANY_CHOICES:
                affordable = affordable.undominated(budget)
            network = affordable.reduced()
            solved = _eliminate(network, budget)
            if solved.optimum < INFINITE:
                return Best(self, network, solved)
        return None

    def completed(self, marginals: dict[int, Numbers]) -> dict[int, Numbers]:
        """The same costs with those that lay beyond a budget.  Raises SearchLimit.

        A few values are tried one by one; for many it is quicker to go through the whole network once, where
        that can be done at all.
        """
        beyond = {variable: np.flatnonzero(costs >= INFINITE) for variable, costs in marginals.items()}
        if sum(values.size for values in beyond.values()) > MANY_VALUES:
            network = self._pruner.reduced()
            try:
                solved = Elimination(network.sizes, network.factors, order=Order.ROWS)
            except SearchLimit:
                pass
            else:
                return Best(self, network, solved).marginals(list(marginals))
        for variable, values in beyond.items():
            for value in values.tolist():
                marginals[variable][value] = self._cost_with(variable, value)
        return marginals

    def _cost_with(self, variable: int, value: int) -> int:
        """The least cost with one value, INFINITE where no assignment has it."""
        best = self._within_budget(self._pruner.with_value(variable, value), cost_only=True)
        return INFINITE if best is None else best.cost


def _eliminate(network: Reduced, budget: int) -> Elimination:
    """A network within a budget, by another order where the first one needs too large a table."""
    try:
        return Elimination(network.sizes, network.factors, budget)
    except SearchLimit:
        return Elimination(network.sizes, network.factors, budget, order=Order.ROWS)


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

    def marginals(self, variables: Sequence[int]) -> dict[int, Numbers]:
        """For some positions, the least cost with each of their values.  Raises SearchLimit."""
        number = {variable: place for place, variable in enumerate(self._network.variables)}
        marginals = {}
        for variable in variables:
            costs = np.full(self._solver.sizes[variable], INFINITE, dtype=np.int64)
            kept = self._network.kept[variable]
            costs[kept] = self._found[number[variable]] if variable in number else self.cost
            marginals[variable] = costs
        return marginals if self._solved.budget >= UNLIMITED else self._solver.completed(marginals)
