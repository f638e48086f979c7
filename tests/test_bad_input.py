"""Bad questions are refused: the error names the place and the mend, and nothing is changed."""

import json
from collections.abc import Iterator
from typing import Any

import pytest
from fastapi.testclient import TestClient

from refusals import own_client, refused, version

JSON = "application/json"


@pytest.fixture(scope="module")
def client() -> Iterator[TestClient]:
    with own_client() as client:
        yield client


def fit(**wish: Any) -> dict[str, Any]:
    return {"vehicle": "hill-patrol", "fit": [wish]}


BY_READING = {"at": "front/carrier", "kind": "Carrier"}
ASKS: list[tuple[str, dict[str, Any], str, str]] = [
    ("an unknown vehicle", {"vehicle": "hill-patroll"}, "vehicle", "hill-patrol"),
    ("an unknown part", fit(at="front/carrier", part="al-895-34"), "fit/0/part", "al-895-33"),
    ("an unknown position", fit(at="front/carier", part="al-895-33"), "fit/0/at", "front/carrier"),
    ("a pattern that names nothing", fit(at="middle/*", part="al-895-33"), "fit/0/at", ""),
    ("an unknown kit", fit(at="front/*", kit="brake-345"), "fit/0/kit", "brake-345-4x44"),
    ("an unknown kind", fit(at="front/carrier", kind="Carier"), "fit/0/kind", "Carrier"),
    (
        "an unknown feature",
        fit(**BY_READING, readings=[{"feature": "sideGearSplin", "dimension": "toothCount", "equals": "33"}]),
        "fit/0/readings/0/feature",
        "sideGearSpline",
    ),
    (
        "an unknown dimension",
        fit(**BY_READING, readings=[{"feature": "sideGearSpline", "dimension": "toothCont", "equals": "33"}]),
        "fit/0/readings/0/dimension",
        "toothCount",
    ),
    (
        "a reading of nothing",
        fit(**BY_READING, readings=[{"feature": "sideGearSpline", "dimension": "toothCount"}]),
        "fit/0/readings/0",
        "",
    ),
    (
        "a reading that is no number",
        fit(**BY_READING, readings=[{"feature": "sideGearSpline", "dimension": "toothCount", "equals": "many"}]),
        "fit/0/readings/0",
        "",
    ),
    (
        "a range turned round",
        fit(**BY_READING, readings=[{"feature": "sideGearSpline", "dimension": "toothCount", "least": 35, "most": 31}]),
        "fit/0/readings/0",
        "",
    ),
    ("a part in a position of another kind", fit(at="front/carrier", part="cv-895"), "fit/0", ""),
    ("a wish for nothing", fit(at="front/carrier"), "fit/0", ""),
    ("a wish for two things", fit(at="front/carrier", part="al-895-33", kit="brake-345-4x44"), "fit/0", ""),
    ("keeping what nobody has", {"vehicle": "hill-patrol", "keep": ["front/carier"]}, "keep/0", "front/carrier"),
    ("removing what nobody has", {"vehicle": "hill-patrol", "remove": ["front/carier"]}, "remove/0", "front/carrier"),
]


@pytest.mark.parametrize(("ask", "place", "mend"), [a[1:] for a in ASKS], ids=[a[0] for a in ASKS])
def test_an_ask_that_is_wrong(client: TestClient, ask: dict[str, Any], place: str, mend: str) -> None:
    before = version(client)
    problems = refused(client, client.post("/v1/knock-on", json=ask), before)
    assert any(p["place"].startswith(place) and mend in p["mend"] for p in problems), problems


def test_everything_wrong_with_an_ask_is_said_at_once(client: TestClient) -> None:
    ask = {
        "vehicle": "hill-patrol",
        "fit": [{"at": "front/carier", "part": "al-895-33"}, {"at": "front/carrier", "part": "al-895-34"}],
        "keep": ["nowhere"],
    }
    places = {p["place"] for p in refused(client, client.post("/v1/knock-on", json=ask), version(client))}
    assert {"fit/0/at", "fit/1/part", "keep/0"} <= places


