"""Brakes, wheels, steering and suspension of the demo vehicles over HTTP, row by row as a fabricator lists them.

Vehicles, parts and numbers are invented; what follows from them is worked out by hand beside each check, from
geometry, from definitions, or as common practice without a published source.
"""

import math
from functools import cache

import pytest

from api_client import seed_client
from told_plan import Answer, Told, before_and_after, contradiction, figure, reading, written_ask

SIDES = ("left", "right")
DISCS = [
    {"at": "rear/*/caliper", "part": "sc-1x48-305"},
    {"at": "rear/*/rotor", "part": "ro-305x18-62-6x1397-hat"},
]


def asked(vehicle: str, *fit: dict[str, str], keep: tuple[str, ...] = ()) -> Answer:
    return {"vehicle": vehicle, "fit": list(fit), "keep": list(keep)}


def fitted(at: str, part: str) -> dict[str, str]:
    return {"at": at, "part": part}


def refusals(ask: Answer) -> str:
    """Why an ask cannot be had, in one text."""
    return " ".join(contradiction(ask)["why"])


@cache
def rescue() -> Told:
    return Told(written_ask("hill-patrol"))


@cache
def farm_discs() -> Told:
    return Told(asked("farm-hauler", *DISCS))


# ---------------------------------------------------------------------- the rescue truck's stronger front brakes


def test_hoses_take_the_new_calipers_and_the_old_lines() -> None:
    for side in SIDES:
        hose = rescue().part(f"front/{side}/brake-hose")
        assert reading(hose, "hoseCaliperEnd.fluidThread") == ["3/8-24"]
        assert reading(hose, "hoseLineEnd.fluidThread") == ["M10x1.0"]
        # 322 mm aside and 180 and 120 mm down: 440.1 mm of 520 at droop and lock (geometry)
        assert f"front/{side}/brake-line" in rescue().stays
        assert reading(hose, "hoseRun.runLength") == ["520"]
        (line,) = [f for f in rescue().plan["figures"] if f["id"] == f"hoseInHand/front/{side}"]
        assert float(line["after"]) == pytest.approx(520 - math.hypot(322, 300), abs=0.11)
        assert line["verdict"] == "fits"


def test_sensors_leads_and_control_unit_stay() -> None:
    # 48 teeth before and after; leads of 600 mm serve a run of 540 mm
    assert "brake-control-unit" in rescue().stays
    for side in SIDES:
        assert f"front/{side}/wheel-speed-sensor" not in rescue().steps
        assert rescue().remedies(f"front/{side}/wheel-speed-sensor") == []


def test_the_pedal_side_and_the_balance_parts_stay_and_are_tried() -> None:
    for position in ("master-cylinder", "brake-booster", "brake-pedal", "proportioning-valve", "park-brake"):
        assert position in rescue().stays
    assert {"brakeBalanceCheck", "pedalCheck", "hoseTravelCheck"} <= rescue().checks()
    assert {"bleedBrakes", "bedInPads"} <= set(rescue().work())


def test_rear_brakes_are_left_alone() -> None:
    for role in ("caliper", "rotor", "caliper-bracket", "brake-pads", "brake-hose", "brake-line"):
        assert {f"rear/{side}/{role}" for side in SIDES} <= rescue().stays.keys()


def test_springs_links_and_dampers_stay_under_a_bracketed_housing() -> None:
    # seats 960 mm apart, ears 64.5 mm, tabs and towers as received: nothing of the suspension changes
    for axle in ("front", "rear"):
        for role in ("spring", "damper", "lower-link", "upper-link", "bump-stop", "sway-bar-link", "link-bushes"):
            assert {f"{axle}/{side}/{role}" for side in SIDES} <= rescue().stays.keys()
        assert f"{axle}/sway-bar" in rescue().stays
    assert {"axleMassCheck", "rideHeightCheck"} <= rescue().checks()


def test_the_steering_above_the_drag_link_stays_and_the_track_bar_is_set() -> None:
    above = ("steering-box", "steering-pump", "steering-hoses", "steering-shaft", "pitman-arm")
    assert {*above, "front/steering-damper"} <= rescue().stays.keys()
    assert any("870 mm" in note for note in rescue().stays["front/track-bar"]["notes"])
    assert {"steeringStopCheck", "steeringZeroCheck", "trackWidthCheck", "steeringLoadCheck"} <= rescue().checks()
    assert "alignWheels" in rescue().work()


