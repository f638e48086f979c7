"""Propshafts: whirling and the unevenness of universal joints.

Sources: beam theory for the critical speed; the equations of a universal joint as propshaft makers' sheets and
SAE AE-7 give them (from memory).
"""

import math
from decimal import Decimal

from crosspin.figures.exact import rounded
from crosspin.figures.general import positive, radians
from crosspin.figures.quantity import (
    PI,
    Degrees,
    Gigapascals,
    KilogramsPerCubicMetre,
    Millimetres,
    Number,
    RadiansPerSecondSquared,
    RevolutionsPerMinute,
)

_SHORT_FORM = Decimal("1.21e8")


def critical_speed(
    outside: Millimetres, wall: Millimetres, length: Millimetres, modulus: Gigapascals, density: KilogramsPerCubicMetre
) -> RevolutionsPerMinute:
    """First whirling speed of a tube held at both ends, (30 pi / L^2) sqrt(E (D^2 + d^2) / 16 rho), SI units inside.

    Raises ValueError where a size makes no tube.
    """
    inside = outside - 2 * wall
    if wall <= 0 or inside < 0:
        raise ValueError("the wall must be above nought and at most half the outside diameter")
    metres = positive(length, "length") / 1000
    stiffness = modulus * 1_000_000_000 * (outside**2 + inside**2) / 1_000_000 / (16 * positive(density, "density"))
    return 30 * PI / metres**2 * stiffness.sqrt()


def critical_speed_short(outside: Millimetres, wall: Millimetres, length: Millimetres) -> RevolutionsPerMinute:
    """The same for steel in short, 1.21e8 sqrt(D^2 + d^2) / L^2 in mm, to 0.1 rpm (propshaft makers' design sheet)."""
    inside = outside - 2 * wall
    return rounded(_SHORT_FORM * (outside**2 + inside**2).sqrt() / positive(length, "length") ** 2, 1)


def joint_unevenness(joint_angle: Degrees) -> Number:
    """Largest less smallest speed that a universal joint passes on, of one, 1/cos - cos = sin(a) tan(a)."""
    angle = radians(joint_angle)
    return Decimal(math.sin(angle) * math.tan(angle))


def joint_speed_most(joint_angle: Degrees) -> Number:
    """The fastest that the driven side turns in a turn, of one, 1 / cos(a)."""
    return Decimal(1 / math.cos(radians(joint_angle)))


def joint_speed_least(joint_angle: Degrees) -> Number:
    """The slowest that the driven side turns in a turn, of one, cos(a)."""
    return Decimal(math.cos(radians(joint_angle)))


def joint_speed_ratio(joint_angle: Degrees, turn: Degrees) -> Number:
    """Speed of the driven side of one at a place in the turn, cos(a) / (1 - sin(a)^2 cos(t)^2)."""
    angle, at = radians(joint_angle), radians(turn)
    return Decimal(math.cos(angle) / (1 - math.sin(angle) ** 2 * math.cos(at) ** 2))


def joint_lead_most(joint_angle: Degrees) -> Degrees:
    """How far the driven side runs ahead or behind at most, asin(tan(a / 2)^2), in degrees."""
    return Decimal(math.degrees(math.asin(math.tan(radians(joint_angle) / 2) ** 2)))


def residual_angle(first_angle: Degrees, second_angle: Degrees) -> Degrees:
    """The angle of one joint as uneven as two in phase, sqrt |a1^2 - a2^2|, in degrees."""
    return abs(first_angle**2 - second_angle**2).sqrt()


def torsional_acceleration(shaft_speed: RevolutionsPerMinute, joint_angle: Degrees) -> RadiansPerSecondSquared:
    """Angular acceleration that an uneven joint puts in, about omega^2 a^2 with a in radians."""
    omega = shaft_speed * 2 * PI / 60
    return omega**2 * (joint_angle * PI / 180) ** 2


def compound_angle(vertical_angle: Degrees, sideways_angle: Degrees) -> Degrees:
    """True angle of a shaft that slopes and runs sideways, atan sqrt(tan^2 v + tan^2 h), in degrees (geometry)."""
    both = math.hypot(math.tan(radians(vertical_angle)), math.tan(radians(sideways_angle)))
    return Decimal(math.degrees(math.atan(both)))


def pinion_joint_angle(angle_sum: Degrees, caster: Degrees, shaft_slope: Degrees) -> Degrees:
    """Angle at the pinion's joint: shaft slope less pinion angle, where pinion and caster share one sum (geometry).

    The pinion looks up by the sum less the caster.  Given without sign.
    """
    return abs(shaft_slope - (angle_sum - caster))
