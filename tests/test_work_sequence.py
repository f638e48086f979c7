"""The work list can be followed from top to bottom, and says what a person must have, read and wait for.

The order of work is common practice in axle shops, no published source, except where a source is named.
"""

import json
from decimal import Decimal
from functools import cache
from itertools import groupby, pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api_client import seed_client
from crosspin.answer.sequence import WorkOrder, WorkPlan
from crosspin.answer.text import tell_text
from crosspin.knockon.ask import Ask
from crosspin.model.labour import Operation, Phase, Repeat
from seed import ROOT, seed_desk

Answer = dict[str, Any]

HILL = json.loads((ROOT / "seed_data" / "asks" / "hill-patrol.json").read_text())
FARM = json.loads((ROOT / "seed_data" / "asks" / "farm-hauler.json").read_text())
LOCKER = {"vehicle": "farm-hauler", "fit": [{"at": "front/carrier", "part": "al-815-27"}]}
"""An air locker for a front axle whose boss was never drilled."""
ASKS = {"hill": HILL, "farm": FARM, "locker": LOCKER}


@cache
def plan(name: str) -> Answer:
    response = seed_client().post("/v1/knock-on", json=ASKS[name])
    assert response.status_code == 200, response.text
    answer: Answer = response.json()
    assert answer["verdict"] == "plan"
    return answer


@cache
def model() -> Answer:
    answer: Answer = seed_client().get("/v1/model").json()
    return answer


def work(name: str) -> list[Answer]:
    lines: list[Answer] = plan(name)["work"]
    return lines


def number(name: str, operation: str, group: str | None = None) -> int:
    found = [w["number"] for w in work(name) if w["operation"] == operation and group in (None, w["group"])]
    assert len(found) == 1, f"{operation} stands {len(found)} times in the work for {name}"
    return int(found[0])


def all_before(name: str, line: int) -> set[int]:
    """Numbers of everything that a job waits for, directly or not."""
    after = {w["number"]: w["after"] for w in work(name)}
    found: set[int] = set()
    waiting = [line]
    while waiting:
        for before in after[waiting.pop()]:
            if before not in found:
                found.add(before)
                waiting.append(before)
    return found


# ---------------------------------------------------------------------- the list as a whole


@pytest.mark.parametrize("name", ASKS)
def test_the_list_is_numbered_and_nothing_waits_for_what_comes_later(name: str) -> None:
    assert [w["number"] for w in work(name)] == list(range(1, len(work(name)) + 1))
    assert all(before < w["number"] for w in work(name) for before in w["after"])


@pytest.mark.parametrize("name", ASKS)
def test_the_work_is_grouped_by_axle_between_what_is_done_once(name: str) -> None:
    headings = [key for key, _ in groupby((w["group"], w["phase"]) for w in work(name))]
    assert len(headings) == len(set(headings)), "a heading comes twice"
    groups = [group for group, _ in groupby(group for group, _ in headings)]
    assert groups[0] == "before teardown"
    assert "front axle" in groups
    if "rear axle" in groups:
        assert groups.index("front axle") < groups.index("rear axle") < groups.index("fluids and wheels")
    assert groups[-2:] == ["hand over", "after hand-over"]


@pytest.mark.parametrize("name", ASKS)
def test_each_axle_goes_through_its_phases_in_their_order(name: str) -> None:
    numbers = {phase["label"]: phase["number"] for phase in model()["phases"].values()}
    for _, lines in groupby(work(name), key=lambda w: w["group"]):
        phases = [numbers[w["phase"]] for w in lines]
        assert phases == sorted(phases)


def test_one_axle_does_not_wait_for_the_other() -> None:
    rear = [w for w in work("farm") if w["group"] == "rear axle"]
    front = {w["number"] for w in work("farm") if w["group"] == "front axle"}
    assert rear
    assert front
    assert not any(all_before("farm", w["number"]) & front for w in rear)


@pytest.mark.parametrize("name", ASKS)
def test_recording_comes_first_and_driving_last_but_for_what_follows_hand_over(name: str) -> None:
    assert work(name)[0]["operation"] == "recordAsReceived"
    handed_over = [w for w in work(name) if w["phase"] != "after hand-over"]
    assert handed_over[-1]["operation"] == "roadTest"
    later = [w["operation"] for w in work(name) if w["phase"] == "after hand-over"]
    assert later[0] == "retightenAll"
    everything = {w["number"] for w in handed_over[:-1]}
    assert all_before(name, handed_over[-1]["number"]) == everything


