"""Round tubes: section values, weight, bending of a beam axle.

Source: section properties of handbooks (Machinery's Handbook, from memory) and statics.
"""

from decimal import Decimal

from crosspin.figures.general import positive
from crosspin.figures.quantity import (
    PI,
    CubicMillimetres,
    FourthPowerMillimetres,
    Kilograms,
    KilogramsPerCubicMetre,
    KilogramsPerMetre,
    Megapascals,
    MetresPerSecondSquared,
    Millimetres,
    NewtonMetres,
    Number,
)


def _inside(outside: Decimal, wall: Decimal) -> Decimal:
    inside = positive(outside, "outside diameter") - 2 * wall
    if wall <= 0 or inside < 0:
        raise ValueError("the wall must be above nought and at most half the outside diameter")
    return inside


def tube_second_moment(outside: Millimetres, wall: Millimetres) -> FourthPowerMillimetres:
    """Second moment of area in bending, pi (D^4 - d^4) / 64.  Raises ValueError where the wall does not fit in."""
    return PI * (outside**4 - _inside(outside, wall) ** 4) / 64


def tube_section_modulus(outside: Millimetres, wall: Millimetres) -> CubicMillimetres:
    """Section modulus in bending, 2 I / D.  Raises ValueError where the wall does not fit in."""
    return 2 * tube_second_moment(outside, wall) / outside


def tube_polar_moment(outside: Millimetres, wall: Millimetres) -> FourthPowerMillimetres:
    """Polar second moment, 2 I.  Raises ValueError where the wall does not fit in."""
    return 2 * tube_second_moment(outside, wall)


def tube_weight(outside: Millimetres, wall: Millimetres, density: KilogramsPerCubicMetre) -> KilogramsPerMetre:
    """Mass of a metre of tube, pi (D^2 - d^2) / 4 times the density."""
    return PI * (outside**2 - _inside(outside, wall) ** 2) / 4 * density / 1_000_000


def axle_bending_moment(
    axle_load: Kilograms,
    track: Millimetres,
    seat_spacing: Millimetres,
    gravity: MetresPerSecondSquared,
    load_factor: Number,
) -> NewtonMetres:
    """Bending moment in the tube at the spring seat, n (W / 2) a with a = (track - seat spacing) / 2 (statics).

    `track`: between the tyres' centres, where the ground carries the axle, so that offset and spacers count.
    `load_factor`: how many times its own weight the axle takes.  Raises ValueError where the seats stand outside the
    tyres' centres.
    """
    arm = positive((track - seat_spacing) / 2, "distance from the tyre's centre to the spring seat")
    return load_factor * axle_load * gravity / 2 * arm / 1000


def bending_stress(moment: NewtonMetres, section_modulus: CubicMillimetres) -> Megapascals:
    """Stress at the skin of a bent beam, M / Z (statics)."""
    return moment * 1000 / positive(section_modulus, "section modulus")
