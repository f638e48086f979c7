"""Bad imports are refused whole: the error names the place and the mend, and nothing is changed."""

import json
from collections.abc import Iterator
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api_client import client_of, settings
from crosspin.api.app import create_app
from refusals import own_client, refused, version

CSV, TURTLE, JSON_LD = "text/csv", "text/turtle", "application/ld+json"
PREFIXES = """@prefix cp: <https://crosspin.example/def/> . @prefix part: <https://crosspin.example/id/part/> .
@prefix kit: <https://crosspin.example/id/kit/> . @prefix vehicle: <https://crosspin.example/id/vehicle/> .
@prefix layout: <https://crosspin.example/id/layout/> . @prefix rdfs: <http://www.w3.org/2000/01/rdf-schema#> .
@prefix unit: <http://qudt.org/vocab/unit/> .
"""


@pytest.fixture(scope="module")
def client() -> Iterator[TestClient]:
    with own_client() as client:
        yield client


def send(
    client: TestClient, text: str | bytes, media: str = CSV, kind: str = "CoverGasket", source: str = "test.csv"
) -> Any:
    query = {"source": source, **({"kind": kind} if media == CSV else {})}
    return client.post("/v1/imports", params=query, content=text, headers={"Content-Type": media})


HEAD = "id,label,price,stock,lacks,gasketOutline.patternCode\n,,EUR,,,\n"
SHAFT = "id,label,innerSpline.engagedLength\n,,mm\n"
TABLES: list[tuple[str, str, str, str, str]] = [
    ("an unknown kind", "CoverGaskets", HEAD, "kind", "CoverGasket"),
    (
        "an unknown feature",
        "CoverGasket",
        "id,label,face.patternCode\n,,\nx,X,a\n",
        "face.patternCode",
        "gasketOutline",
    ),
    (
        "an unknown dimension",
        "CoverGasket",
        "id,label,gasketOutline.size\n,,\nx,X,1\n",
        "gasketOutline.size",
        "patternCode",
    ),
    (
        "a column that is not understood",
        "CoverGasket",
        "id,label,colour\n,,\nx,X,red\n",
        "'colour'",
        "feature.dimension",
    ),
    ("a column twice", "CoverGasket", "id,label,label\n,,\nx,X,Y\n", "'label'", "Keep one"),
    ("no column of ids", "CoverGasket", "label,price\n,EUR\nX,1\n", "row 1", "Add it"),
    ("no row of units", "CoverGasket", "id,label\n", "test.csv", "units"),
    ("a row too short", "CoverGasket", HEAD + "a-1,A,1,1,,x\na-2,A,1\na-3,A,1,1,,x\n", "row 4", "cells"),
    ("an unusable id", "CoverGasket", HEAD + "Größe 1,A,1,1,,x\n", "row 3", "small letters"),
    ("an id on record", "CoverGasket", HEAD + "cg-895,A,1,1,,x\n", "row 3", "id of its own"),
    ("an id twice", "CoverGasket", HEAD + "a-1,A,1,1,,x\na-1,B,1,1,,x\n", "row 4", "id of its own"),
    ("no label", "CoverGasket", HEAD + "a-1,,1,1,,x\n", "row 3", "what it is"),
    ("a negative price", "CoverGasket", HEAD + "a-1,A,-1,1,,x\n", "row 3, column price", "zero or more"),
    ("a price in words", "CoverGasket", HEAD + "a-1,A,cheap,1,,x\n", "row 3, column price", "digits"),
    ("half a part in stock", "CoverGasket", HEAD + "a-1,A,1,1.5,,x\n", "row 3, column stock", "whole"),
    ("a feature lacking that there is not", "CoverGasket", HEAD + "a-1,A,1,1,nose,\n", "row 3", "gasketOutline"),
    ("a negative length", "InnerShaft", SHAFT + "a-1,A,-40\n", "innerSpline.engagedLength", "possible"),
    ("an absurd length", "InnerShaft", SHAFT + "a-1,A,40000\n", "innerSpline.engagedLength", "possible"),
    ("a length in words", "InnerShaft", SHAFT + "a-1,A,long\n", "innerSpline.engagedLength", "number"),
    ("an endless fraction", "InnerShaft", SHAFT + "a-1,A,1/3\n", "innerSpline.engagedLength", "number"),
    ("a length in degrees", "InnerShaft", SHAFT.replace("mm", "deg") + "a-1,A,40\n", "innerSpline.engagedLength", "mm"),
    ("a length in no unit", "InnerShaft", SHAFT.replace("mm", "") + "a-1,A,40\n", "innerSpline.engagedLength", "mm"),
    (
        "a length in an unknown unit",
        "InnerShaft",
        SHAFT.replace("mm", "ells") + "a-1,A,40\n",
        "innerSpline.engagedLength",
        "mm",
    ),
    ("two lengths", "InnerShaft", SHAFT + "a-1,A,40|41\n", "innerSpline.engagedLength", "Keep one"),
    (
        "half a tooth",
        "InnerShaft",
        "id,label,innerSpline.toothCount\n,,\na-1,A,30.5\n",
        "innerSpline.toothCount",
        "Count again",
    ),
    (
        "teeth in a unit",
        "InnerShaft",
        "id,label,innerSpline.toothCount\n,,mm\na-1,A,30\n",
        "innerSpline.toothCount",
        "empty",
    ),
    ("a quote left open", "CoverGasket", HEAD + 'a-1,"A,1,1,,x\n', "test.csv", ""),
]


