"""The best plan of a network, and what the best plan costs with every other value at a changed position.

A network is first solved whole.  Where that needs large tables, as when nothing is kept and everything
could be changed, it is solved under a budget that grows by extra positions until the optimum lies within:
a budget leaves out nearly everything, and what is found within it is exact.  Values that lie beyond are
then tried one by one, each from the least that it can cost.
"""

from collections.abc import Iterator, Sequence

import numpy as np

from crosspin.knockon.eliminate import Elimination
from crosspin.knockon.limits import INFINITE, SearchLimit
from crosspin.knockon.prune import Pruned
from crosspin.knockon.relation import Numbers, Places, Relation

UNLIMITED = INFINITE - 1


class Solver:
    """Solves one network; `step` is the packed cost of one extra position.

    `first` is how many variables, from the first on, are positions; the others follow from them.
    `quick_limit` is the most numbers that one table may hold when the network is solved whole.
    """

    def __init__(
        self, sizes: Sequence[int], factors: Sequence[Relation], first: int, step: int, quick_limit: int
    ) -> None:
        self._sizes = sizes
        self._factors = factors
        self._first = first
        self._step = step
        self._quick_limit = quick_limit

    def best(self) -> "Best | None":
        """The optimum, or None where there is no assignment.  Raises SearchLimit."""
        try:
            whole = Elimination(self._sizes, self._factors, limit=self._quick_limit)
        except SearchLimit:
            return self._within_budget(self._factors)
        every = [np.arange(size) for size in self._sizes]
        return None if whole.optimum >= INFINITE else Best(self, whole, self._factors, every)

    def _budgets(self, floor: int) -> Iterator[int]:
        """Growing budgets above a bound, the last of them unlimited."""
        extra = 0
        while extra <= self._first:
            yield min(floor + (extra + 1) * self._step - 1, UNLIMITED)
            extra = 2 * extra + 1
        yield UNLIMITED

    def _within_budget(self, factors: Sequence[Relation]) -> "Best | None":
        allowed = Pruned(self._sizes, factors, UNLIMITED)
        if allowed.dead:
            return None
        for budget in self._budgets(allowed.floor):
            affordable = Pruned(allowed.sizes, allowed.factors, budget)
            if affordable.dead:
                continue
            found = Elimination(affordable.sizes, affordable.factors, budget)
            if found.optimum < INFINITE:
                kept = [outer[inner] for outer, inner in zip(allowed.kept, affordable.kept, strict=True)]
                return Best(self, found, affordable.factors, kept)
        return None

    def cost_with(self, variable: int, value: int) -> int:
        """The least cost with one value, INFINITE where no assignment has it.  Raises SearchLimit."""
        pin = np.full(self._sizes[variable], INFINITE, dtype=np.int64)
        pin[value] = 0
        best = self._within_budget([*self._factors, Relation.of_table((variable,), pin)])
        return INFINITE if best is None else best.cost

    def size(self, variable: int) -> int:
        """How many values a variable has."""
        return self._sizes[variable]

    def positions(self) -> range:
        """The variables that are positions."""
        return range(self._first)


class Best:
    """An optimum: its cost, the preferred one of the assignments that have it, and other values' costs.

    `solved` ran on `factors`, where each variable has the `kept` values only, numbered anew.
    """

    def __init__(self, solver: Solver, solved: Elimination, factors: Sequence[Relation], kept: list[Places]) -> None:
        self.cost = solved.optimum
        self._solver = solver
        self._solved = solved
        self._factors = factors
        self._kept = kept

    def assignment(self) -> dict[int, int]:
        """The value of every position.

        Of several best assignments it is the one whose first position takes its first value, and so on down
        the line.
        """
        kept, solved, factors = list(self._kept), self._solved, self._factors
        while True:
            tied = [np.flatnonzero(costs == solved.optimum) for costs in solved.min_marginals()]
            sizes = [places.size for places in kept]
            choice = next((v for v in self._solver.positions() if tied[v].size > 1), None)
            if choice is None:
                return {v: int(kept[v][tied[v][0]]) for v in self._solver.positions()}
            tied[choice] = tied[choice][:1]
            kept = [places[now] for places, now in zip(kept, tied, strict=True)]
            factors = [factor.restricted(tied, sizes) for factor in factors]
            solved = Elimination([places.size for places in kept], factors)

    def marginals(self, variables: Sequence[int]) -> dict[int, Numbers]:
        """For some positions, the least cost with each of their values.  Raises SearchLimit."""
        found = self._solved.min_marginals()
        whole = self._solved.budget >= UNLIMITED
        marginals = {}
        for variable in variables:
            costs = np.full(self._solver.size(variable), INFINITE, dtype=np.int64)
            costs[self._kept[variable]] = found[variable]
            if not whole:
                for value in np.flatnonzero(costs >= INFINITE).tolist():
                    costs[value] = self._solver.cost_with(variable, value)
            marginals[variable] = costs
        return marginals