def test_five_new_wheels_carry_the_axles_and_the_spare_is_tried() -> None:
    # 1,950 kg on the rear axle is 975 kg a wheel
    assert float(reading(rescue().part("spare-wheel"), "wheelRating.wheelLoadRating")[0]) * 2 >= 1950
    assert {"spareTrialCheck", "wheelClearanceCheck", "wheelRetightenCheck"} <= rescue().checks()


# ---------------------------------------------------------------------- the farm truck's rear discs


def test_drums_give_way_to_discs_as_one_plan() -> None:
    plan = farm_discs()
    for side in SIDES:
        assert plan.part(f"rear/{side}/brake-pads") == "pd-one-48"
        assert plan.part(f"rear/{side}/caliper-bracket") == "cb-r95-112-62"
        assert plan.part(f"rear/{side}/brake-hose") == "bh-bm10x10-im10x10-430"
    assert plan.part("park-brake") == "pb-hat"
    # a valve for discs whose knee and slope are in the catalog: with one set by hand the balance would stay open
    assert plan.part("proportioning-valve") == "pv-disc"
    assert plan.remedies("master-cylinder") == [("removeResidualValve", None)]


def test_the_conversion_brings_its_work_in_order() -> None:
    work = farm_discs().work()
    for earlier, later in (
        ("takeOutResidualValve", "bleedBrakes"),
        ("fitProportioningValve", "bleedBrakes"),
        ("fitBrakeHose", "bleedBrakes"),
        ("bleedBrakes", "adjustParkBrake"),
        # the valve has a fixed knee, so there is nothing to set: it is tried on the road
        ("bedInPads", "roadTest"),
    ):
        assert work.index(earlier) < work.index(later), (earlier, later)
    assert {"parkBrakeHoldCheck", "brakeBalanceCheck", "pedalCheck"} <= farm_discs().checks()


def test_what_the_conversion_does_not_touch_stays() -> None:
    untouched = ("master-cylinder", "brake-booster", "brake-pedal", "brake-control-unit", "front/housing")
    assert {*untouched, "steering-box"} <= farm_discs().stays.keys()
    assert "alignWheels" not in farm_discs().work()


def test_drums_in_the_hats_must_take_the_parking_shoes() -> None:
    # shoes for 178 mm in a hat of 190.4 mm: more than 1.5 mm apart (common practice)
    why = refusals(asked("farm-hauler", *DISCS, fitted("park-brake", "pb-hat-178")))
    assert "178 mm" in why
    assert "190.4 mm" in why


def test_lever_calipers_are_another_way_to_park() -> None:
    levers = fitted("rear/*/caliper", "lc-1x48-305")
    plan = Told(asked("farm-hauler", levers, DISCS[1], fitted("park-brake", "pb-lever")))
    assert plan.part("park-brake") == "pb-lever"
    assert "must have levers" in refusals(asked("farm-hauler", *DISCS, fitted("park-brake", "pb-lever")))


# ---------------------------------------------------------------------- pedal side


def test_a_smaller_master_cylinder_takes_its_booster_along() -> None:
    # studs 70 mm apart against 82 mm, a socket of 14 mm against a rod of 15.5 mm
    plan = Told(asked("hill-patrol", fitted("master-cylinder", "mc-222")))
    assert plan.part("brake-booster") == "bb-70-40"  # the one of 3.2 would take a fifth of the force
    assert "fitBooster" in plan.work()


def test_a_rigid_line_is_flared_anew_for_another_port() -> None:
    # the port is 3/8-24, the lines begin with M10x1.0: new nut, new flare (common practice)
    plan = Told(asked("hill-patrol", fitted("master-cylinder", "mc-238")))
    for side in SIDES:
        assert ("reflareLine", None) in plan.remedies(f"front/{side}/brake-line")


# ---------------------------------------------------------------------- wheels


def test_the_right_wheel_is_preferred_to_a_spacer() -> None:
    plan = Told(asked("hill-patrol", fitted("front/*/wheel-spacer", "wsp-30-6x1397")))
    assert "spacerCaution" in plan.cautions()
    assert {"trackWidthCheck", "wheelRetightenCheck"} <= plan.checks()
    # 110 mm of bore on a spigot of 106 mm is not centred: 0.05 to 0.30 mm of play (common practice)
    assert "110 mm" in refusals(asked("hill-patrol", fitted("front/*/wheel-spacer", "wsp-30-6x1397-loose")))
    # nothing proposes one by itself
    assert not any("wheel-spacer" in position for position in rescue().steps)


