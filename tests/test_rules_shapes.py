"""The SHACL shapes hold for the shipped ontology and seed data, and refuse what is planted.  Judged by pySHACL."""

import os
from functools import cache

import pytest
import rdflib
from pyoxigraph import NamedNode, Quad

from crosspin.home import data_folder
from crosspin.rules.second_engine import as_rdflib, refused_by_shapes
from crosspin.store.graph import DERIVED, ONTOLOGY, parse_text
from seed import seed_library

PREFIXES = """@prefix cp: <https://crosspin.example/def/> . @prefix part: <https://crosspin.example/id/part/> .
@prefix spec: <https://crosspin.example/id/spec/> . @prefix : <https://crosspin.example/id/> .
@prefix owl: <http://www.w3.org/2002/07/owl#> . @prefix sh: <http://www.w3.org/ns/shacl#> .
@prefix rdfs: <http://www.w3.org/2000/01/rdf-schema#> . @prefix skos: <http://www.w3.org/2004/02/skos/core#> .
@prefix unit: <http://qudt.org/vocab/unit/> .
"""
# Words enough to describe a peg, made up here so that no pack can change what is tried.
WORDS = """
cp:Part a cp:Kind . cp:Peg a cp:Kind ; rdfs:subClassOf cp:Part ; cp:hasFeature cp:shank .
cp:shank a cp:Feature ; cp:ofFeatureKind cp:Round .
cp:Round a cp:FeatureKind . cp:hole a cp:Feature ; cp:ofFeatureKind cp:Round .
cp:width a cp:Dimension ; cp:ofFeatureKind cp:Round ; cp:datatype "decimal" ;
  cp:least 1 ; cp:most 100 ; cp:unit unit:MilliM .
cp:teeth a cp:Dimension ; cp:ofFeatureKind cp:Round ; cp:datatype "integer" ; cp:least 1 ; cp:most 60 .
cp:finish a cp:Dimension ; cp:ofFeatureKind cp:Round ; cp:datatype "code" ; cp:code "rough" , "smooth" .
cp:colours a cp:Dimension ; cp:ofFeatureKind cp:Round ; cp:datatype "code" ; cp:pattern "[a-z]+" ; cp:takesMany true .
cp:flatness a cp:Dimension ; cp:ofFeatureKind cp:Flat ; cp:datatype "decimal" ;
  cp:least 0 ; cp:most 1 ; cp:unit unit:IN .
cp:equals a cp:Comparator . cp:isOneOf a cp:Comparator .
cp:differenceWithin a cp:Comparator . cp:withinRange a cp:Comparator .
"""
PEG = """part:peg a cp:Peg , cp:Part ; cp:identifier "peg" ; rdfs:label "peg"@en ; cp:price 2.50 ; cp:stock 3 ;
  cp:shank spec:s .
spec:s a cp:Spec , cp:Round ; cp:width 8.0 ; cp:teeth 31 ; cp:finish "smooth" ; cp:colours "red" , "blue" . """


SOURCES = "https://crosspin.example/id/source/"


@cache
def shapes(name: str) -> rdflib.Graph:
    return rdflib.Graph().parse(data_folder("ontology") / "shapes" / f"{name}.ttl")


def refusals(name: str, graph: rdflib.Graph) -> list[str]:
    return sorted({message for _, message in refused_by_shapes(graph, shapes(name))})


def planted(name: str, text: str) -> list[str]:
    quads = parse_text((PREFIXES + WORDS + text).encode(), "text/turtle", "planted.ttl")
    return refusals(name, as_rdflib(quads))


def shipped(*graphs: str) -> rdflib.Graph:
    library = seed_library()
    return as_rdflib(q for q in library.graph.quads if getattr(q.graph_name, "value", "").startswith(graphs))


def test_the_ontology_keeps_the_house_style() -> None:
    # the shapes themselves are not terms, and lie in the same graph
    assert refusals("house-style", shipped(ONTOLOGY)) == []


def test_the_rules_keep_their_profile() -> None:
    assert refusals("rule-profile", shipped(ONTOLOGY)) == []


def test_the_seed_data_keeps_the_data_shapes() -> None:
    everything = shipped(ONTOLOGY, DERIVED, SOURCES)
    assert len(list(everything.subjects(rdflib.RDF.type, rdflib.URIRef("https://crosspin.example/def/Part")))) > 400
    # pySHACL runs every query once for each node: some of them are looked at each time, all where it is asked for
    nodes = sorted({q.subject.value for q in seed_library().graph.quads if is_of_source(q)})
    share = nodes if os.environ.get("CROSSPIN_EVERY_CASE") else nodes[::8]
    assert refused_by_shapes(everything, shapes("data"), share) == []