@pytest.mark.parametrize(("kind", "text", "place", "mend"), [t[1:] for t in TABLES], ids=[t[0] for t in TABLES])
def test_a_table_that_is_wrong(client: TestClient, kind: str, text: str, place: str, mend: str) -> None:
    before = version(client)
    problems = refused(client, send(client, text, kind=kind), before)
    assert any(place in p["place"] and mend in p["mend"] for p in problems), problems


def test_a_bad_row_in_the_middle_keeps_the_good_ones_out(client: TestClient) -> None:
    before = version(client)
    text = HEAD + "".join(f"a-{i},A,{'-5' if i == 7 else '5'},1,,eleven-bolt-895\n" for i in range(12))
    (problem,) = refused(client, send(client, text), before)
    assert "row 10" in problem["place"]
    assert client.get("/v1/parts/a-0").status_code == 404


def test_every_bad_row_is_named(client: TestClient) -> None:
    text = HEAD + "".join(f"a-{i},A,{'-5' if i % 3 == 0 else '5'},1,,eleven-bolt-895\n" for i in range(12))
    problems = refused(client, send(client, text), version(client))
    assert [p["place"].split(",")[1].strip() for p in problems] == ["row 3", "row 6", "row 9", "row 12"]


def test_a_thousand_bad_rows_are_counted_but_not_all_told(client: TestClient) -> None:
    reply = send(client, HEAD + "".join(f"a-{i},A,-5,1,,x\n" for i in range(1000)))
    assert len(refused(client, reply, version(client))) == 100
    assert "900 more" in reply.json()["detail"]


@pytest.mark.parametrize("media", [CSV, TURTLE, JSON_LD, "application/n-triples"])
def test_text_that_is_not_utf_8(client: TestClient, media: str) -> None:
    text = HEAD.encode() + "a-1,Dichtung f\xfcr,1,1,,x\n".encode("latin-1")
    refused(client, send(client, text, media), version(client))


TRUCK = "vehicle:a a cp:Vehicle ; cp:hasLayout layout:two-beam-axles ; "
PART = "part:a-1 a cp:CoverGasket ; rdfs:label 'A'@en "
GRAPHS: list[tuple[str, str, str, str]] = [
    ("broken Turtle", PART + "; cp:price 1\n part:a-2 a", "line", ""),
    ("an unknown class", "part:a-1 a cp:Gasket ; rdfs:label 'A'@en .", "a-1", "type"),
    ("an unknown feature", PART + "; cp:nose [ cp:patternCode 'x' ] .", "nose", "feature"),
    (
        "a feature of another kind",
        PART + "; cp:sideGearSpline [ cp:toothCount 33 ] .",
        "sideGearSpline",
        "gasketOutline",
    ),
    ("an unknown dimension", PART + "; cp:gasketOutline [ cp:size 1 ] .", "size", "patternCode"),
    ("a name outside", "<https://example.org/a> a cp:CoverGasket ; rdfs:label 'A'@en .", "example.org", "/id/part/"),
    ("two prices", PART + "; cp:price 1, 2 .", "price", "Keep one"),
    ("a kit of nothing", "kit:a a cp:Kit ; rdfs:label 'A'@en ; cp:price 1 .", "kit/a", "parts"),
    (
        "a kit of parts unknown",
        "kit:a a cp:Kit ; rdfs:label 'A'@en ; cp:price 1 ; cp:hasLine [ a cp:KitLine ; cp:listsPart part:nope ] .",
        "kit/a",
        "part",
    ),
    (
        "a vehicle of no layout",
        "vehicle:a a cp:Vehicle ; rdfs:label 'A'@en ; cp:hasLayout layout:nope .",
        "vehicle/a",
        "two-beam-axles",
    ),
    (
        "a vehicle with a position that is not known",
        TRUCK + "cp:carries [ cp:atPath 'front/nose' ; cp:holds part:cg-895 ] .",
        "front/nose",
        "path",
    ),
    (
        "a vehicle with a part of another kind",
        TRUCK + "cp:carries [ cp:atPath 'front/carrier' ; cp:holds part:cg-895 ] .",
        "front/carrier",
        "part",
    ),
    (
        "a length that is absurd",
        "part:a-1 a cp:InnerShaft ; cp:innerSpline [ cp:engagedLength [ cp:publishedValue '40' ; cp:unit unit:IN ] ] .",
        "engagedLength",
        "possible",
    ),
]


