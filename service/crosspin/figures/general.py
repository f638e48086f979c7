"""Arithmetic that means the same for every subject: differences, shares, straight distances and slopes."""

import math
from decimal import Decimal

from crosspin.figures.exact import canonical, rounded
from crosspin.figures.quantity import Degrees, Kilograms, Millimetres, Number, Percent


def difference(first: Decimal, second: Decimal) -> Decimal:
    """First less second, in their own unit, exact."""
    return canonical(first - second)


def sum_of_two(first: Decimal, second: Decimal) -> Decimal:
    """First and second together, in their own unit, exact."""
    return canonical(first + second)


def mean_of_two(first: Decimal, second: Decimal) -> Decimal:
    """Halfway between first and second, in their own unit, exact."""
    return canonical((first + second) / 2)


def as_read(value: Decimal) -> Decimal:
    """A reading as it is, in its own unit, to tell it before and after."""
    return value


def percent_change(new: Decimal, old: Decimal) -> Percent:
    """By how many percent `new` is more than `old`, 100 (new / old - 1).  Raises ValueError where `old` is nought."""
    return 100 * (quotient(new, old) - 1)


def quotient(first: Decimal, second: Decimal) -> Number:
    """First over second, both in one unit.  Raises ValueError where the second is nought."""
    if second == 0:
        raise ValueError("a part of nought cannot be told")
    return first / second


def load_at_limit(load: Kilograms, limit: Decimal, value: Decimal) -> Kilograms:
    """The load at which what grows with it, `value` under `load`, reaches `limit` in the same unit, W limit / x."""
    return load * limit / positive(value, "value")


def product(factor: Number, value: Decimal) -> Decimal:
    """So many times a value, in the value's unit."""
    return factor * value


def smaller(first: Decimal, second: Decimal) -> Decimal:
    """The smaller of two values, in their own unit."""
    return min(first, second)


def hypotenuse(run: Millimetres, rise: Millimetres) -> Millimetres:
    """Straight distance across a run and a rise, sqrt(run^2 + rise^2), in mm to 0.1 (Pythagoras)."""
    return rounded((run * run + rise * rise).sqrt(), 1)


def slope_angle(rise: Millimetres, run: Millimetres) -> Degrees:
    """Angle of a rise over a run against the horizontal, without sign, in degrees to 0.01."""
    return rounded(Decimal(math.degrees(math.atan2(abs(rise), abs(run)))), 2)


def radians(angle: Decimal) -> float:
    """Degrees as radians, for the functions of the math module."""
    return math.radians(float(angle))


def positive(value: Decimal, what: str) -> Decimal:
    """The value; raises ValueError, naming it, where it is not above nought."""
    if value <= 0:
        raise ValueError(f"the {what} must be above nought")
    return value
