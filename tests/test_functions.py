"""Functions over HTTP: what a plan would take from the customer without a word is kept, or said first.

Held against what a fitter knows (common practice, no published source): a locking hub frees its wheel and a drive
flange does not; an air locker locks when the driver wants it and an open carrier does not; the air, cable or harness
of a locker that goes is put out of use; a vehicle is not handed over without a parking brake.
"""

from decimal import Decimal
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api_client import seed_client
from crosspin.model.drafts import Refused
from seed import own_desk

Plan = dict[str, Any]
SHAFTS_30 = [{"feature": "outerSpline", "dimension": "toothCount", "equals": "30"}]


@pytest.fixture(scope="module")
def client() -> TestClient:
    return seed_client()


def plan_of(client: TestClient, **ask: Any) -> Plan:
    reply = client.post("/v1/knock-on", json=ask)
    assert reply.status_code == 200, reply.text
    plan: Plan = reply.json()
    assert plan["verdict"] == "plan"
    return plan


def text_of(client: TestClient, **ask: Any) -> str:
    reply = client.post("/v1/knock-on", json=ask, headers={"Accept": "text/plain"})
    assert reply.status_code == 200
    return reply.text


def lost(plan: Plan) -> list[tuple[str, tuple[str, ...]]]:
    return [(f["function"], tuple(f["positions"])) for f in plan["functions"]["lost"]]


def gained(plan: Plan) -> list[tuple[str, tuple[str, ...]]]:
    return [(f["function"], tuple(f["positions"])) for f in plan["functions"]["gained"]]


def parts(plan: Plan) -> dict[str, str | None]:
    return {step["position"]: step["part"] and step["part"]["id"] for step in plan["steps"]}


def jobs(plan: Plan) -> dict[str, dict[str, Any]]:
    return {job["operation"]: job for job in plan["work"]}


def kind_of(client: TestClient, part: str) -> str:
    kind: str = client.get(f"/v1/parts/{part}").json()["kind"]
    return kind


# ---------------------------------------------------------------------- kept, though dearer


def test_larger_outer_shafts_keep_the_locking_hubs(client: TestClient) -> None:
    """Drive flanges of 30 teeth are cheaper (56 against 120) and were handed out without a word."""
    ask = {
        "vehicle": "hill-patrol",
        "fit": [{"at": "front/*/outer-shaft", "kind": "OuterShaft", "readings": SHAFTS_30}],
    }
    plan = plan_of(client, **ask)
    assert lost(plan) == []
    assert plan["cost"]["lost_functions"] == 0
    for side in ("left", "right"):
        (hub,) = (s for s in plan["steps"] if s["position"] == f"front/{side}/drive-end")
        assert kind_of(client, hub["part"]["id"]) == "LockingHub"
        flanges = [a for a in hub["alternatives"] if a["part"] and kind_of(client, a["part"]["id"]) == "DriveFlange"]
        # none is offered as if it were as good: where it is told, so is what is lost
        assert all(a["more_lost"] > 0 for a in flanges)


def test_rear_discs_keep_the_parking_brake(client: TestClient) -> None:
    """Rear rotors without a drum in the hat would leave the parking brake nothing to pull."""
    plan = plan_of(client, vehicle="hill-patrol", fit=[{"at": "rear/*/rotor", "kind": "BrakeRotor"}])
    assert lost(plan) == []
    assert parts(plan).get("park-brake", "kept") is not None


# ---------------------------------------------------------------------- asked away: said first


