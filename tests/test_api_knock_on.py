"""The main question over HTTP: plans and contradictions, in every form."""

import json
import re
from decimal import Decimal
from typing import Any

import pytest
from rdflib import Graph, URIRef
from rdflib.compare import isomorphic

from api_client import seed_client
from crosspin.answer.plan import Contradiction, Plan
from crosspin.api.examples import ASK
from seed import ROOT

client = seed_client()
DEMO: dict[str, Any] = json.loads((ROOT / "seed_data/asks/hill-patrol.json").read_text(encoding="utf-8"))
IMPOSSIBLE: dict[str, Any] = {
    "vehicle": "hill-patrol",
    "fit": [{"at": "front/housing", "part": "fh-895-hp-1600-b"}, {"at": "front/carrier", "part": "al-895-33"}],
    "keep": ["front/gear-set", "rear/*", "transfer-case", "master-cylinder"],
}


def asked(ask: dict[str, Any], **headers: str) -> Any:
    return client.post("/v1/knock-on", json=ask, headers=headers)


@pytest.fixture(scope="module")
def plan() -> dict[str, Any]:
    reply = asked(DEMO)
    assert reply.status_code == 200, reply.text
    told: dict[str, Any] = reply.json()
    return told


def test_a_plan_is_what_it_says_it_is(plan: dict[str, Any]) -> None:
    assert plan["verdict"] == "plan"
    assert Plan.model_validate_json(json.dumps(plan)).model_dump(mode="json") == plan


def test_every_wish_is_kept(plan: dict[str, Any]) -> None:
    steps = {step["position"]: step for step in plan["steps"]}
    for wish in DEMO["fit"]:
        if "part" in wish and "*" not in wish["at"]:
            assert steps[wish["at"]]["part"]["id"] == wish["part"]
            assert steps[wish["at"]]["asked"]
    changed = {position for position, step in steps.items() if step["action"] != "carry over"}
    for pattern in DEMO["keep"]:
        kept = re.compile(re.escape(pattern).replace(r"\*", ".*"))
        assert not {position for position in changed if kept.fullmatch(position)}


def test_every_reason_leads_back_to_the_ask(plan: dict[str, Any]) -> None:
    for step in plan["steps"]:
        if step["action"] == "carry over":
            continue
        assert step["reasons"]
        assert step["reasons"][0]["position"] == step["position"]
        assert step["reasons"][-1]["rule"] is None
        for link, following in zip(step["reasons"], step["reasons"][1:], strict=False):
            assert link["source"] == following["position"]


def test_the_totals_are_the_sums_of_the_lines(plan: dict[str, Any]) -> None:
    totals = {name: Decimal(value) for name, value in plan["totals"].items() if name != "currency"}
    assert totals["parts"] == sum(Decimal(line["total"]) for line in plan["order"])
    assert all(Decimal(line["total"]) == Decimal(line["each"]) * line["quantity"] for line in plan["order"])
    hours = sum(Decimal(line["hours"]) for line in plan["work"])
    assert totals["hours"] == hours
    assert totals["all"] == totals["parts"] + totals["labour"]


def test_the_same_ask_gets_the_same_answer() -> None:
    one, other = asked(ASK), asked(ASK)
    assert one.content == other.content
    assert one.headers["etag"] == other.headers["etag"]


def test_an_answer_that_the_caller_holds_is_not_worked_out_again() -> None:
    # RFC 9110, section 13.1.2: other methods than GET and HEAD get 412.
    first = asked(ASK)
    again = asked(ASK, **{"If-None-Match": first.headers["etag"]})
    assert (again.status_code, again.content) == (412, b"")
    assert asked(DEMO, **{"If-None-Match": first.headers["etag"]}).status_code == 200


