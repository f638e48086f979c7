"""Where an axle stands under its chassis, against geometry worked by hand and with numpy."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from figure_support import near, work

runs = st.floats(300, 2500)
falls = st.floats(-400, 700)
asides = st.floats(-400, 400)
tilts = st.floats(-15, 25)


def test_a_spring_gives_by_the_load_that_it_was_not_rated_for() -> None:
    # Hooke's law: 20 kg more than rated on 24 N/mm: 20 x 9.81 / 24 = 8.175 mm lower
    assert near(work("springLift", 50, 620, 640, 24, 9.81), 41.825, 3)
    assert near(work("springLift", 50, 620, 620, 24, 9.81), 50, 6)
    assert near(work("springLift", 0, 620, 600, 24, 9.81), 8.175, 3)
    with pytest.raises(ValueError, match="spring rate"):
        work("springLift", 50, 620, 620, 0, 9.81)


def test_a_lift_lowers_the_pinion_under_the_chassis() -> None:
    # geometry: output 160 and pinion 40 over the axle, then the axle 50 lower
    assert work("jointFall", 160, 40, 0) == 120
    assert work("jointFall", 160, 40, 50) == 170


# Check values of a pure vertical lift by 50 mm: 820 along, 190 and then 240 down (Pythagoras and the arc tangent).
@pytest.mark.parametrize(("fall", "length", "slope"), [(190, 841.7, 13.05), (240, 854.4, 16.31)])
def test_a_lift_makes_the_shaft_longer_and_steeper(fall: float, length: float, slope: float) -> None:
    assert near(work("spaceDistance", 820, fall, 0), length, 1)
    assert near(work("fallAngle", fall, 820), slope, 2)


def test_a_line_that_rises_has_a_negative_fall() -> None:
    assert work("fallAngle", -100, 500) == -work("fallAngle", 100, 500)
    with pytest.raises(ValueError, match="run"):
        work("fallAngle", 100, 0)


def test_a_link_leans_by_the_arc_sine_of_its_rise() -> None:
    # geometry: 75 of 1000 mm, asin 0.075 = 4.3012 degrees, the caster that radius arms give away with a lift of 75
    assert near(work("linkLean", 75, 1000), 4.3012, 4)
    assert work("linkLean", -75, 1000) == -work("linkLean", 75, 1000)
    assert work("linkLean", 500, 1000) == pytest.approx(30)
    for rise in (1001, -1001):
        with pytest.raises(ValueError, match="too short"):
            work("linkLean", rise, 1000)
    with pytest.raises(ValueError, match="length"):
        work("linkLean", 10, 0)


def test_halfway_between_two_places() -> None:
    assert work("meanOfTwo", -90, 120) == 15


@settings(deadline=None)  # the first example pays for what is loaded, however busy the machine
@given(runs, falls, asides)
def test_distance_in_space_is_the_length_of_the_vector(run: float, fall: float, aside: float) -> None:
    assert work("spaceDistance", run, fall, aside) == pytest.approx(float(np.linalg.norm([run, fall, aside])))


@settings(deadline=None)  # the first example pays for what is loaded, however busy the machine
@given(runs, falls, asides, tilts)
def test_joint_angle_is_that_between_the_two_axes(run: float, fall: float, aside: float, tilt: float) -> None:
    # the yoke's axis turned out of the level by a rotation, the angle by the chord between the unit vectors
    turn = math.radians(tilt)
    pitch = np.array([[math.cos(turn), 0, math.sin(turn)], [0, 1, 0], [-math.sin(turn), 0, math.cos(turn)]])
    yoke = pitch @ np.array([1.0, 0.0, 0.0])
    shaft = np.array([run, aside, -fall]) / np.linalg.norm([run, aside, fall])
    expected = math.degrees(2 * math.asin(min(1.0, float(np.linalg.norm(shaft - yoke)) / 2)))
    assert work("jointAngle", run, fall, aside, tilt) == pytest.approx(expected, abs=1e-6)


def test_in_one_plane_a_joint_turns_by_slope_less_tilt() -> None:
    # geometry: atan(205 / 1180) = 9.856 degrees against a yoke 4 degrees down
    assert near(work("jointAngle", 1180, 205, 0, 4), 5.856, 3)
    assert near(work("jointAngle", 1180, 205, 0, 9.8556), 0, 3)


@settings(deadline=None)  # the first example pays for what is loaded, however busy the machine
@given(runs, asides, st.floats(-30, 30))
def test_beside_the_plane_a_joint_turns_by_the_compound_angle(run: float, aside: float, slope: float) -> None:
    # the compound angle of slope and sideways angle is the one against a level yoke (propshaft makers' sheets)
    fall = run * math.tan(math.radians(slope))
    sideways = math.degrees(math.atan(aside / run))
    assert work("jointAngle", run, fall, aside, 0) == pytest.approx(work("compoundAngle", slope, sideways), abs=1e-9)


def test_a_fast_shaft_allows_a_single_joint_less() -> None:
    # angular acceleration of at most about 1000 rad/s2 (propshaft makers' sheets, from memory): near 5.8 degrees at
    # 3000 rpm, 8.6 at 2000
    assert work("torsionalAcceleration", 3000, 5.7) < 1000 < work("torsionalAcceleration", 3000, 5.8)
    assert work("torsionalAcceleration", 2000, 8.6) < 1000 < work("torsionalAcceleration", 2000, 8.7)
