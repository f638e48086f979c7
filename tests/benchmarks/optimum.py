"""(b) The whole optimum: the cheapest change that goes together, beside CP-SAT, clingo and toulbar2.

Ours is the stage "search" of an ask: the optimum and, for each changed position, what the best whole plan costs with
every other part there.  The peers find the optimum only; for the fastest of them that is not raw it is worked out what
it takes to solve again, on the reduced problem, for each of these alternatives too.  They are given the tables of what
rules say of specs ready made, as our search keeps them; reducing, building the model and solving is timed.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from statistics import mean
from time import perf_counter

import numpy as np

from benchmarks.clock import Stopped, Timed, limited, timed
from benchmarks.instance import NEVER, Asked, Instance, packed
from benchmarks.reduce import reduced
from benchmarks.rows import Row
from benchmarks.solvers import SOLVERS
from crosspin.answer.desk import Desk
from crosspin.answer.plan import Plan
from crosspin.knockon.ask import Ask
from crosspin.knockon.proposal import Proposal
from crosspin.knockon.search import Searcher
from search.answers import rank, without_figures

OURS = "ours, with every alternative"
RAW, COLLAPSED, REDUCED = "raw", "collapsed", "reduced"
AGAIN = "and every alternative"
SAMPLE = 8
"""Alternatives that a peer is timed on."""


@dataclass(frozen=True)
class _Forms:
    """One ask in each form."""

    raw: Instance
    collapsed: Instance

    def ready(self, form: str) -> Instance:
        """What the solver is given."""
        if form == REDUCED:
            return reduced(self.collapsed)
        return (self.raw if form == RAW else self.collapsed).folded()


def _solved(forms: _Forms, form: str, solver: str) -> tuple[int | None, float]:
    """What the optimum costs, and the seconds it took."""
    started = perf_counter()
    instance = forms.ready(form)
    chosen = SOLVERS[solver](instance)
    took = perf_counter() - started
    return (None if chosen is None else instance.cost(chosen)), took


def measure(desk: Desk, asks: dict[str, Ask], size: int, stopped: set[str]) -> list[Row]:
    """Rows for every ask; engines in `stopped` are left out, and who is stopped now joins them."""
    return [row for name, ask in asks.items() for row in _measure(desk, name, ask, size, stopped)]


def _measure(desk: Desk, case: str, ask: Ask, size: int, stopped: set[str]) -> Iterator[Row]:
    times: list[float] = []

    def mine() -> Plan:
        stages: dict[str, float] = {}
        told = desk.ask(ask, stages)
        assert isinstance(told, Plan), f"{case} has no plan"
        times.append(stages["search"])
        return told

    timed(mine, enough=20.0)
    yield Row("b", case, OURS, size, float(np.median(times)))
    # The peers work no figures out; what they find is held to our own search without them.
    model, catalog = without_figures(desk.holdings.model), desk.holdings.catalog
    plain = Searcher(model, catalog).propose(ask)
    assert isinstance(plain, Proposal)
    best = packed(rank(plain.cost))
    question = Asked(model, catalog, ask)
    collapsed = question.collapsed()
    forms = _Forms(question.raw(collapsed), collapsed)
    took: dict[str, float] = {}
    for form in (RAW, COLLAPSED, REDUCED):
        for solver in SOLVERS:
            name = f"{solver}, {form}"
            if name in stopped:
                yield Row("b", case, name, size, None, "left out")
                continue
            found = limited(partial(_timed, forms, form, solver))
            if isinstance(found, Stopped):
                stopped.add(name)
                yield Row("b", case, name, size, None, found.why)
                continue
            assert found.answer == best, f"{name} finds {found.answer}, ours {best}, for {case} at {size} parts"
            took[name] = found.seconds
            yield Row("b", case, name, size, found.seconds)
    least = min((name for name in took if not name.endswith(RAW)), key=took.__getitem__, default=None)
    if least is not None:
        yield from _again(case, least, size, took[least], forms)


def _timed(forms: _Forms, form: str, solver: str) -> Timed[int | None]:
    costs: list[int | None] = []
    found = timed(lambda: costs.append(_solved(forms, form, solver)[0]), runs=3, enough=10.0)
    return Timed(found.seconds, costs[-1])


def _again(case: str, name: str, size: int, once: float, forms: _Forms) -> Iterator[Row]:
    """What it takes the peer to find what every alternative costs: the optimum, and one more for each value left."""
    solver = name.partition(",")[0]

    def all_of_them() -> tuple[int, float]:
        instance = forms.ready(REDUCED)
        chosen = SOLVERS[solver](instance)
        assert chosen is not None
        others = [
            (place, value)
            for place, own in enumerate(instance.own)
            if instance.values[place][chosen[place]][0] != "received"
            for value in range(own.size)
            if value != chosen[place] and own[value] < NEVER
        ]
        spent = []
        for place, value in others[:: max(1, len(others) // SAMPLE)][:SAMPLE]:
            started = perf_counter()
            every = [np.arange(own.size) for own in instance.own]
            every[place] = np.array([value])
            SOLVERS[solver](instance.only(every).folded())
            spent.append(perf_counter() - started)
        return len(others), mean(spent) if spent else 0.0

    found = limited(all_of_them)
    if isinstance(found, Stopped):
        yield Row("b", case, f"{name}, {AGAIN}", size, None, found.why)
        return
    count, each = found
    note = f"{count} alternatives, the time of one taken from {min(SAMPLE, count)}"
    yield Row("b", case, f"{name}, {AGAIN}", size, once + count * each, note)
