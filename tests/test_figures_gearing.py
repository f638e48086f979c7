"""Splines, ratios, tyres and speeds against numbers from standards, definitions and other libraries.

Every expected number was worked out once by a script apart from this program; its source stands beside it.
"""

import math
from fractions import Fraction

import pint
import pytest

from figure_support import INCH, near, work

REGISTRY: pint.UnitRegistry[float] = pint.UnitRegistry()


# ANSI B92.1-1970 (R1993), basic dimensions, 24/48 pitch, in inches: pitch and major diameter of the external
# spline, read in an open reprint of the table.
@pytest.mark.parametrize(
    ("teeth", "pitch", "major"),
    [
        (27, 1.125, 1.16667),
        (30, 1.25, 1.29167),
        (31, 1.29167, 1.33333),
        (33, 1.375, 1.41667),
        (35, 1.45833, 1.5),
        (40, 1.66667, 1.70833),
    ],
)
def test_spline_diameters_are_those_of_ansi_b92(teeth: int, pitch: float, major: float) -> None:
    assert near(work("splinePitchDiameter", teeth, 24) / INCH, pitch, 5)
    assert abs(work("splineMajorDiameter", teeth, 24) / INCH - major) < 3e-5  # kept to 0.001 mm


# ANSI B92.1 for 35 teeth of 24/48, by pressure angle: base circle D cos a, root of the internal spline, its minor
# diameter (the 37.5 degree one from memory), in inches.
@pytest.mark.parametrize(("angle", "base"), [(30, 1.26295), (37.5, 1.15697), (45, 1.0312)])
def test_base_circle(angle: float, base: float) -> None:
    assert near(work("splineBaseDiameter", 35, 24, angle) / INCH, base, 5)


@pytest.mark.parametrize(("angle", "root"), [(30, 1.53333), (37.5, 1.525), (45, 1.51667)])
def test_root_of_the_internal_spline(angle: float, root: float) -> None:
    assert near(work("splineRootDiameter", 35, 24, angle) / INCH, root, 5)


@pytest.mark.parametrize(("angle", "inside"), [(30, 1.41667), (37.5, 1.425)])
def test_inside_of_the_internal_spline(angle: float, inside: float) -> None:
    assert near(work("splineInsideDiameter", 35, 24, angle) / INCH, inside, 5)


def test_circular_pitch_and_space_width_are_those_of_ansi_b92() -> None:
    assert near(work("splineCircularPitch", 24) / INCH, 0.1309, 4)
    assert near(work("splineSpaceWidth", 24, 30) / INCH, 0.06545, 5)
    assert near(work("splineSpaceWidth", 24, 45) / INCH, 0.069617, 6)


def test_a_35_tooth_spline_is_38_1_mm_over_its_teeth() -> None:
    assert work("splineMajorDiameter", 35, 24) == 38.1


def test_an_unknown_pressure_angle_is_refused() -> None:
    with pytest.raises(ValueError, match=r"30, 37\.5 and 45"):
        work("splineRootDiameter", 35, 24, 20)


# By definition, ring teeth over pinion teeth.
@pytest.mark.parametrize(
    ("ring", "pinion", "ratio"),
    [
        (41, 9, 4.5556),
        (43, 10, 4.3),
        (39, 8, 4.875),
        (41, 11, 3.7273),
        (37, 9, 4.1111),
        (41, 10, 4.1),
        (43, 8, 5.375),
        (39, 10, 3.9),
        (39, 11, 3.5455),
        (40, 13, 3.0769),
        (37, 10, 3.7),
        (46, 9, 5.1111),
    ],
)
def test_ratios(ring: int, pinion: int, ratio: float) -> None:
    assert work("toothRatio", ring, pinion) == ratio
    assert near(float(Fraction(ring, pinion)), ratio, 4)
    assert near(work("quotient", ring, pinion), ratio, 4)


def test_front_and_rear_ratios_are_compared_in_percent() -> None:
    # by definition; 0.27 percent passes the usual one percent, ten percent do not
    assert near(float(100 * (Fraction(37, 9) / Fraction(41, 10) - 1)), 0.271, 3)
    assert near(work("percentChange", 37 / 9, 4.1), 0.271, 3)
    assert near(work("percentChange", 4.1, 41 / 11), 10.0, 3)


