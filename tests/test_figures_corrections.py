"""Strength, stacks, overhang, valves and cables against tables and statics, and as figures of whole vehicles.

Vehicles and parts are invented; what each number follows from is beside it.
"""

import math
from collections.abc import Mapping

import pint
import pytest
from fluids.piping import t_from_gauge

from crosspin.answer.sayings import Sayings
from crosspin.model.schema import Part
from crosspin.vehicle.figuring import Figuring, Result
from figure_support import near, work
from seed import seed_library

REGISTRY: pint.UnitRegistry[float] = pint.UnitRegistry()

# ---------------------------------------------------------------------- formulas


# ANSI B92.1, minor diameter of external splines of 45 degrees, (N - 1) / P in inches, read in an open reprint of the
# table; the other angles from memory, (N - 1.8) / P and from 16 teeth to the inch on (N - 2) / P at 30 degrees.
@pytest.mark.parametrize(
    ("teeth", "pitch", "angle", "inches"),
    [
        (33, 24, 45, "1.3333"),
        (30, 24, 45, "1.2083"),
        (35, 24, 45, "1.4167"),
        (33, 24, 30, "1.2917"),
        (33, 12, 30, "2.6000"),
        (33, 24, 37.5, "1.3208"),
    ],
)
def test_a_shaft_is_as_thick_as_the_root_of_its_spline(teeth: int, pitch: int, angle: float, inches: str) -> None:
    root = work("shaftRootDiameter", teeth, pitch, angle)
    assert near(root / 25.4, float(inches), 4)
    assert root < work("splinePitchDiameter", teeth, pitch) < work("splineMajorDiameter", teeth, pitch)


def test_a_spline_of_another_angle_has_no_root_in_the_standard() -> None:
    with pytest.raises(ValueError, match="pressure angles"):
        work("shaftRootDiameter", 33, 24, 20)


def test_what_a_shaft_sees_by_its_carrier() -> None:
    # both wheels of an open carrier get the same; with a ratio of 2.5 the shares are 5/7 and 2/7 (mechanics)
    assert work("biasedTorque", 5000, 1) == 2500
    assert work("biasedTorque", 5000, 2.5) == pytest.approx(5000 * 5 / 7)
    with pytest.raises(ValueError, match="at least 1"):
        work("biasedTorque", 5000, 0.5)


# Proof loads as the table of ISO 898-1 prints them for class 8.8, coarse thread, in N (from memory): M16 is the last
# size with 580 N/mm2, M20 has 600.
@pytest.mark.parametrize(
    ("thread", "load"), [("M10x1.5", 33700), ("M12x1.75", 48900), ("M16x2", 91000), ("M20x2.5", 147000)]
)
def test_proof_loads_of_class_8_8(thread: str, load: int) -> None:
    assert work("stressArea", thread) * work("proofStress", "8.8", thread) == pytest.approx(load, rel=0.003)


def test_the_stack_at_the_studs() -> None:
    # geometry: a stud of 40 mm through a web of 7 mm, a spacer's foot of 14 mm and no wheel, or a pad of 14 mm
    assert work("threadEngagement", 40, 7, 14, 0) == 19
    assert work("threadEngagement", 40, 7, 0, 14) == 19
    assert work("threadEngagement", 30, 7, 14, 14) == -5
    assert (work("clampedPad", 14, 0), work("clampedPad", 14, 30)) == (14, 0)


def test_holes_and_webs_of_a_wheel() -> None:
    # a millimetre over the stud (common practice): 15 mm for M14; 139.7 around 108.1 leaves 9.3 mm beside 13 mm holes
    assert work("studHole", "M14x1.5") == 15
    assert work("studHole", "M12x1.5") == 13
    assert near(work("boltWeb", 139.7, 108.1, 13), 9.3, 1)
    # 5 mm of web at M14: the snout may be 139.7 - 15 - 2 x 5 = 114.7 mm
    assert near(work("boltWeb", 139.7, 114.7, 15), 5, 6)


