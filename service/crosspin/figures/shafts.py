"""Splines and round shafts in torsion."""

import math
from collections.abc import Mapping
from decimal import Decimal
from types import MappingProxyType

from crosspin.figures.exact import rounded
from crosspin.figures.general import positive, radians
from crosspin.figures.quantity import (
    PI,
    Degrees,
    Gigapascals,
    Megapascals,
    Millimetres,
    NewtonMetres,
    Number,
    PerInch,
)

_INCH = Decimal("25.4")
# ANSI B92.1 by pressure angle: what is added for a fillet root of the hub, taken off inside and off the shaft, added
# to the space width.
_ROOT: Mapping[Decimal, Decimal] = MappingProxyType(
    {Decimal(30): Decimal("1.8"), Decimal("37.5"): Decimal("1.6"), Decimal(45): Decimal("1.4")}
)
_INSIDE: Mapping[Decimal, Decimal] = MappingProxyType(
    {Decimal(30): Decimal(1), Decimal("37.5"): Decimal("0.8"), Decimal(45): Decimal("0.6")}
)
_SHAFT_ROOT: Mapping[Decimal, Decimal] = MappingProxyType(
    {Decimal(30): Decimal("1.8"), Decimal("37.5"): Decimal("1.3"), Decimal(45): Decimal(1)}
)
_SPACE: Mapping[Decimal, Decimal] = MappingProxyType(
    {Decimal(30): Decimal(0), Decimal("37.5"): Decimal("0.05"), Decimal(45): Decimal("0.1")}
)


_FINE_PITCH = Decimal(16)


def _by_angle(table: Mapping[Decimal, Decimal], pressure_angle: Decimal) -> Decimal:
    if pressure_angle not in table:
        raise ValueError(f"the standard knows pressure angles of 30, 37.5 and 45 degrees, not {pressure_angle}")
    return table[pressure_angle]


def spline_major_diameter(tooth_count: Number, diametral_pitch: PerInch) -> Millimetres:
    """Major diameter of an external 30 degree involute spline, (N + 1) / P in inches, given in mm to 0.001.

    Source: ANSI B92.1, basic dimensions.  `diametral_pitch` in teeth per inch.
    """
    return rounded((tooth_count + 1) / diametral_pitch * _INCH, 3)


def spline_pitch_diameter(tooth_count: Number, diametral_pitch: PerInch) -> Millimetres:
    """Pitch diameter of a spline, N / P in inches, in mm (ANSI B92.1)."""
    return tooth_count / positive(diametral_pitch, "diametral pitch") * _INCH


def spline_base_diameter(tooth_count: Number, diametral_pitch: PerInch, pressure_angle: Degrees) -> Millimetres:
    """Base diameter of a spline, D cos(angle), in mm (ANSI B92.1)."""
    cosine = Decimal(math.cos(radians(pressure_angle)))
    return spline_pitch_diameter(tooth_count, diametral_pitch) * cosine


def shaft_root_diameter(tooth_count: Number, diametral_pitch: PerInch, pressure_angle: Degrees) -> Millimetres:
    """Minor diameter of an external spline with a fillet root, over which a shaft is as strong as a plain one, in mm.

    (N - 1) / P in inches at 45 degrees, (N - 1.3) / P at 37.5; at 30 degrees (N - 1.8) / P, from 16 teeth to the
    inch on (N - 2) / P.  Source: ANSI B92.1, the 45 degree row from an open reprint, the others from memory.  Raises
    ValueError at another pressure angle.
    """
    off = _by_angle(_SHAFT_ROOT, pressure_angle)
    if pressure_angle == 30 and diametral_pitch >= _FINE_PITCH:
        off = Decimal(2)
    return (tooth_count - off) / positive(diametral_pitch, "diametral pitch") * _INCH


def spline_root_diameter(tooth_count: Number, diametral_pitch: PerInch, pressure_angle: Degrees) -> Millimetres:
    """Major diameter of an internal spline with a fillet root, in mm.

    (N + 1.8) / P in inches at 30 degrees, 1.6 at 37.5, 1.4 at 45.  Source: ANSI B92.1, basic dimensions.
    Raises ValueError at another pressure angle.
    """
    return (tooth_count + _by_angle(_ROOT, pressure_angle)) / diametral_pitch * _INCH


def spline_inside_diameter(tooth_count: Number, diametral_pitch: PerInch, pressure_angle: Degrees) -> Millimetres:
    """Minor diameter of an internal spline, (N - 1) / P at 30, 0.8 at 37.5, 0.6 at 45 degrees, in mm.

    Source: ANSI B92.1, the 45 degree row from memory.  Raises ValueError at another pressure angle.
    """
    return (tooth_count - _by_angle(_INSIDE, pressure_angle)) / diametral_pitch * _INCH


def spline_circular_pitch(diametral_pitch: PerInch) -> Millimetres:
    """Distance from tooth to tooth along the pitch circle, pi / P in inches, in mm (ANSI B92.1)."""
    return PI / positive(diametral_pitch, "diametral pitch") * _INCH


def spline_space_width(diametral_pitch: PerInch, pressure_angle: Degrees) -> Millimetres:
    """Least effective space width, pi / 2P in inches and 0.1 / P more at 45 degrees (0.05 at 37.5), in mm.

    Source: ANSI B92.1, the 37.5 degree row from memory.  Raises ValueError at another pressure angle.
    """
    return (PI / 2 + _by_angle(_SPACE, pressure_angle)) / positive(diametral_pitch, "diametral pitch") * _INCH


def shear_yield(yield_strength: Megapascals) -> Megapascals:
    """Yield strength in shear by distortion energy, S_y / sqrt 3 (machine-design textbooks, from memory)."""
    return yield_strength / Decimal(3).sqrt()


def shaft_yield_torque(diameter: Millimetres, shear_strength: Megapascals) -> NewtonMetres:
    """Torque at which the skin of a round shaft yields, pi d^3 tau / 16 (textbook torsion, from memory)."""
    return PI * diameter**3 * shear_strength / 16 / 1000


def shaft_shear_stress(torque: NewtonMetres, diameter: Millimetres) -> Megapascals:
    """Shear stress at the skin of a round shaft, 16 T / pi d^3 (textbook torsion, from memory)."""
    return 16 * torque * 1000 / (PI * positive(diameter, "diameter") ** 3)


def shaft_twist(
    torque: NewtonMetres, length: Millimetres, diameter: Millimetres, shear_modulus: Gigapascals
) -> Degrees:
    """How far a round shaft winds up, T L / G J with J = pi d^4 / 32, in degrees (textbook torsion, from memory)."""
    polar = PI * positive(diameter, "diameter") ** 4 / 32
    twist = torque * 1000 * length / (positive(shear_modulus, "shear modulus") * 1000 * polar)
    return twist * 180 / PI


def torsion_ratio(new_diameter: Millimetres, old_diameter: Millimetres) -> Number:
    """How much more torque a round section carries at equal stress, (d_new / d_old)^3 (textbook torsion)."""
    return (new_diameter / positive(old_diameter, "diameter")) ** 3
