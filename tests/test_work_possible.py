"""The work of a plan can be done in its order: nothing is drawn through, undone under or fitted over anything else.

What lies over what is common practice, no published source; that what follows from it is right is held to SPARQL's
property paths (pyoxigraph), to a checker that walks through the work of every plan that any test makes
(`conftest.py`), and to what stands here in plain words.
"""

import os
from collections.abc import Callable
from functools import cache
from json import dumps
from pathlib import Path
from random import Random
from re import escape

import pytest
from pyoxigraph import Quad, Store

from api_client import seed_client
from crosspin.answer.plan import Plan
from crosspin.catalog.library import Library
from crosspin.knockon.ask import Ask, AskError
from crosspin.knockon.limits import SearchLimit
from crosspin.model.check import check_handling
from crosspin.model.reader import BrokenOntology
from crosspin.model.records import cp
from crosspin.model.terms import DEF
from crosspin.vehicle.access import Access, Places
from crosspin.vehicle.received import received_part
from seed import ROOT, orderable, seed_desk, seed_library
from told_plan import Told, ask_of

VEHICLES = ("farm-hauler", "hill-patrol", "orchard-runabout", "trail-wagon")
SHARES = 4
ASKS_A_SHARE = 75 if os.environ.get("CROSSPIN_EVERY_CASE") else 15
"""300 asks with every case; fewer where somebody waits, for every second one opens half a vehicle."""


# ---------------------------------------------------------------------- what lies over what, by another engine


@pytest.mark.parametrize("name", VEHICLES)
def test_what_comes_off_is_what_a_property_path_reaches(name: str) -> None:
    """pyoxigraph's SPARQL follows what lies directly over what, and what carries what, to any depth."""
    access = as_received(name)
    store = Store()

    def node(path: str):  # type: ignore[no-untyped-def]
        return cp(path.replace("/", "-"))

    paths = {node(path).value: path for path in access.places.positions}
    for path in access.places.positions:
        for over in access.directly_over(path) if access.parts[path] is not None else ():
            store.add(Quad(node(path), cp("under"), node(over)))
        for carried in access.places.held.get(path, ()):
            store.add(Quad(node(path), cp("carries"), node(carried)))
    deep = 0
    for path in access.places.positions:
        begins = [f"<{node(over).value}> cp:under* ?off" for over in access.directly_over(path)]
        begins.append(f"<{node(path).value}> cp:carries*/cp:under* ?off")
        found = store.query(f"PREFIX cp: <{DEF}> SELECT ?off WHERE {{ {{ {' } UNION { '.join(begins)} }} }}")
        reached = {paths[row["off"].value] for row in found} - {path}  # type: ignore[union-attr]
        expected = {there for there in reached if access.parts[there] is not None}
        assert access.disturbed(path) == expected, path
        deep = max(deep, len(expected))
    assert deep > 40, "a housing disturbs a whole axle"


@cache
def as_received(name: str) -> Access:
    holdings = seed_desk().holdings
    vehicle = holdings.catalog.vehicles[name]
    layout = holdings.model.layouts[vehicle.layout]
    parts = {p.path: received_part(holdings.model, holdings.catalog, vehicle, p) for p in layout.positions}
    return Access(Places(holdings.model, layout), parts)


# ---------------------------------------------------------------------- random asks, walked through


@pytest.mark.parametrize("share", range(SHARES))
def test_the_work_of_random_asks_can_be_done(share: int, record_property: Callable[[str, object], None]) -> None:
    # What walks through them is in conftest.py, which fails a test whose plan cannot be done.
    random = Random(4711 + share)
    plans = steps = 0
    for _ in range(ASKS_A_SHARE):
        found = answered(random)
        if isinstance(found, Plan):
            plans += 1
            steps += len(found.work)
    record_property("told", f"work walked through, share {share}: {plans} plans of {ASKS_A_SHARE} asks, {steps} steps")
    assert plans >= ASKS_A_SHARE // 4, "most random asks have a plan"


