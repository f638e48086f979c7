"""The same optimisation problem given to well-kept exact solvers: CP-SAT, clingo and toulbar2.

CP-SAT and clingo get literals and clauses (`_encode`), what a rule sees of a position by literals of its own, so
that a rule takes as many clauses as it tells specs apart and not as there are parts.  toulbar2 gets what it is made
for, tables of costs between positions.  Each answers with the place of the value of every position.
"""

from collections.abc import Callable, Sequence
from typing import Any, Protocol

import numpy as np

from benchmarks.instance import NEVER, UNKNOWN, Instance, Numbers, Sum, levels

Chosen = list[int] | None
Solver = Callable[[Instance], Chosen]


class _Sink(Protocol):
    """What takes literals and clauses; a literal is a whole number, its negation the negative one."""

    def literal(self) -> int:
        """A new literal."""

    def one_of(self, literals: Sequence[int]) -> None:
        """Exactly one of them is true."""

    def any_of(self, literals: Sequence[int]) -> int:
        """A literal that is true just where one of these is."""

    def clause(self, literals: Sequence[int]) -> None:
        """One of them is true at least."""

    def both(self, first: int, seconds: Sequence[int]) -> int:
        """A literal that is true where the first and one of the seconds are."""

    def cost(self, literal: int, cost: int) -> None:
        """What it costs that a literal is true."""

    def within(self, terms: Sequence[tuple[int, int]], judged: int, missing: int) -> None:
        """The weights of true literals sum to nought at most, where judged and not missing."""


def _encode(instance: Instance, sink: _Sink) -> list[list[int]]:
    """Write the problem down, and return the literal of every value of every position."""
    literals: list[list[int]] = []
    for own in instance.own:
        at = [sink.literal() for _ in range(own.size)]
        sink.one_of(at)
        for literal, cost in zip(at, own.tolist(), strict=True):
            _charge(sink, literal, cost)
        literals.append(at)
    seen: dict[int, list[int]] = {}
    for table in instance.tables:
        for number in (table.first, table.second):
            if number not in seen:
                view = instance.views[number]
                by_code: list[list[int]] = [[] for _ in range(view.size)]
                for literal, code in zip(literals[view.position], view.codes.tolist(), strict=True):
                    by_code[code].append(literal)
                seen[number] = [sink.any_of(some) for some in by_code]
        first, second = seen[table.first], seen[table.second]
        if len(first) <= len(second):
            _tabulate(sink, first, second, table.costs)
        else:
            _tabulate(sink, second, first, table.costs.T)
    for one in instance.sums:
        _sum(sink, literals, one)
    return literals


def _charge(sink: _Sink, literal: int, cost: int) -> None:
    if cost >= NEVER:
        sink.clause([-literal])
    elif cost:
        sink.cost(literal, cost)


def _tabulate(sink: _Sink, rows: list[int], columns: list[int], costs: Numbers) -> None:
    """A table, row by row: what a row costs at least, then what it allows, then what some columns cost more."""
    for here, row in zip(rows, costs, strict=True):
        least = int(row.min())
        _charge(sink, here, least)
        if least >= NEVER:
            continue
        allowed = np.flatnonzero(row < NEVER).tolist()
        barred = np.flatnonzero(row >= NEVER).tolist()
        if barred and 2 * len(barred) <= len(allowed) + 1:
            for column in barred:
                sink.clause([-here, -columns[column]])
        elif barred:
            sink.clause([-here, *(columns[column] for column in allowed)])
        by_cost: dict[int, list[int]] = {}
        for column in allowed:
            if row[column] > least:
                by_cost.setdefault(int(row[column]) - least, []).append(columns[column])
        for cost, dear in by_cost.items():
            sink.cost(sink.both(here, dear), cost)


def _sum(sink: _Sink, literals: list[list[int]], one: Sum) -> None:
    changes = [at[v] for at, flags in zip(literals, one.changes, strict=True) for v in np.flatnonzero(flags).tolist()]
    gaps = [at[v] for at, flags in zip(literals, one.missing, strict=True) for v in np.flatnonzero(flags).tolist()]
    terms = [(at[v], int(n[v])) for at, n in zip(literals, one.net, strict=True) for v in np.flatnonzero(n).tolist()]
    judged, missing = sink.any_of(changes), sink.any_of(gaps)
    sink.within(terms, judged, missing)
    sink.cost(sink.both(judged, [missing]), UNKNOWN)


