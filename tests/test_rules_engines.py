"""Our set-based runner derives the triples that pySHACL on rdflib derives (W3C SHACL-AF rules, by other hands)."""

from collections.abc import Iterable

from pyoxigraph import NamedNode, Quad, Triple

from crosspin.home import data_folder
from crosspin.model.terms import DEF
from crosspin.rules.cases import RDF_TYPE, Bench, Case, find_cases
from crosspin.store.graph import read_folder
from rules.support import Fact, derive_by_pyshacl, fact, read_quads, rule_files, without_early_shapes

SAMPLED_PACK_CASES = 60


def merged(cases: Iterable[Case]) -> list[Triple]:
    return list(dict.fromkeys(triple for case in cases for triple in case.given))


def facts(triples: Iterable[Triple | Quad]) -> set[Fact]:
    return {fact(t.subject, t.predicate, t.object) for t in triples}


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


def test_packs_derive_the_same_in_both_engines() -> None:
    bench = Bench(read_folder(data_folder("ontology"))[0])
    layout = NamedNode(DEF + "Layout")
    cases = [
        case
        for case in find_cases(data_folder("ontology") / "packs")
        # rdflib needs minutes to pair the positions of a layout; the test above sees to those rules
        if not any(triple.predicate == RDF_TYPE and triple.object == layout for triple in case.given)
    ]
    given = merged(cases[:: max(1, len(cases) // SAMPLED_PACK_CASES)])
    derived = ours(bench, given)
    assert derived == derive_by_pyshacl(without_early_shapes(bench.store), given)
    assert len(derived) > 500