@cache
def parts_of(kind: str) -> list[str]:
    return orderable(seed_library(), kind)


def answered(random: Random) -> object:
    """The answer to a random ask: a part at a random place, often two, taken out or renewed now and then."""
    desk = seed_desk()
    model, catalog = desk.holdings.model, desk.holdings.catalog
    vehicle = random.choice(VEHICLES)
    layout = model.layouts[catalog.vehicles[vehicle].layout]
    words: dict[str, list[object]] = {"fit": [], "remove": [], "renew": []}
    for position in random.sample(list(layout.positions), random.choice([1, 1, 2])):
        sort = random.choice(["fit", "fit", "fit", "remove", "renew"])
        parts = parts_of(model.roles[position.role].kind)
        if sort == "fit" and parts:
            words["fit"].append({"at": position.path, "part": random.choice(parts)})
        elif sort != "fit" and position.path in catalog.vehicles[vehicle].parts:
            words[sort].append(position.path)
    try:
        return desk.ask(Ask.model_validate_json(dumps({"vehicle": vehicle, **words})))
    except (AskError, SearchLimit):
        return None


# ---------------------------------------------------------------------- by kind of retention, in plain words


def numbers(told: Told, group: str) -> dict[str, int]:
    """The number of every operation at one axle."""
    return {w["operation"]: w["number"] for w in told.plan["work"] if w["group"] == group}


def in_order(found: dict[str, int], *operations: str) -> None:
    assert [found[name] for name in operations] == sorted(found[name] for name in operations), found


def test_shafts_that_clips_hold_come_out_through_the_open_cover() -> None:
    told = Told(ask_of("farm-hauler", {}) | {"renew": ["rear/carrier"]})
    found = numbers(told, "rear axle")
    in_order(found, "takeWheelsOff", "takeBrakesOff", "drawRearShafts", "openAxle", "setBacklash")
    in_order(found, "uncoverAxle", "takeShaftClipOut", "drawRearShafts", "openAxle", "setBacklash", "fitWheelSeal",
             "putRearShaftsBack", "fitShaftClip", "closeAxle")  # fmt: skip


def test_shafts_that_a_plate_holds_come_out_at_the_wheel_with_the_cover_on() -> None:
    told = Told(ask_of("hill-patrol", {}, *()) | {"renew": ["rear/left/wheel-seal"]})
    found = numbers(told, "rear axle")
    in_order(found, "takeWheelsOff", "takeBrakesOff", "drawRearShafts", "fitWheelSeal", "putRearShaftsBack",
             "putBrakesBack")  # fmt: skip
    assert not {"uncoverAxle", "closeAxle", "openAxle"} & found.keys()
    assert "rear/cover-gasket" not in told.steps
    # one shaft of a pair is no home of what the other carries
    shaft = Told(ask_of("hill-patrol", {}) | {"renew": ["rear/left/axle-shaft"]})
    assert "rear/right/shaft-retainer" not in shaft.steps


def test_a_new_transfer_case_is_hung_before_seals_and_yokes_go_on_it() -> None:
    told = Told(ask_of("hill-patrol", {}) | {"renew": ["transfer-case"]})
    steps = [(w["operation"], w["group"]) for w in told.plan["work"]]
    for axle in ("front axle", "rear axle"):
        wanted = [("takePropshaftOut", axle), ("takeOutputYokeOff", axle), ("changeTransferCase", "vehicle"),
                  ("fitOutputSeal", axle), ("fitOutputYoke", axle), ("fitPropshaft", axle)]  # fmt: skip
        assert [step for step in steps if step in wanted] == wanted


def test_wheels_that_came_off_are_tried_on_the_road_and_tightened_again() -> None:
    told = Told(ask_of("farm-hauler", {}) | {"renew": ["front/left/tyre"]})
    assert {"tightenWheel", "roadTest", "retightenAll"} <= set(told.work())