def is_of_source(quad: Quad) -> bool:
    """Whether a node with a name is described by imported data."""
    graph = quad.graph_name
    return isinstance(quad.subject, NamedNode) and isinstance(graph, NamedNode) and graph.value.startswith(SOURCES)


def test_sound_data_is_let_through() -> None:
    assert planted("data", PEG) == []


@pytest.mark.parametrize(
    ("right", "wrong", "said"),
    [
        ('cp:identifier "peg"', 'cp:identifier "Peg 1"', "one cp:identifier"),
        ("cp:price 2.50", "cp:price -2.50", "cp:price is one decimal"),
        ("cp:price 2.50", "cp:price 2.5e0", "cp:price is one decimal"),
        ("cp:stock 3", "cp:stock -1", "cp:stock is one whole number"),
        ("cp:shank spec:s", "cp:hole spec:s", "which no kind that it is of has"),
        ("cp:shank spec:s", "cp:shank spec:s ; cp:lacks cp:hole", "nothing needs saying"),
        ("cp:shank spec:s", "cp:shank spec:s ; cp:lacks cp:shank", "both has and lacks"),
        ("cp:shank spec:s", "cp:shank spec:s , spec:t", "two specs"),
        ("cp:Spec , cp:Round", "cp:Spec , cp:Flat", "of another feature kind"),
        ("cp:width 8.0", "cp:width 0.3", "is under"),
        ("cp:width 8.0", "cp:width 800.0", "is over"),
        ("cp:width 8.0", "cp:width 8.0e0", "never doubles"),
        ("cp:width 8.0", "cp:flatness 0.5", "does not belong to the feature kind"),
        ("cp:teeth 31", "cp:teeth 31.5", "not written as its datatype says"),
        ('cp:finish "smooth"', 'cp:finish "shiny"', "none of its codes"),
        ('"red" , "blue"', '"red" , "Blue 2"', "does not look like"),
    ],
)
def test_unsound_data_is_refused(right: str, wrong: str, said: str) -> None:
    assert right in PEG
    assert any(said in message for message in planted("data", PEG.replace(right, wrong)))


VEHICLE = """:v a cp:Vehicle ; cp:identifier "v" ; rdfs:label "v"@en ; cp:hasLayout :layout ; cp:carries :p .
:layout a cp:Layout .
:p a cp:Placement ; cp:atPath "front/peg" ; cp:holds part:peg . cp:PegRole cp:takesKind cp:Peg .
:pos a cp:Position ; cp:ofLayout :layout ; cp:path "front/peg" ; cp:ofRole cp:PegRole .
:k a cp:Kit ; cp:identifier "k" ; cp:price 2.0 ; cp:hasLine :l .
:l a cp:KitLine ; cp:listsPart part:peg ; cp:quantity 2 . """


def test_a_sound_vehicle_is_let_through() -> None:
    assert planted("data", PEG + VEHICLE) == []


@pytest.mark.parametrize(
    ("right", "wrong", "said"),
    [
        ('cp:atPath "front/peg" ;', 'cp:atPath "front/pgg" ;', "no position of its layout"),
        ("cp:takesKind cp:Peg", "cp:takesKind cp:Board", "not of the kind that belongs there"),
        ("cp:carries :p .", 'cp:carries :p , [ cp:atPath "front/peg" ; cp:holds part:peg ] .', "a position takes one"),
        ("cp:hasLayout :layout", "cp:hasLayout :elsewhere", "one layout"),
        ("cp:quantity 2", "cp:quantity 0", "1 or more"),
        ("cp:hasLine :l .", "cp:quantity 1 .", "holds something"),
        ("cp:listsPart part:peg", "cp:listsPart part:board", "one part on record"),
    ],
)
def test_an_unsound_vehicle_or_kit_is_refused(right: str, wrong: str, said: str) -> None:
    assert right in VEHICLE
    assert any(said in message for message in planted("data", PEG + VEHICLE.replace(right, wrong)))


