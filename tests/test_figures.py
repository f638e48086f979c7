"""Readings that follow from others, against published tables, other libraries and brute arithmetic."""

import math
from decimal import Decimal
from fractions import Fraction

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from crosspin.figures.exact import canonical, parse_number, rounded, spell
from crosspin.figures.gearing import gear_ratio, tyre_diameter
from crosspin.figures.general import difference, hypotenuse, slope_angle
from crosspin.figures.shafts import spline_major_diameter
from crosspin.figures.wheels import bolt_hole_spacing

D = Decimal
REGISTRY: pint.UnitRegistry[Decimal] = pint.UnitRegistry(non_int_type=Decimal)


# ANSI B92.1-1970 (R1993), basic dimensions, 30 degree external splines, 24/48 pitch:
# major diameter (N + 1) / P in inches, read in an open reprint of the table.
@pytest.mark.parametrize(
    ("teeth", "inches"),
    [(27, "1.16667"), (30, "1.29167"), (31, "1.33333"), (33, "1.41667"), (35, "1.5000"), (40, "1.70833")],
)
def test_spline_major_diameter_is_that_of_ansi_b92(teeth: int, inches: str) -> None:
    assert spline_major_diameter(D(teeth), D(24)) == pytest.approx(D(inches) * D("25.4"), abs=D("0.0006"))


def test_35_teeth_of_24_pitch_are_an_inch_and_a_half() -> None:
    assert spline_major_diameter(D(35), D(24)) == D("38.1")


# The inch is 25.4 mm exactly (international yard and pound agreement, 1959); pint is the second opinion.
@given(st.decimals(min_value="0.001", max_value="100", places=3))
def test_inches_convert_as_pint_converts_them(inches: Decimal) -> None:
    expected = REGISTRY.Quantity(inches, "inch").to("millimeter").magnitude
    assert parse_number(str(inches)) * D("25.4") == canonical(expected)


@pytest.mark.parametrize(
    ("text", "value"),
    [("3 1/8", "3.125"), ("7/16", "0.4375"), ("1-1/2", "1.5"), ("-120", "-120"), ("41.2750", "41.275"), (".5", "0.5")],
)
def test_numbers_are_read_as_published(text: str, value: str) -> None:
    assert spell(parse_number(text)) == value


@given(st.integers(0, 40), st.integers(0, 63), st.sampled_from([2, 4, 8, 16, 32, 64]))
def test_inch_fractions_are_exact(whole: int, top: int, bottom: int) -> None:
    found = parse_number(f"{whole} {top}/{bottom}")
    assert Fraction(found) == whole + Fraction(top, bottom)


@pytest.mark.parametrize("text", ["", "1/3", "1/0", "12,5", "1e3", "NaN", "about 4", "5 mm", "0." + "1" * 19])
def test_what_is_no_exact_number_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        parse_number(text)


@given(st.decimals(allow_nan=False, allow_infinity=False, min_value=-(10**9), max_value=10**9, places=6))
def test_there_is_one_spelling_of_a_value(value: Decimal) -> None:
    spelled = spell(value)
    assert Decimal(spelled) == value
    assert "E" not in spelled
    assert spelled == spell(Decimal(spelled))
    assert not ("." in spelled and spelled.endswith("0"))


# Design diameter d + 2 S A / 100 from the size designation; ISO 4000-1 and the tyre makers' yearbooks list the
# same figures to the millimetre (quoted from memory), e.g. 245/70R16 749 mm, 265/70R17 803 mm.
@pytest.mark.parametrize(
    ("width", "aspect", "rim", "expected"),
    [
        (245, 70, 16, "749.4"),
        (265, 75, 16, "803.9"),
        (285, 75, 16, "833.9"),
        (235, 85, 16, "805.9"),
        (255, 85, 16, "839.9"),
        (265, 70, 17, "802.8"),
        (285, 70, 17, "830.8"),
    ],
)
def test_tyre_diameter_follows_from_the_designation(width: int, aspect: int, rim: int, expected: str) -> None:
    assert tyre_diameter(D(width), D(aspect), rim * D("25.4")) == D(expected)


# By definition; Fraction is the second opinion.
@pytest.mark.parametrize(("ring", "pinion"), [(41, 9), (43, 10), (39, 8), (41, 11), (37, 9), (41, 10), (40, 13)])
def test_ratio_is_ring_over_pinion(ring: int, pinion: int) -> None:
    assert abs(Fraction(gear_ratio(D(ring), D(pinion))) - Fraction(ring, pinion)) <= Fraction(1, 20000)


# The n corners of a regular polygon, placed one by one: geometry.
@pytest.mark.parametrize(("holes", "circle"), [(5, "114.3"), (5, "127"), (6, "139.7"), (8, "165.1"), (8, "170")])
def test_bolt_hole_spacing_is_the_distance_between_neighbouring_corners(holes: int, circle: str) -> None:
    radius, step = float(circle) / 2, 2 * math.pi / holes
    corners = [(radius * math.cos(i * step), radius * math.sin(i * step)) for i in range(holes)]
    assert float(bolt_hole_spacing(D(holes), D(circle))) == pytest.approx(math.dist(corners[0], corners[1]), abs=0.006)


# Common practice for measuring a six-hole pattern: neighbouring holes are half a pitch circle apart (a hexagon).
def test_six_holes_stand_half_a_pitch_circle_apart() -> None:
    assert bolt_hole_spacing(D(6), D("139.7")) == D("69.85")


@given(st.integers(-2000, 2000), st.integers(1, 2000))
def test_distance_and_slope_agree_with_the_mathematics_library(rise: int, run: int) -> None:
    assert float(hypotenuse(D(run), D(rise))) == pytest.approx(math.hypot(run, rise), abs=0.051)
    assert float(slope_angle(D(rise), D(run))) == pytest.approx(abs(math.degrees(math.atan(rise / run))), abs=0.0051)


def test_a_shaft_a_thousand_along_and_a_quarter_down() -> None:
    # geometry: sqrt(1000^2 + 250^2) = 1030.78, atan(0.25) = 14.04 degrees
    assert (hypotenuse(D(1000), D(-250)), slope_angle(D(-250), D(1000))) == (D("1030.8"), D("14.04"))


@given(st.decimals(-1000, 1000, places=3), st.decimals(-1000, 1000, places=3))
def test_differences_are_exact(first: Decimal, second: Decimal) -> None:
    assert Fraction(difference(first, second)) == Fraction(first) - Fraction(second)


def test_rounding_is_half_to_even() -> None:
    # IEEE 754 roundTiesToEven, as in Python's decimal ROUND_HALF_EVEN
    assert [rounded(D(t), 1) for t in ("0.25", "0.35", "-0.25", "-0.04")] == [D("0.2"), D("0.4"), D("-0.2"), D("0")]