def test_a_wheel_of_too_little_rating_is_refused() -> None:
    # 1,950 kg on two wheels of 950 kg
    assert "950 kg" in refusals(asked("hill-patrol", fitted("rear/*/wheel", "wh-17x75-6x1397-30")))


def test_pressure_sensors_move_over_to_new_wheels() -> None:
    places = ("front/*/wheel", "rear/*/wheel", "spare-wheel")
    plan = Told(asked("trail-wagon", *(fitted(at, "wh-17x8-6x1397-12-b108") for at in places)))
    for axle in ("front", "rear"):
        for side in SIDES:
            assert plan.steps[f"{axle}/{side}/pressure-sensor"]["action"] == "carry over"


def test_a_wheel_bore_too_large_is_centred_by_a_ring() -> None:
    # 108.1 mm over a spigot of 106.0 mm: a ring 108 on 106.1 mm
    places = ("front/*/wheel", "rear/*/wheel", "spare-wheel")
    plan = Told(asked("hill-patrol", *(fitted(at, "wh-16x8-6x1397-0-b108") for at in places)))
    assert plan.remedies("front/left/wheel") == [("fitCentringRing", "cr-108-106.1")]
    assert len([m for m in plan.plan["modifications"] if m["remedy"] == "fitCentringRing"]) == 4
    # the ring for the spare lies loose with it, so that it goes on either axle (common practice)
    assert plan.remedies("spare-wheel") == [("carryCentringRing", "cr-108-106.1")]


# ---------------------------------------------------------------------- steering


def test_a_pitman_arm_has_the_serrations_of_its_box() -> None:
    why = refusals(asked("hill-patrol", fitted("pitman-arm", "pa-640-32"), keep=("steering-box",)))
    assert "The pitman arm has 32 serrations, the shaft of the box 36." in why


def test_a_power_box_brings_pump_hoses_and_bleeding() -> None:
    plan = Told(asked("orchard-runabout", fitted("steering-box", "pb-32-c")))
    assert "steering-hoses" in plan.steps
    work = plan.work()
    assert work.index("fitSteeringHoses") < work.index("bleedSteering") < work.index("alignWheels")
    # 1,200 psi is what this box bears: the pump of 1,450 psi is ruled out
    assert plan.part("steering-pump") == "sp-1200"
    assert "1450 psi" in plan.why_not("steering-pump", "sp-1450")


def test_a_new_track_bar_takes_new_bushes() -> None:
    plan = Told(asked("hill-patrol", fitted("front/track-bar", "tb-44-35")))
    assert plan.steps.keys() == {"front/track-bar", "front/track-bar-bushes"}


def test_the_stops_are_reached_before_the_axle_joint_is() -> None:
    # a knuckle that stops at 32 degrees over a joint that bends to 38
    fit = seed_client().get("/v1/fit", params={"one": "kn-148-640", "other": "aj-109-370-f"}).json()
    found = next(c for c in fit["criteria"] if c["criterion"] == "stopBeforeJoint-lockAngle")
    assert (found["left"], found["right"], found["verdict"]) == ("32 deg", "38 deg", "fits")


# ---------------------------------------------------------------------- suspension


@pytest.mark.parametrize(("axle", "spring"), [("front", "co-103-620-50"), ("rear", "co-103-830-50")])
def test_a_lift_reaches_everything_between_axle_and_chassis(axle: str, spring: str) -> None:
    plan = Told(asked("hill-patrol", fitted(f"{axle}/*/spring", spring)))
    for side in SIDES:
        for role in ("damper", "bump-stop", "sway-bar-link", "brake-line"):
            assert "50 mm above the works height" in plan.why(f"{axle}/{side}/{role}")
    assert {"liftReachCheck", "liftAngleCheck", "rideHeightCheck", "lampAimCheck"} <= plan.checks()
    assert "alignWheels" in plan.work()
    assert "legalityCaution" in plan.cautions()


def test_springs_are_changed_in_pairs_and_for_their_load() -> None:
    # one side asked, both changed (common practice); 680 kg for a corner of 620 kg is 9.7 % more
    plan = Told(asked("hill-patrol", fitted("front/left/spring", "co-103-680")))
    assert plan.part("front/right/spring") == "co-103-680"
    # 1,020 kg for 620 kg is 65 % more: twenty-five is as far as it may go
    why = refusals(asked("hill-patrol", fitted("front/*/spring", "co-103-1020")))
    assert "1020 kg" in why
    assert "620 kg" in why