@pytest.mark.parametrize("name", ASKS)
def test_the_text_has_every_job_under_its_heading(name: str) -> None:
    text = tell_text(seed_desk().ask(Ask.model_validate_json(json.dumps(ASKS[name]))))
    place = text.index("TO DO")
    for w in work(name):
        heading = w["group"] if w["group"] == w["phase"] else f"{w['group']}: {w['phase']}"
        assert f"\n  {heading}\n" in text
        place = text.index(f"    {w['number']}.", place)
    assert "Tools: " in text
    assert "Read first: " in text


# ---------------------------------------------------------------------- what comes before what


def test_a_port_is_drilled_in_an_empty_housing() -> None:
    drilled = number("locker", "drillAndTapPort")
    assert number("locker", "openAxle") in all_before("locker", drilled)
    for gears in ("fitRing", "pressCarrierBearing", "setBacklash", "fitAirFitting", "closeAxle"):
        assert drilled in all_before("locker", number("locker", gears)), gears


def test_a_locker_is_tried_before_its_axle_is_closed() -> None:
    for name, group in (("hill", "front axle"), ("farm", "rear axle"), ("locker", "front axle")):
        tried = number(name, "tryLocker", group)
        assert number(name, "fitAirFitting", group) in all_before(name, tried)
        assert tried in all_before(name, number(name, "closeAxle", group))


def test_a_housing_is_stripped_before_it_is_welded_and_welded_before_bearings_go_in() -> None:
    steps = ["takeAxleOut", "stripHousing", "cutTubeEnds", "weldSpindles", "straightenHousing", "fitRing"]
    numbers = [number("farm", step, "rear axle") for step in steps]
    assert all(a in all_before("farm", b) for a, b in pairwise(numbers))
    welded = number("farm", "weldSpindles", "rear axle")
    for later in ("pressCarrierBearing", "setHubBearings", "fitAirFitting", "putAxleUnder"):
        assert welded in all_before("farm", number("farm", later, "rear axle")), later
    assert number("farm", "disconnectBattery") < welded


def test_a_centre_is_built_from_the_pinion_outward() -> None:
    steps = ["setPinionDepth", "fitPinionYoke", "setPinionPreload", "setBacklash", "putAxleUnder", "fitInnerShaft"]
    numbers = [number("hill", step, "front axle") for step in steps]
    assert all(a in all_before("hill", b) for a, b in pairwise(numbers))


def test_a_steered_end_is_built_from_the_ball_joints_outward() -> None:
    steps = ["pressBallJoints", "fitKnuckle", "fitInnerShaft", "setHubBearings", "fitDriveEnd"]
    steps += ["fitRotor", "fitCaliper", "fitBrakeHose"]
    numbers = [number("hill", step, "front axle") for step in steps]
    assert all(a in all_before("hill", b) for a, b in pairwise(numbers))


@pytest.mark.parametrize("name", ["hill", "farm"])
def test_brakes_are_bled_when_every_joint_is_closed_and_before_the_wheels_hide_them(name: str) -> None:
    bled = number(name, "bleedBrakes")
    hydraulic = {"fitBrakeHose", "fitCaliper", "takeOutResidualValve", "fitProportioningValve", "fitMasterCylinder"}
    joints = [w["number"] for w in work(name) if w["operation"] in hydraulic]
    assert len(joints) >= 2
    assert set(joints) <= all_before(name, bled)
    assert bled in all_before(name, number(name, "tightenWheel"))
    assert bled in all_before(name, number(name, "bedInPads"))


def test_alignment_is_the_last_of_the_setting_up() -> None:
    aligned = number("hill", "alignWheels")
    steering = {"fitKnuckle", "fitSteeringEnd", "fitSteeringLink", "fitTrackBar", "tightenWheel", "tightenAtRideHeight"}
    done = {w["number"] for w in work("hill") if w["operation"] in steering}
    assert len(done) >= 5
    assert done <= all_before("hill", aligned)
    phases = {w["phase"] for w in work("hill") if w["number"] > aligned}
    assert phases <= {"set up on its wheels", "hand over", "after hand-over"}
    assert {w["operation"] for w in work("hill") if w["number"] > aligned} <= {
        *("setSpeedCalibration", "bedInPads", "roadTest", "retightenAll", "changeBreakInOil", "setProportioningValve")
    }