def test_a_load_beyond_a_bearing_weighs_more_on_it() -> None:
    # statics: the moments about the inner end balance
    force, overhang, span = 9.565, 58, 684
    found = work("overhangLoad", force, overhang, span)
    assert found * span == pytest.approx(force * (span + overhang))
    assert work("overhangLoad", force, -10, span) < force
    with pytest.raises(ValueError, match="inner end"):
        work("overhangLoad", force, overhang, 0)


def test_loads_at_a_limit_and_for_a_life() -> None:
    # ISO 281: life goes with load^(-10/3), so the load for the life wanted gives just that life
    load = work("loadForLife", 1950, 400_000, 150_000)
    assert work("bearingLife", 62, 10 * load / 1950) / work("bearingLife", 62, 10) == pytest.approx(150 / 400)
    # statics: stress goes with load
    assert near(work("loadAtLimit", 1450, 414, 340.9), 1450 * 414 / 340.9, 6)


def test_a_valve_holds_the_rear_back_above_its_knee() -> None:
    # up to the knee all, above it the slope (Brake Design and Safety, SAE R-398, from memory)
    assert work("proportionedPressure", 3, 3.5, 0.4) == 3
    assert near(work("proportionedPressure", 9, 3.5, 0.4), 3.5 + 0.4 * 5.5, 6)
    assert near(work("scaledTorque", 1331.3, 5.7, 9), 843.2, 1)


def test_only_cups_without_expanders_want_a_residual_valve() -> None:
    # common practice, no published source
    assert (work("residualWanted", "yes"), work("residualWanted", "no")) == (0, 6)
    with pytest.raises(ValueError, match="yes or no"):
        work("residualWanted", "perhaps")


def test_a_tyre_that_moves_takes_more_of_its_arch() -> None:
    # geometry: half of the change of track is on each side, outward or inward; the sidewall is then 132.5 + 30 mm from
    # the old middle, about which the arch was measured, as that of a tyre of 325 mm in the old place
    assert 2 * (265 / 2 + 60 / 2) == 325
    assert work("shiftedWidth", 265, 60) == 325
    assert work("shiftedWidth", 265, -24) == 289


# Circular mils of SAE J1127 and J1128 as ABYC E-11 prints them beside AWG (from memory); pint makes them mm2.
@pytest.mark.parametrize(
    ("gauge", "mils"),
    [(18, 1537), (16, 2336), (14, 3702), (12, 5833), (10, 9343), (8, 14810), (6, 24538), (4, 37360), (2, 62450)],
)
def test_vehicle_cable_has_less_copper_than_solid_wire_of_its_gauge(gauge: int, mils: int) -> None:
    found = work("vehicleCableSection", gauge)
    assert found == pytest.approx(REGISTRY.Quantity(mils, "circular_mil").to("mm**2").magnitude, abs=0.001)
    # ASTM B258, by the library fluids
    solid = math.pi / 4 * (1000 * t_from_gauge(gauge, SI=True, schedule="AWG")) ** 2
    assert 0.05 <= 1 - found / solid <= 0.12


def test_a_gauge_that_cable_is_not_made_in_is_refused() -> None:
    with pytest.raises(ValueError, match="no gauge 13"):
        work("vehicleCableSection", 13)


# ---------------------------------------------------------------------- figures


def result(vehicle: str, changes: Mapping[str, str | Part | None], figure: str, at: str) -> Result | None:
    """A figure of a vehicle with other parts in it, at a station and side such as rear/left."""
    holdings = seed_library().holdings
    came = Sayings(holdings.model, holdings.catalog).as_received(vehicle)
    parts = dict(came.parts)
    for path, part in changes.items():
        parts[path] = holdings.catalog.parts[part] if isinstance(part, str) else part
    figuring = Figuring(came.reach, holdings.catalog, parts, came.figuring, frozenset(changes))
    one = holdings.model.figures[figure]
    place = next(p for p in came.reach.places(one) if "/".join(filter(None, (p.station, p.side))) == at)
    return figuring.result(one, place)


def value(vehicle: str, changes: dict[str, str | None], figure: str, at: str) -> float | None:
    found = result(vehicle, changes, figure, at)
    assert found is not None, f"{figure} does not apply at {at}"
    return None if found.value is None else float(found.value)