def test_a_drum_brake_that_is_fitted_is_set_at_its_parking_brake_too() -> None:
    told = Told(ask_of("farm-hauler", {"rear/left/rotor": "dr-295-60-6x1397"}))
    in_order({w["operation"]: w["number"] for w in told.plan["work"]}, "fitDrumBrake", "adjustParkBrake", "roadTest")


def test_a_seal_behind_a_clipped_shaft_costs_a_gasket_and_oil() -> None:
    told = Told(ask_of("farm-hauler", {}) | {"renew": ["rear/left/wheel-seal"]})
    in_order(numbers(told, "rear axle"), "uncoverAxle", "takeShaftClipOut", "drawRearShafts", "fitWheelSeal",
             "putRearShaftsBack", "fitShaftClip", "closeAxle")  # fmt: skip
    assert told.steps["rear/cover-gasket"]["action"] == "replace"
    assert "its gasket is used once" in told.why("rear/cover-gasket")
    assert "gear oil" in told.uses()


def test_a_hub_that_comes_off_brings_seal_nuts_and_bearing_play() -> None:
    told = Told(ask_of("farm-hauler", {}) | {"renew": ["front/left/inner-shaft"]})
    found = numbers(told, "front axle")
    in_order(found, "takeBrakesOff", "takeDriveEndOff", "takeSpindleHubOff", "drawFrontShafts", "fitInnerShaft",
             "setHubBearings", "fitDriveEnd", "putBrakesBack")  # fmt: skip
    assert {"front/left/hub-seal", "front/left/hub-locknuts"} <= told.steps.keys()
    assert "their washer is bent once only" in told.why("front/left/hub-locknuts")


def test_a_unit_bearing_comes_off_without_nuts_or_bearings_of_its_own() -> None:
    model, access = seed_desk().holdings.model, as_received("trail-wagon")
    hub = seed_desk().holdings.catalog.parts[parts_of("UnitBearingHub")[0]]
    bare = dict.fromkeys(f"front/left/hub-{n}" for n in ("locknuts", "seal", "inner-bearing", "outer-bearing"))
    other = Access(access.places, {**access.parts, **bare, "front/left/hub": hub})
    assert other.disturbed("front/left/inner-shaft") == access.disturbed("front/left/inner-shaft") - bare.keys()
    assert model.kinds[hub.kind].comes_off_by == ("unboltHub",)
    assert model.kinds[hub.kind].goes_back_by == ("boltHubToKnuckle",)


def test_full_floating_shafts_come_out_with_the_wheels_on() -> None:
    told = Told(ask_of("trail-wagon", {}) | {"renew": ["rear/carrier"]})
    found = numbers(told, "rear axle")
    in_order(found, "uncoverAxle", "openAxle", "setBacklash", "boltShaftFlange")
    in_order(found, "drawFlangedShafts", "openAxle", "setBacklash", "boltShaftFlange")
    assert not {"takeWheelsOff", "takeBrakesOff", "takeSpindleHubOff", "setHubBearings"} & found.keys()
    assert "rear/left/hub-seal" not in told.steps
    hub = numbers(Told(ask_of("trail-wagon", {}) | {"renew": ["rear/left/hub-seal"]}), "rear axle")
    in_order(hub, "takeWheelsOff", "takeBrakesOff", "takeSpindleHubOff", "setHubBearings", "boltShaftFlange")
    in_order(hub, "drawFlangedShafts", "takeSpindleHubOff", "setHubBearings", "boltShaftFlange", "putBrakesBack")
    assert "uncoverAxle" not in hub


def test_tapers_that_are_parted_are_pinned_anew_and_the_wheels_aligned() -> None:
    told = Told(ask_of("farm-hauler", {}) | {"renew": ["front/left/knuckle"]})
    found = numbers(told, "front axle")
    in_order(found, "partTapers", "takeKnuckleOff", "joinTapers")
    assert "alignWheels" in told.work()
    assert "split pins" in told.uses()