SAID = 'rdfs:label "x"@en ; skos:definition "What it is."@en ; skos:example "One."@en'


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("cp:Peg a rdfs:Class .", "English rdfs:label"),
        ('cp:Peg a rdfs:Class ; rdfs:label "Zapfen"@de ; skos:definition "What it is."@en .', "English rdfs:label"),
        ('cp:Peg a rdfs:Class ; rdfs:label "x"@en .', "English skos:definition"),
        ('cp:Peg a rdfs:Class ; rdfs:label "x"@en ; skos:definition "What it is."@en .', "skos:example"),
        (f"cp:peg_thing a rdfs:Class ; {SAID} .", "upper camel case"),
        (f"cp:HasPeg a owl:ObjectProperty ; {SAID} .", "lower camel case"),
        (f"cp:Odd a cp:Kind ; {SAID} .", "below it by rdfs:subClassOf"),
        ("cp:width cp:label 1 .", "what a person does"),
        ('cp:x a cp:Dimension ; cp:datatype "double" .', "decimal, integer or code"),
        ('cp:x a cp:Dimension ; cp:datatype "decimal" ; cp:least 1 .', "slips of the pen"),
        (
            'cp:x a cp:Dimension ; cp:datatype "code" ; cp:code "a" ; cp:moreIsBetter true .',
            "better of a number only",
        ),
        ('cp:x a cp:Dimension ; cp:datatype "code" .', "lists its cp:code"),
        ("cp:x cp:derivedBy cp:f .", "goes with cp:derivedFrom"),
        (f"cp:PegHolder a cp:Role ; {SAID} .", "ends in Role"),
        (f'cp:PegRole a cp:Role ; cp:code "Peg" ; {SAID} .', "last word of its path"),
        (f"cp:j a cp:JointKind ; {SAID} .", "at least one cp:hasCriterion"),
        (f"cp:j a cp:JointKind ; {SAID} .", "what stands behind the joint kind"),
        ('cp:c a cp:Criterion ; cp:saysClash "No."@en .', "with {left} in it"),
        ('cp:c a cp:Criterion ; cp:rightDimension cp:width ; cp:saysClash "{left}."@en .', "put {right} into it"),
        ("cp:c a cp:Criterion ; cp:rightDimension cp:width ; cp:constant 1 .", "either a cp:rightDimension"),
        ("cp:c a cp:Criterion .", "either a cp:rightDimension"),
        ("cp:c a cp:Criterion ; cp:comparesBy cp:withinRange .", "needs cp:rightDimensionHigh"),
        ("cp:c a cp:Criterion ; cp:comparesBy cp:differenceWithin .", "need cp:lower or cp:upper"),
        ("cp:c a cp:Criterion ; cp:comparesBy cp:equals ; cp:lower 1 .", "no other comparator has limits"),
        ("cp:c a cp:Criterion ; cp:lower 2 ; cp:upper 1 .", "not above the upper"),
        ("cp:c a cp:Criterion ; cp:comparesBy cp:equals ; cp:rightDimension cp:colours .", "Only isOneOf"),
        ("cp:c a cp:Criterion ; cp:comparesBy cp:isOneOf ; cp:leftDimension cp:colours .", "Only isOneOf"),
        ("cp:c a cp:Criterion ; cp:comparesBy cp:differenceWithin ; cp:leftDimension cp:finish .", "that are numbers"),
        ("cp:c a cp:Criterion ; cp:leftDimension cp:width ; cp:rightDimension cp:flatness .", "in one unit"),
        (
            "cp:c a cp:Criterion ; cp:leftDimension cp:teeth ; cp:rightDimension cp:finish .",
            "both numbers or both codes",
        ),
        ("cp:r a cp:Remedy .", "an operation, an adapter, or both"),
        ("cp:r a cp:Remedy ; cp:byAdapter cp:Peg .", "names both faces"),
        ("cp:r a cp:Remedy .", "A remedy of a joint works on"),
        ("cp:r a cp:Remedy ; cp:worksOn cp:leftPart ; cp:worksAtRole cp:q .", "A remedy of a joint works on"),
        (
            "cp:r a cp:Remedy ; cp:remedyLower 1 . cp:c cp:hasRemedy cp:r ; cp:leftDimension cp:finish .",
            "Limits of a remedy",
        ),
        ("cp:n a cp:Need .", "how bad an oversight is"),
        ("cp:n a cp:Need .", "cp:hasEvidence"),
        ("cp:n a cp:Renewal .", "in one sentence"),
        ("cp:n a cp:Consequence .", "brings operations, checks or cautions"),
        ("cp:n a cp:Need ; cp:whenDimension cp:finish ; cp:whenLower 1 .", "looked for by cp:whenCode"),
        ("cp:n a cp:Need ; cp:whenDimension cp:width .", "cp:whenLower or cp:whenUpper"),
        ('cp:n a cp:Need ; cp:thenDimension cp:width ; cp:thenCode "8" .', "cp:thenLower or cp:thenUpper"),
        ("cp:n a cp:Need ; cp:thenEmpty true ; cp:thenKind cp:Peg .", "wants no kind"),
        ("cp:r a cp:Resource ; cp:drawDimension cp:finish .", "cp:drawDimension, a number"),
        ("cp:o a cp:Operation ; cp:hours 400 .", "some cp:hours"),
        ("cp:o a cp:Operation .", "is in one phase"),
        ("cp:o a cp:Operation .", "how often it is done"),
        ("cp:o a cp:Operation .", "cp:hurtsNobody true"),
        (
            "cp:c a cp:Caution . cp:o a cp:Operation ; cp:carriesCaution cp:c ; cp:hurtsNobody true .",
            "carries cautions",
        ),
        ("cp:o a cp:Operation ; cp:entails cp:Peg .", "cp:entails leads to"),
        ("cp:p a cp:Phase .", "one cp:phaseNumber"),
        ("cp:c a cp:Check .", "end of which phase"),
        (":u a cp:ConsumableUse ; cp:readsFeature cp:shank .", "names role, feature and dimension"),
        ("cp:o a cp:Caution .", "what is said to the person"),
        ("cp:f a cp:Formula .", "Write the formula down"),
        ("cp:f a cp:Figure .", "computed by one formula"),
        ("cp:f a cp:Figure .", "cp:figuredAt"),
        ("cp:f a cp:Figure .", "how bad an oversight is"),
        ("cp:f a cp:SpeedTable .", "one list of inputs"),
        ("cp:f a cp:Figure ; cp:decimals 30 .", "how many cp:decimals"),
        ('cp:f cp:takes ( [ cp:asInput "a" ] ) .', "one of the three"),
        ('cp:f cp:takes ( [ cp:asInput "a" ; cp:constant 1 ; cp:readsFigure cp:g ] ) .', "one of the three"),
        ('cp:f cp:atMost [ cp:constant 1 ; cp:says "Over {limit}."@en ] .', "with {value} in it"),
        ('cp:f cp:atLeast [ cp:constant 1 ; cp:says "{value} is low."@en ] .', "has {limit} in it"),
        ('cp:f cp:atLeast [ cp:says "{value} under {limit}."@en ] .', "A limit is a cp:constant"),
    ],
)
def test_what_breaks_the_house_style_is_refused(text: str, said: str) -> None:
    assert any(said in message for message in planted("house-style", text))


