"""Rating life of tapered roller bearings.

Source: ISO 281 (life of roller bearings); the factor 0.4 of tapered rollers from memory.
"""

import math
from decimal import Decimal

from crosspin.figures.general import positive
from crosspin.figures.quantity import (
    Hours,
    Kilograms,
    Kilometres,
    Kilonewtons,
    MetresPerSecondSquared,
    Millimetres,
    MillionRevolutions,
    Number,
    RevolutionsPerMinute,
)

_EXPONENT = 10 / 3
_RADIAL_FACTOR = Decimal("0.4")


def wheel_load(axle_load: Kilograms, gravity: MetresPerSecondSquared) -> Kilonewtons:
    """What one wheel carries of its axle's load, W g / 2 (statics)."""
    return axle_load * gravity / 2000


def bearing_load(radial: Kilonewtons, axial: Kilonewtons, limit_ratio: Number, axial_factor: Number) -> Kilonewtons:
    """Equivalent load P: F_r where F_a / F_r <= e, else 0.4 F_r + Y F_a."""
    if axial / positive(radial, "radial load") <= limit_ratio:
        return radial
    return _RADIAL_FACTOR * radial + axial_factor * axial


def bearing_life(rating: Kilonewtons, load: Kilonewtons) -> MillionRevolutions:
    """Life that nine in ten reach, (C / P)^(10/3), in million turns."""
    return Decimal(math.pow(rating / positive(load, "load"), _EXPONENT))


def bearing_hours(life: MillionRevolutions, speed: RevolutionsPerMinute) -> Hours:
    """Life in hours at a steady speed, 10^6 L / 60 n."""
    return life * 1_000_000 / (60 * positive(speed, "speed"))


def bearing_distance(life: MillionRevolutions, rolling_circumference: Millimetres) -> Kilometres:
    """Life in kilometres of a wheel bearing, L times the rolling circumference."""
    return life * rolling_circumference


def life_factor(new_load: Decimal, old_load: Decimal) -> Number:
    """What is left of the life under another load, (P_old / P_new)^(10/3); both loads in one unit."""
    return Decimal(math.pow(old_load / positive(new_load, "load"), _EXPONENT))


def overhang_load(load: Kilonewtons, overhang: Millimetres, span: Millimetres) -> Kilonewtons:
    """What a bearing carries of a load that hangs beyond it, F (L + a) / L (statics of a lever).

    `overhang`: from the bearing out to the load, below nought where the load stands inside it; `span`: from the
    bearing in to the other end that holds the shaft.
    """
    return load * (span + overhang) / positive(span, "distance to the inner end")


def load_for_life(load: Kilograms, life: Kilometres, wanted: Kilometres) -> Kilograms:
    """The load under which a roller bearing lasts as long as wanted, W (L / L_wanted)^(3/10)."""
    share = positive(life, "life") / positive(wanted, "life wanted")
    return load * Decimal(math.pow(share, 1 / _EXPONENT))