def _chosen(literals: list[list[int]], true: Callable[[int], bool]) -> list[int]:
    return [next(place for place, literal in enumerate(at) if true(literal)) for at in literals]


# ---------------------------------------------------------------------- CP-SAT


class _CpSat:
    def __init__(self) -> None:
        from ortools.sat.python import cp_model

        self.cp: Any = cp_model.CpModel()
        self.vars: list[Any] = [None]
        self.head: list[tuple[int, int]] = []
        self.money: list[tuple[int, int]] = []

    def literal(self) -> int:
        self.vars.append(self.cp.new_bool_var(""))
        return len(self.vars) - 1

    def of(self, literal: int) -> Any:
        return self.vars[literal] if literal > 0 else self.vars[-literal].negated()

    def one_of(self, literals: Sequence[int]) -> None:
        self.cp.add_exactly_one(map(self.of, literals))

    def any_of(self, literals: Sequence[int]) -> int:
        if len(literals) == 1:
            return literals[0]
        found = self.literal()
        self.clause([-found, *literals])
        for literal in literals:
            self.cp.add_implication(self.of(literal), self.of(found))
        return found

    def clause(self, literals: Sequence[int]) -> None:
        self.cp.add_bool_or(map(self.of, literals))

    def both(self, first: int, seconds: Sequence[int]) -> int:
        found = self.literal()
        for second in seconds:
            self.clause([-first, -second, found])
        return found

    def cost(self, literal: int, cost: int) -> None:
        if cost // UNKNOWN:
            self.head.append((literal, cost // UNKNOWN))
        if cost % UNKNOWN:
            self.money.append((literal, cost % UNKNOWN))

    def within(self, terms: Sequence[tuple[int, int]], judged: int, missing: int) -> None:
        total = sum(weight * self.of(literal) for literal, weight in terms)
        self.cp.add(total <= 0).only_enforce_if(self.of(judged), self.of(-missing))


def cp_sat(instance: Instance) -> Chosen:
    """First all but money, in one number; then money, with the first held."""
    from ortools.sat.python import cp_model

    sink = _CpSat()
    literals = _encode(instance, sink)
    solver = cp_model.CpSolver()
    for terms in (sink.head, sink.money):
        total = sum(weight * sink.of(literal) for literal, weight in terms)
        sink.cp.minimize(total)
        status = solver.solve(sink.cp)
        if status == cp_model.INFEASIBLE:
            return None
        assert status == cp_model.OPTIMAL, solver.status_name(status)
        if terms is sink.head and terms:
            sink.cp.add(total <= round(solver.objective_value))
            sink.cp.clear_hints()
            for var in sink.vars[1:]:
                sink.cp.add_hint(var, solver.boolean_value(var))
    return _chosen(literals, lambda literal: bool(solver.boolean_value(sink.of(literal))))


# ---------------------------------------------------------------------- clingo


class _Clingo:
    def __init__(self, backend: Any) -> None:
        self.backend = backend
        self.costs: tuple[list[tuple[int, int]], ...] = ([], [], [], [], [])

    def literal(self) -> int:
        found = int(self.backend.add_atom())
        self.backend.add_rule([found], choice=True)
        return found

    def one_of(self, literals: Sequence[int]) -> None:
        self.backend.add_rule([], [-literal for literal in literals])
        self.backend.add_weight_rule([], 2, [(literal, 1) for literal in literals])

    def any_of(self, literals: Sequence[int]) -> int:
        if len(literals) == 1:
            return literals[0]
        found = int(self.backend.add_atom())
        for literal in literals:
            self.backend.add_rule([found], [literal])
        return found

    def clause(self, literals: Sequence[int]) -> None:
        self.backend.add_rule([], [-literal for literal in literals])

    def both(self, first: int, seconds: Sequence[int]) -> int:
        found = int(self.backend.add_atom())
        for second in seconds:
            self.backend.add_rule([found], [first, second])
        return found

    def cost(self, literal: int, cost: int) -> None:
        for terms, weight in zip(self.costs, levels(cost), strict=True):
            if weight:
                terms.append((literal, weight))

    def within(self, terms: Sequence[tuple[int, int]], judged: int, missing: int) -> None:
        below = sum(-weight for _, weight in terms if weight < 0)
        over = int(self.backend.add_atom())
        weighted = [(literal if weight > 0 else -literal, abs(weight)) for literal, weight in terms]
        self.backend.add_weight_rule([over], below + 1, weighted)
        self.clause([-over, -judged, missing])


def clingo(instance: Instance) -> Chosen:
    """Written straight into the solver, without grounding a text; a priority for each level of the cost."""
    from clingo import Control

    control = Control(["--opt-strategy=usc", "--stats=0"])
    with control.backend() as backend:
        sink = _Clingo(backend)
        literals = _encode(instance, sink)
        for level, terms in enumerate(reversed(sink.costs)):
            backend.add_minimize(level, terms)
    found: Chosen = None
    with control.solve(yield_=True) as answers:
        for answer in answers:
            true: Callable[[int], bool] = answer.is_true
            found = _chosen(literals, true)
        assert answers.get().exhausted, "clingo did not come to an end"
    return found


# ---------------------------------------------------------------------- toulbar2


def toulbar2(instance: Instance) -> Chosen:
    """One table of costs for each pair of positions; resources as linear constraints over values."""
    from pytoulbar2 import CFN

    problem = CFN(ubinit=float(1 << 53))
    try:
        _post(problem, instance)
    except problem.Contradiction:
        return None
    found = problem.Solve()
    return None if found is None else [int(value) for value in found[0][: len(instance.own)]]


def _post(problem: Any, instance: Instance) -> None:
    for place, own in enumerate(instance.own):
        problem.AddVariable(f"p{place}", range(own.size))
    for place, own in enumerate(instance.own):
        problem.AddFunctions(np.array([place]), own.astype(float)[None])
    for (first, second), costs in _between(instance).items():
        problem.AddAkinFunctions(np.array([[first, second]]), costs.astype(float))
    for number, one in enumerate(instance.sums):
        _limit(problem, number, one)


def _between(instance: Instance) -> dict[tuple[int, int], Numbers]:
    """The sum of all tables between two positions, by their values."""
    found: dict[tuple[int, int], Numbers] = {}
    for table in instance.tables:
        first, second = instance.views[table.first], instance.views[table.second]
        costs = table.costs[first.codes[:, None], second.codes]
        pair = first.position, second.position
        if pair[0] > pair[1]:
            pair, costs = pair[::-1], costs.T
        found[pair] = np.minimum(found[pair] + costs, NEVER) if pair in found else costs
    return found


def _limit(problem: Any, number: int, one: Sum) -> None:
    judged, missing = (problem.AddVariable(f"{name}{number}", range(2)) for name in ("judged", "missing"))
    for switch, flags in ((judged, one.changes), (missing, one.missing)):
        for place, some in enumerate(flags):
            if some.any():
                costs = np.zeros((some.size, 2), dtype=float)
                costs[some, 0] = float(NEVER)
                problem.AddFunction([place, switch], costs.ravel().tolist())
    # A gap is not to be made up where there is none: that would lift the limit.
    gaps = [(place, int(v), 1) for place, some in enumerate(one.missing) for v in np.flatnonzero(some)]
    problem.AddGeneralizedLinearConstraint([*gaps, (missing, 1, -1)], ">=", 0)
    problem.AddFunction([judged, missing], [0.0, 0.0, 0.0, float(UNKNOWN)])
    most = max(one.most, 0)
    if most:
        terms = [(place, int(v), int(net[v])) for place, net in enumerate(one.net) for v in np.flatnonzero(net)]
        terms += [(judged, 0, -most), (missing, 1, -most)]
        problem.AddGeneralizedLinearConstraint(terms, "<=", 0)


SOLVERS: dict[str, Solver] = {"CP-SAT": cp_sat, "clingo": clingo, "toulbar2": toulbar2}
