"""What is on record comes out as it went in, and searches find what they should and nothing else."""

import csv
from decimal import Decimal
from itertools import pairwise
from typing import Any

import pytest
from rdflib import Graph, Literal, URIRef
from rdflib.compare import isomorphic
from rdflib.namespace import RDFS

from api_client import seed_client
from crosspin.api.examples import PART, SPEC, VEHICLE
from crosspin.model.schema import Verdict
from seed import ROOT, seed_desk

client = seed_client()
CP = "https://crosspin.example/def/"


def everything(address: str, **query: Any) -> list[dict[str, Any]]:
    """All items of a list, page by page."""
    items: list[dict[str, Any]] = []
    token = None
    while True:
        page = client.get(address, params={**query, **({"next": token} if token else {})}).json()
        items += page["items"]
        token = page["next"]
        if token is None:
            assert len(items) == page["total"]
            return items


def rows_of(kind: str) -> list[dict[str, str]]:
    """The rows of a seed file, as written."""
    with (ROOT / f"seed_data/parts/{kind}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))[1:]  # the first of them is the row of units


# ---------------------------------------------------------------------- parts


@pytest.mark.parametrize("limit", [1, 7, 200])
def test_the_pages_of_a_list_hold_every_item_once(limit: int) -> None:
    ids = [item["id"] for item in everything("/v1/parts", kind="AirLocker", limit=limit)]
    assert ids == sorted(row["id"] for row in rows_of("AirLocker"))


def test_all_parts_of_all_files_are_there() -> None:
    written = {row["id"] for path in (ROOT / "seed_data/parts").glob("*.csv") for row in rows_of(path.stem)}
    assert {item["id"] for item in everything("/v1/parts", limit=200)} == written


def test_a_search_by_reading_finds_what_the_file_says() -> None:
    column = "sideGearSpline.toothCount"
    found = {i["id"] for i in everything("/v1/parts", kind="AirLocker", reading=f"{column}=33")}
    assert found == {row["id"] for row in rows_of("AirLocker") if row[column] == "33"}
    between = {i["id"] for i in everything("/v1/parts", kind="AirLocker", reading=f"{column}=31..34")}
    assert between == {row["id"] for row in rows_of("AirLocker") if row[column] and 31 <= int(row[column]) <= 34}
    open_ended = {i["id"] for i in everything("/v1/parts", kind="AirLocker", reading=f"{column}=34..")}
    assert open_ended == {row["id"] for row in rows_of("AirLocker") if row[column] and int(row[column]) >= 34}
    assert found < between


def test_a_search_by_code_and_by_two_readings() -> None:
    rows = rows_of("PinionYoke")
    teeth, cap = "yokeSpline.toothCount", "yokeJoint.capDiameter"
    by_code = everything("/v1/parts", reading="gasketOutline.patternCode=eleven-bolt-895")
    assert {i["id"] for i in by_code} == {
        row["id"] for row in rows_of("CoverGasket") if row["gasketOutline.patternCode"] == "eleven-bolt-895"
    }
    both = everything("/v1/parts", kind="PinionYoke", reading=[f"{teeth}=31", f"{cap}=29..31"])
    assert {i["id"] for i in both} == {
        row["id"] for row in rows if row[teeth] == "31" and row[cap] and 29 <= Decimal(row[cap]) * Decimal("25.4") <= 31
    }
    assert both


def test_a_search_by_words_price_and_stock() -> None:
    by_words = everything("/v1/parts", text="LOCKER 33-tooth 8.95")
    assert {i["id"] for i in by_words} >= {"al-895-33"}
    assert all("33-tooth" in i["label"] for i in by_words)
    for sold in (True, False):
        assert all((i["price"] is not None) is sold for i in everything("/v1/parts", orderable=sold, limit=200))
    there = everything("/v1/parts", kind="AirLocker", in_stock=True)
    assert {i["id"] for i in there} == {row["id"] for row in rows_of("AirLocker") if row["stock"] not in ("", "0")}


def test_a_part_has_the_readings_that_the_file_gives_it() -> None:
    (row,) = [row for row in rows_of("AirLocker") if row["id"] == PART]
    sheet = client.get(f"/v1/parts/{PART}").json()
    told = {f"{f['feature']}.{r['dimension']}": r for f in sheet["features"] for r in f["readings"]}
    assert Decimal(sheet["price"]) == Decimal(row["price"])
    for column, written in row.items():
        if "." not in column or not written:
            continue
        reading = told[column]
        if reading["published"]:
            assert written in reading["published"]
        elif written.replace(".", "").isdigit():
            assert [Decimal(v) for v in reading["values"]] == [Decimal(written)]
        else:
            assert set(reading["values"]) == set(written.split("|"))


def test_a_disputed_reading_is_said_to_be() -> None:
    disputed = [
        (row["id"], column)
        for path in sorted((ROOT / "seed_data/parts").glob("*.csv"))
        for row in rows_of(path.stem)
        for column, written in row.items()
        if "." in column and ";" in written
    ]
    for part, column in disputed[:5]:
        sheet = client.get(f"/v1/parts/{part}").json()
        told = {f"{f['feature']}.{r['dimension']}": r for f in sheet["features"] for r in f["readings"]}
        assert told[column]["disputed"]
        assert len(told[column]["values"]) > 1


def test_the_parts_of_a_spec_have_it() -> None:
    sheet = client.get(f"/v1/specs/{SPEC}").json()
    for feature, parts in sheet["parts"].items():
        for part in parts:
            features = client.get(f"/v1/parts/{part}").json()["features"]
            assert {f["feature"]: f["spec"] for f in features}[feature] == SPEC


def test_equal_parts_are_equal_both_ways_and_cheapest_first() -> None:
    equals = client.get("/v1/parts/ls-plain/equals").json()["items"]
    assert [Decimal(e["price"]) for e in equals] == sorted(Decimal(e["price"]) for e in equals)
    for equal in equals:
        back = client.get(f"/v1/parts/{equal['id']}/equals").json()["items"]
        assert "ls-plain" in {b["id"] for b in back}


def test_mates_fit() -> None:
    mates = client.get(f"/v1/parts/{PART}/mates").json()["items"]
    assert mates
    for mate in mates[::10]:
        told = client.get("/v1/fit", params={"one": PART, "other": mate["part"]["id"]}).json()
        at_joint = [c["verdict"] for c in told["criteria"] if c["joint_kind"] == mate["joint_kind"]]
        assert set(at_joint) == {Verdict.FITS}


def test_mates_in_a_vehicle_say_where_and_why_not() -> None:
    mates = client.get(f"/v1/parts/{PART}/mates", params={"vehicle": VEHICLE}).json()["items"]
    assert mates
    assert all(m["position"] for m in mates)
    assert all(bool(m["because"]) is (m["verdict"] != "fits") for m in mates)


def test_two_parts_that_do_not_fit_tell_both_readings() -> None:
    told = client.get("/v1/fit", params={"one": "al-895-31", "other": "is-33-121-370-562"}).json()
    assert told["verdict"] == "clashes"
    teeth = next(c for c in told["criteria"] if c["criterion"].endswith("-toothCount"))
    assert {teeth["left"], teeth["right"]} == {"31", "33"}
    assert "31" in teeth["sentence"]
    assert "33" in teeth["sentence"]


# ---------------------------------------------------------------------- kits and vehicles


def test_a_kit_names_parts_on_record() -> None:
    for kit in everything("/v1/kits"):
        assert client.get(f"/v1/kits/{kit['id']}").json() == kit
        for line in kit["lines"]:
            assert client.get(f"/v1/parts/{line['part']}").status_code == 200


def test_a_vehicle_has_every_position_of_its_layout() -> None:
    for line in everything("/v1/vehicles"):
        vehicle = client.get(f"/v1/vehicles/{line['id']}").json()
        layout = seed_desk().holdings.model.layouts[line["layout"]]
        paths = [p["path"] for p in vehicle["positions"]]
        assert paths == sorted(position.path for position in layout.positions)
        assert all((p["part"] is not None) is (p["state"] == "filled") for p in vehicle["positions"])


def test_positions_that_nobody_has_seen_are_not_called_empty() -> None:
    positions = client.get("/v1/vehicles/orchard-runabout").json()["positions"]
    assert {"filled", "empty", "unseen"} == {p["state"] for p in positions}


# ---------------------------------------------------------------------- RDF


def graph_of(address: str, media: str) -> Graph:
    """A document read by rdflib."""
    reply = client.get(address, headers={"Accept": media})
    assert reply.headers["content-type"].split(";")[0] == media
    return Graph().parse(data=reply.text, format={"text/turtle": "turtle", "application/ld+json": "json-ld"}[media])


@pytest.mark.parametrize(
    "address", [f"/v1/parts/{PART}", f"/v1/vehicles/{VEHICLE}", "/def/Carrier", "/def/innerShaftInSideGear"]
)
def test_turtle_and_json_ld_say_the_same(address: str) -> None:
    turtle = graph_of(address, "text/turtle")
    assert len(turtle) > 2
    assert isomorphic(turtle, graph_of(address, "application/ld+json"))


def test_the_graph_of_a_part_says_what_its_json_says() -> None:
    sheet = client.get(f"/v1/parts/{PART}").json()
    graph = graph_of(f"/v1/parts/{PART}", "text/turtle")
    part = URIRef(sheet["iri"])
    assert graph.value(part, RDFS.label) == Literal(sheet["label"], lang="en")
    assert Decimal(str(graph.value(part, URIRef(CP + "price")))) == Decimal(sheet["price"])
    for feature in sheet["features"]:
        spec = graph.value(part, URIRef(CP + feature["feature"]))
        for reading in feature["readings"]:
            values = {str(v) for v in graph.objects(spec, URIRef(CP + reading["dimension"]))}
            assert values == set(map(str, reading["values"]))


def test_a_name_of_the_graph_leads_to_its_document() -> None:
    reply = client.get(f"/id/part/{PART}", follow_redirects=False)
    assert (reply.status_code, reply.headers["location"]) == (303, f"/v1/parts/{PART}")


def test_lists_are_sorted() -> None:
    for address in ("/v1/parts", "/v1/kits", "/v1/vehicles", "/v1/kinds"):
        ids = [item["id"] for item in client.get(address).json()["items"]]
        assert all(one < other for one, other in pairwise(ids))
