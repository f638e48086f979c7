"""Hands a network to toulbar2, an exact solver of such networks, where our own tables would grow too large.

A network is posted once and then asked as often as need be, for its least cost as it stands or with a variable
held at one value.  toulbar2 knows one network at a time and must be started in each thread, so one thread does
all that is handed over, and holds the last network, which is mostly asked again.
"""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

import numpy as np
import numpy.typing as npt
from pytoulbar2 import CFN, tb2

from crosspin.knockon.limits import BACKTRACK_LIMIT, INFINITE, SearchLimit
from crosspin.knockon.prune import Reduced
from crosspin.knockon.relation import Relation

EXACT = 1 << 52
"""Costs below this are whole numbers to toulbar2, which counts in double precision."""

Result = TypeVar("Result")


def hand_over(network: Reduced, step: int, ask: Callable[["Posted"], Result]) -> Result:
    """What `ask` finds out about a network; `step` is by how much costs mostly lie above their bounds, at most.

    Raises SearchLimit.
    """
    return _SOLVER.find_out(network, step, ask)


class _Solver:
    """The thread that toulbar2 works in, and the network that it holds."""

    def __init__(self) -> None:
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="toulbar2", initializer=tb2.init)
        self._posted: Posted | None = None

    def find_out(self, network: Reduced, step: int, ask: Callable[["Posted"], Result]) -> Result:
        return self._thread.submit(self._found, network, step, ask).result()

    def _found(self, network: Reduced, step: int, ask: Callable[["Posted"], Result]) -> Result:
        if self._posted is None or self._posted.network is not network:
            self._posted = Posted(network, step)
        try:
            return ask(self._posted)
        except BaseException:
            self._posted = None  # whatever state it is in
            raise


_SOLVER = _Solver()