def test_wires_are_joined_with_the_battery_off() -> None:
    off, on = number("farm", "disconnectBattery"), number("farm", "reconnectBattery")
    wired = [w["number"] for w in work("farm") if w["operation"].startswith("wire") or w["operation"] == "fitModule"]
    assert len(wired) >= 4
    assert all(off in all_before("farm", n) and n in all_before("farm", on) for n in wired)


# ---------------------------------------------------------------------- what a job takes


def test_hours_count_what_is_done_on_each_side_and_each_part() -> None:
    once = {name: float(o["hours"]) for name, o in model()["operations"].items()}
    lines = {w["operation"]: float(w["hours"]) for w in work("hill") if w["group"] != "rear axle"}
    assert lines["alignWheels"] == pytest.approx(once["alignWheels"])
    assert lines["setBacklash"] == pytest.approx(once["setBacklash"])
    assert lines["fitKnuckle"] == pytest.approx(2 * once["fitKnuckle"])  # left and right
    assert lines["pressBallJoints"] == pytest.approx(2 * once["pressBallJoints"])  # upper and lower together
    assert lines["mountTyre"] == pytest.approx(5 * once["mountTyre"])  # four and the spare
    assert lines["tightenWheel"] == pytest.approx(4 * once["tightenWheel"])


def test_oil_is_what_the_housing_takes() -> None:
    record = seed_client().get("/v1/parts/fh-895-hp-1600-b").json()
    provision = next(f for f in record["features"] if f["feature"] == "oilProvision")
    (volume,) = next(r["values"] for r in provision["readings"] if r["dimension"] == "oilVolume")
    uses = next(w["uses"] for w in work("hill") if w["operation"] == "closeAxle")
    assert f"gear oil, {volume}" in " ".join(uses)


def test_special_tools_are_named() -> None:
    tools = {w["operation"]: set(w["tools"]) for w in work("hill")}
    assert "dial gauge" in tools["setBacklash"]
    assert "turning-torque wrench" in tools["setPinionPreload"]
    assert "oven" in tools["fitRing"]
    assert "ball-joint press" in tools["pressBallJoints"]
    assert "alignment rig" in tools["alignWheels"]


# ---------------------------------------------------------------------- what a person must read

HARM = {
    "liftCaution": "supportVehicle",
    "heavyCaution": "takeAxleOut",
    "springCaution": "fitSpring",
    "brakesCaution": "bleedBrakes",
    "steeringCaution": "fitSteeringEnd",
    "airBlowCaution": "drillAndTapPort",
    "tyreInflationCaution": "mountTyre",
    "airTankCaution": "fitAirTank",
    "hotPartsCaution": "fitRing",
    "pressingCaution": "pressWheelBearing",
    "weldingOnVehicleCaution": "moveSpringSeats",
    "weldingHousingCaution": "weldSpindles",
    "electricsCaution": "wireCompressorFeed",
    "rotatingCaution": "takePropshaftOut",
    "torqueCaution": "tightenWheel",
    "chemicalsCaution": "closeAxle",
    "legalityCaution": "roadTest",
    "licenceCaution": "fitMasterCylinder",
    "testDriveCaution": "bedInPads",
    "adviceCaution": "roadTest",
}
"""Twenty subjects that a person must read of, each with a job that must carry it."""


@pytest.mark.parametrize(("caution", "operation"), HARM.items())
def test_every_danger_is_told_with_the_work_that_has_it(caution: str, operation: str) -> None:
    assert caution in model()["operations"][operation]["cautions"]
    assert model()["cautions"][caution]["text"]


@pytest.mark.parametrize("name", ASKS)
def test_every_job_that_can_hurt_someone_carries_cautions(name: str) -> None:
    harmless = {o["id"] for o in model()["operations"].values() if o["hurts_nobody"]}
    silent = [w["operation"] for w in work(name) if not w["cautions"]]
    assert set(silent) <= harmless
    # a ring that lies loose with the spare is only put there
    assert harmless <= {"recordAsReceived", "pressInCentringRing", "putRingWithSpare"}
    told = {caution["text"] for caution in plan(name)["cautions"]}
    assert all(caution in told for w in work(name) for caution in w["cautions"])


