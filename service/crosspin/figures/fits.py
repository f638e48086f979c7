"""Shrink fits: how far a ring grows with heat and what it must be heated to.

Source: linear expansion (Machinery's Handbook, coefficients from memory).
"""

from crosspin.figures.general import positive
from crosspin.figures.quantity import Celsius, Millimetres, MillionthsPerKelvin


def thermal_growth(
    diameter: Millimetres, expansion: MillionthsPerKelvin, from_temperature: Celsius, to_temperature: Celsius
) -> Millimetres:
    """How much a diameter grows with heat, alpha D (T2 - T1); negative where it is chilled."""
    return expansion * diameter * (to_temperature - from_temperature) / 1_000_000


def shrink_clearance(
    diameter: Millimetres,
    interference: Millimetres,
    ring_expansion: MillionthsPerKelvin,
    seat_expansion: MillionthsPerKelvin,
    room_temperature: Celsius,
    ring_temperature: Celsius,
    seat_temperature: Celsius,
) -> Millimetres:
    """What a heated ring clears its (chilled) seat by: ring growth, less seat growth, less interference."""
    ring = thermal_growth(diameter, ring_expansion, room_temperature, ring_temperature)
    seat = thermal_growth(diameter, seat_expansion, room_temperature, seat_temperature)
    return ring - seat - interference


def heating_temperature(
    diameter: Millimetres,
    interference: Millimetres,
    wanted_clearance: Millimetres,
    expansion: MillionthsPerKelvin,
    room_temperature: Celsius,
) -> Celsius:
    """To what a ring must be heated to clear its seat by so much, T0 + (interference + clearance) / (alpha D)."""
    growth = interference + wanted_clearance
    return room_temperature + growth * 1_000_000 / (expansion * positive(diameter, "diameter"))
