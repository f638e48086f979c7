"""Asks for parts of axles, propshafts, transfer cases and vents that stand in few vehicles: what comes with each.

Common practice, no published source, except where a number is worked out beside the check.
"""

import math

import pytest

from told_plan import Told, ask_of, before_and_after, contradiction, figure, reading

SIDES = ("front/left/", "front/right/")


def test_kingpins_take_the_place_of_ball_joints() -> None:
    told = Told(ask_of("hill-patrol", {"front/housing": "fh-895-kp-1600-b"}))
    for side in SIDES:
        assert told.part(side + "kingpins") == "kg-365-5715"
        assert told.part(side + "knuckle") == "kn-kp-162-722"
        for joint in ("upper-ball-joint", "lower-ball-joint"):
            assert told.steps[side + joint]["action"] == "remove"
    work = told.work()
    assert work.index("fitKingpins") < work.index("alignWheels")
    assert "kingpinTurnCheck" in told.checks()


def test_a_ball_joint_housing_still_needs_its_ball_joints() -> None:
    ask = ask_of("hill-patrol", {"front/housing": "fh-895-hp-1600-b"})
    ask["remove"] = ["front/*/upper-ball-joint"]
    assert "fit/0" in [wish["id"] for wish in contradiction(ask)["wishes"]]


def test_a_front_spindle_hub_comes_with_bearings_seal_and_nuts() -> None:
    told = Told(ask_of("farm-hauler", {"front/*/hub": "sh-138-6x1397-48", "front/*/knuckle": "kn-162-722"}))
    for side in SIDES:
        bearings = [told.part(side + f"hub-{place}-bearing") for place in ("inner", "outer")]
        assert [reading(part, "bearingEnvelope.bearingBore") for part in bearings] == [["50.8"], ["45.24248"]]
        assert told.part(side + "hub-seal") == "hs-66675-92075"
        assert told.part(side + "hub-locknuts") == "ln-2"


def test_a_unit_bearing_leaves_no_bearing_behind() -> None:
    told = Told(ask_of("farm-hauler", {"front/*/hub": "ub-118-6x1397-48"}))
    for side in SIDES:
        gone = ("hub-inner-bearing", "hub-outer-bearing", "hub-seal", "hub-locknuts")
        assert {told.steps[side + place]["action"] for place in gone} == {"remove"}


def test_new_studs_are_of_the_hubs_thread_and_press() -> None:
    told = Told(ask_of("farm-hauler", {"front/left/wheel-studs": "sd-m12x15"}))
    assert "pressWheelStuds" in told.work()
    loose = contradiction(ask_of("farm-hauler", {"front/left/wheel-studs": "sd-m12x15-w"}, "front/left/hub"))
    assert any("14.9 mm" in why and "14.2 mm" in why for why in loose["why"])
    other = contradiction(ask_of("farm-hauler", {"front/left/wheel-studs": "sd-m14x15"}, "front/left/hub"))
    assert any("The new studs are M14x1.5" in why for why in other["why"])


def test_a_cable_locker_comes_with_a_cable_that_pulls_far_enough() -> None:
    told = Told(ask_of("farm-hauler", {"rear/carrier": "ca-845-30"}, "rear/*/axle-shaft"))
    # 30 mm are asked for, 2 to 25 more may be over: 25 is too little, 35 and 45 will do and 35 is cheaper
    assert told.part("rear/locker-cable") == "lc-35"
    assert "fitLockerCable" in told.work()


def test_an_air_locker_comes_with_its_seal_housing() -> None:
    told = Told(ask_of("hill-patrol", {"front/carrier": "al-815-27"}))
    housing = told.part("front/air-seal-housing")
    assert reading(housing, "airSealEnvelope.sealInside") == reading("al-815-27", "lockerSealJournal.sealDiameter")
    work = told.work()
    assert work.index("fitSealHousing") < work.index("tryLocker") < work.index("closeAxle")


def test_gears_for_a_slinger_keep_theirs_and_adjusters_stay() -> None:
    told = Told(ask_of("trail-wagon", {"rear/gear-set": "rp-1035-3709-s"}))
    assert "rear/pinion-slinger" in told.stays
    assert "rear/left/side-adjuster" in told.stays
    assert told.steps["rear/pinion-shims"]["action"] == "replace"
    ask = ask_of("trail-wagon", {"rear/gear-set": "rp-1035-3709-s"})
    ask["remove"] = ["rear/pinion-slinger"]
    assert [wish["id"] for wish in contradiction(ask)["wishes"]] == ["remove/0"]


def test_a_two_piece_propshaft_hangs_in_a_centre_bearing_of_its_chassis() -> None:
    told = Told(ask_of("hill-patrol", {"rear/propshaft": "pt-121-1100"}))
    # a journal of 40 mm, and holes 194 mm apart on this chassis
    assert told.part("rear/centre-bearing") == "cn-40-194"
    assert "fitCentreBearing" in told.work()


