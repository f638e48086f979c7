"""A farm truck gets a full-floating rear, a locker, air and loads: what is bought, kept and done, as fabricators say.

The vehicle, the parts and the numbers are invented.  What follows from them is worked out by hand beside each check,
from geometry or from definitions; where nothing else is said it is common practice without a published source.
"""

import json
from functools import cache

import pytest

from crosspin.cli import main
from told_plan import ASKS, Answer, Told, answer, reading, written_ask

SIDES = ("rear/left/", "rear/right/")
WHEELS = [*(f"{axle}/{side}/wheel" for axle in ("front", "rear") for side in ("left", "right")), "spare-wheel"]


@cache
def told() -> Told:
    return Told(written_ask("farm-hauler"))


def line_of(operation: str) -> Answer:
    found: Answer = next(line for line in told().plan["work"] if line["operation"] == operation)
    return found


def test_the_command_line_and_the_service_give_the_same_answer(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["ask", str(ASKS / "farm-hauler.json"), "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == told().plan


# ---------------------------------------------------------------------- axle centre


def test_carrier_and_both_shafts_change_together_to_one_spline() -> None:
    assert told().steps["rear/carrier"]["instead_of"]["id"] == "op-845-30-low"
    counts = [reading(told().part(side + "axle-shaft"), "innerSpline.toothCount") for side in SIDES]
    assert counts == [["33"], ["33"]]
    assert reading(told().part("rear/carrier"), "sideGearSpline.toothCount") == ["33"]
    # left 790, right 855: what the housing takes with its spindles on
    lengths = [reading(told().part(side + "axle-shaft"), "shaftSpan.shaftLength") for side in SIDES]
    assert lengths == [["790"], ["855"]]


def test_the_old_shaft_does_not_go_with_the_new_locker() -> None:
    ask = written_ask("farm-hauler")
    ask["fit"] = [{"at": "rear/carrier", "part": "al-845-33"}]
    ask["keep"] = ["rear/*/axle-shaft"]
    against = answer(ask)
    assert against["verdict"] == "contradiction"
    assert "The shaft has 30 teeth, the side gear 33." in against["why"]


def test_new_cones_in_cups_of_the_old_size_leave_the_housing_as_it_is() -> None:
    for side in SIDES:
        cone = told().part(side + "carrier-bearing")
        assert reading(cone, "bearingEnvelope.bearingBore") == ["45.242"]
        assert reading(cone, "bearingEnvelope.bearingOutside") == reading("rh-845-sf-1550", "capBore.seatDiameter")
        assert "41.275 mm" in told().why(side + "carrier-bearing")


def test_the_gears_stay_and_their_pinion_is_left_alone() -> None:
    # 39/10 at both ends (definition of the ratio)
    for axle in ("front", "rear"):
        gears = told().stays[f"{axle}/gear-set"]["part"]["id"]
        teeth = [reading(gears, f"toothPair.{end}Teeth") for end in ("ring", "pinion")]
        assert teeth == [["39"], ["10"]]
    for kept in ("preload-device", "pinion-seal", "pinion-nut", "pinion-yoke", "pinion-shims"):
        assert f"rear/{kept}" in told().stays
    assert not {"setPinionDepth", "setPinionPreload"} & set(told().work())


def test_the_used_gears_get_new_bolts_and_their_old_backlash_but_no_running_in() -> None:
    assert told().part("rear/ring-bolts") == "rb-845"
    assert "used once" in told().why("rear/ring-bolts")
    assert "written down" in line_of("setBacklash")["text"]
    assert "breakInCheck" not in told().checks()
    assert "gear oil" in told().uses()


def test_where_no_port_is_recorded_it_is_looked_for_before_the_gears_go_in() -> None:
    assert ("rear/housing", "port thread") in told().measured()
    port = next(check for check in told().plan["checks"] if check["id"] == "portBeforeGearsCheck")
    assert "drill and tap 1/8-27 NPT" in port["text"]
    order = told().work()
    assert order.index("stripHousing") < order.index("setBacklash")


# ---------------------------------------------------------------------- the conversion


def test_the_housing_stays_and_gets_spindles_welded_on() -> None:
    assert told().stays["rear/housing"]["part"]["id"] == "rh-845-sf-1550"
    for side in SIDES:
        spindle = told().part(side + "spindle")
        assert reading(spindle, "weldRing.tubeOutside") == reading("rh-845-sf-1550", "axleTube.tubeOutside")
    steps = ["recordAsReceived", "stripHousing", "cutTubeEnds", "weldSpindles", "straightenHousing", "setBacklash"]
    order = [told().work().index(step) for step in steps]
    assert order == sorted(order)
    assert "0.5 mm" in line_of("straightenHousing")["text"]
    true = next(check for check in told().plan["checks"] if check["id"] == "spindlesTrueCheck")
    assert "0.5 mm" in true["text"]
    assert "0.25 degrees" in true["text"]
    assert "burntPartsCheck" in told().checks()


def test_what_a_full_floating_end_needs_comes_and_what_it_does_not_goes() -> None:
    for side in SIDES:
        for role in ("hub", "hub-inner-bearing", "hub-outer-bearing", "hub-seal", "spindle-nuts"):
            assert told().steps[side + role]["action"] == "add"
        for role in ("shaft-retainer", "wheel-bearing", "wheel-seal"):
            assert told().steps[side + role]["action"] == "remove"
    assert "bolted to its hub" in told().why("rear/left/shaft-retainer")


def test_an_exchange_housing_with_spindle_flanges_is_the_other_way() -> None:
    ask = written_ask("farm-hauler")
    ask["fit"] = [
        {"at": "rear/housing", "part": "rh-845-ff-1550"},
        *(wish for wish in ask["fit"] if wish["at"] != "rear/*/spindle"),
    ]
    ask["keep"].remove("rear/housing")
    other = Told(ask)
    for side in SIDES:
        assert other.part(side + "spindle").startswith("rs-")
    assert "weldSpindles" not in other.work()


def test_weld_on_spindles_do_not_go_on_spindle_flanges() -> None:
    ask = written_ask("farm-hauler")
    ask["fit"].append({"at": "rear/housing", "part": "rh-845-ff-1550"})
    ask["keep"].remove("rear/housing")
    against = answer(ask)
    assert [wish["id"] for wish in against["wishes"]] == ["fit/0", f"fit/{len(ask['fit']) - 1}"]
    assert any("welded to a cut tube" in why for why in against["why"])


# ---------------------------------------------------------------------- wheel ends, wheels, brakes


def test_the_hub_gets_a_tone_ring_that_the_control_unit_counts_on() -> None:
    # 52 teeth where 48 are expected would read 52 / 48 - 1 = +8.33 % (arithmetic)
    assert round(100 * (52 / 48 - 1), 2) == 8.33
    for side in SIDES:
        assert told().remedies(side + "hub") == [("changeToneRing", "tn-110-48")]
    told_why = next(m["because"] for m in told().plan["modifications"] if m["remedy"] == "changeToneRing")
    assert "52 teeth" in told_why
    assert "48" in told_why


def test_all_five_wheels_get_a_bore_for_the_snout_and_rings_in_front() -> None:
    assert {told().part(position) for position in WHEELS} == {"wh-16x7-6x1397-10-b108"}
    why = told().why("rear/left/wheel")
    assert "106.1 mm" in why
    assert "108 mm" in why
    for position in ("front/left/wheel", "front/right/wheel"):
        assert told().remedies(position) == [("fitCentringRing", "cr-108-106.1")]
    # a ring of 106.1 mm inside does not pass the rear snout of 108 mm: that of the spare lies loose with it
    assert told().remedies("spare-wheel") == [("carryCentringRing", "cr-108-106.1")]
    # the barrel must be 2 x 180 + 6 = 366 mm at least: 370 passes
    assert float(reading("wh-16x7-6x1397-10-b108", "caliperRoom.barrelDiameter")[0]) >= 2 * 180 + 6
    # the snout leaves room inside the studs: 139.7 - 12 = 127.7 > 108
    assert float(reading("rb-6x1397-108-52", "wheelPilot.pilotDiameter")[0]) < 139.7 - 12
    assert "wheelClearanceCheck" in told().checks()


def test_studs_nuts_and_tyres_stay() -> None:
    for axle in ("front", "rear"):
        for side in ("left", "right"):
            assert f"{axle}/{side}/wheel-nuts" in told().stays
            assert told().steps[f"{axle}/{side}/tyre"]["action"] == "carry over"


def test_the_park_brake_is_put_back_before_hand_over() -> None:
    # the bought rotors have no parking surface: those with a drum in the hat come instead, with their cables
    for side in SIDES:
        assert reading(told().part(side + "rotor"), "parkSurface.parkStyle") == ["drum-in-hat"]
    assert told().part("park-brake") == "pb-hat"
    assert "adjustParkBrake" in told().work()
    assert "parkBrakeHoldCheck" in told().checks()


def test_a_rear_axle_without_any_park_brake_is_refused() -> None:
    ask = written_ask("farm-hauler")
    ask["fit"].append({"at": "rear/*/rotor", "part": "ro-305x18-62-6x1397-b108"})
    ask["keep"].append("park-brake")
    assert answer(ask)["verdict"] == "contradiction"


def test_the_residual_valve_goes_and_the_master_cylinder_stays() -> None:
    assert "master-cylinder" in told().stays
    assert ("removeResidualValve", None) in told().remedies("master-cylinder")


def test_brake_lines_are_opened_bled_and_bedded_in() -> None:
    order = told().work()
    for side in SIDES:
        assert told().steps[side + "brake-hose"]["action"] == "add"
    assert order.index("fitBrakeHose") < order.index("bleedBrakes") < order.index("bedInPads")
    assert "scan tool" in " ".join(line_of("bleedBrakes")["tools"])


# ---------------------------------------------------------------------- what stays


def test_what_the_conversion_does_not_touch_stays() -> None:
    kept = (
        *("rear/propshaft", "front/propshaft", "transfer-case", "master-cylinder", "brake-control-unit", "chassis"),
        *("front/housing", "front/gear-set", "front/carrier", "front/tie-rod", "front/drag-link", "front/track-bar"),
        *("rear/cover", "rear/vent", "front/left/hub", "front/left/caliper"),
    )
    assert [position for position in kept if position not in told().stays] == []
    assert "alignWheels" not in told().work()
    assert told().plan["discrepancies"] == []


# ---------------------------------------------------------------------- air and loads


def test_the_locker_gets_all_that_brings_it_air() -> None:
    for role in ("air-fitting", "air-line", "air-seal-housing", "locker-solenoid", "locker-switch"):
        assert told().steps[f"rear/{role}"]["action"] == "add"
    for role in ("air-manifold", "leader-hose", "pressure-switch", "air-tank", "compressor"):
        assert told().steps[role]["action"] == "add"
    assert reading(told().part("compressor-fuse"), "fuseLink.feedCurrent") == ["70"]
    assert float(reading(told().part("compressor-relay"), "relayContact.feedCurrent")[0]) >= 80


# ---------------------------------------------------------------------- the lists


def test_everything_that_is_used_up_is_on_the_list() -> None:
    used = told().uses()
    wanted = ("gear oil", "wheel bearing grease", "brake fluid", "banjo washers", "welding wire", "gasket", "sealant")
    assert [word for word in wanted if word not in used] == []


def test_every_caution_of_such_work_is_there() -> None:
    wanted = (
        *("liftCaution", "brakesCaution", "airBlowCaution", "airTankCaution", "pressingCaution", "licenceCaution"),
        *("weldingOnVehicleCaution", "weldingHousingCaution", "electricsCaution", "torqueCaution", "legalityCaution"),
    )
    assert [caution for caution in wanted if caution not in told().cautions()] == []
    assert "approve" in told().plan["proviso"]


def test_the_bought_kit_as_a_whole_names_its_own_gap() -> None:
    # its rotors have no parking surface, so the brake has to go to the output of the transfer case
    kit = {
        "rear/*/spindle": "ws-300-2-42",
        "rear/*/hub": "rb-6x1397-108-52",
        "rear/left/axle-shaft": "ff-33-790",
        "rear/right/axle-shaft": "ff-33-855",
        "rear/*/rotor": "ro-305x18-62-6x1397-b108",
        "rear/*/caliper": "sc-1x48-305",
        "rear/carrier": "al-845-33",
    }
    ask = {"vehicle": "farm-hauler", "fit": [{"at": at, "part": part} for at, part in kit.items()]}
    whole = Told(ask)
    assert whole.part("park-brake") == "pb-output"
