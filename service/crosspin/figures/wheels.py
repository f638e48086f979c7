"""Wheels and alignment: track, backspacing, scrub, toe, caster, camber, tapers (geometry).

Terms as in SAE J670 and ISO 8855 (from memory).
"""

import math
from decimal import Decimal

from crosspin.figures.exact import rounded
from crosspin.figures.general import positive, radians
from crosspin.figures.quantity import Degrees, Millimetres, Number

_LIPS = Decimal("25.4")


def _arcsine(opposite: Decimal, hypotenuse: Decimal, what: str) -> Decimal:
    share = opposite / positive(hypotenuse, what)
    if abs(share) > 1:
        raise ValueError(f"the {what} is too short for that")
    return Decimal(math.degrees(math.asin(float(share))))


def bolt_hole_spacing(hole_count: Number, pitch_circle: Millimetres) -> Millimetres:
    """Distance between neighbouring holes of a bolt circle, D sin(180 deg / n), in mm to 0.01 (chord of a circle)."""
    return rounded(pitch_circle * Decimal(math.sin(math.pi / int(hole_count))), 2)


def track_width(face_width: Millimetres, offset: Millimetres) -> Millimetres:
    """Distance between the tyre centres of an axle, face to face less twice the offset."""
    return face_width - 2 * offset


def backspacing(rim_width: Millimetres, offset: Millimetres) -> Millimetres:
    """Mounting face to the inner lip, half of rim width and an inch for the lips, and the offset."""
    return (rim_width + _LIPS) / 2 + offset


def scrub_change(offset_change: Millimetres, radius_change: Millimetres, pin_inclination: Degrees) -> Millimetres:
    """How the scrub radius changes with wheel and tyre, -dET - dR tan(pin inclination)."""
    return -offset_change - radius_change * Decimal(math.tan(radians(pin_inclination)))


def toe_angle(toe: Millimetres, diameter: Millimetres) -> Degrees:
    """Toe as an angle, asin(t / D) over the diameter where it was measured.  Raises ValueError where t > D."""
    return _arcsine(toe, diameter, "diameter")


def shim_angle(thickness: Millimetres, span: Millimetres) -> Degrees:
    """Camber that a shim makes over a span, atan(t / h)."""
    return Decimal(math.degrees(math.atan2(thickness, span)))


def arm_shift(arm_length: Millimetres, lift: Millimetres) -> Millimetres:
    """How far an arm's end comes back when it swings by so much from level, L - sqrt(L^2 - h^2).

    Raises ValueError where the lift is longer than the arm.
    """
    if abs(lift) > positive(arm_length, "arm"):
        raise ValueError("the arm is too short for that")
    return arm_length - (arm_length**2 - lift**2).sqrt()


def taper_angle(taper_rate: Number) -> Degrees:
    """Included angle of a taper, 2 atan(rate / 2); the rate is change of diameter over length."""
    return Decimal(math.degrees(2 * math.atan(taper_rate / 2)))


def taper_sink(seat_diameter: Millimetres, stud_diameter: Millimetres, taper_rate: Number) -> Millimetres:
    """How deep a stud sinks into a larger seat of its own taper, (d_seat - d_stud) / rate."""
    return (seat_diameter - stud_diameter) / positive(taper_rate, "taper")


def shifted_width(width: Millimetres, track_change: Millimetres) -> Millimetres:
    """Width of an arch that takes a tyre which stands elsewhere than before, w + |change of the track|.

    Half the change is on each side; outward it eats into the arch, inward into links and frame (geometry).
    """
    return width + abs(track_change)
