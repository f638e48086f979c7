"""A rescue wagon gets a heavy bare front housing, a locker and bigger brakes: every knock-on, as a fabricator lists it.

The vehicle, the parts and the numbers are invented; what follows from them is worked out by hand beside each
check, from geometry, from the definitions of ratio and tyre size, or as common practice.
"""

import json
import math
from decimal import Decimal
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from api_client import seed_client
from crosspin.cli import main

ASK = Path(__file__).parent.parent / "seed_data" / "asks" / "hill-patrol.json"
SIDES = ("front/left/", "front/right/")
Answer = dict[str, Any]


@cache
def by_http() -> Answer:
    response = seed_client().post("/v1/knock-on", json=json.loads(ASK.read_text()))
    assert response.status_code == 200, response.text
    answer: Answer = response.json()
    return answer


@pytest.fixture(scope="module")
def plan() -> Answer:
    return by_http()


@cache
def steps() -> dict[str, Answer]:
    return {step["position"]: step for step in by_http()["steps"]}


@cache
def stays() -> dict[str, Answer]:
    return {step["position"]: step for step in by_http()["stays"]}


def part(position: str) -> str:
    found: str = steps()[position]["part"]["id"]
    return found


def refusals(position: str, candidate: str) -> str:
    """Why a candidate is ruled out at a position."""
    out = {line["part"]["id"]: line["because"] for line in steps()[position]["ruled_out"]}
    return " ".join(out[candidate])


def reading(part_id: str, place: str) -> list[str]:
    feature, dimension = place.split(".")
    record = seed_client().get(f"/v1/parts/{part_id}").json()
    there = next(f for f in record["features"] if f["feature"] == feature)
    found = next(r for r in there["readings"] if r["dimension"] == dimension)
    values: list[str] = found["values"]
    return values


def inches(text: str) -> str:
    """Inches in millimetres, exactly 25.4 to one."""
    return format((Decimal(text) * Decimal("25.4")).normalize(), "f")