def test_a_smaller_head_is_bolted_on_by_an_adapter_where_the_flange_stays() -> None:
    fits = {"front/propshaft": "pd-109-330-660-80"}
    told = Told(ask_of("hill-patrol", fits, "front/output-yoke", "front/pinion-yoke"))
    assert set(told.remedies("front/propshaft")) == {
        ("fitFlangeAdapter", "fa-80-90"),
        ("fitPilotRing", "pt-ring-54-59"),
    }


def test_a_transfer_case_brings_seals_and_nuts_and_fits_its_gearbox() -> None:
    told = Told(ask_of("hill-patrol", {"transfer-case": "tc-26-32-l"}))
    for axle in ("front", "rear"):
        assert told.steps[f"{axle}/output-seal"]["action"] == "replace"
        assert told.steps[f"{axle}/output-nut"]["action"] == "replace"
    assert told.steps["case-vent"]["action"] == "carry over"
    assert told.steps["speed-sender"]["action"] == "carry over"
    assert "changeTransferCase" in told.work()


def test_a_transfer_case_with_the_outputs_on_the_other_side_is_refused() -> None:
    told = contradiction(ask_of("hill-patrol", {"transfer-case": "tc-26-32-r"}, "front/housing"))
    assert any("The pinion is left, the transfer case's front output right." in why for why in told["why"])


def test_a_transfer_case_on_another_bolt_circle_takes_an_adapter() -> None:
    # 31 teeth will not go on 26, whatever the plate: an adapter joins faces, not splines
    told = contradiction(ask_of("hill-patrol", {"transfer-case": "tc-32-32-l"}, "gearbox"))
    assert any("31 teeth, the gearbox's output 26" in why for why in told["why"])


def test_a_vent_with_a_nipple_gets_a_hose_that_reaches_a_dry_place() -> None:
    told = Told(ask_of("hill-patrol", {"rear/vent": "vt-1-4-18npt-b"}))
    hose = told.part("rear/vent-hose")
    # 2200 mm are asked for at full droop: 1500 is too short, 2500 is the shortest that reaches
    assert reading(hose, "hoseEnd.hoseReach") == ["2500"]
    assert reading(hose, "hoseEnd.barbDiameter") == ["8"]


def test_a_truss_is_cut_for_its_tubes_and_welded_to_a_stripped_housing() -> None:
    told = Told(ask_of("farm-hauler", {"rear/truss": "tu-30"}, "rear/housing"))
    work = told.work()
    assert work.index("takeAxleOut") < work.index("weldTruss") < work.index("closeAxle")
    assert {"weldingHousingCaution", "licenceCaution"} <= told.cautions()
    # 2.75 in tubes are not 3.0 in ones
    thin = contradiction(ask_of("farm-hauler", {"rear/truss": "tu-275"}, "rear/housing"))
    assert any("The truss is cut for tubes of" in why for why in thin["why"])


def test_a_truss_carries_the_tubes_of_a_wider_axle() -> None:
    told = Told(ask_of("farm-hauler", {"rear/*/wheel-spacer": "wsp-30-6x1397"}))
    # 3.0 x 0.25 in of tube, (1610 - 1050) / 2 to the tyre, three times 2400 kg (statics); the truss makes the modulus
    # 1.4 times as large (invented)
    outside, inside = 3.0 * 25.4, (3.0 - 2 * 0.25) * 25.4
    modulus = math.pi * (outside**4 - inside**4) / 32 / outside
    bare = 3 * 2400 * 9.81 / 2 * (1610 - 1050) / 2 / modulus
    received = 3 * 2400 * 9.81 / 2 * (1550 - 1050) / 2 / modulus
    assert bare > 414 > bare / 1.4
    assert before_and_after(told, "tubeShock/rear") == pytest.approx((received, bare / 1.4), abs=0.051)
    assert before_and_after(told, "housingHolds/rear")[1] == pytest.approx(2400 * 414 * 1.4 / bare, abs=0.51)
    # it is all that is bought beside the spacers, for what the bare tube would see
    assert set(told.steps) == {"rear/left/wheel-spacer", "rear/right/wheel-spacer", "rear/truss"}
    assert told.part("rear/truss") == "tu-30"
    assert reading("tu-30", "trussGain.modulusFactor") == ["1.4"]
    assert f"sees {bare:.1f} MPa and yields at 414 MPa" in told.why("rear/truss")
    assert "weldTruss" in told.work()
    assert {"weldingHousingCaution", "licenceCaution"} <= told.cautions()


def test_a_tube_without_a_truss_is_as_strong_as_before() -> None:
    told = Told(ask_of("farm-hauler", {"front/*/spring": "co-103-620-50"}))
    for end in ("front", "rear"):
        assert figure(told, f"trussedModulus/{end}")["after"] == figure(told, f"tubeModulus/{end}")["after"]


def test_a_park_brake_on_the_output_needs_a_case_with_a_place_for_it() -> None:
    told = Told(ask_of("farm-hauler", {"park-brake": "pb-output"}))
    assert "transfer-case" in told.stays
    wide = contradiction(ask_of("farm-hauler", {"park-brake": "pb-output-disc"}, "transfer-case"))
    assert any("130 mm" in why and "120 mm" in why for why in wide["why"])
