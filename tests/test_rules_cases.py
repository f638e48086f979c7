"""Every case comes out.  That every rule is needed by some case is tried in `test_packs_mutants`."""

import pytest

from crosspin.home import data_folder
from crosspin.model.records import cp
from crosspin.rules.cases import Bench, read_cases
from crosspin.rules.gates import check_cases
from crosspin.store.graph import BrokenText
from rules.support import cases_below, full_bench, read_quads, rule_bench, rule_files

CASES = data_folder("ontology").rglob("cases.trig")
RULE_CASES = cases_below("rules")
FOLDERS = sorted(str(path.parent.relative_to(data_folder("ontology"))) for path in CASES)
LIMITS = ("lower", "upper", "acceptsFrom", "acceptsTo", "constant")
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


@pytest.mark.parametrize("folder", ["packs/kingpins", "packs/vents"])
def test_in_a_crowd_a_case_comes_out_as_it_does_by_itself(folder: str) -> None:
    """Also where the ontology is wrong: every limit of a criterion or condition is gone."""
    whole, cases = full_bench(), cases_below(folder)
    gone = [quad for word in LIMITS for quad in whole.store.quads_for_pattern(None, cp(word), None)]
    for quads in ([], gone):
        for quad in quads:
            whole.store.remove(quad)
        try:
            together = list(whole.judge_all(cases))
            alone = [(case, whole.judge(case)) for case in cases]
        finally:
            whole.store.extend(quads)
        assert together == alone
        assert any(misses for _, misses in alone) is bool(quads)


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
