"""Our set-based runner derives the triples that pySHACL on rdflib derives (W3C SHACL-AF rules, by other hands)."""

import os
from collections.abc import Iterable

import pytest
from pyoxigraph import NamedNode, Triple

from crosspin.model.terms import DEF
from crosspin.rules.cases import RDF_TYPE, Bench, Case
from crosspin.rules.second_engine import Fact, derive_by_pyshacl, facts, without_early_shapes
from rules.support import cases_below, full_bench, read_quads, rule_files

# pySHACL takes minutes for all cases of the packs: every eighth is tried each time, and all of them where
# CROSSPIN_EVERY_CASE is set.
SHARES = 8


def merged(cases: Iterable[Case]) -> list[Triple]:
    return list(dict.fromkeys(triple for case in cases for triple in case.given))


def ours(bench: Bench, given: list[Triple]) -> set[Fact]:
    return facts(triple for triples in bench.derive(given).values() for triple in triples)


def test_every_rule_derives_the_same_in_both_engines() -> None:
    quads = read_quads(rule_files())
    bench = Bench(quads)
    given = merged(cases_below("rules"))
    derived = ours(bench, given)
    theirs = derive_by_pyshacl(quads, given) - facts(bench.store)
    assert derived == theirs
    assert len(derived) > 5000


def pack_cases() -> list[Case]:
    """The cases of all packs but those that lay out a vehicle: for these the rules that complete the ontology run
    too, which takes minutes, and the test above sees to the rules that they try."""
    layout = NamedNode(DEF + "Layout")
    return [
        case
        for case in cases_below("packs")
        if not any(triple.predicate == RDF_TYPE and triple.object == layout for triple in case.given)
    ]


@pytest.mark.parametrize("share", range(SHARES if os.environ.get("CROSSPIN_EVERY_CASE") else 1))
def test_pack_cases_derive_the_same_in_both_engines(share: int) -> None:
    bench = full_bench()
    cases = pack_cases()[share::SHARES]
    given = merged(cases)
    derived = ours(bench, given)
    assert derived == derive_by_pyshacl(without_early_shapes(bench.store), given)
    assert len(derived) > 5 * len(cases)
    placed = {triple.object for case in cases for triple in case.given if triple.predicate == RDF_TYPE}
    assert {NamedNode(DEF + "Contact"), NamedNode(DEF + "Placement")} <= placed
