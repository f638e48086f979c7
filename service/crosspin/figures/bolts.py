"""Bolts: stress area, preload and a screening torque.

Sources: ASME B1.1 and ISO 898-1 stress areas and metric proof stresses from memory, SAE J429 proof stresses of
grades 5 and 8, the usual three quarters of proof and nut factor (secondary).  The maker's torque governs.
"""

import re
from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType

from crosspin.figures.general import positive
from crosspin.figures.quantity import (
    PI,
    Code,
    Kilonewtons,
    Megapascals,
    Millimetres,
    NewtonMetres,
    Number,
    SquareMillimetres,
)

_METRIC = re.compile(r"M(?P<diameter>\d+(\.\d+)?)x(?P<pitch>\d+(\.\d+)?)")
_INCH = re.compile(r"(?P<diameter>\d+/\d+|\d+(\.\d+)?)-(?P<threads>\d+)")
_MM = Decimal("25.4")
_HOLE_PLAY = Decimal(1)  # a wheel is drilled a millimetre over its studs (common practice)
_KSI = Decimal("6.894757293168")
_PROOF: Mapping[str, Decimal] = MappingProxyType(
    {"5": 85 * _KSI, "8": 120 * _KSI, "10.9": Decimal(830), "12.9": Decimal(970)}
)


def _thread(thread: str) -> tuple[Decimal, Decimal]:
    """Diameter and pitch in mm of a thread written as M12x1.5 or 7/16-20."""
    if metric := _METRIC.fullmatch(thread):
        return Decimal(metric["diameter"]), Decimal(metric["pitch"])
    if inch := _INCH.fullmatch(thread):
        size = Fraction(inch["diameter"])
        return Decimal(size.numerator) / size.denominator * _MM, _MM / Decimal(inch["threads"])
    raise ValueError(f"{thread} is not a bolt thread such as M12x1.5 or 7/16-20")


def thread_diameter(thread: Code) -> Millimetres:
    """Outside diameter of a thread.  Raises ValueError where the code is none of a bolt."""
    return _thread(thread)[0]


def stress_area(thread: Code) -> SquareMillimetres:
    """Tensile stress area, 0.7854 (d - 0.9382 p)^2, for inch threads 0.7854 (D - 0.9743 / n)^2.

    Raises ValueError where the code is none of a bolt.
    """
    diameter, pitch = _thread(thread)
    share = Decimal("0.9382") if thread.startswith("M") else Decimal("0.9743")
    return PI / 4 * (diameter - share * pitch) ** 2


def proof_stress(bolt_class: Code, thread: Code) -> Megapascals:
    """Proof stress of a property class (8.8, 10.9, 12.9) or an inch grade (5, 8); 8.8 has 580 up to and
    including 16 mm, 600 above.

    Raises ValueError for another class.
    """
    if bolt_class == "8.8":
        return Decimal(580) if thread_diameter(thread) <= 16 else Decimal(600)
    if bolt_class not in _PROOF:
        raise ValueError(f"no proof stress is known for class {bolt_class}")
    return _PROOF[bolt_class]


def bolt_preload(thread: Code, bolt_class: Code, proof_share: Number) -> Kilonewtons:
    """Preload of a bolt tightened to a share of its proof stress, usually 0.75."""
    return proof_share * proof_stress(bolt_class, thread) * stress_area(thread) / 1000


def bolt_torque(thread: Code, preload: Kilonewtons, nut_factor: Number) -> NewtonMetres:
    """Screening torque, K F d; K about 0.20 dry, 0.12 with anti-seize."""
    return nut_factor * preload * thread_diameter(thread)


def clamped_torque(bolt_count: Number, preload: Kilonewtons, friction: Number, radius: Millimetres) -> NewtonMetres:
    """Torque that a clamped flange passes on by friction alone, n F mu r."""
    return bolt_count * preload * friction * positive(radius, "radius")


def thread_engagement(reach: Millimetres, web: Millimetres, spacer: Millimetres, pad: Millimetres) -> Millimetres:
    """Thread that a nut has left of a stud, reach - web of disc or drum - spacer - pad of the wheel (geometry).

    Below nought where the studs do not come through.
    """
    return reach - web - spacer - pad


def clamped_pad(pad: Millimetres, spacer: Millimetres) -> Millimetres:
    """What of a wheel its hub's studs go through: the pad, nothing where a spacer with studs of its own is between.

    `spacer`: thickness of the spacer, nought where there is none.
    """
    return pad if spacer == 0 else Decimal(0)


def stud_hole(thread: Code) -> Millimetres:
    """The hole that a wheel has for a stud, its thread and a millimetre: 15 for M14 (common practice).

    Raises ValueError where the code is none of a bolt.
    """
    return thread_diameter(thread) + _HOLE_PLAY


def bolt_web(pitch_circle: Millimetres, bore: Millimetres, hole: Millimetres) -> Millimetres:
    """Metal between a stud's hole and the bore inside the circle, (D - bore - hole) / 2 (geometry)."""
    return (pitch_circle - bore - hole) / 2