def test_what_comes_off_for_work_that_changes_no_part_is_told_where_it_is_used_once() -> None:
    """Steering ends that are clocked anew for a lift strip the axle, though no part in it is changed."""
    told = Told(ask_of("farm-hauler", {"front/*/spring": "co-103-620-50"}))
    assert ("clockForks", None) in told.remedies("front/housing")
    for path in ("front/cover-gasket", "front/left/hub-seal", "front/right/hub-locknuts"):
        (note,) = told.stays[path]["notes"]
        assert note.endswith("A new one like it is in the order."), path
        serves = {
            place
            for line in told.plan["order"]
            if line["id"] == told.stays[path]["part"]["id"]
            for place in line["serves"]
        }
        assert path in serves
    found = numbers(told, "front axle")
    in_order(found, "takeSpindleHubOff", "drawFrontShafts", "openAxle", "reclockForks", "setBacklash", "putKnuckleBack",
             "putFrontShaftBack", "setHubBearings", "putBrakesBack")  # fmt: skip


def test_steps_tell_what_they_take_off_and_put_on() -> None:
    answer = (
        seed_client().post("/v1/knock-on", json=ask_of("farm-hauler", {}) | {"renew": ["rear/cover-gasket"]}).json()
    )
    taken = [path for job in answer["work"] for path in job["takes_off"]]
    assert taken == ["rear/cover", "rear/cover-bolts", "rear/cover-gasket"]
    assert [path for job in answer["work"] for path in job["puts_on"]] == taken


# ---------------------------------------------------------------------- mistakes of whoever writes it


def test_work_in_a_phase_that_no_order_allows_is_found_when_the_ontology_is_read() -> None:
    model = seed_desk().holdings.model
    assert check_handling(model) == []
    early = model.operations["fitDriveEnd"].model_copy(update={"phase": "centrePhase"})
    wrong = check_handling(model.model_copy(update={"operations": {**model.operations, "fitDriveEnd": early}}))
    said = (
        "cp:HubLocknutSet goes on by cp:setHubBearings and lies under cp:DriveEndRole, which goes on by cp:fitDriveEnd"
    )
    assert f"{said} in an earlier phase" in wrong
    late = model.operations["takeWheelsOff"].model_copy(update={"phase": "brakePhase"})
    wrong = check_handling(model.model_copy(update={"operations": {**model.operations, "takeWheelsOff": late}}))
    assert any(
        "lies under cp:WheelRole, which comes off by cp:takeWheelsOff in a later phase" in line for line in wrong
    )


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("cp:HubRole cp:liesUnder cp:Rotor .", "cp:HubRole names cp:Rotor, which is no role or kind"),
        ("cp:SpindleHub cp:comesOffBy cp:pullHub .", "cp:SpindleHub names cp:pullHub, which is no operation"),
        ("cp:HubRole cp:isNeededTo cp:toFly .", "cp:HubRole names cp:toFly, which is no purpose"),
        ("cp:tryLocker cp:wantsOff cp:Cover .", "cp:tryLocker names cp:Cover, which is no role"),
        (
            "cp:own a cp:Renewal ; cp:hasScope cp:sameAxle ; cp:whenRole cp:HubRole ; cp:whenKind cp:SpindleHub ;"
            ' cp:thenRole cp:FrontHubSealRole ; cp:whenDisturbed true ; cp:says "{part}" ; cp:severity cp:warns .',
            "has cp:whenDisturbed and cp:whenKind",
        ),
    ],
)
def test_a_name_that_is_not_there_is_named(words: str, said: str, tmp_path: Path) -> None:
    (tmp_path / "own.ttl").write_text(f"@prefix cp: <{DEF}> .\n{words}\n", encoding="utf-8")
    with pytest.raises(BrokenOntology, match=escape(said)):
        _ = Library(ROOT / "ontology", packs=(tmp_path,)).model