@pytest.mark.parametrize(
    ("subject", "word"),
    [
        ("airBlowCaution", "30 psi"),  # 29 CFR 1910.242(b), cleaning with compressed air; quoted from memory
        ("tyreInflationCaution", "clip-on chuck"),  # 29 CFR 1910.177, servicing rim wheels; quoted from memory
        ("hotPartsCaution", "150 degrees"),  # case-hardened gears are tempered at 150 to 200 degrees; from memory
        ("weldingOnVehicleCaution", "300 mm"),  # common practice, no published source
    ],
)
def test_a_caution_names_its_limit(subject: str, word: str) -> None:
    assert word in model()["cautions"][subject]["text"]


# ---------------------------------------------------------------------- the order on made-up work


@st.composite
def shops(draw: st.DrawFn) -> tuple[WorkOrder, list[tuple[str, str]]]:
    """Made-up operations in made-up phases, with edges that go forward in both, and jobs at up to two stations."""
    spans = draw(st.lists(st.booleans(), min_size=1, max_size=4))
    phases = {
        f"p{n}": Phase(id=f"p{n}", label="x", definition="x", number=n, spans_vehicle=spanning)
        for n, spanning in enumerate(spans)
    }
    places = sorted(draw(st.lists(st.integers(0, len(spans) - 1), min_size=1, max_size=7)))
    operations = {}
    for n, phase in enumerate(places):
        later = [f"o{m}" for m in range(n + 1, len(places)) if draw(st.booleans())]
        operations[f"o{n}"] = Operation(
            id=f"o{n}",
            label="x",
            definition="x",
            text="x",
            hours=Decimal(1),
            phase=f"p{phase}",
            repeat=Repeat.ONCE,
            before=tuple(later),
        )
    jobs = [("", name) for name, o in operations.items() if phases[o.phase].spans_vehicle]
    for station in ("a", "b"):
        jobs += [
            (station, n) for n, o in operations.items() if not phases[o.phase].spans_vehicle and draw(st.booleans())
        ]
    return WorkOrder(operations, phases, ["a", "b"]), jobs


@given(shops())
def test_any_work_comes_out_whole_and_in_order(shop: tuple[WorkOrder, list[tuple[str, str]]]) -> None:
    order, jobs = shop
    ordered = WorkPlan(order, jobs).jobs
    assert sorted(ordered) == sorted(jobs)
    assert not any(order.precedes(b, a) for n, a in enumerate(ordered) for b in ordered[n + 1 :])
    assert WorkPlan(order, list(reversed(jobs))).jobs == ordered


@given(shops())
def test_what_a_job_waits_for_says_all_and_nothing_twice(shop: tuple[WorkOrder, list[tuple[str, str]]]) -> None:
    order, jobs = shop
    work = WorkPlan(order, jobs)
    reached: dict[tuple[str, str], set[tuple[str, str]]] = {}
    for job in work.jobs:
        direct = work.waits_for(job)
        reached[job] = set(direct).union(*(reached[d] for d in direct))
        assert reached[job] == {other for other in jobs if order.precedes(other, job)}
        assert not any(a in reached[b] for a in direct for b in direct)


@given(shops(), st.data())
def test_what_lies_over_what_comes_first_whatever_the_phases_say(
    shop: tuple[WorkOrder, list[tuple[str, str]]], data: st.DataObject
) -> None:
    order, jobs = shop
    kept = WorkPlan(order, jobs).jobs
    places = st.integers(0, max(len(kept) - 1, 0))
    pairs = data.draw(st.lists(st.tuples(places, places), max_size=6)) if len(kept) > 1 else []
    edges = [(kept[min(pair)], kept[max(pair)]) for pair in pairs if pair[0] != pair[1]]
    ordered = WorkPlan(order, jobs, edges).jobs
    assert sorted(ordered) == sorted(jobs)
    assert all(ordered.index(first) < ordered.index(second) for first, second in edges)
    # where two wait for one another, there is no order, and none is made up
    for first, second in edges[:1]:
        with pytest.raises(ValueError, match="wait for one another"):
            _ = WorkPlan(order, jobs, [(first, second), (second, first)]).jobs