def test_a_damper_that_ends_before_the_droop_is_refused() -> None:
    # 590 mm pulled out where full droop asks for 600 mm
    why = refusals(asked("hill-patrol", fitted("rear/*/damper", "da-ee-670-short")))
    assert "590 mm" in why
    assert "600 mm" in why


def test_leaf_springs_take_new_u_bolts() -> None:
    plan = Told(asked("orchard-runabout", fitted("rear/*/spring", "ls-60-480-40")))
    for side in SIDES:
        assert plan.part(f"rear/{side}/u-bolts") == "ub-64"
    assert "uBoltRetightenCheck" in plan.checks()


def test_new_links_take_new_bushes_and_an_alignment() -> None:
    plan = Told(asked("hill-patrol", fitted("front/*/lower-link", "cl-64-600-660")))
    for side in SIDES:
        assert plan.part(f"front/{side}/link-bushes") == "lb-522"
        # set to what it bridges: 620 mm within 600 to 660 mm
        assert any("620 mm" in note for note in plan.steps[f"front/{side}/lower-link"]["notes"])
    assert {"bushLoadCheck", "steeringStopCheck"} <= plan.checks()
    assert "alignWheels" in plan.work()


@pytest.mark.parametrize(
    ("ask", "left"), [({"fit": [fitted("brake-booster", "bb-70-32")]}, "0.8"), ({"remove": ["brake-booster"]}, "0.25")]
)
def test_a_weaker_foot_is_refused(ask: Answer, left: str) -> None:
    # the received booster makes 4 of 1: 3.2 is 0.8 of it, none at all a quarter (by definition)
    told = refusals({"vehicle": "hill-patrol", **ask})
    assert f"Pedal and booster make {left} of the force that the received ones made" in told


def test_weaker_front_brakes_are_not_made_good_by_a_weaker_booster() -> None:
    told = Told(asked("hill-patrol", fitted("front/left/caliper", "fc-4x41-297")))
    assert float(figure(told, "footGainLeft/vehicle")["after"]) >= 1
    # nor by making the rear lock first
    assert figure(told, "rearLocksAbove/vehicle")["verdict"] != "clashes"


def test_a_rear_drum_stops_by_its_shoe_factor() -> None:
    # behind the valve 4.3 MPa on 22.2 mm, factor 4.5, drum 280 mm (brake handbook, from memory)
    rear = 4.5 * 4.3 * math.pi / 4 * 22.2**2 * 0.280 / 2
    told = Told(asked("farm-hauler", fitted("rear/*/caliper", "db-254-45")))
    assert before_and_after(told, "rearBrakeTorque/rear")[0] == pytest.approx(rear, abs=0.06)
    # 19.05 mm and 254 mm are 0.549 of gravity at the received pressure, so a smaller bore makes more
    smaller = 4.5 * math.pi / 4 * 19.05**2 * 0.254 / 2
    assert "slow the vehicle by 0.549 of gravity" in told.why("master-cylinder")
    after = before_and_after(told, "heldBackPressure/vehicle")[1] * smaller
    assert before_and_after(told, "rearBrakeTorque/rear")[1] == pytest.approx(after, abs=0.4)
    assert figure(told, "stoppingPower/vehicle")["verdict"] == "fits"


def test_which_axle_locks_first_does_not_hang_on_the_master_cylinder() -> None:
    told = Told(asked("farm-hauler", fitted("rear/*/caliper", "db-295-60")))
    assert "master-cylinder" not in told.steps
    # below the knee of 2.5 MPa the front does 323.34 of 323.34 + 295.29 N.m for each MPa, which suits
    # (0.5227 - 0.48) x 3100 / 820 = 0.161 of gravity, though beyond the knee the front locks first (mechanics)
    assert "Above 0.161 of gravity the rear locks first" in told.why("front/left/caliper")
    assert figure(told, "rearLocksAbove/vehicle")["verdict"] == "fits"


def test_an_adjustable_valve_leaves_discs_where_they_are() -> None:
    told = Told(asked("hill-patrol", fitted("proportioning-valve", "pv-adj")))
    assert [*told.steps] == ["proportioning-valve"]
    assert ("proportioning-valve", "knee pressure") in told.measured()


def test_rear_brakes_that_would_lock_first_are_not_left_to_the_road_test() -> None:
    told = Told(
        asked("hill-patrol", fitted("rear/*/caliper", "sc-1x48-305"), keep=("front/*/caliper", "master-cylinder"))
    )
    assert figure(told, "rearLocksAbove/vehicle")["verdict"] == "fits"
