"""The shipped ontology passes the gates; planted faults do not."""

from pathlib import Path

import pytest

from crosspin.rules.gates import check, check_coverage, check_layers, read_rule_texts
from crosspin.store.packs import Fault
from rules.support import cases_below, full_bench, rule_files

PREFIXES = """@prefix cp: <https://crosspin.example/def/> . @prefix case: <https://crosspin.example/case/> .
@prefix sh: <http://www.w3.org/ns/shacl#> . @prefix rdfs: <http://www.w3.org/2000/01/rdf-schema#> .
@prefix skos: <http://www.w3.org/2004/02/skos/core#> .
"""


@pytest.fixture
def core(tmp_path: Path) -> Path:
    """A copy of the core words and the rules, to plant faults beside."""
    folder = tmp_path / "core"
    folder.mkdir()
    for path in rule_files():
        (folder / path.name).write_bytes(path.read_bytes())
    return folder


def plant(core: Path, query: str, order: str = "15", extra: str = "") -> list[Fault]:
    """The faults that name a planted rule; no cases are looked at but its own, of which there are none."""
    pack = core.parent / "pack"
    pack.mkdir()
    text = f"""{PREFIXES}
cp:PlantedShape a sh:NodeShape ; sh:targetClass cp:Contact ; sh:order {order} ; sh:rule cp:planted .
cp:planted a sh:SPARQLRule ; sh:order {order} ; sh:prefixes cp:prefixes ; rdfs:label "planted"@en ;
  skos:definition "Planted."@en ; sh:construct \"\"\"{query}\"\"\" {extra}."""
    (pack / "rules.ttl").write_text(text, encoding="utf-8")
    return [f for f in check([core, pack]) if "planted" in str(f) and "no case" not in f.wrong]


def test_the_shipped_ontology_passes() -> None:
    """That its cases come out is tried folder by folder in test_rules_cases.py."""
    store, cases = full_bench().store, cases_below()
    rules, faults = read_rule_texts(store)
    assert [str(fault) for fault in (*faults, *check_layers(rules, store), *check_coverage(store, cases))] == []
    assert len(cases) > 1000


QUIET = "CONSTRUCT { $this cp:quiet true . } WHERE { $this cp:leftSpec ?s . "
HEAD = "CONSTRUCT { $this cp:isOpen true . } WHERE { "


@pytest.mark.parametrize(
    ("query", "said"),
    [
        (HEAD + "$this cp:leftSpec ?s . OPTIONAL { ?s cp:price ?p } }", "uses OPTIONAL"),
        (HEAD + "{ $this cp:leftSpec ?s } UNION { $this cp:rightSpec ?s } }", "uses UNION"),
        (HEAD + "$this cp:leftSpec ?s . MINUS { ?s cp:price ?p } }", "uses MINUS"),
        (HEAD + "$this cp:leftSpec/cp:price ?p . }", "uses a property path"),
        (HEAD + "$this cp:leftSpec+ ?p . }", "uses a property path"),
        (HEAD + "$this cp:leftSpec ?s . FILTER EXISTS { ?s cp:price ?p } }", "uses FILTER EXISTS"),
        (HEAD + "$this cp:leftSpec ?s . SERVICE <http://x.example/> { ?s cp:price ?p } }", "uses SERVICE"),
        (HEAD + "$this cp:leftSpec ?s . VALUES ?s { cp:x } }", "uses VALUES"),
        (HEAD + "$this cp:leftSpec ?s . { SELECT (SUM(?p) AS ?q) WHERE { ?s cp:price ?p } } }", "sub-select"),
        (HEAD + "$this cp:leftSpec ?s . ?s cp:price ?p . FILTER (?p > 1.5e0) }", "uses the double"),
        (HEAD + "$this cp:leftSpec ?s . FILTER (<http://x.example/f>(?s)) }", "an extension function"),
        (HEAD + "$this cp:leftSpec ?s . BIND (RAND() AS ?r) }", "uses RAND"),
        ("CONSTRUCT { [] cp:x $this . } WHERE { $this cp:leftSpec ?s . }", "a blank node in the head"),
        ("CONSTRUCT { ?b cp:x $this . } WHERE { $this cp:leftSpec ?s . BIND (BNODE() AS ?b) }", "uses BNODE"),
        (
            "CONSTRUCT { ?s cp:isOpen true . } WHERE { ?s a cp:Spec . $this cp:leftSpec ?s . }",
            "does not start from $this",
        ),
        ("SELECT ?this WHERE { $this a cp:Contact . }", "SELECT in place of CONSTRUCT"),
        ("CONSTRUCT { $this cp:isOpen true } WHERE { $this cp:leftSpec }", "does not parse"),
    ],
)
def test_what_the_portable_profile_leaves_out_is_caught(core: Path, query: str, said: str) -> None:
    assert any(said in fault.wrong for fault in plant(core, query))


