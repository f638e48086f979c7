"""Our set-based runner derives the triples that pySHACL on rdflib derives (W3C SHACL-AF rules, by other hands)."""

import os
from collections.abc import Iterable

import pytest
from pyoxigraph import NamedNode, Triple

from crosspin.home import data_folder
from crosspin.model.terms import DEF
from crosspin.rules.cases import RDF_TYPE, Bench, Case, find_cases
from crosspin.rules.second_engine import Fact, derive_by_pyshacl, facts, mentioned, without_early_shapes
from crosspin.store.graph import read_folder
from rules.support import read_quads, rule_files

# pySHACL takes a third of a second for a case that places parts, and minutes for all contacts: one part of them
# is tried each time, and all of them where CROSSPIN_EVERY_CASE is set.
CONTACT_PARTS = 8
PLACEMENT_PARTS = 128
PLACEMENT = NamedNode(DEF + "Placement")


def merged(cases: Iterable[Case]) -> list[Triple]:
    return list(dict.fromkeys(triple for case in cases for triple in case.given))


def ours(bench: Bench, given: list[Triple]) -> set[Fact]:
    return facts(triple for triples in bench.derive(given).values() for triple in triples)


def test_every_rule_derives_the_same_in_both_engines() -> None:
    quads = read_quads(rule_files())
    bench = Bench(quads)
    given = merged(find_cases(data_folder("ontology") / "rules"))
    derived = ours(bench, given)
    theirs = derive_by_pyshacl(quads, given) - facts(bench.store)
    assert derived == theirs
    assert len(derived) > 5000


def pack_cases() -> list[Case]:
    """The cases of all packs but those that pair the positions of a layout: rdflib needs minutes for one of
    these, and the test above sees to the rules that they try."""
    layout = NamedNode(DEF + "Layout")
    return [
        case
        for case in find_cases(data_folder("ontology") / "packs")
        if not any(triple.predicate == RDF_TYPE and triple.object == layout for triple in case.given)
    ]


def is_of_contacts(case: Case) -> bool:
    """Whether a case starts from contacts with their readings, so that no position or need plays a part."""
    return not any(triple.predicate == RDF_TYPE and triple.object == PLACEMENT for triple in case.given)


def parts_of(whole: int) -> range:
    """The parts to try, of so many."""
    return range(whole if os.environ.get("CROSSPIN_EVERY_CASE") else 1)


@pytest.mark.parametrize("part", parts_of(CONTACT_PARTS))
def test_pack_cases_of_contacts_derive_the_same_in_both_engines(part: int) -> None:
    # ours has all of the ontology beside it; rdflib is given what the cases mention, which spares it minutes
    bench = Bench(read_folder(data_folder("ontology"))[0])
    cases = [case for case in pack_cases() if is_of_contacts(case)][part::CONTACT_PARTS]
    given = merged(cases)
    derived = ours(bench, given)
    assert derived == derive_by_pyshacl(mentioned(without_early_shapes(bench.store), given), given)
    assert len(derived) > 5 * len(cases)


@pytest.mark.parametrize("part", parts_of(PLACEMENT_PARTS))
def test_pack_cases_of_placements_derive_the_same_in_both_engines(part: int) -> None:
    bench = Bench(read_folder(data_folder("ontology"))[0])
    cases = [case for case in pack_cases() if not is_of_contacts(case)][part::PLACEMENT_PARTS]
    given = merged(cases)
    derived = ours(bench, given)
    assert derived == derive_by_pyshacl(without_early_shapes(bench.store), given)
    assert len(derived) > 5 * len(cases)