RULE = """cp:S a sh:NodeShape ; sh:targetClass cp:Part ; sh:order 1 ; sh:rule cp:r .
cp:r a sh:SPARQLRule ; sh:order 1 ; sh:prefixes cp:p ;
 rdfs:label "r"@en ; skos:definition "What it concludes."@en ;
 sh:construct "CONSTRUCT { $this cp:a true } WHERE { $this cp:b ?c }" . """


def test_a_rule_in_the_profile_is_let_through() -> None:
    assert planted("rule-profile", RULE) == []


@pytest.mark.parametrize(
    ("right", "wrong", "said"),
    [
        ('rdfs:label "r"@en ;', "", "one rdfs:label"),
        ('skos:definition "What it concludes."@en ;', "", "one skos:definition"),
        ("sh:prefixes cp:p ;", "", "sh:prefixes cp:prefixes"),
        ("sh:rule cp:r .", "sh:rule cp:q .", "sh:rule of its layer's shape"),
        ("sh:targetClass cp:Part ;", "", "names the class of its focus nodes"),
        ("CONSTRUCT { $this cp:a true }", "CONSTRUCT { [] cp:a $this }", "mint IRIs"),
        ("WHERE { $this cp:b ?c }", "WHERE { ?c cp:b $this }", "WHERE { $this ... }"),
        ("cp:b ?c }", "cp:b ?c OPTIONAL { ?c cp:d ?e } }", "FILTER NOT EXISTS only"),
    ],
)
def test_a_rule_outside_the_profile_is_refused(right: str, wrong: str, said: str) -> None:
    assert right in RULE
    assert any(said in message for message in planted("rule-profile", RULE.replace(right, wrong)))