class Posted:
    """A network that toulbar2 holds, until another one is posted."""

    def __init__(self, network: Reduced, step: int) -> None:
        self.network = network
        self._number = {variable: place for place, variable in enumerate(network.variables)}
        self._constant = sum(int(factor.costs[0]) for factor in network.factors if not factor.scope)
        # Least costs are mostly close to their bounds, and quickly found where only close ones are looked for.
        self._slacks = [step >> 12, step >> 2]
        while self._slacks[-1] < EXACT:
            self._slacks.append(4 * self._slacks[-1] + 1)
        self._top = 0
        self._most = sum(int(factor.costs.max(initial=0)) for factor in network.factors if factor.scope)
        self._post()

    def _post(self) -> None:
        """Give toulbar2 the network."""
        network = self.network
        self._problem = CFN(ubinit=float(EXACT), vac=1)
        # What makes one solution quick, such as leaving out values that others outdo, would spoil the next one.
        self._problem.NoPreprocessing()
        self._problem.Option.backtrackLimit = BACKTRACK_LIMIT
        for place, size in enumerate(network.sizes):
            self._problem.AddVariable(f"v{place}", range(size))
        self._is_possible = True
        try:
            for factor in network.factors:
                if factor.scope:
                    self._add(factor.scope, np.minimum(factor.table(network.sizes), EXACT).astype(float))
            self._is_possible = self._problem.SolveFirst() is not None
            # No plan costs as much, and what is forbidden costs no more to toulbar2 from now on.
            self._top = int(self._problem.GetUB())
        except self._problem.Contradiction:
            self._is_possible = False

    def _add(self, scope: tuple[int, ...], costs: npt.NDArray[np.float64]) -> None:
        if not costs.any():
            return
        if len(scope) == 1:
            self._problem.AddFunctions(np.array(scope), costs[None])
        else:
            self._problem.AddAkinFunctions(np.array([scope]), costs)

    def least(self) -> int:
        """The least cost; INFINITE where there is none.  Raises SearchLimit."""
        return self._cost(None)

    def least_with(self, variable: int, value: int) -> int:
        """The least cost where a variable (of the network before it was reduced) has a value; INFINITE where there
        is none.  Raises SearchLimit."""
        return self._cost(self._held(variable, value))

    def least_within(self, variable: int, value: int, most: int) -> int | None:
        """The same where it is at most so much; None where it is more, or there is none.  Raises SearchLimit."""
        if not self._is_possible:
            return None
        found = self._found(self._held(variable, value), most - self._constant + 1)
        return None if found is None else self._constant + found

    def _held(self, variable: int, value: int) -> tuple[int, int]:
        """A value of a variable of the network before it was reduced, as toulbar2 knows it."""
        return self._number[variable], int(np.searchsorted(self.network.kept[variable], value))

    def preferred(self, places: Sequence[int], cost: int) -> dict[int, int]:
        """Of the assignments that cost no more, the values of some variables (by place) in the one that takes for each
        in turn its first value.  Raises SearchLimit."""
        problem = self._problem
        depth = problem.Depth()
        problem.Store()
        try:
            return self._in_turn(places, float(cost - self._constant + 1))
        finally:
            problem.Restore(depth)

    def _in_turn(self, places: Sequence[int], top: float) -> dict[int, int]:
        problem, chosen = self._problem, dict[int, int]()
        best: list[int] = []
        for place in places:
            for value in range(self.network.sizes[place]):
                if len(best) > place and best[place] == value:
                    break  # the best assignment that is known has it anyway
                found = self._cheaper(top, (place, value))
                if found is not None:
                    best = [int(one) for one in found[0]]
                    break
            else:
                raise AssertionError(f"no assignment costs less than {top}, and one was known")
            chosen[place] = value
            problem.SetUB(top)  # what is found lowers it
            problem.Assign(place, value)
        return chosen

    def _cheaper(self, top: float, held: tuple[int, int] | None = None) -> tuple[Sequence[int], float] | None:
        """The best assignment that costs less than `top`, and its cost, at the state that toulbar2 is in and with one
        more variable held at a value; None where there is none.  Raises SearchLimit."""
        problem = self._problem
        depth = problem.Depth()
        problem.Store()
        try:
            problem.SetUB(top)
            if held is not None:
                problem.Assign(*held)
            found = problem.SolveNext(initHeuristics=False)
        except problem.Contradiction:
            problem.ClearPropagationQueues()
            found = None
        problem.Restore(depth)
        if problem.Limit is not None:
            about = "wrong turns in the search for a plan"
            raise SearchLimit("BACKTRACK_LIMIT", BACKTRACK_LIMIT + 1, BACKTRACK_LIMIT, about)
        return None if found is None else (found[0], found[1])

    def _cost(self, held: tuple[int, int] | None) -> int:
        found = self._found(held) if self._is_possible else None
        if found is not None:
            return self._constant + found
        if self._most >= EXACT and self._is_there_any(held):
            raise SearchLimit("EXACT", EXACT + 1, EXACT, "cost of one plan above the least it could have")
        return INFINITE

    def _is_there_any(self, held: tuple[int, int] | None) -> bool:
        """Whether there is anything, whatever it costs."""
        network = self.network
        free = [Relation(factor.scope, factor.columns, np.zeros_like(factor.costs)) for factor in network.factors]
        other = Posted(Reduced(network.kept, network.variables, network.sizes, free), 0)
        found = other._is_possible and other._found(held) is not None
        self._post()  # toulbar2 has let go of it
        return found

    def _found(self, held: tuple[int, int] | None, below: int | None = None) -> int | None:
        """The least cost below EXACT (and `below`), not counting constants, with one variable held at a value."""
        problem = self._problem
        top = self._top if below is None else min(below, self._top)
        depth = problem.Depth()
        problem.Store()
        try:
            problem.SetUB(float(top))
            if held is not None:
                problem.Assign(*held)
            return self._above(int(problem.GetLB()), top)
        except problem.Contradiction:
            problem.ClearPropagationQueues()
            return None
        finally:
            problem.Restore(depth)

    def _above(self, bound: int, top: int) -> int | None:
        """The least cost below `top` at the state that toulbar2 is in, where its bound is known."""
        for slack in self._slacks:
            found = self._cheaper(float(min(bound + slack + 1, top)))
            if found is not None:
                return int(found[1])
            if bound + slack + 1 >= top:
                break
        return None
