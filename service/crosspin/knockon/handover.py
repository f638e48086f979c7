"""Hands a network to toulbar2, an exact solver of such networks, where our own tables would grow too large.

toulbar2 keeps its settings by thread and must be started in each, so one thread does all that is handed over.
"""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
from pytoulbar2 import CFN, tb2

from crosspin.knockon.eliminate import Elimination
from crosspin.knockon.limits import BACKTRACK_LIMIT, INFINITE, SearchLimit
from crosspin.knockon.prune import Pruner, Reduced

EXACT = 1 << 52
"""Costs below this are whole numbers to toulbar2, which counts in double precision."""

SMALL = 1 << 18
"""Most numbers in one table of a network that is solved here."""

_SOLVER = ThreadPoolExecutor(max_workers=1, thread_name_prefix="toulbar2", initializer=tb2.init)


def least_cost(node: Pruner, near: int) -> int:
    """The least cost of a network, INFINITE where there is none.  Raises SearchLimit.

    Where it lies less than `near` above the floor, which is mostly so, little is left to be solved.
    """
    if node.dead:
        return INFINITE
    close = node.within(min(node.floor + near, INFINITE - 1))
    if not close.dead:
        network = close.reduced()
        try:
            found = Elimination(network.sizes, network.factors, node.floor + near, SMALL).optimum
        except SearchLimit:
            found = INFINITE
        if found < INFINITE:
            return found
    return _SOLVER.submit(_handed_over, node.reduced()).result()


def _handed_over(network: Reduced) -> int:
    constant = sum(int(factor.costs[0]) for factor in network.factors if not factor.scope)
    found = _solved(network, EXACT)
    if found is None and _solved(network, 1) is not None:
        raise SearchLimit("EXACT", EXACT + 1, EXACT, "cost of one plan above the least it could have")
    return INFINITE if found is None else constant + found


def _solved(network: Reduced, most: int) -> int | None:
    """The least cost, not counting constants, if it is below EXACT; costs beyond `most` are taken for that."""
    problem = CFN(ubinit=float(EXACT))
    problem.Option.backtrackLimit = BACKTRACK_LIMIT
    for place, size in enumerate(network.sizes):
        problem.AddVariable(f"v{place}", [f"x{value}" for value in range(size)])
    try:
        for factor in network.factors:
            if factor.scope:
                costs = np.full([network.sizes[variable] for variable in factor.scope], float(EXACT))
                costs[factor.columns] = np.minimum(factor.costs, most)
                problem.AddFunction(list(map(int, factor.scope)), costs.ravel().tolist())
        found = problem.Solve()
    except problem.Contradiction:
        return None
    if problem.Option.limited:
        raise SearchLimit(
            "BACKTRACK_LIMIT", BACKTRACK_LIMIT + 1, BACKTRACK_LIMIT, "wrong turns in the search for a plan"
        )
    return None if found is None else int(found[1])