@pytest.mark.parametrize(("text", "place", "mend"), [g[1:] for g in GRAPHS], ids=[g[0] for g in GRAPHS])
def test_a_graph_that_is_wrong(client: TestClient, text: str, place: str, mend: str) -> None:
    before = version(client)
    problems = refused(client, send(client, PREFIXES + text, TURTLE), before)
    assert any(place in p["place"] + p["wrong"] and mend in p["mend"] for p in problems), problems


def test_json_ld_fetches_no_context(client: TestClient) -> None:
    text = json.dumps({"@context": "https://example.org/context.jsonld", "@id": "x", "a": 1})
    refused(client, send(client, text, JSON_LD), version(client))


def test_rdf_xml_is_not_read(client: TestClient) -> None:
    bomb = '<?xml version="1.0"?><!DOCTYPE r [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]><r>&b;</r>'
    (problem,) = refused(client, send(client, bomb, "application/rdf+xml"), version(client), 415)
    assert TURTLE in problem["mend"]


def test_an_import_that_is_too_large(client: TestClient) -> None:
    refused(client, send(client, HEAD + "x" * 20_000), version(client), 413)


@pytest.mark.parametrize("source", ["", "../../etc", "a b", "<x>", "ü", "x" * 200])
def test_a_source_with_an_unusable_name(client: TestClient, source: str) -> None:
    (problem,) = refused(client, send(client, HEAD, source=source), version(client))
    assert problem["place"] == "source"


def test_a_table_of_no_kind(client: TestClient) -> None:
    (problem,) = refused(client, send(client, HEAD, kind=""), version(client))
    assert problem["place"] == "kind"


def test_a_part_that_others_have_cannot_be_taken_away() -> None:
    with own_client() as client:
        one = HEAD + "a-1,A,5,1,,eleven-bolt-895\n"
        assert send(client, one, source="own.csv").status_code == 201
        kit = "kit:a a cp:Kit ; rdfs:label 'A'@en ; cp:price 4 ; cp:hasLine [ cp:listsPart part:a-1 ; cp:quantity 1 ] ."
        assert send(client, PREFIXES + kit, TURTLE, source="kits.ttl").status_code == 201
        before = version(client)
        (problem,) = refused(client, send(client, one.replace("a-1", "a-2"), source="own.csv"), before)
        assert "a-1" in problem["wrong"]


# ---------------------------------------------------------------------- who may write


@pytest.mark.parametrize(
    ("address", "host", "headers", "status"),
    [
        (("127.0.0.1", 1), "http://localhost", {}, 422),
        (("::1", 1), "http://[::1]", {}, 422),
        (("192.0.2.7", 1), "http://localhost", {}, 403),
        (("127.0.0.1", 1), "http://elsewhere.example", {}, 403),
        (("127.0.0.1", 1), "http://localhost", {"X-Forwarded-For": "192.0.2.7"}, 403),
        (("127.0.0.1", 1), "http://localhost", {"Forwarded": "for=192.0.2.7"}, 403),
    ],
)
def test_without_a_key_only_this_machine_may_write(
    client: TestClient, address: tuple[str, int], host: str, headers: dict[str, str], status: int
) -> None:
    app = client.app
    with client_of(app, address=address, host=host) as other:  # type: ignore[arg-type]
        reply = other.post(
            "/v1/imports",
            params={"source": "a.csv", "kind": "x"},
            content=HEAD,
            headers={"Content-Type": CSV, **headers},
        )
    refused(client, reply, version(client), status)


def test_with_a_key_only_its_holder_may_write(client: TestClient) -> None:
    app = create_app(client.app.state.desk, settings(api_key="open sesame"))  # type: ignore[attr-defined]
    for key, status in (("", 401), ("open", 401), ("open sesame", 422)):
        headers = {"Content-Type": CSV, **({"X-API-Key": key} if key else {})}
        with client_of(app, address=("192.0.2.7", 1), host="http://elsewhere.example") as other:
            reply = other.post("/v1/imports", params={"source": "a.csv", "kind": "x"}, content=HEAD, headers=headers)
        refused(client, reply, version(client), status)