def known(vehicle: str, changes: dict[str, str | None], figure: str, at: str) -> float:
    found = value(vehicle, changes, figure, at)
    assert found is not None, f"{figure} is not known at {at}"
    return found


SPACERS: dict[str, str | None] = {f"rear/{side}/wheel-spacer": "wsp-30-6x1397" for side in ("left", "right")}


def test_spacers_count_in_the_track() -> None:
    # faces 1550 mm apart, offset 0: two spacers of 30 mm make 1610 mm; the front stays at 1550 (geometry)
    assert known("hill-patrol", SPACERS, "axleTrack", "rear") == 1610
    assert known("hill-patrol", SPACERS, "axleTrack", "front") == 1550
    one_side: dict[str, str | None] = {"rear/left/wheel-spacer": "wsp-30-6x1397"}
    assert known("hill-patrol", one_side, "axleTrack", "rear") == 1580


def test_a_difference_of_tracks_is_a_warning_and_no_more() -> None:
    model = seed_library().model
    assert known("hill-patrol", SPACERS, "trackDifference", "vehicle") == -60
    found = result("hill-patrol", SPACERS, "trackDifference", "vehicle")
    assert found is not None
    assert [float(str(limit.values[0])) for limit in found.limits if limit is not None] == [-40, 40]
    assert model.figures["trackDifference"].severity == "warns"


def test_spacers_count_in_arch_offset_bearing_and_tube() -> None:
    # the sidewall of the tyre of 265 mm is 30 mm further out, 162.5 mm from where its middle was: as that of a tyre of
    # 325 mm in the old place; the arch's 290 mm are 145 on either side of there (geometry)
    assert known("hill-patrol", SPACERS, "rearArchWidth", "rear") == 325
    # offset 0 less a spacer of 30 mm
    assert known("hill-patrol", SPACERS, "offsetChange", "rear/left") == -30
    # shaft of 742 mm with its bearing 58 mm inside the face: 9.565 kN (1950 x 9.81 / 2) hang 88 mm beyond (statics)
    load = 1950 * 9.81 / 2000 * (684 + 88) / 684
    assert known("hill-patrol", SPACERS, "overhungLoad", "rear/left") == pytest.approx(load)
    # the load acts at the tyre's centre, (1610 - 1050) / 2 from the spring seat
    moment = 1950 * 9.81 / 2 * (1610 - 1050) / 2 / 1000
    assert known("hill-patrol", SPACERS, "tubeBending", "rear") == pytest.approx(moment)
    front: dict[str, str | None] = {"front/left/wheel-spacer": "wsp-30-6x1397"}
    # 30 mm further out is 30 mm more scrub (geometry)
    assert known("hill-patrol", front, "scrubShift", "front/left") == pytest.approx(30)


def test_stops_set_where_the_axle_is_at_full_bump() -> None:
    # patrol truck, 90 mm up to stops of 60 mm; one of 110 mm raises that side's end of travel by 50, the middle's by
    # half of it (geometry)
    longer: dict[str, str | None] = {f"front/{side}/bump-stop": "bs-m10-50" for side in ("left", "right")}
    one_side: dict[str, str | None] = {"front/left/bump-stop": "bs-m10-50"}
    assert known("hill-patrol", {}, "frontBumpDrop", "front") == -90
    assert known("hill-patrol", longer, "frontBumpDrop", "front") == -90 + 50
    assert known("hill-patrol", one_side, "frontBumpDrop", "front") == -90 + 25
    # other springs change nothing there
    springs: dict[str, str | None] = {f"front/{side}/spring": "co-103-620-50" for side in ("left", "right")}
    assert known("hill-patrol", springs, "frontBumpDrop", "front") == -90
    # where there are no stops to compare, it stays as measured
    assert known("hill-patrol", dict.fromkeys(longer), "frontBumpDrop", "front") == -90