# Design diameter d + 2 S A / 100 of the size designation (ISO 4000-1, from memory), in mm and inches.
@pytest.mark.parametrize(
    ("width", "aspect", "rim", "millimetres", "inches"),
    [
        (245, 70, 16, 749.4, 29.504),
        (285, 75, 16, 833.9, 32.831),
        (265, 75, 16, 803.9, 31.65),
        (265, 70, 17, 802.8, 31.606),
        (235, 85, 16, 805.9, 31.728),
        (255, 85, 16, 839.9, 33.067),
        (285, 70, 17, 830.8, 32.709),
    ],
)
def test_tyre_diameters(width: int, aspect: int, rim: int, millimetres: float, inches: float) -> None:
    found = work("diameterByDesignation", width, aspect, rim * INCH)
    assert found == millimetres
    assert near(REGISTRY.Quantity(found, "mm").to("inch").magnitude, inches, 3)


def test_a_taller_tyre_and_what_it_does_to_the_gearing() -> None:
    # kinematics: 41/11 from 749.4 to 833.9 mm
    assert near(work("effectiveRatio", 41 / 11, 749.4, 833.9), 3.3496, 4)
    assert near(work("restoringRatio", 41 / 11, 749.4, 833.9), 4.1475, 4)
    # the tyre alone: the dial would be 1.1128 behind, and the engine must give as much more torque
    assert near(work("quotient", 833.9, 749.4), 1.1128, 4)
    assert near(1 / work("speedSignalFactor", 41 / 11, 41 / 11, 833.9, 749.4), 1.1128, 4)
    # with 41/9 gears as well
    assert near(work("speedSignalFactor", 41 / 9, 41 / 11, 833.9, 749.4), 1.0984, 4)


def test_engine_and_road_speed() -> None:
    # kinematics, 833.9 mm tyre, 41/9, direct gear: by the geometric and by the loaded circumference
    geometric = work("circumference", 833.9)
    assert near(work("engineSpeed", 100, 41 / 9, 1, 1, geometric), 2898.2, 1)
    assert near(work("engineSpeed", 100, 41 / 9, 1, 1, work("loadedCircumference", 833.9)), 2985.2, 1)
    assert near(work("roadSpeed", 2898.2, 41 / 9, 1, 1, geometric), 100, 2)
    assert near(work("propshaftSpeed", 110, 41 / 9, geometric), 3188.0, 0)
    # in miles: 65 mph, 4.10, overdrive 0.75
    kmh = REGISTRY.Quantity(65, "mile/hour").to("kilometer/hour").magnitude
    assert near(work("engineSpeed", kmh, 4.1, 0.75, 1, geometric), 2046.4, 1)


def test_the_miles_an_hour_form_has_the_usual_constant() -> None:
    # n = 336.135 mph R i / D_in, the constant of trade tables (5280 * 12 / 60 / pi)
    inches = REGISTRY.Quantity(1, "mile").to("inch").magnitude
    assert near(inches / 60 / math.pi, 336.135, 3)
    direct = 336.135 * 65 * 4.1 * 0.75 / 32.831
    assert near(direct, 2046.4, 1)


def test_turns_on_a_kilometre_and_on_a_mile() -> None:
    turns = work("turnsPerKilometre", work("circumference", 833.9))
    assert near(turns, 381.7, 1)
    # published tyre tables give about 615 turns a mile for this size
    assert near(turns * REGISTRY.Quantity(1, "mile").to("kilometer").magnitude, 614.3, 1)


def test_crawl_ratio() -> None:
    assert near(work("crawlRatio", 3.83, 2.72, 41 / 9), 47.458, 3)


def test_plain_arithmetic() -> None:
    assert work("difference", 798.9, 762.6) == pytest.approx(36.3)
    assert work("sumOfTwo", 8, 13) == 21
    assert work("smaller", 16135.7, 5297.4) == 5297.4
    assert work("product", 3, 106.32) == pytest.approx(318.96)
    assert work("asRead", 1.825) == 1.825
    with pytest.raises(ValueError, match="nought"):
        work("percentChange", 1, 0)


# Geometry: a shaft 1000 along and 250, then 190, down; numpy.hypot says the same.
@pytest.mark.parametrize(("rise", "length", "angle"), [(-250, 1030.78, 14.036), (-190, 1017.89, 10.758)])
def test_length_and_slope_of_a_shaft(rise: float, length: float, angle: float) -> None:
    import numpy

    assert work("hypotenuse", 1000, rise) == pytest.approx(length, abs=0.051)
    assert float(numpy.hypot(1000, rise)) == pytest.approx(length, abs=0.005)
    assert work("slopeAngle", rise, 1000) == pytest.approx(angle, abs=0.0051)
