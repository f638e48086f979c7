"""Every case comes out, and every rule is needed by some case."""

import re
from collections.abc import Iterator

import pytest

from crosspin.home import data_folder
from crosspin.rules.cases import Bench, read_cases
from crosspin.rules.gates import check_cases
from crosspin.store.graph import BrokenText
from crosspin.store.infer import Rule
from rules.support import cases_below, full_bench, read_quads, rule_bench, rule_files

CASES = data_folder("ontology").rglob("cases.trig")
RULE_CASES = cases_below("rules")
FOLDERS = sorted(str(path.parent.relative_to(data_folder("ontology"))) for path in CASES)
PREFIXES = "@prefix cp: <https://crosspin.example/def/> . @prefix : <https://crosspin.example/case/> .\n"


@pytest.fixture(scope="module")
def bench() -> Bench:
    return rule_bench()


def test_the_cases_of_the_rules_come_out(bench: Bench) -> None:
    assert [str(miss) for case in RULE_CASES for miss in bench.judge(case)] == []
    assert len(RULE_CASES) > 100


@pytest.mark.parametrize("folder", FOLDERS)
def test_all_cases_come_out_in_the_whole_ontology(folder: str) -> None:
    cases = cases_below(folder)
    assert cases
    assert [str(fault) for fault in check_cases(full_bench(), cases)] == []


def deniers(rule: Rule) -> Iterator[Rule]:
    """The rule with one FILTER NOT EXISTS left out, once for each."""
    for match in re.finditer(r"FILTER NOT EXISTS \{", rule.query):
        depth, end = 1, match.end()
        while depth:
            depth += {"{": 1, "}": -1}.get(rule.query[end], 0)
            end += 1
        yield Rule(rule.iri, rule.target, rule.order, rule.query[: match.start()] + rule.query[end:])


def mutants(rule: Rule) -> Iterator[tuple[str, Rule | None]]:
    yield "left out", None
    for index, denier in enumerate(deniers(rule)):
        yield f"without FILTER NOT EXISTS number {index}", denier
    for found in re.finditer(r"(?<= )(<=|>=|<|>)(?= )", rule.query):
        other = {"<": "<=", ">": ">=", "<=": "<", ">=": ">"}[found[1]]
        text = rule.query[: found.start()] + other + rule.query[found.end() :]
        yield f"with {other} for {found[1]} at {found.start()}", Rule(rule.iri, rule.target, rule.order, text)


NEVER_ITSELF = "The two positions of a pair are never one, so that < and <= on their names agree."
HARMLESS = {
    "deriveAcrossAxlesPairs with <= for <": NEVER_ITSELF,
    "deriveAcrossSidesPairs with <= for <": NEVER_ITSELF,
    "deriveWholeVehiclePairs with <= for <": NEVER_ITSELF,
    "judgeFreshRight without FILTER NOT EXISTS number 0": "It spares deriving a contact of two fresh parts twice over.",
}


def test_no_part_of_a_rule_can_go_unnoticed(bench: Bench) -> None:
    derived = {case.iri: set(bench.derive(case.given)) for case in RULE_CASES}
    survivors = []
    for rule in bench.rules:
        tried = [case for case in RULE_CASES if rule.iri in case.tests or rule.iri in derived[case.iri]]
        tried.sort(key=lambda case: rule.iri not in case.tests)
        for name, mutant in mutants(rule):
            if not any(bench.judge(case, rule.iri, mutant) for case in tried):
                survivors.append(f"{rule.iri.rpartition('/')[2]} {name}")
    assert sorted(s for s in survivors if not s.startswith(tuple(HARMLESS))) == []
    assert len(survivors) == len(HARMLESS)


def broken(text: str) -> str:
    with pytest.raises(BrokenText) as caught:
        read_cases((PREFIXES + text).encode(), "broken.trig")
    return str(caught.value)


def test_a_case_that_cannot_fail_is_refused() -> None:
    assert "cannot fail" in broken(":a a cp:Case ; cp:tests :x ; cp:given :g . GRAPH :g { :s :p :o }")
    assert "no cp:given" in broken(":a a cp:Case ; cp:tests :x ; cp:expects :e . GRAPH :e { :s :p :o }")
    assert "empty or not there" in broken(
        ":a a cp:Case ; cp:tests :x ; cp:given :g ; cp:expects :e . GRAPH :g { :s :p :o }"
    )
    assert "belongs to no case" in broken("GRAPH :g { :s :p :o }")
    assert "is no cp:Case" in broken(":a cp:tests :x .")
    assert "line 2" in broken("GRAPH { nonsense")


def test_a_false_expectation_is_reported() -> None:
    toy = next(case for case in RULE_CASES if case.iri.endswith("/not-equal"))
    expected, refused = toy.expects, toy.refuses
    turned = type(toy)(toy.iri, toy.label, toy.tests, toy.given, refused, expected)
    problems = [miss.problem for miss in Bench(read_quads(rule_files())).judge(turned)]
    assert [problem.partition(";")[0] for problem in problems] == ["is expected but does not follow"] * 2 + [
        "is refused but follows"
    ]