def test_a_portable_rule_is_let_through(core: Path) -> None:
    query = (
        HEAD + "$this cp:leftSpec ?s . FILTER NOT EXISTS { ?s cp:price ?p } BIND (STR(?s) AS ?t) FILTER (?t != '') }"
    )
    assert plant(core, query, "29") == []


def test_a_rule_may_not_deny_what_a_later_layer_adds(core: Path) -> None:
    denial = QUIET + "FILTER NOT EXISTS { $this cp:isBarred true } }"
    faults = plant(core, denial, "29")
    assert [f.wrong for f in faults] == ["layer 29 denies isBarred, which cp:barContact adds in layer 30"]
    assert "layer after that" in faults[0].right
    assert str(core.parent / "pack") in faults[0].place


def test_a_rule_may_not_deny_what_its_own_layer_adds(core: Path) -> None:
    own = (
        "CONSTRUCT { $this cp:quiet true . } WHERE { $this cp:leftSpec ?s . FILTER NOT EXISTS { $this cp:quiet true } }"
    )
    assert any("denies quiet" in fault.wrong for fault in plant(core, own))


def test_a_denial_is_allowed_once_the_facts_are_complete(core: Path) -> None:
    denial = QUIET + "FILTER NOT EXISTS { $this cp:isBarred true } }"
    assert plant(core, denial, "31") == []


def test_a_denial_through_a_variable_property_is_seen(core: Path) -> None:
    denial = (
        "CONSTRUCT { $this cp:quiet true . } WHERE { $this cp:ofJointKind ?k . cp:loud cp:speaksBy ?by . "
        "FILTER NOT EXISTS { $this ?by true } }"
    )
    faults = plant(core, denial, "15", ". cp:loud cp:speaksBy cp:isUnsafe ")
    assert any("denies isUnsafe" in fault.wrong for fault in faults)


def test_shape_and_rule_share_their_order(core: Path) -> None:
    pack = core.parent / "pack"
    pack.mkdir()
    (pack / "rules.ttl").write_text(
        PREFIXES
        + """cp:PlantedShape a sh:NodeShape ; sh:targetClass cp:Contact ; sh:order 15 ; sh:rule cp:planted .
cp:planted a sh:SPARQLRule ; sh:order 16 ; sh:prefixes cp:prefixes ;
  sh:construct "CONSTRUCT { $this cp:quiet true } WHERE { $this cp:leftSpec ?s }" .
[] a sh:SPARQLRule ; sh:order 16 .""",
        encoding="utf-8",
    )
    wrongs = [fault.wrong for fault in check([core, pack])]
    for said in (
        "order 16, its shape cp:PlantedShape 15",
        "no rdfs:label",
        "no skos:definition",
        "a blank node",
        "no sh:construct",
    ):
        assert any(said in wrong for wrong in wrongs)


def test_what_no_case_tries_is_named(core: Path) -> None:
    pack = core.parent / "pack"
    pack.mkdir()
    (pack / "joints.ttl").write_text(
        PREFIXES
        + "cp:pin a cp:JointKind ; cp:hasCriterion cp:pin-width . cp:pin-width a cp:Criterion . cp:wish a cp:Need .",
        encoding="utf-8",
    )
    (pack / "cases.trig").write_text(
        PREFIXES
        + """case:one a cp:Case ; cp:tests cp:pin-width ; cp:given case:g ; cp:expects case:e .
GRAPH case:g { case:c a cp:Contact ; cp:ofJointKind cp:pin . } GRAPH case:e { case:c cp:hasVerdict cp:clashes . }""",
        encoding="utf-8",
    )
    faults = {str(f) for f in check([core, pack]) if "pack" in f.place or "case/" in f.place}
    assert any("cp:pin-width: no case refuses" in fault for fault in faults)
    assert not any("cp:pin-width: no case expects" in fault for fault in faults)
    assert any("cp:wish: no case expects" in fault for fault in faults)
    assert any("is expected but does not follow" in fault for fault in faults)


def test_broken_text_is_one_fault_that_names_the_place(core: Path) -> None:
    (core / "more.ttl").write_text("cp:x a", encoding="utf-8")
    faults = check([core])
    assert len(faults) == 1
    assert "more.ttl" in str(faults[0])
    assert "line 1" in str(faults[0])