def test_a_truss_divides_the_stress_in_its_tube() -> None:
    # 3.0 x 0.25 in, (1550 - 1050) / 2 to the tyre, three times 2400 kg (statics); 1.4 times the modulus (invented)
    modulus = math.pi * (76.2**4 - 63.5**4) / 32 / 76.2
    stress = 3 * 2400 * 9.81 / 2 * 250 / modulus
    assert known("farm-hauler", {}, "tubeShock", "rear") == pytest.approx(stress)
    assert known("farm-hauler", {"rear/truss": "tu-30"}, "tubeShock", "rear") == pytest.approx(stress / 1.4)
    assert known("farm-hauler", {"rear/truss": "tu-30"}, "tubeShock", "front") == known(
        "farm-hauler", {}, "tubeShock", "front"
    )


@pytest.mark.parametrize(
    ("path", "part", "feature", "figure", "at"),
    [
        ("rear/truss", "tu-30", "trussGain", "tubeShock", "rear"),
        ("front/left/bump-stop", "bs-m10-50", "stopBody", "frontBumpDrop", "front"),
    ],
)
def test_what_nobody_measured_leaves_the_figure_open(path: str, part: str, feature: str, figure: str, at: str) -> None:
    whole = seed_library().holdings.catalog.parts[part]
    specs = {name: spec for name, spec in whole.specs.items() if name != feature}
    bare = whole.model_copy(update={"specs": specs})
    found = result("farm-hauler", {path: bare}, figure, at)
    assert found is not None
    assert found.value is None
    assert [gap.path for gap in found.gaps] == [path]


def test_studs_hold_what_is_clamped_on_them() -> None:
    # hub stud 40 mm, disc 7 mm, pad 14 mm; with a spacer its foot of 14 mm, and its own studs of 40 mm for the wheel
    assert known("hill-patrol", {}, "studGrip", "rear/left") == 40 - 7 - 14
    assert known("hill-patrol", SPACERS, "studGrip", "rear/left") == 40 - 7 - 14
    assert known("hill-patrol", SPACERS, "spacerStudGrip", "rear/left") == 40 - 14
    assert result("hill-patrol", {}, "spacerStudGrip", "rear/left") is None
    # a spacer whose foot nobody measured leaves it open
    loose: dict[str, str | None] = {"rear/left/wheel-spacer": "wsp-30-6x1397-loose"}
    assert value("hill-patrol", loose, "studGrip", "rear/left") is None


def test_every_link_of_a_front_axle_counts_and_the_weakest_decides() -> None:
    # (N - 1) / P in inches, 834 / sqrt 3 MPa, pi d^3 / 16 (textbook torsion, from memory): 27 teeth, shaft and stub
    yields = math.pi * (26 / 24 * 25.4) ** 3 / 16 * 834 / math.sqrt(3) / 1000
    links = {"shaftStrength": yields, "outerStrength": yields, "crossStrength": 2600, "driveEndStrength": 2635}
    for name, expected in links.items():
        assert known("hill-patrol", {}, name, "front/left") == pytest.approx(expected, rel=1e-6), name
    assert known("hill-patrol", {}, "axleStrength", "front/left") == pytest.approx(yields)
    # with a stronger shaft and stub the joint, rated 2600 N.m, is the weakest link
    stronger: dict[str, str | None] = {
        "front/left/inner-shaft": "is-30-109-370-548",
        "front/left/outer-shaft": "os-33-121-370",
    }
    inner = math.pi * (29 / 24 * 25.4) ** 3 / 16 * 834 / math.sqrt(3) / 1000
    assert known("hill-patrol", stronger, "shaftStrength", "front/left") == pytest.approx(inner)
    assert inner > 2600
    assert known("hill-patrol", stronger, "axleStrength", "front/left") == 2600


def test_a_link_without_steel_or_rating_leaves_the_chain_open() -> None:
    for path, part in (("outer-shaft", "os-30-121-425-u"), ("axle-joint", "aj-121-425-o")):
        found = result("hill-patrol", {f"front/left/{path}": part}, "axleStrength", "front/left")
        assert found is not None
        assert found.value is None
        assert any(gap.path == f"front/left/{path}" for gap in found.gaps), "it is asked for"


