"""Torque at an axle: what the engine can put there, what the tyre can hold (mechanics)."""

from crosspin.figures.general import positive
from crosspin.figures.quantity import Kilograms, MetresPerSecondSquared, Millimetres, NewtonMetres, Number


def engine_axle_torque(
    engine_torque: NewtonMetres, first_gear: Number, low_range: Number, axle_ratio: Number, efficiency: Number
) -> NewtonMetres:
    """Torque at the axle in first gear and low range, T_e i_1 i_low R times the efficiency.

    Engine torque as rated by SAE J1349 or ISO 1585 (from memory).
    """
    return engine_torque * first_gear * low_range * axle_ratio * efficiency


def slip_torque(
    friction: Number, load: Kilograms, gravity: MetresPerSecondSquared, tyre_diameter: Millimetres
) -> NewtonMetres:
    """Torque at which the tyres slip, mu W g r with r half the tyre's diameter."""
    return friction * load * gravity * tyre_diameter / 2 / 1000


def pinion_torque(axle_torque: NewtonMetres, axle_ratio: Number) -> NewtonMetres:
    """Torque on the pinion that puts so much at the axle, T / R, losses left out."""
    return axle_torque / positive(axle_ratio, "ratio")


def biased_torque(axle_torque: NewtonMetres, bias_ratio: Number) -> NewtonMetres:
    """What the wheel with grip gets of an axle's torque, T b / (1 + b).

    `bias_ratio`: torque of the wheel with grip over that of the other; 1 of an open carrier, which gives each wheel
    half.  Raises ValueError below 1.
    """
    if bias_ratio < 1:
        raise ValueError("the bias ratio is at least 1")
    return axle_torque * bias_ratio / (1 + bias_ratio)
