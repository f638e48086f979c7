"""Compressed air on board: free air, times, shots of a locker, altitude.

Sources: ideal gas; free air delivery as in ISO 1217 (from memory); the standard atmosphere.
"""

import math
from decimal import Decimal

from crosspin.figures.general import positive
from crosspin.figures.quantity import (
    PI,
    Celsius,
    Kilojoules,
    Kilometres,
    Kilopascals,
    Litres,
    LitresPerMinute,
    Millimetres,
    Minutes,
    Number,
    Percent,
    PoundsPerSquareInch,
)

PSI_IN_KPA = Decimal("6.894757293168")
SEA_LEVEL = Decimal("101.325")
_EARTH_RADIUS = Decimal("6356.766")
_ZERO_CELSIUS = Decimal("273.15")


def air_pressure(altitude: Kilometres) -> Kilopascals:
    """Pressure of the standard atmosphere below 11 km, 101.325 (1 - 0.0225577 H)^5.25588.

    H in km is the altitude with gravity taken as even, h / (1 + h / 6356.766).
    """
    even = altitude / (1 + altitude / _EARTH_RADIUS)
    return SEA_LEVEL * Decimal(math.pow(1 - 0.0225577 * float(even), 5.25588))


def thin_air_factor(outside: Kilopascals) -> Number:
    """How much longer a compressor takes than at sea level, p0 / p."""
    return SEA_LEVEL / positive(outside, "outside pressure")


def free_air(
    volume: Litres, from_pressure: PoundsPerSquareInch, to_pressure: PoundsPerSquareInch, outside: Kilopascals
) -> Litres:
    """Outside air that goes into (or comes out of) a volume between two gauge pressures, V |p2 - p1| / p_outside."""
    return volume * abs(to_pressure - from_pressure) * PSI_IN_KPA / positive(outside, "outside pressure")


def filling_time(free_air: Litres, delivery: LitresPerMinute) -> Minutes:
    """How long a compressor takes, free air over free air delivery."""
    return free_air / positive(delivery, "free air delivery")


def resting_time(running_time: Minutes, duty: Percent) -> Minutes:
    """How long a compressor must rest for so much running, t (100 / duty - 1); duty in percent of the time."""
    return running_time * (100 / positive(duty, "duty") - 1)


def line_volume(length: Millimetres, inside: Millimetres) -> Litres:
    """What an air line holds, pi d^2 / 4 L (geometry)."""
    return PI * inside**2 / 4 * length / 1_000_000


def tank_pressure_after_shot(
    tank_volume: Litres, shot_volume: Litres, pressure: PoundsPerSquareInch
) -> PoundsPerSquareInch:
    """Gauge pressure left when a tank fills one empty shot without a regulator, p V / (V + v) (Boyle)."""
    return pressure * tank_volume / positive(tank_volume + shot_volume, "volume")


def tank_shots(
    tank_volume: Litres,
    shot_volume: Litres,
    from_pressure: PoundsPerSquareInch,
    least_pressure: PoundsPerSquareInch,
) -> Number:
    """How many shots a tank gives without a regulator before its pressure falls below the least (Boyle, repeated).

    Raises ValueError for a shot of no volume, and where the least pressure is not above nought.
    """
    left = positive(least_pressure, "least pressure") / positive(from_pressure, "pressure")
    each = tank_volume / (tank_volume + positive(shot_volume, "volume of a shot"))
    return Decimal(max(0, math.floor(left.ln() / each.ln())))


def regulated_shots(tank_air: Litres, shot_air: Litres) -> Number:
    """How many shots of free air are in a tank's free air between cut-out and the regulated pressure, whole ones."""
    return Decimal(int(tank_air / positive(shot_air, "air of a shot")))


def pressure_after_cooling(
    pressure: PoundsPerSquareInch, from_temperature: Celsius, to_temperature: Celsius, outside: Kilopascals
) -> PoundsPerSquareInch:
    """Gauge pressure of a closed tank at another temperature, p1 T2 / T1 with absolute pressures and temperatures."""
    ambient = outside / PSI_IN_KPA
    kelvin = positive(from_temperature + _ZERO_CELSIUS, "absolute temperature")
    return (pressure + ambient) * (to_temperature + _ZERO_CELSIUS) / kelvin - ambient


def stored_energy(volume: Litres, pressure: PoundsPerSquareInch, outside: Kilopascals) -> Kilojoules:
    """Work in a tank's air let down at even temperature, p V ln(p / p_outside) with absolute pressures."""
    absolute = pressure * PSI_IN_KPA + positive(outside, "outside pressure")
    return absolute * volume / 1000 * (absolute / outside).ln()