@pytest.mark.parametrize(
    "ask",
    [
        {**fit(at="front/carrier", part="al-895-33"), "keep": ["front/carrier"]},
        {**fit(at="front/carrier", part="al-895-33"), "remove": ["front/carrier"]},
        {"vehicle": "hill-patrol", "fit": [{"at": "front/carrier", "part": p} for p in ("al-895-33", "al-895-31")]},
    ],
    ids=["fit and keep", "fit and remove", "two parts for one position"],
)
def test_wishes_that_fight_over_a_position(client: TestClient, ask: dict[str, Any]) -> None:
    before = version(client)
    reply = client.post("/v1/knock-on", json=ask)
    if reply.status_code == 422:
        refused(client, reply, before)
    else:
        told = reply.json()
        assert told["verdict"] == "contradiction"
        assert len(told["wishes"]) == 2


BODIES: list[tuple[str, bytes, str]] = [
    ("nothing", b"", "the body"),
    ("no JSON", b"{vehicle: hill-patrol}", "the body"),
    ("not UTF-8", b'{"vehicle": "\xff"}', "the body"),
    ("a list", b"[]", "the body"),
    (
        "NaN for a bound",
        b'{"vehicle":"hill-patrol","fit":[{"at":"*","kind":"Carrier","readings":[{"feature":"a","dimension":"b","least":NaN}]}]}',
        "fit/0/readings/0/least",
    ),
    (
        "infinity in text",
        b'{"vehicle":"hill-patrol","fit":[{"at":"*","kind":"Carrier","readings":[{"feature":"a","dimension":"b","least":"Infinity"}]}]}',
        "fit/0/readings/0/least",
    ),
    (
        "true for a bound",
        b'{"vehicle":"hill-patrol","fit":[{"at":"*","kind":"Carrier","readings":[{"feature":"a","dimension":"b","least":true}]}]}',
        "fit/0/readings/0/least",
    ),
    ("a number for a name", b'{"vehicle": 7}', "vehicle"),
    ("text for a list", b'{"vehicle": "hill-patrol", "keep": "rear/*"}', "keep"),
    ("text for a truth", b'{"vehicle": "hill-patrol", "in_stock_only": "yes"}', "in_stock_only"),
    ("a field that is not known", b'{"vehicle": "hill-patrol", "colour": "red"}', "colour"),
    (
        "a field inside that is not known",
        b'{"vehicle": "hill-patrol", "fit": [{"at": "a", "colour": 1}]}',
        "fit/0/colour",
    ),
    ("nothing about the vehicle", b"{}", "vehicle"),
    ("deep nesting", b'{"vehicle":' + b"[" * 100_000 + b"]" * 100_000 + b"}", "the body"),
    (
        "deep nesting in an unknown field",
        b'{"vehicle":"a","x":' + b'{"a":' * 50_000 + b"1" + b"}" * 50_000 + b"}",
        "the body",
    ),
]


@pytest.mark.parametrize(("body", "place"), [b[1:] for b in BODIES], ids=[b[0] for b in BODIES])
def test_a_body_that_is_wrong(client: TestClient, body: bytes, place: str) -> None:
    reply = client.post("/v1/knock-on", content=body, headers={"Content-Type": JSON})
    problems = refused(client, reply, version(client))
    assert place in {p["place"] for p in problems}


def test_what_was_sent_is_not_sent_back(client: TestClient) -> None:
    secret = "s3cr3t" * 200
    for body in ({"vehicle": [secret]}, {"vehicle": "hill-patrol", "keep": {"a": secret}}, {secret: 1}):
        reply = client.post("/v1/knock-on", json=body)
        assert reply.status_code == 422
        assert secret not in reply.text
        assert len(reply.text) < 2000


def test_a_body_that_is_too_large(client: TestClient) -> None:
    body = json.dumps({"vehicle": "x" * 1024 * 1024}).encode()
    refused(client, client.post("/v1/knock-on", content=body, headers={"Content-Type": JSON}), version(client), 413)
