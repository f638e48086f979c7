"""The pieces that solve a network, each against trying every assignment; and the stated bounds."""

from collections.abc import Sequence
from decimal import Decimal
from itertools import product
from random import Random
from unittest.mock import patch

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crosspin.knockon import handover, solve
from crosspin.knockon.conflict import Conflicts
from crosspin.knockon.eliminate import Elimination
from crosspin.knockon.limits import INFINITE, SearchLimit
from crosspin.knockon.order import Order
from crosspin.knockon.pairing import EMPTY, NO, UNSURE, YES, judge_renewal
from crosspin.knockon.proposal import Cost, State
from crosspin.knockon.prune import Pruner
from crosspin.knockon.relation import Relation
from crosspin.knockon.solve import Solver, Worth
from crosspin.knockon.tally import Adds, Chain
from crosspin.knockon.weights import Weights
from crosspin.model.schema import Verdict

STEP = 100
WEIGHTS = Weights.for_bounds(2, money=10**7, unknown=50, extra=50, lost=50, unsafe=50)


def random_network(seed: int) -> tuple[list[int], list[Relation]]:
    """A few variables with single costs, and factors over two or three of them, half of them forbidding much."""
    random = Random(seed)
    sizes = [random.randrange(1, 5) for _ in range(random.randrange(1, 7))]

    def table(scope: Sequence[int]) -> Relation:
        forbidden = random.choice([0, 30, 60])
        shape = [sizes[v] for v in scope]
        cells = [
            INFINITE if random.randrange(100) < forbidden else random.randrange(3 * STEP) for _ in np.ndindex(*shape)
        ]
        return Relation.of_table(scope, np.array(cells, dtype=np.int64).reshape(shape))

    factors = [
        Relation.of_table((v,), np.array([random.randrange(3) * STEP for _ in range(size)], dtype=np.int64))
        for v, size in enumerate(sizes)
    ]
    for _ in range(random.randrange(7)):
        count = min(len(sizes), random.choice([2, 2, 3]))
        if count > 1:
            factors.append(table(random.sample(range(len(sizes)), count)))
    return sizes, factors


def every_cost(sizes: Sequence[int], factors: Sequence[Relation]) -> dict[tuple[int, ...], int]:
    """The cost of every allowed assignment."""
    tables = []
    for factor in factors:
        rows = zip(*(column.tolist() for column in factor.columns), strict=True) if factor.scope else [()]
        tables.append((factor.scope, dict(zip(rows, factor.costs.tolist(), strict=True))))
    costs = {}
    for values in product(*(range(size) for size in sizes)):
        found = [table.get(tuple(values[v] for v in scope)) for scope, table in tables]
        if None not in found:
            costs[values] = sum(cost for cost in found if cost is not None)
    return costs


def least_with(costs: dict[tuple[int, ...], int], variable: int, value: int) -> int:
    return min((cost for values, cost in costs.items() if values[variable] == value), default=INFINITE)


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 2**32), st.sampled_from(Order))
def test_min_marginals_are_those_of_every_assignment(seed: int, order: Order) -> None:
    sizes, factors = random_network(seed)
    costs = every_cost(sizes, factors)
    solved = Elimination(sizes, factors, order=order)
    assert solved.optimum == min(costs.values(), default=INFINITE)
    for variable, marginal in enumerate(solved.min_marginals()):
        assert marginal.tolist() == [least_with(costs, variable, value) for value in range(sizes[variable])]


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 2**32), st.integers(0, 15))
def test_within_a_budget_everything_is_exact(seed: int, extra: int) -> None:
    sizes, factors = random_network(seed)
    costs = every_cost(sizes, factors)
    budget = extra * STEP
    solved = Elimination(sizes, factors, budget)
    best = min(costs.values(), default=INFINITE)
    assert solved.optimum == (best if best <= budget else INFINITE)
    for variable, marginal in enumerate(solved.min_marginals()):
        least = [least_with(costs, variable, value) for value in range(sizes[variable])]
        assert marginal.tolist() == [cost if cost <= budget else INFINITE for cost in least]


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 2**32), st.integers(0, 15))
def test_pruning_keeps_every_assignment_within_the_budget(seed: int, extra: int) -> None:
    sizes, factors = random_network(seed)
    costs = every_cost(sizes, factors)
    budget = extra * STEP
    pruner = Pruner(sizes, factors)
    assert pruner.floor <= min(costs.values(), default=INFINITE)
    left = pruner.within(max(budget, pruner.floor)) if not pruner.dead else pruner
    affordable = {values: cost for values, cost in costs.items() if cost <= budget}
    if left.dead:
        assert not affordable
        return
    reduced = left.reduced()
    whole = {}
    for values, cost in every_cost(reduced.sizes, reduced.factors).items():
        full = [int(places[0]) for places in reduced.kept]
        for variable, value in zip(reduced.variables, values, strict=True):
            full[variable] = int(reduced.kept[variable][value])
        whole[tuple(full)] = cost
    assert affordable.items() <= whole.items()
    assert whole.items() <= costs.items()