def test_the_command_line_and_the_service_give_the_same_answer(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["ask", str(ASK), "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == by_http()


def test_the_service_gives_the_same_bytes_twice() -> None:
    first, second = (seed_client().post("/v1/knock-on", json=json.loads(ASK.read_text())).content for _ in range(2))
    assert first == second


def test_a_bare_housing_needs_everything_inside_it(plan: Answer) -> None:
    centre = (
        *("gear-set", "ring-bolts", "pinion-head-bearing", "pinion-stem-bearing", "preload-device", "pinion-seal"),
        *("pinion-nut", "pinion-yoke", "shim-pack", "cover", "cover-gasket", "fill-plug", "drain-plug", "vent"),
        "carrier",
    )
    ends = (
        *("carrier-bearing", "tube-seal", "inner-shaft", "axle-joint", "outer-shaft", "upper-ball-joint"),
        *("lower-ball-joint", "knuckle", "hub", "hub-locknuts", "drive-end"),
    )
    expected = [f"front/{role}" for role in centre] + [side + role for side in SIDES for role in ends]
    assert [p for p in expected if p not in steps()] == []
    uses = " ".join(use for work in plan["work"] for use in work["uses"])
    assert "oil" in uses


def test_the_gear_set_is_reverse_cut_and_matches_the_rear() -> None:
    assert part("front/gear-set") == "rp-895-4111-r"
    assert reading("rp-895-4111-r", "gearMesh.cutHand") == ["reverse"]
    assert (reading("rp-895-4111-r", "toothPair.ringTeeth"), reading("rp-895-4111-r", "toothPair.pinionTeeth")) == (
        ["41"],
        ["11"],
    )
    # 41/11 = 3.7273 at both ends (definition of the ratio): nothing changes at the rear
    assert stays()["rear/gear-set"]["part"]["id"] == "rp-96-4111-s"
    assert "reverse" in refusals("front/gear-set", "rp-895-4111-s")


def test_old_gears_shafts_and_carrier_stay_out() -> None:
    for position in ("front/gear-set", "front/carrier", "front/left/inner-shaft", "front/right/inner-shaft"):
        assert steps()[position]["action"] == "replace"


def test_shafts_have_the_lockers_spline() -> None:
    locker = reading("al-895-33", "sideGearSpline.toothCount")
    assert locker == ["33"]
    for side in SIDES:
        assert reading(part(side + "inner-shaft"), "innerSpline.toothCount") == locker


def test_hubs_keep_the_pattern_of_the_rear_and_the_spare() -> None:
    for side in SIDES:
        hub = part(side + "hub")
        assert reading(hub, "wheelBoltCircle.holeCount") == ["6"]
        assert reading(hub, "wheelBoltCircle.pitchCircle") == ["139.7"]
        assert reading(hub, "toneRing.toneToothCount") == ["48"]


def test_eight_bolt_hubs_contradict_what_stays() -> None:
    ask = json.loads(ASK.read_text())
    ask["fit"].append({"at": "front/*/hub", "part": "sh-138-8x1651-48"})
    answer = seed_client().post("/v1/knock-on", json=ask).json()
    assert answer["verdict"] == "contradiction"
    hub_wish = f"fit/{len(ask['fit']) - 1}"
    assert hub_wish in {wish["id"] for wish in answer["wishes"]}
    assert [w["id"] for w in answer["ways_out"][0]["give_up"]] == [hub_wish]
    # without that wish the answer is the plan, at the plan's cost
    assert answer["ways_out"][0]["cost"] == by_http()["cost"]


def test_eight_bolt_hubs_contradict_a_six_bolt_rear_axle() -> None:
    # one spare has to fit every hub (common practice), so eight studs in front and six at the rear cannot be
    ask = {
        "vehicle": "hill-patrol",
        "fit": [
            {"at": "front/housing", "part": "fh-895-hp-1600-b"},
            {"at": "front/*/hub", "part": "sh-138-8x1651-48"},
        ],
        "keep": ["rear/*/axle-shaft"],
    }
    answer = seed_client().post("/v1/knock-on", json=ask).json()
    assert [wish["id"] for wish in answer["wishes"]] == ["fit/1", "keep/0"]
    assert "The spare wheel has 6 holes, the front hub 8 studs." in answer["why"]
    assert [[w["id"] for w in way["give_up"]] for way in answer["ways_out"]] == [["fit/1"], ["keep/0"]]


def test_all_five_wheels_and_tyres_change() -> None:
    # barrel at least 2 x 187 + 6 = 380 mm: 370 fails, 394 passes (common practice: 3 mm all round)
    places = [*(f"{axle}/{side}" for axle in ("front", "rear") for side in ("left", "right"))]
    wheels = [*(f"{p}/wheel" for p in places), "spare-wheel"]
    tyres = [*(f"{p}/tyre" for p in places), "spare-tyre"]
    assert {part(p) for p in wheels} == {"wh-17x8-6x1397-12"}
    assert {part(p) for p in tyres} == {"ty-265-70-17"}
    assert reading("wh-17x8-6x1397-12", "caliperRoom.barrelDiameter") == ["394"]
    assert "370 mm" in steps()["front/left/wheel"]["reasons"][0]["sentence"]
    assert "187 mm" in steps()["front/left/wheel"]["reasons"][0]["sentence"]


def test_the_new_tyre_keeps_the_rolling_size() -> None:
    # design diameter d + 2 S A / 100 (definition of the size designation): 802.8 against 803.9 mm, -0.14 %
    old, new = (float(reading(p, "tyreSize.overallDiameter")[0]) for p in ("ty-265-75-16", "ty-265-70-17"))
    assert (old, new) == (803.9, 802.8)
    assert round(100 * (new / old - 1), 2) == -0.14
    assert "brake-control-unit" in stays()


def test_the_tie_rod_grows_and_both_ends_change_taper() -> None:
    # arms 40 mm further apart: 1340 + 40 = 1380
    assert any("1380 mm" in note for note in steps()["front/tie-rod"]["notes"])
    for side in SIDES:
        assert reading(part(side + "tie-rod-end"), "endTaper.gaugeDiameter") == [inches("0.722")]
        # 1.5 in a foot: a stud of 0.640 in sinks (0.722 - 0.640) / 0.125 = 0.656 in (geometry)
        assert "0.64" in steps()[side + "tie-rod-end"]["reasons"][0]["sentence"]
    assert pytest.approx(0.656) == (0.722 - 0.640) / 0.125


def test_the_drag_link_changes_at_the_axle_end_only() -> None:
    assert reading(part("front/drag-link-axle-end"), "endTaper.gaugeDiameter") == [inches("0.722")]
    assert "front/drag-link-pitman-end" in stays()
    assert "front/drag-link" in {*stays(), *steps()}
    line = steps().get("front/drag-link") or stays()["front/drag-link"]
    assert any("920 mm" in note for note in line["notes"])


def test_the_front_propshaft_is_built_to_the_new_length() -> None:
    # pinion joint 762 along and 120 below the output: sqrt(762^2 + 120^2) = 771.4 (geometry)
    assert math.hypot(762, 120) == pytest.approx(771.4, abs=0.05)
    shaft = steps()["front/propshaft"]
    assert any("771.4 mm" in note for note in shaft["notes"])
    # at full droop atan(240 / 762) = 17.48 degrees, under the joint's 22 or more
    assert any("17.48 deg" in note for note in shaft["notes"])
    assert reading(shaft["part"]["id"], "axleEndJoint.capDiameter") == [inches("1.21")]
    assert reading(shaft["part"]["id"], "axleEndJoint.capSpan") == [inches("3.7")]
    # bump 762.6, droop 798.9: 36.3 mm of travel, well inside
    travel = float(reading(shaft["part"]["id"], "lengthRange.slipTravel")[0])
    assert travel >= math.hypot(762, 240) - math.hypot(762, 30)


def test_caster_and_pinion_share_one_angle(plan: Answer) -> None:
    told = " ".join(note for step in (*plan["steps"], *plan["stays"]) for note in step["notes"])
    # angle sum 13 less the shaft's slope atan(120 / 762) = 8.95: caster 4.05 with the pinion aimed at the output
    assert "4.05 deg" in told


def test_the_air_line_keeps_to_the_six_millimetre_system() -> None:
    assert reading(part("front/air-fitting"), "fittingSocket.tubeDiameter") == ["6"]
    assert reading(part("front/air-line"), "lineTube.tubeDiameter") == ["6"]
    assert part("front/low-air-port").startswith("pp-")
    for kept in ("compressor", "pressure-switch", "air-manifold", "rear/air-line"):
        assert kept in stays()


def test_front_brakes_change_as_a_matched_set_and_the_rest_stays() -> None:
    for side in SIDES:
        assert part(side + "rotor") == "ro-345x30-52-6x1397"
        assert part(side + "caliper") == "fc-4x44-345"
        assert reading(part(side + "brake-hose"), "hoseCaliperEnd.fluidThread") == ["3/8-24"]
        assert reading(part(side + "brake-hose"), "hoseLineEnd.fluidThread") == ["M10x1.0"]
    kept = (
        "master-cylinder",
        "transfer-case",
        "rear/housing",
        "rear/propshaft",
        "rear/left/caliper",
        "rear/left/rotor",
    )
    assert [p for p in kept if p not in stays()] == []


def test_what_is_not_recorded_is_asked_for(plan: Answer) -> None:
    asked = {(m["position"], m["dimension"]) for m in plan["measurements"]}
    assert ("front/housing", "shaft length") in asked
    assert ("front/housing", "height over the axle's centre") in asked
    assert all(m["how"] for m in plan["measurements"])


def test_every_change_has_a_chain_back_to_the_ask(plan: Answer) -> None:
    for step in plan["steps"]:
        chain = step["reasons"]
        assert chain[-1]["rule"] is None
        assert all(a["source"] == b["position"] for a, b in pairwise(chain))
        assert step["asked"] or (len(chain) > 1 and step["forced"] in (True, False))


def test_cautions_come_with_the_work(plan: Answer) -> None:
    told = {caution["id"] for caution in plan["cautions"]}
    subjects = ("lift", "heavy", "spring", "brake", "steering", "hot", "torque", "law", "licen", "drive")
    text = " ".join(told).lower() + " ".join(c["text"].lower() for c in plan["cautions"])
    assert [s for s in subjects if s not in text] == []
    assert "approve" in plan["proviso"]


def test_the_order_list_uses_kits_where_they_are_cheaper(plan: Answer) -> None:
    kits = [line for line in plan["order"] if line["is_kit"]]
    assert "brake-345-4x44" in {line["id"] for line in kits}
    singles = float(plan["cost"]["money"])
    assert float(plan["totals"]["parts"]) <= singles