def test_each_stage_says_how_long_it_took() -> None:
    # The header's grammar: W3C Server Timing, section 3.
    told = client.post("/v1/knock-on", content=json.dumps(DEMO, indent=3), headers={"Content-Type": "application/json"})
    stages = re.findall(r"(\w+);dur=\d+\.\d+", told.headers["server-timing"])
    assert set(stages) == {"search", "prove", "tell", "write"}


def test_a_plan_can_be_read_as_text(plan: dict[str, Any]) -> None:
    reply = asked(DEMO, Accept="text/plain")
    assert reply.headers["content-type"] == "text/plain; charset=utf-8"
    words = " ".join(reply.text.split())
    assert all(f"[{line['id']}]" in words for line in plan["order"])
    assert all(" ".join(caution["text"].split()) in words for caution in plan["cautions"])
    assert plan["proviso"] in words
    assert max(map(len, reply.text.splitlines())) <= 100


def test_a_plan_as_turtle_and_as_json_ld_is_the_same_graph() -> None:
    turtle = Graph().parse(data=asked(DEMO, Accept="text/turtle").text, format="turtle")
    json_ld = Graph().parse(data=asked(DEMO, Accept="application/ld+json").text, format="json-ld")
    assert isomorphic(turtle, json_ld)
    assert (None, None, URIRef("https://crosspin.example/id/part/fh-895-hp-1600-b")) in turtle


def test_what_must_be_there_may_go_where_the_customer_wants_it_out() -> None:
    roles = client.get("/v1/model").json()["roles"]
    assert not any(roles[role]["may_be_empty"] for role in ("SpareWheelRole", "SpareTyreRole"))
    told = asked({"vehicle": "hill-patrol", "remove": ["spare-wheel", "spare-tyre"]}).json()
    assert told["verdict"] == "plan"
    assert {step["position"]: step["action"] for step in told["steps"]} == {
        "spare-tyre": "remove",
        "spare-wheel": "remove",
    }
    assert told["order"] == []


def test_wishes_that_contradict_each_other() -> None:
    reply = asked(IMPOSSIBLE)
    assert reply.status_code == 200, reply.text
    told = reply.json()
    assert told["verdict"] == "contradiction"
    assert Contradiction.model_validate_json(reply.content).model_dump(mode="json") == told
    known = {f"{sort}/{index}" for sort in ("fit", "keep") for index in range(len(IMPOSSIBLE[sort]))}
    assert {wish["id"] for wish in told["wishes"]} <= known
    assert len(told["wishes"]) >= 2
    assert told["ways_out"]


def test_each_way_out_of_a_contradiction_leads_to_a_plan_of_its_cost() -> None:
    for way in asked(IMPOSSIBLE).json()["ways_out"]:
        given_up = {wish["id"] for wish in way["give_up"]}
        ask = {
            "vehicle": IMPOSSIBLE["vehicle"],
            **{s: [w for i, w in enumerate(IMPOSSIBLE[s]) if f"{s}/{i}" not in given_up] for s in ("fit", "keep")},
        }
        if not ask["fit"]:
            continue  # nothing is left to be asked
        told = asked(ask).json()
        assert told["verdict"] == "plan"
        assert told["cost"] == way["cost"]


def test_a_contradiction_as_text_and_as_rdf() -> None:
    text = asked(IMPOSSIBLE, Accept="text/plain").text
    told = asked(IMPOSSIBLE).json()
    assert all(wish["sentence"] in " ".join(text.split()) for wish in told["wishes"])
    as_rdf = asked(IMPOSSIBLE, Accept="text/turtle")
    assert as_rdf.status_code == 409
    assert "application/json" in as_rdf.json()["problems"][0]["mend"]


def test_no_float_is_written() -> None:
    def numbers(value: Any) -> Any:
        if isinstance(value, dict):
            value = list(value.values())
        return [n for v in value for n in numbers(v)] if isinstance(value, list) else [value]

    assert not [n for n in numbers(json.loads(asked(ASK).content)) if isinstance(n, float)]