def test_one_shaft_sees_all_only_where_the_axle_can_lock() -> None:
    # rear axle 1950 kg on tyres of 803.9 mm at 0.9 (mechanics)
    slip = 0.9 * 1950 * 9.81 * 0.8039 / 2
    assert known("hill-patrol", {}, "shaftTorque", "rear") == pytest.approx(slip)
    for carrier, share in (("op-96-34-low", 1 / 2), ("ls-96-34", 5 / 7), ("el-96-34", 1)):
        found = known("hill-patrol", {"rear/carrier": carrier}, "shaftTorque", "rear")
        assert found == pytest.approx(share * slip), carrier
    # nobody has its bias ratio
    assert value("hill-patrol", {"front/carrier": "ls-895-31-d"}, "shaftTorque", "front") is None


def test_a_valve_without_knee_and_slope_leaves_the_balance_open() -> None:
    # 9 MPa behind knee 3.5 MPa and slope 0.4: 5.7 MPa at the rear
    rear = 2 * 0.38 * 5.7 * math.pi / 4 * 44**2 * 0.128
    front = 2 * 0.38 * 9 * 2 * math.pi / 4 * 45.4**2 * 0.122
    assert known("hill-patrol", {}, "rearBrakeTorque", "rear") == pytest.approx(rear)
    assert known("hill-patrol", {}, "brakeShare", "vehicle") == pytest.approx(front / (front + rear))
    set_by_hand: dict[str, str | None] = {"proportioning-valve": "pv-adj"}
    for name in ("brakeShare", "rearLocksAbove", "stoppingPower"):
        found = result("hill-patrol", set_by_hand, name, "vehicle")
        assert found is not None
        assert found.value is None
        assert {gap.dimension for gap in found.gaps} == {"kneePressure", "kneeSlope"}
    # without a valve the rear gets all of it
    assert known("hill-patrol", {"proportioning-valve": None}, "heldBackPressure", "vehicle") == 9


def test_ratio_and_tyre_together_make_the_mismatch() -> None:
    # 41/11 at both ends: a rear tyre of 777.4 mm against 803.9 turns 3.41 percent faster (kinematics)
    smaller: dict[str, str | None] = {f"rear/{side}/tyre": "ty-265-70-16" for side in ("left", "right")}
    assert known("hill-patrol", {}, "driveMismatch", "vehicle") == 0
    found = known("hill-patrol", smaller, "driveMismatch", "vehicle")
    assert found == pytest.approx(100 * (803.9 / 777.4 - 1), abs=0.001)
    # within one percent it stays: a front tyre of 802.8 mm against 803.9 (ISO size designations)
    near_enough: dict[str, str | None] = {f"front/{side}/tyre": "ty-265-70-17" for side in ("left", "right")}
    assert abs(known("hill-patrol", near_enough, "driveMismatch", "vehicle")) < 1


def test_an_axle_holds_what_its_weakest_part_holds() -> None:
    # front: tube 2.75 x 0.25 in, (1550 - 960) / 2 to the tyre, three times 1450 kg, yield 414 MPa (statics)
    modulus = math.pi * (69.85**4 - 57.15**4) / 32 / 69.85
    stress = 3 * 1450 * 9.81 / 2 * (1550 - 960) / 2 / modulus
    assert known("hill-patrol", {}, "axleHolds", "front") == pytest.approx(1450 * 414 / stress)
    # two tyres of 900 kg are the weakest part of a rear axle that may weigh 1950 kg
    small: dict[str, str | None] = {f"rear/{side}/tyre": "ty-215-75-15" for side in ("left", "right")}
    assert known("hill-patrol", {}, "axleHolds", "rear") > 1950
    assert known("hill-patrol", small, "axleHolds", "rear") == 1800


def test_the_severities_say_what_decides() -> None:
    figures = seed_library().model.figures
    deciding = {"studGrip", "spacerStudGrip", "wheelWeb", "tyresHold", "wheelsHold", "driveMismatch"}
    assert {figures[name].severity for name in deciding} == {"hurtsSomeone", "costsDearly"}
    reported = {"axleStrength", "frontArchWidth", "rearArchWidth", "trackDifference", "axleHolds"}
    assert {figures[name].severity for name in reported} == {"warns"}
