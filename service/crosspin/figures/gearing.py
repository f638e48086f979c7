"""Ratios, tyre sizes and the speeds that follow from them (kinematics)."""

from decimal import Decimal

from crosspin.figures.exact import rounded
from crosspin.figures.general import positive
from crosspin.figures.quantity import (
    PI,
    KilometresPerHour,
    Millimetres,
    Number,
    Percent,
    PerKilometre,
    RevolutionsPerMinute,
)

LOADED_SHARE = Decimal("3.05")


def gear_ratio(ring_teeth: Number, pinion_teeth: Number) -> Number:
    """Ratio of a ring and pinion set, ring teeth over pinion teeth, to 0.0001 (definition)."""
    return rounded(ring_teeth / pinion_teeth, 4)


def tyre_diameter(section_width: Millimetres, aspect_ratio: Percent, rim_diameter: Millimetres) -> Millimetres:
    """Overall diameter of a tyre by its designation, d + 2 S A / 100, in mm to 0.1.

    `section_width` in mm, `aspect_ratio` in percent, `rim_diameter` in mm (code x 25.4).
    Source: the definition of the size designation, as in ISO 4000-1 (quoted from memory).
    """
    return rounded(rim_diameter + 2 * section_width * aspect_ratio / 100, 1)


def circumference(diameter: Millimetres) -> Millimetres:
    """Circumference of a circle, pi D, in mm (geometry)."""
    return PI * diameter


def loaded_circumference(diameter: Millimetres) -> Millimetres:
    """What a loaded radial tyre rolls in one turn, about 3.05 D, in mm (rule of thumb, from memory)."""
    return LOADED_SHARE * diameter


def turns_per_kilometre(rolling_circumference: Millimetres) -> PerKilometre:
    """Turns of a wheel on one kilometre, 10^6 / U.  Raises ValueError unless the wheel rolls."""
    return Decimal(1_000_000) / positive(rolling_circumference, "rolling circumference")


def engine_speed(
    road_speed: KilometresPerHour,
    axle_ratio: Number,
    gear_step: Number,
    range_step: Number,
    rolling_circumference: Millimetres,
) -> RevolutionsPerMinute:
    """Engine speed at a road speed, n = v R i_gear i_range / U, v in mm a minute (kinematics, no slip)."""
    wheel = road_speed * 1_000_000 / 60 / positive(rolling_circumference, "rolling circumference")
    return wheel * axle_ratio * gear_step * range_step


def road_speed(
    engine_speed: RevolutionsPerMinute,
    axle_ratio: Number,
    gear_step: Number,
    range_step: Number,
    rolling_circumference: Millimetres,
) -> KilometresPerHour:
    """Road speed at an engine speed, v = n U / (R i_gear i_range), in km/h (kinematics, no slip)."""
    steps = positive(axle_ratio * gear_step * range_step, "ratio")
    return engine_speed / steps * rolling_circumference * 60 / 1_000_000


def propshaft_speed(
    road_speed: KilometresPerHour, axle_ratio: Number, rolling_circumference: Millimetres
) -> RevolutionsPerMinute:
    """Speed of a propshaft at a road speed, n = v R / U (kinematics)."""
    one = Decimal(1)
    return engine_speed(road_speed, axle_ratio, one, one, rolling_circumference)


def effective_ratio(axle_ratio: Number, old_diameter: Millimetres, new_diameter: Millimetres) -> Number:
    """The ratio that would do with the old tyre what the axle does with the new one, R D_old / D_new (kinematics)."""
    return axle_ratio * old_diameter / positive(new_diameter, "tyre diameter")


def restoring_ratio(axle_ratio: Number, old_diameter: Millimetres, new_diameter: Millimetres) -> Number:
    """The ratio that brings back the old gearing with the new tyre, R D_new / D_old (kinematics)."""
    return axle_ratio * new_diameter / positive(old_diameter, "tyre diameter")


def speed_signal_factor(
    new_ratio: Number, old_ratio: Number, new_diameter: Millimetres, old_diameter: Millimetres
) -> Number:
    """What a speed taken off the transfer case reads of what it read, (R_new / R_old) (D_old / D_new).

    More than 1: the vehicle is slower than the dial says (kinematics).
    """
    return new_ratio / positive(old_ratio, "ratio") * old_diameter / positive(new_diameter, "tyre diameter")


def crawl_ratio(first_gear: Number, low_range: Number, axle_ratio: Number) -> Number:
    """Engine turns to one of the wheel in first gear and low range, i_1 i_low R (definition)."""
    return first_gear * low_range * axle_ratio
