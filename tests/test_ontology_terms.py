"""Terms resolve on a running service; what was given out once does not vanish; old data is read in today's words."""

import re
from pathlib import Path

import pyoxigraph as ox
import pytest
from rdflib import OWL, RDF, RDFS, Graph, Literal, Namespace, URIRef
from rdflib.namespace import DCTERMS, SKOS

from api_client import seed_client
from crosspin.answer.changes import change_log
from crosspin.catalog.library import Library
from crosspin.home import data_folder
from crosspin.store.describe import terms
from crosspin.store.graph import parse_text
from page_client import get, tree
from seed import ROOT, own_desk, seed_desk, seed_library

CP = Namespace("https://crosspin.example/def/")
KIT = """@prefix cp: <https://crosspin.example/def/> . @prefix rdfs: <http://www.w3.org/2000/01/rdf-schema#> .
<https://crosspin.example/id/part/cg-1> a cp:CoverGasket ; rdfs:label "gasket"@en ; cp:price 9 .
<https://crosspin.example/id/kit/two> a cp:Kit ; rdfs:label "two gaskets"@en ; cp:price 16 ;
  cp:hasLine [ cp:LINE <https://crosspin.example/id/part/cg-1> ; cp:quantity 2 ] .
"""
OLD, TODAY = "https://crosspin.example/def/contains", "https://crosspin.example/def/listsPart"
client = seed_client()


@pytest.fixture(scope="module")
def ontology() -> Graph:
    return Graph().parse(data=client.get("/def/").text, format="turtle")


# ---------------------------------------------------------------------- by content negotiation


@pytest.mark.parametrize("term", ["Carrier", "toothCount", "innerShaftInSideGear", "hasFeature", "torqueCaution"])
def test_a_term_comes_as_a_page_as_json_and_as_rdf(term: str, ontology: Graph) -> None:
    page = get(f"/def/{term}")
    assert page.headers["content-type"].startswith("text/html")
    tree(page.text)
    label = ontology.value(CP[term], RDFS.label)
    assert f">{label}</h1>" in page.text
    assert f'<p class="id">{CP[term]}</p>' in page.text
    sheet = client.get(f"/def/{term}").json()
    assert (sheet["iri"], sheet["label"]) == (f"{CP[term]}", f"{label}")
    for media, name in (("text/turtle", "turtle"), ("application/ld+json", "json-ld")):
        said = Graph().parse(data=client.get(f"/def/{term}", headers={"Accept": media}).text, format=name)
        assert set(said.triples((CP[term], None, None))) >= {
            triple for triple in ontology.triples((CP[term], None, None)) if isinstance(triple[2], (URIRef, Literal))
        }


def test_every_link_of_a_term_leads_somewhere() -> None:
    for address in ("/def/Carrier", "/def/innerShaftInSideGear", "/def/contains"):
        links = set(re.findall(r'href="(/def/[^"]+|/v1/(?:kinds|rules)/[^"]+)"', get(address).text))
        assert len(links) > 2
        assert {link: client.get(link).status_code for link in sorted(links)} == dict.fromkeys(sorted(links), 200)


def test_what_names_a_term_is_told() -> None:
    sheet = client.get("/def/sideGearSpline").json()
    assert {"term": "Carrier", "property": "cp:hasFeature"} in sheet["named_by"]
    said = {line["property"]: [v["text"] for v in line["values"]] for line in sheet["statements"]}
    assert said["cp:ofFeatureKind"] == ["cp:InvoluteSpline"]


def test_the_version_leads_to_the_whole_ontology(ontology: Graph) -> None:
    version = ontology.value(URIRef(CP[""]), OWL.versionIRI)
    assert isinstance(version, URIRef)
    number = version.removeprefix(CP)
    assert Literal(number) == ontology.value(URIRef(CP[""]), OWL.versionInfo)
    whole = Graph().parse(data=client.get(f"/def/{number}", headers={"Accept": "text/turtle"}).text, format="turtle")
    assert len(whole) == len(ontology)
    assert client.get("/def/0.0.9").status_code == 404
    assert client.get("/def/Carrier").json()["version_iri"] == f"{version}"


def test_the_page_of_the_ontology_leads_to_every_term() -> None:
    page = get("/def/").text
    tree(page)
    linked = set(re.findall(r'href="/def/([^"]+)"', page))
    assert set(terms(seed_library().graph)) <= linked


# ---------------------------------------------------------------------- from version to version


def test_what_was_given_out_is_still_there_or_told_to_be_gone(ontology: Graph) -> None:
    version = f"{ontology.value(URIRef(CP['']), OWL.versionInfo)}"
    lists = {path.stem: path.read_text(encoding="utf-8").split() for path in (ROOT / "ontology/changes").glob("*.txt")}
    assert version == max(lists, key=lambda v: [int(n) for n in v.split(".")])
    now = set(terms(seed_library().graph))
    gone = {term for given in lists.values() for term in given} - now
    assert gone == set(), "a term that was given out may be deprecated, but not dropped"


def test_every_deprecated_term_says_what_to_write_and_nobody_writes_it(ontology: Graph) -> None:
    deprecated = set(ontology.subjects(OWL.deprecated, Literal(True)))
    assert deprecated
    versions = {path.stem for path in (ROOT / "ontology/changes").glob("*.txt")}
    for term in deprecated:
        assert ontology.value(term, DCTERMS.isReplacedBy) is not None
        assert f"{ontology.value(term, CP.deprecatedSince)}" in versions
        assert not set(ontology.subjects(None, term)) - {term}
        assert not set(ontology.subject_objects(term))
        name = f"cp:{str(term).removeprefix(CP)}"
        for path in [*(ROOT / "seed_data").rglob("*.ttl"), *(ROOT / "docs").glob("*.md")]:
            assert name not in path.read_text(encoding="utf-8"), path
        assert any(name in path.read_text(encoding="utf-8") for path in (ROOT / "ontology/migrations").glob("*.ttl"))


