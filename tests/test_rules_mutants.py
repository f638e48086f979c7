"""Changing any limit, factor, constant, comparator or remedy of a criterion breaks a case of its pack."""

from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest
from pyoxigraph import Literal, NamedNode, Quad

from crosspin.home import data_folder
from crosspin.model.records import DECIMAL, INTEGER, cp
from crosspin.rules.cases import RDF_TYPE, Bench, Case, find_cases
from crosspin.store.graph import read_folder
from rules.support import read_quads

PACKS = sorted(path.parent for path in (data_folder("ontology") / "packs").glob("*/cases.trig"))
Change = tuple[str, list[Quad], list[Quad]]
"""What is changed in words, the quads that go and those that come."""

COMPARED_OTHERWISE = {
    "equals": "withinRange",
    "isOneOf": "withinRange",
    "differenceWithin": "equals",
    "percentWithin": "differenceWithin",
    "withinRange": "equals",
}


@pytest.fixture(scope="module")
def bench() -> Bench:
    return Bench(read_folder(data_folder("ontology"))[0])


def replaced(quad: Quad, other: Literal | NamedNode | None) -> Change:
    name = quad.predicate.value.rpartition("/")[2]
    come = [] if other is None else [Quad(quad.subject, quad.predicate, other)]
    return f"with {name} {other} for {quad.object}", [quad], come


def nudged(quad: Quad, by: int) -> Literal:
    """A number moved by a quarter of itself, and by 0.2 at least."""
    assert isinstance(quad.object, Literal)
    value = Decimal(quad.object.value)
    return Literal(f"{value + by * max(abs(value) / 4, Decimal('0.2')):f}", datatype=DECIMAL)


def changes(bench: Bench, criterion: NamedNode) -> Iterator[Change]:
    """Mutants of one criterion."""
    for quad in list(bench.store.quads_for_pattern(criterion, None, None)):
        name = quad.predicate.value.rpartition("/")[2]
        if name in ("lower", "upper"):
            yield replaced(quad, None)
            yield replaced(quad, nudged(quad, 1 if name == "lower" else -1))
        elif name == "appliesFactor":
            if any(bench.store.quads_for_pattern(criterion, cp("rightFactor"), None)):
                yield replaced(quad, nudged(quad, 1))
        elif name == "hasRemedy":
            yield replaced(quad, None)
        elif name == "constant" and isinstance(quad.object, Literal):
            coded = quad.object.datatype not in (DECIMAL, INTEGER)
            yield replaced(quad, Literal("no-such-code") if coded else nudged(quad, 1))
        elif name == "comparesBy" and isinstance(quad.object, NamedNode):
            yield replaced(quad, cp(COMPARED_OTHERWISE[quad.object.value.rpartition("/")[2]]))


def mutate(bench: Bench, change: Change) -> None:
    _, go, come = change
    for quad in go:
        bench.store.remove(quad)
    bench.store.extend(come)


def broken(bench: Bench, cases: list[Case], change: Change) -> bool:
    mutate(bench, change)
    try:
        return any(bench.judge(case) for case in cases)
    finally:
        mutate(bench, (change[0], change[2], change[1]))


@pytest.mark.parametrize("pack", PACKS, ids=lambda pack: pack.name)
def test_no_number_or_word_of_a_criterion_can_change_unnoticed(pack: Path, bench: Bench) -> None:
    cases = find_cases(pack)
    criteria = {
        quad.subject
        for quad in read_quads(sorted(pack.glob("*.ttl")))
        if quad.predicate == RDF_TYPE and quad.object == cp("Criterion") and isinstance(quad.subject, NamedNode)
    }
    survivors = []
    for criterion in sorted(criteria, key=str):
        remedies = {str(quad.object) for quad in bench.store.quads_for_pattern(criterion, cp("hasRemedy"), None)}
        tried = [case for case in cases if criterion.value in case.tests or remedies & {f"<{t}>" for t in case.tests}]
        for change in changes(bench, criterion):
            if not broken(bench, tried, change):
                survivors.append(f"{criterion.value.rpartition('/')[2]} {change[0]}")
    assert survivors == []