@settings(max_examples=300, deadline=None)
@given(st.integers(0, 2**32), st.booleans())
def test_solver_gives_the_first_best_and_every_other_cost(seed: int, whole: bool) -> None:
    """By our own tables, or handed over."""
    sizes, factors = random_network(seed)
    costs = every_cost(sizes, factors)
    with patch.object(solve, "MANY_OPEN", 100 if whole else -1):
        best = Solver(sizes, factors, len(sizes), STEP, 1 << 20).best()
    if not costs:
        assert best is None
        return
    assert best is not None
    optimum = min(costs.values())
    assert best.cost == optimum
    first = min(values for values, cost in costs.items() if cost == optimum)
    assert tuple(best.assignment().values()) == first
    nothing = np.zeros(0, dtype=np.int64)
    every = {v: Worth(nothing, nothing, frozenset(range(size)), 0) for v, size in enumerate(sizes)}
    for variable, marginal in best.marginals(every).items():
        assert marginal.tolist() == [least_with(costs, variable, value) for value in range(sizes[variable])]


def handed_over(sizes: Sequence[int], factors: Sequence[Relation]) -> dict[int, list[int]]:
    """What every value costs, by the solver that large networks are handed to."""
    with patch.object(solve, "MANY_OPEN", -1):
        best = Solver(sizes, factors, len(sizes), STEP, 1 << 20).best()
    assert best is not None
    nothing = np.zeros(0, dtype=np.int64)
    every = {v: Worth(nothing, nothing, frozenset(range(size)), 0) for v, size in enumerate(sizes)}
    return {variable: marginal.tolist() for variable, marginal in best.marginals(every).items()}


def test_a_cost_that_is_not_told_exactly_is_refused_and_no_cost_is_none() -> None:
    dear = np.array([0, handover.EXACT * 2], dtype=np.int64)
    free = np.array([[0, 1], [INFINITE, 0], [0, INFINITE]], dtype=np.int64)
    never = np.array([[0, 0, INFINITE], [0, 0, INFINITE]], dtype=np.int64)
    pairs = [Relation.of_table((1, 0), free), Relation.of_table((2, 1), never)]
    with pytest.raises(SearchLimit) as caught:
        handed_over([2, 3, 2], [Relation.of_table((0,), dear), *pairs])
    assert caught.value.bound == "EXACT"
    assert handed_over([2, 3, 2], pairs) == {0: [0, 0], 1: [0, 0, INFINITE], 2: [0, 0]}