def test_the_log_is_made_by_comparing_versions(tmp_path: Path) -> None:
    (tmp_path / "0.9.0.txt").write_text("one\ntwo\nold\n")
    (tmp_path / "0.10.0.txt").write_text("one\nnew\nold\n")
    log = change_log(tmp_path, ["one", "new", "old", "newest"], {"old": "0.10.0"}, {"old": "new"})
    assert [(r.version, r.added, r.gone, r.deprecated) for r in log] == [
        ("0.9.0", ("old", "one", "two"), (), {}),
        ("0.10.0", ("new",), ("two",), {"old": "new"}),
        ("", ("newest",), (), {}),
    ]
    told = client.get("/v1/changes").json()["items"]
    assert [release["version"] for release in told] == ["0.1.0", "0.2.0", "0.3.0", "0.4.0", ""]
    assert told[1]["deprecated"] == {"contains": "listsPart"}
    assert "listsPart" in told[1]["added"]
    assert told[2]["deprecated"]["distanceAtRide"] == "shaftAtRide"


# ---------------------------------------------------------------------- old data


def lines_of(library: Library) -> list[tuple[str, int]]:
    return [(line.part, line.quantity) for line in library.holdings.catalog.kits["two"].lines]


@pytest.mark.parametrize("word", ["contains", "listsPart"])
def test_data_in_old_words_is_taken_in(word: str) -> None:
    with own_desk() as desk:
        desk.import_text("two.ttl", KIT.replace("LINE", word).encode(), "text/turtle")
        assert lines_of(desk.library) == [("cg-1", 2)]
        stored = desk.library.graph.triples("https://crosspin.example/id/source/two.ttl")
        assert not any(quad.predicate.value == OLD for quad in stored)


def test_a_store_in_old_words_is_read_in_those_of_today(tmp_path: Path) -> None:
    """A store as version 0.1.0 left it: the words of its data are the old ones, and it goes by another ontology."""
    library = Library(data_folder("ontology"), tmp_path / "store")
    library.import_text("two.ttl", KIT.replace("LINE", "listsPart").encode(), "text/turtle")
    with library._writing() as (_, graph):
        name = "https://crosspin.example/id/source/two.ttl"
        old = [
            ox.Quad(q.subject, ox.NamedNode(OLD), q.object) if q.predicate.value == TODAY else q
            for q in graph.triples(name)
        ]
        assert sum(quad.predicate.value == OLD for quad in old) == 1
        graph.replace(name, old)
    library.reread()
    assert lines_of(library) == [("cg-1", 2)]
    stored = {quad.predicate.value for quad in library.graph.triples(name)}
    assert OLD not in stored
    assert TODAY in stored


def test_what_a_retired_term_said_goes_whole(tmp_path: Path) -> None:
    """A store as version 0.3.0 left it: a spec of a retired kind of feature, its reading, and a part without it."""
    library = Library(data_folder("ontology"), tmp_path / "store")
    bar = """@prefix cp: <https://crosspin.example/def/> . @prefix rdfs: <http://www.w3.org/2000/01/rdf-schema#> .
    <https://crosspin.example/id/part/tb-1> a cp:TrackBar ; rdfs:label "bar"@en ; cp:price 9 ;
      cp:trackBarEye [ cp:bracketWidth 44.0 ; cp:bracketBolt 14.0 ] ."""
    library.import_text("bar.ttl", bar.encode(), "text/turtle")
    name = "https://crosspin.example/id/source/bar.ttl"
    old = """@prefix cp: <https://crosspin.example/def/> .
    <https://crosspin.example/id/part/tb-1> cp:lacks cp:dragLinkLine ;
      cp:trackBarLine <https://crosspin.example/id/spec/old> .
    <https://crosspin.example/id/spec/old> a cp:Spec , cp:LinkLine ; cp:lineSlope 2.0 .
    <https://crosspin.example/id/reading/tb-1/trackBarLine.lineSlope> a cp:Reading ; cp:publishedValue "2 deg" ;
      cp:onFeature cp:trackBarLine ; cp:onDimension cp:lineSlope ;
      cp:ofPart <https://crosspin.example/id/part/tb-1> ."""
    with library._writing() as (_, graph):
        today = set(map(str, graph.triples(name)))
        graph.replace(name, [*graph.triples(name), *parse_text(old.encode(), "text/turtle", "old.ttl")])
        assert len(set(map(str, graph.triples(name))) - today) == 10
    library.reread()
    part = library.holdings.catalog.parts["tb-1"]
    assert (sorted(part.specs), part.lacks, part.published) == (["trackBarEye"], (), {})
    assert set(map(str, library.graph.triples(name))) == today


def test_the_deprecated_term_says_so_on_its_page(ontology: Graph) -> None:
    page = get("/def/contains").text
    assert 'Deprecated since 0.2.0. Write <a href="/def/listsPart">listsPart</a>.' in page
    sheet = client.get("/def/contains").json()
    assert (sheet["deprecated"], sheet["replaced_by"]) == ("0.2.0", "listsPart")
    assert seed_desk().holdings.model.deprecated["contains"] == "listsPart"
    assert (CP["contains"], RDF.type, OWL.ObjectProperty) in ontology
    assert ontology.value(CP["contains"], SKOS.definition)