def test_an_open_carrier_for_the_air_locker_says_the_loss_first(client: TestClient) -> None:
    ask = {"vehicle": "hill-patrol", "fit": [{"at": "rear/carrier", "kind": "OpenCarrier"}]}
    plan = plan_of(client, **ask)
    assert lost(plan) == [("locksOnDemand", ("rear/carrier",))]
    assert gained(plan) == []
    assert plan["cost"]["lost_functions"] == 1
    (line,) = plan["functions"]["lost"]
    assert line["parts"][0]["id"] == "al-96-34"
    assert line["sentence"].startswith("The rear carrier no longer locks on demand; Air locker 9.6 in")
    # the locker that is there can stay: keeping it saves the whole plan
    assert Decimal(line["keeping"]["more_money"]) == -Decimal(plan["totals"]["all"])
    assert line["keeping"]["relaxed"] == ["fit/0"]
    assert [part["id"] for part in line["keeping"]["parts"]] == ["al-96-34"]
    text = text_of(client, **ask)
    assert text.index("LOST") < text.index("ASKED")
    assert line["sentence"].split(";")[0] in " ".join(text.split())


def test_the_air_of_a_locker_that_goes_is_put_out_of_use(client: TestClient) -> None:
    plan = plan_of(client, vehicle="hill-patrol", fit=[{"at": "rear/carrier", "kind": "OpenCarrier"}])
    job = jobs(plan)["capLockerAir"]
    assert job["places"] == ["rear/carrier"]
    assert "not in use" in job["text"]
    assert any("tank" in caution or "pressure" in caution for caution in job["cautions"])
    assert jobs(plan)["letAirOff"]["number"] < job["number"]
    assert "cappedAirCheck" in {check["id"] for check in plan["checks"]}


def test_like_for_like_leaves_the_air_in_use(client: TestClient) -> None:
    plan = plan_of(
        client,
        vehicle="hill-patrol",
        fit=[{"at": "rear/carrier", "kind": "AirLocker"}, {"at": "rear/*/axle-shaft", "kind": "RearAxleShaft"}],
    )
    assert lost(plan) == []
    assert "capLockerAir" not in jobs(plan)


def test_fixed_flanges_asked_for_where_locking_hubs_were(client: TestClient) -> None:
    ask = {"vehicle": "trail-wagon", "fit": [{"at": "front/*/drive-end", "kind": "DriveFlange"}]}
    plan = plan_of(client, **ask)
    assert lost(plan) == [("freesWheel", (f"front/{side}/drive-end",)) for side in ("left", "right")]
    assert plan["cost"]["lost_functions"] == 2
    for line in plan["functions"]["lost"]:
        assert Decimal(line["keeping"]["more_money"]) == -Decimal(plan["totals"]["all"])
        assert {kind_of(client, part["id"]) for part in line["keeping"]["parts"]} == {"LockingHub"}


def test_one_flange_takes_the_other_side_with_it_and_both_are_said(client: TestClient) -> None:
    """One wheel that is freed and one that is driven would wear the axle's gears; the two sides are alike."""
    plan = plan_of(client, vehicle="trail-wagon", fit=[{"at": "front/left/drive-end", "kind": "DriveFlange"}])
    assert lost(plan) == [("freesWheel", (f"front/{side}/drive-end",)) for side in ("left", "right")]


def test_an_electric_locker_for_the_air_locker_loses_nothing_but_caps_the_air(client: TestClient) -> None:
    """It locks on demand too, so nothing is lost or gained; the air is of no more use all the same."""
    plan = plan_of(client, vehicle="trail-wagon", fit=[{"at": "front/carrier", "kind": "ElectricLocker"}])
    assert lost(plan) == []
    assert "locksOnDemand" not in {function for function, _ in gained(plan)}
    assert jobs(plan)["capLockerAir"]["places"] == ["front/carrier"]


# ---------------------------------------------------------------------- taken away by something else


def test_a_transfer_case_does_not_cost_the_lockers(client: TestClient) -> None:
    plan = plan_of(client, vehicle="trail-wagon", fit=[{"at": "transfer-case", "kind": "TransferCase"}])
    assert lost(plan) == []


def test_another_sort_of_parking_brake_holds_the_vehicle_too(client: TestClient) -> None:
    plan = plan_of(client, vehicle="hill-patrol", fit=[{"at": "park-brake", "kind": "OutputParkBrake"}])
    assert lost(plan) == gained(plan) == []