def test_too_many_wrong_turns_are_refused_and_the_next_network_is_solved() -> None:
    holes, pigeons = 7, 8
    apart = np.where(np.eye(holes, dtype=bool), INFINITE, 0)
    factors = [Relation.of_table((a, b), apart) for a in range(pigeons) for b in range(a)]
    with patch.object(handover, "BACKTRACK_LIMIT", 10), pytest.raises(SearchLimit) as caught:
        handed_over([holes] * pigeons, factors)
    assert caught.value.bound == "BACKTRACK_LIMIT"
    crowded = [factor for factor in factors if factor.scope[0] < holes]
    assert handed_over([holes] * pigeons, crowded) == {v: [0] * holes for v in range(pigeons)}


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 2**32))
def test_a_chain_of_running_sums_is_the_sum(seed: int) -> None:
    random = Random(seed)
    adds = []
    for _ in range(random.randrange(6)):
        size = random.randrange(1, 4)
        adds.append(
            Adds(
                np.array([random.randrange(-4, 5) for _ in range(size)], dtype=np.int64),
                np.array([random.randrange(8) == 0 for _ in range(size)], dtype=bool),
                np.array([random.randrange(3) == 0 for _ in range(size)], dtype=bool),
            )
        )
    start = (random.choice([None, 0, -3, 3]), random.randrange(4) == 0)
    count = len(adds)
    factors, sums = Chain(WEIGHTS, range(count), adds, start).factors(count)
    sizes = [a.net.size for a in adds]
    found: dict[tuple[int, ...], int] = {}
    for values, cost in every_cost([*sizes, *sums], factors).items():
        found[values[:count]] = min(cost, found.get(values[:count], INFINITE))
    for values in product(*(range(size) for size in sizes)):
        chosen = list(zip(adds, values, strict=True))
        changed = start[1] or any(a.changes[v] for a, v in chosen)
        missing = start[0] is None or any(a.missing[v] for a, v in chosen)
        total = (start[0] or 0) + sum(int(a.net[v]) for a, v in chosen)
        if not changed:
            expected = 0
        elif missing:
            expected = WEIGHTS.unknown
        else:
            expected = INFINITE if total > 0 else 0
        assert found.get(values, INFINITE) == expected


@pytest.mark.parametrize("then", [EMPTY, NO, UNSURE, YES])
@pytest.mark.parametrize("state", State)
def test_a_renewal_takes_out_what_is_or_could_be_of_the_kind(then: int, state: State) -> None:
    """Nobody has looked at an unseen part: it could be the one that has to be renewed."""
    stays = state is State.RECEIVED and then in (UNSURE, YES)
    assert judge_renewal(YES, State.FRESH, then, state) is (Verdict.CLASHES if stays else Verdict.FITS)
    assert judge_renewal(YES, State.RECEIVED, then, state) is None
    assert judge_renewal(NO, State.FRESH, then, state) is None


def test_a_table_that_grows_too_large_is_refused() -> None:
    size = 100
    free = np.zeros((size, size), dtype=np.int64)
    factors = [Relation.of_table(scope, free) for scope in ((0, 1), (1, 2), (2, 3), (0, 3), (0, 2), (1, 3))]
    with pytest.raises(SearchLimit) as caught:
        Elimination([size] * 4, factors)
    assert caught.value.bound == "TABLE_LIMIT"
    assert caught.value.needed > caught.value.allowed


def test_too_many_running_sums_are_refused() -> None:
    powers = [
        Adds(np.array([0, 3**i], dtype=np.int64), np.zeros(2, dtype=bool), np.zeros(2, dtype=bool)) for i in range(16)
    ]
    with pytest.raises(SearchLimit) as caught:
        Chain(WEIGHTS, range(16), powers, (-(3**15), True)).factors(16)
    assert caught.value.bound == "TALLY_LIMIT"


def test_a_cost_that_does_not_fit_is_refused() -> None:
    with pytest.raises(SearchLimit) as caught:
        Weights.for_bounds(4, money=10**14, unknown=500, extra=200, lost=20, unsafe=500)
    assert caught.value.bound == "COST_BITS"


def test_a_conflict_among_too_many_wishes_is_refused() -> None:
    names = [f"keep/{i}" for i in range(12)]

    def best(granted: frozenset[str]) -> int | None:
        return 0 if len(granted) <= 6 else None

    with pytest.raises(SearchLimit) as caught:
        Conflicts(names, best, WEIGHTS).find()
    assert caught.value.bound == "WAYS_LIMIT"


@given(st.integers(0, 50), st.integers(0, 50), st.integers(0, 50), st.integers(0, 50), st.integers(0, 10**7))
def test_packing_a_cost_loses_nothing(unsafe: int, lost: int, extra: int, unknown: int, cents: int) -> None:
    packed = unsafe * WEIGHTS.unsafe + lost * WEIGHTS.lost + extra * WEIGHTS.extra + unknown * WEIGHTS.unknown + cents
    assert packed < INFINITE
    assert WEIGHTS.cost(packed) == Cost(unsafe, lost, extra, unknown, Decimal(cents) / 100)
