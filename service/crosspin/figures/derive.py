"""Formulas that make one reading of a feature from others of the same feature.

The ontology names them (`cp:derivedBy`); each takes decimals in the units in which the readings are
kept and gives one decimal, rounded as stated, so that equal inputs always give equal specs.
"""

import math
from collections.abc import Callable, Mapping
from decimal import Decimal
from types import MappingProxyType

from crosspin.figures.exact import canonical, rounded


def spline_major_diameter(tooth_count: Decimal, diametral_pitch: Decimal) -> Decimal:
    """Major diameter of an external 30 degree involute spline, (N + 1) / P in inches, given in mm to 0.001.

    Source: ANSI B92.1, basic dimensions.  `diametral_pitch` in teeth per inch.
    """
    return rounded((tooth_count + 1) / diametral_pitch * Decimal("25.4"), 3)


def bolt_hole_spacing(hole_count: Decimal, pitch_circle: Decimal) -> Decimal:
    """Distance between neighbouring holes of a bolt circle, D sin(180 deg / n), in mm to 0.01 (chord of a circle)."""
    return rounded(pitch_circle * Decimal(math.sin(math.pi / int(hole_count))), 2)


def hypotenuse(run: Decimal, rise: Decimal) -> Decimal:
    """Straight distance across a run and a rise, sqrt(run^2 + rise^2), in mm to 0.1 (Pythagoras)."""
    return rounded((run * run + rise * rise).sqrt(), 1)


def slope_angle(rise: Decimal, run: Decimal) -> Decimal:
    """Angle of a rise over a run against the horizontal, without sign, in degrees to 0.01."""
    return rounded(Decimal(math.degrees(math.atan2(abs(rise), abs(run)))), 2)


def difference(first: Decimal, second: Decimal) -> Decimal:
    """First less second, in their own unit, exact."""
    return canonical(first - second)


def tyre_diameter(section_width: Decimal, aspect_ratio: Decimal, rim_diameter: Decimal) -> Decimal:
    """Overall diameter of a tyre by its designation, d + 2 S A / 100, in mm to 0.1.

    `section_width` in mm, `aspect_ratio` in percent, `rim_diameter` in mm (code x 25.4).
    Source: the definition of the size designation, as in ISO 4000-1 (quoted from memory).
    """
    return rounded(rim_diameter + 2 * section_width * aspect_ratio / 100, 1)


def gear_ratio(ring_teeth: Decimal, pinion_teeth: Decimal) -> Decimal:
    """Ratio of a ring and pinion set, ring teeth over pinion teeth, to 0.0001 (definition)."""
    return rounded(ring_teeth / pinion_teeth, 4)


FORMULAS: Mapping[str, Callable[..., Decimal]] = MappingProxyType(
    {
        "splineMajorDiameter": spline_major_diameter,
        "boltHoleSpacing": bolt_hole_spacing,
        "hypotenuse": hypotenuse,
        "slopeAngle": slope_angle,
        "difference": difference,
        "diameterByDesignation": tyre_diameter,
        "toothRatio": gear_ratio,
    }
)
"""Every formula by the identifier that the ontology uses."""
