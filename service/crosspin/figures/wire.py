"""Copper wire: gauge, resistance, voltage drop, the least fuse.

Sources: ASTM B258 for gauge numbers; resistivity 1.7241e-8 ohm m and 0.393 % per kelvin of annealed copper.  What a
wire may carry is never worked out here: it is read off the wire maker's sheet.
"""

import math
from collections.abc import Mapping
from decimal import Decimal
from types import MappingProxyType

from crosspin.figures.exact import rounded
from crosspin.figures.general import positive
from crosspin.figures.quantity import (
    PI,
    Amperes,
    Celsius,
    Millimetres,
    Number,
    OhmsPerKilometre,
    Percent,
    SquareMillimetres,
    Volts,
)

_RESISTIVITY = Decimal("17.241")  # ohm km per mm2, times 1000: ohm mm2 / km
_PER_KELVIN = Decimal("0.00393")
_ROOM = Decimal(20)
_CONTINUOUS_SHARE = Decimal("0.8")
_ONE_PERCENT = Decimal("0.135")  # of a 12 V system with the engine running, 13.5 V
_WARM = Decimal(60)
_CIRCULAR_MIL = PI / 4 * Decimal("0.0254") ** 2
_CABLE_MILS: Mapping[Decimal, int] = MappingProxyType(
    {
        Decimal(gauge): mils
        for gauge, mils in (
            *((18, 1537), (16, 2336), (14, 3702), (12, 5833), (10, 9343), (8, 14810), (6, 24538), (4, 37360)),
            *((2, 62450), (1, 77790), (0, 98980), (-1, 125100), (-2, 158600), (-3, 205500)),
        )
    }
)


def gauge_diameter(gauge: Number) -> Millimetres:
    """Diameter of a solid wire of an American gauge number, 0.005 * 92^((36 - n) / 39) in, in mm; 1/0 is 0."""
    return Decimal(math.pow(92, (36 - int(gauge)) / 39)) * Decimal("0.127")


def gauge_area(gauge: Number) -> SquareMillimetres:
    """Copper section of an American gauge number, pi d^2 / 4."""
    return PI * gauge_diameter(gauge) ** 2 / 4


def vehicle_cable_section(gauge: Number) -> SquareMillimetres:
    """Least copper section of a vehicle's cable by its gauge, in mm2 to 0.001; 1/0 is 0, 2/0 is -1.

    Sources: SAE J1127 and J1128, in circular mils as ABYC E-11 prints them beside ASTM B258, from memory: 3 to 12
    percent less than a solid wire of the number.  Raises ValueError for a gauge that the standards leave out.
    """
    if gauge not in _CABLE_MILS:
        raise ValueError(f"SAE J1127 and J1128 have no gauge {gauge}")
    return rounded(_CABLE_MILS[gauge] * _CIRCULAR_MIL, 3)


def resistance_factor(temperature: Celsius) -> Number:
    """What heat makes of copper's resistance, 1 + 0.00393 (T - 20)."""
    return 1 + _PER_KELVIN * (temperature - _ROOM)


def wire_resistance(area: SquareMillimetres, temperature: Celsius) -> OhmsPerKilometre:
    """Resistance of a kilometre of wire, rho / A, at a temperature."""
    return _RESISTIVITY / positive(area, "section") * resistance_factor(temperature)


def voltage_drop(current: Amperes, round_length: Millimetres, area: SquareMillimetres, temperature: Celsius) -> Volts:
    """Voltage lost there and back, I R; `round_length` is twice the one-way run."""
    return current * wire_resistance(area, temperature) * round_length / 1_000_000


def drop_share(drop: Volts, system_voltage: Volts) -> Percent:
    """Voltage lost as a part of what the system has, in percent."""
    return 100 * drop / positive(system_voltage, "system voltage")


def least_fuse(current: Amperes) -> Amperes:
    """What a fuse must be rated at least for a steady current, I / 0.8 (common practice)."""
    return current / _CONTINUOUS_SHARE


def wire_gauge_section(gauge: Number) -> SquareMillimetres:
    """Copper section of an American gauge number as a reading, to 0.001 mm2; 1/0 is 0."""
    return rounded(gauge_area(gauge), 3)


def one_percent_current(section: SquareMillimetres, round_length: Millimetres) -> Amperes:
    """Current at which one percent of 13.5 V is lost there and back in copper at 60 degrees, to 0.001 A.

    So a limit on the loss compares currents: three times this for three percent, ten times for ten.
    """
    return rounded(_ONE_PERCENT / voltage_drop(Decimal(1), positive(round_length, "length"), section, _WARM), 3)