def test_a_manual_steering_box_loses_the_assistance(client: TestClient) -> None:
    plan = plan_of(client, vehicle="hill-patrol", fit=[{"at": "steering-box", "kind": "ManualSteeringBox"}])
    assert lost(plan) == [("assistsSteering", ("steering-box",))]
    assert plan["functions"]["lost"][0]["sentence"].startswith("Nothing helps the hands on the steering wheel any more")


# ---------------------------------------------------------------------- gained


def test_an_air_locker_for_an_open_carrier_is_gained(client: TestClient) -> None:
    plan = plan_of(client, vehicle="hill-patrol", fit=[{"at": "front/carrier", "kind": "AirLocker"}])
    assert gained(plan) == [("locksOnDemand", ("front/carrier",))]
    assert lost(plan) == []
    assert "capLockerAir" not in jobs(plan)


def test_what_nobody_has_looked_at_is_neither_lost_nor_gained(client: TestClient) -> None:
    """The carriers of the orchard runabout are unseen: one of them could be a locker, and have air."""
    plan = plan_of(client, vehicle="orchard-runabout", fit=[{"at": "rear/carrier", "kind": "OpenCarrier"}])
    assert lost(plan) == gained(plan) == []
    assert {"capLockerAir", "isolateLockerHarness", "takeLockerCableOut"}.isdisjoint(jobs(plan))


def test_locking_hubs_for_flanges_are_gained_on_each_side(client: TestClient) -> None:
    plan = plan_of(client, vehicle="orchard-runabout", fit=[{"at": "front/*/drive-end", "kind": "LockingHub"}])
    assert gained(plan) == [("freesWheel", (f"front/{side}/drive-end",)) for side in ("left", "right")]


# ---------------------------------------------------------------------- as data


def test_a_function_is_published_as_a_rule(client: TestClient) -> None:
    sheet = client.get("/v1/rules/freesWheel").json()
    assert sheet["sort"] == "function"
    assert sheet["rule"]["scope"] == "sameAxle"
    assert "functions" in client.get("/v1/model").json()
    assert client.get("/v1/parts/lh-30-104").json()["functions"] == ["freesWheel"]
    assert client.get("/v1/parts/df-30-104").json()["functions"] == []


ITSELF = """@prefix cp: <https://crosspin.example/def/> . @prefix part: <https://crosspin.example/id/part/> .
@prefix rdfs: <http://www.w3.org/2000/01/rdf-schema#> .
part:flange-that-frees a cp:DriveFlange ; rdfs:label "drive flange with a pin to pull"@en ; cp:price 9.00 ; cp:stock 2 ;
  cp:givesFunction cp:%s ."""


def test_a_part_may_give_a_function_of_its_own() -> None:
    with own_desk() as desk:
        desk.import_text("own", (ITSELF % "freesWheel").encode(), "text/turtle")
        part = desk.holdings.catalog.parts["flange-that-frees"]
        assert part.functions == ("freesWheel",)
        (alike,) = (c for c in desk.holdings.catalog.classes(desk.holdings.model, "DriveFlange") if c.functions)
        assert alike.cheapest.part == "flange-that-frees"
        with pytest.raises(Refused) as refused:
            desk.import_text("own", (ITSELF % "flies").encode(), "text/turtle")
        assert "'flies' is no function" in str(refused.value.problems)


def test_the_seal_housing_of_an_air_locker_that_goes_comes_out(client: TestClient) -> None:
    plan = plan_of(client, vehicle="hill-patrol", fit=[{"at": "rear/carrier", "part": "op-96-34-low"}])
    (step,) = [step for step in plan["steps"] if step["position"] == "rear/air-seal-housing"]
    assert (step["action"], step["part"]) == ("remove", None)
    assert "its tube lies loose at the gears, so it must go" in step["reasons"][0]["sentence"]
