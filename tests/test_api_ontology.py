"""The ontology as it is published: whole, by kind, by rule, by term, and as CSV files to fill in."""

import csv
import io
import re
from typing import Any

import pytest
from rdflib import RDF, Graph, URIRef
from rdflib.namespace import RDFS, SKOS

from api_client import seed_client
from crosspin.api.shapes import RuleSort
from crosspin.catalog.csv_file import FIXED
from crosspin.model.schema import Model
from seed import ROOT, seed_desk

client = seed_client()
MODEL = seed_desk().holdings.model
DEF = "https://crosspin.example/def/"
FILES = sorted(path.stem for path in (ROOT / "seed_data/parts").glob("*.csv"))


def test_the_published_model_is_the_whole_model() -> None:
    assert Model.model_validate_json(client.get("/v1/model").content) == MODEL


def test_every_kind_has_its_sheet() -> None:
    listed = client.get("/v1/kinds").json()
    assert listed["total"] == len(MODEL.kinds)
    for line in listed["items"][::7]:
        sheet = client.get(f"/v1/kinds/{line['id']}").json()
        assert sheet["kind"]["label"] == line["label"]
        assert [f["id"] for f in sheet["features"]] == list(MODEL.kinds[line["id"]].features)
        assert all(d["how_to_measure"] for f in sheet["features"] for d in f["dimensions"])


def test_every_rule_has_its_sheet() -> None:
    for line in client.get("/v1/rules").json()["items"]:
        sheet = client.get(f"/v1/rules/{line['id']}").json()
        assert (sheet["sort"], sheet["rule"]["id"]) == (line["sort"], line["id"])
    needs = client.get("/v1/rules", params={"sort": "need"}).json()
    assert {n["id"] for n in needs["items"]} == set(MODEL.needs)


@pytest.mark.filterwarnings("error::UserWarning")  # pydantic warns where an answer is not of its published shape
@pytest.mark.parametrize("sort", RuleSort)
def test_a_rule_of_every_sort_has_the_shape_that_is_published(sort: RuleSort) -> None:
    rules = client.get("/v1/rules", params={"sort": sort}).json()["items"]
    assert rules, f"there is no {sort} to try"
    assert client.get(f"/v1/rules/{rules[0]['id']}").json()["sort"] == sort


def test_a_rule_is_told_whole() -> None:
    rule = client.get("/v1/rules/innerShaftInSideGear").json()["rule"]
    assert rule == MODEL.joint_kinds["innerShaftInSideGear"].model_dump(mode="json")


# ---------------------------------------------------------------------- CSV


def sheet_of(kind: str) -> tuple[list[str], list[str]]:
    reply = client.get(f"/v1/kinds/{kind}/csv")
    assert reply.headers["content-type"] == "text/csv; charset=utf-8"
    heading, units = csv.reader(io.StringIO(reply.text))
    return heading, units


@pytest.mark.parametrize("kind", FILES)
def test_the_empty_file_of_a_kind_has_a_column_for_all_that_the_seed_file_has(kind: str) -> None:
    heading, units = sheet_of(kind)
    with (ROOT / f"seed_data/parts/{kind}.csv").open(encoding="utf-8", newline="") as file:
        written = next(csv.reader(file))
    derived = {d.id for d in MODEL.dimensions.values() if d.formula}
    assert {c for c in written if c.partition(".")[2] not in derived} <= set(heading)
    assert len(units) == len(heading)
    assert tuple(heading[: len(FIXED)]) == FIXED


# The properties and their types: W3C Metadata Vocabulary for Tabular Data (2015), sections 5.6, 5.7 and 5.9.
COLUMN_PROPERTIES = {"name", "titles", "required", "datatype", "separator", "propertyUrl"}


@pytest.mark.parametrize("kind", FILES)
def test_the_metadata_describe_the_columns_in_their_order(kind: str) -> None:
    reply = client.get(f"/v1/kinds/{kind}/csv-metadata")
    assert reply.headers["content-type"] == "application/csvm+json"
    metadata: dict[str, Any] = reply.json()
    assert metadata["@context"][0] == "http://www.w3.org/ns/csvw"
    assert metadata["dialect"]["headerRowCount"] == 2
    columns = metadata["tableSchema"]["columns"]
    assert [c["titles"] for c in columns] == sheet_of(kind)[0]
    for column in columns:
        plain = {name for name in column if ":" not in name}
        assert plain <= COLUMN_PROPERTIES
        assert re.fullmatch(r"[A-Za-z0-9.]+", column["name"])  # a variable name of a URI template (RFC 6570)


@pytest.mark.parametrize("kind", FILES)
def test_the_seed_files_are_as_the_metadata_say(kind: str) -> None:
    columns = {c["titles"]: c for c in client.get(f"/v1/kinds/{kind}/csv-metadata").json()["tableSchema"]["columns"]}
    with (ROOT / f"seed_data/parts/{kind}.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))[1:]
    for row in rows:
        for name, written in row.items():
            column = columns.get(name)
            if column is None:
                continue  # a derived dimension that this file gives all the same
            assert written or not column.get("required")
            if isinstance(column["datatype"], dict) and written:
                # sources that disagree stand with ';' between them, whatever the separator
                texts = re.split(f"[{column.get('separator', ';')};]", written)
                assert all(re.fullmatch(column["datatype"]["format"], text.strip()) for text in texts)


# ---------------------------------------------------------------------- terms


def test_every_kind_and_feature_resolves_to_its_meaning() -> None:
    for term in [*MODEL.kinds, *MODEL.features, *MODEL.dimensions][::9]:
        sheet = client.get(f"/def/{term}").json()
        assert sheet["iri"] == DEF + term
        assert sheet["label"]
        assert sheet["definition"]
        assert sheet["record"]["id"] == term


def test_words_of_the_vocabulary_resolve_too() -> None:
    sheet = client.get("/def/hasFeature").json()
    assert (sheet["sort"], sheet["record"]) == ("vocabulary", None)
    assert sheet["definition"]


def test_the_whole_ontology_is_there_as_rdf() -> None:
    graph = Graph().parse(data=client.get("/def/").text, format="turtle")
    kind = URIRef(DEF + "Carrier")
    assert graph.value(kind, RDFS.label)
    assert graph.value(kind, SKOS.definition)
    assert all((URIRef(DEF + k), RDF.type, None) in graph for k in MODEL.kinds)
