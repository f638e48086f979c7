"""Hydraulic disc brakes: pressure, torque, balance and fluid.

Sources: T = 2 mu F r; balance as in Brake Design and Safety (SAE R-398) and the idea of UN R13-H's annex on
distribution, both from memory.
"""

from collections.abc import Mapping
from decimal import Decimal
from types import MappingProxyType

from crosspin.figures.general import positive
from crosspin.figures.quantity import (
    PI,
    Code,
    Kilograms,
    Litres,
    Megapascals,
    MetresPerSecondSquared,
    Millimetres,
    NewtonMetres,
    Newtons,
    Number,
    PoundsPerSquareInch,
    SquareMillimetres,
)

_MM3_IN_A_LITRE = 1_000_000
_LEAST_STOP = Decimal("0.15")
"""From which deceleration on the rear may not lock first (UN R13, annex 10, from memory: 0.15 to 0.8 of gravity)."""
_RESIDUAL: Mapping[str, Decimal] = MappingProxyType({"yes": Decimal(0), "no": Decimal(6)})


def piston_area(piston_count: Number, piston_diameter: Millimetres) -> SquareMillimetres:
    """Area of so many equal pistons, n pi d^2 / 4 (geometry)."""
    return piston_count * PI * piston_diameter**2 / 4


def line_pressure(pedal_force: Newtons, pedal_ratio: Number, booster_ratio: Number, bore: Millimetres) -> Megapascals:
    """Pressure that a foot makes, F i_pedal i_booster / A of the master cylinder."""
    return pedal_force * pedal_ratio * booster_ratio / piston_area(Decimal(1), positive(bore, "bore"))


def pressure_after_bore(measured: Megapascals, old_bore: Millimetres, new_bore: Millimetres) -> Megapascals:
    """Pressure at the same foot on another master cylinder, p (d_old / d_new)^2."""
    return measured * (old_bore / positive(new_bore, "bore")) ** 2


def wheel_brake_torque(
    friction: Number, pressure: Megapascals, area: SquareMillimetres, effective_radius: Millimetres
) -> NewtonMetres:
    """Brake torque of one wheel, 2 mu p A r; `area` is that of the pistons on one side of the disc."""
    return 2 * friction * pressure * area * effective_radius / 1000


def drum_brake_torque(
    factor: Number, pressure: Megapascals, area: SquareMillimetres, drum_diameter: Millimetres
) -> NewtonMetres:
    """Brake torque of one wheel with a drum, C p A d / 2 (brake handbook).

    `factor`: force of both shoes on the drum over that of one end of the cylinder; `area` is that of one end.
    """
    return factor * pressure * area * drum_diameter / 2 / 1000


def front_share(front_torque: NewtonMetres, rear_torque: NewtonMetres) -> Number:
    """What the front does of all the braking, T_f / (T_f + T_r)."""
    return front_torque / positive(front_torque + rear_torque, "brake torque")


def ideal_front_share(
    static_share: Number, deceleration: Number, centre_height: Millimetres, wheelbase: Millimetres
) -> Number:
    """The share at which both axles use the grip alike, s_static + z h / L; z as a part of gravity."""
    return static_share + deceleration * centre_height / positive(wheelbase, "wheelbase")


def locking_deceleration(
    front_rate: NewtonMetres,
    rear_rate: NewtonMetres,
    knee: Megapascals,
    slope: Number,
    mass: Kilograms,
    gravity: MetresPerSecondSquared,
    tyre_diameter: Millimetres,
    static_share: Number,
    centre_height: Millimetres,
    wheelbase: Millimetres,
) -> Number:
    """The least deceleration from 0.15 of gravity on at which the rear wheels lock first, as a part of gravity.

    They do where the front does less of the braking than its part of the load, s_static + z h / L.  The front does T_f
    of every T_f + T_r up to the knee of the proportioning valve, and T_f of every T_f + k T_r beyond it, k the slope.
    Rates are torques of one wheel's brake for each MPa; the master cylinder has no part in it.
    """
    rise = positive(centre_height, "height of the centre of gravity") / positive(wheelbase, "wheelbase")
    weight = positive(mass, "mass") * gravity * positive(tyre_diameter, "tyre diameter") / 2 / 1000
    both = positive(front_rate + rear_rate, "brake torque")
    at_knee = 2 * both * knee / weight
    below, beyond = front_rate / both, front_rate / positive(front_rate + slope * rear_rate, "brake torque")
    first = max((below - static_share) / rise, _LEAST_STOP)
    if first < at_knee:
        return first
    # Beyond the knee: z h / L - (s_beyond - s_static) + (s_beyond - s_below) z_knee / z > 0.
    start = max(at_knee, _LEAST_STOP)
    spare, held_back = beyond - static_share, (beyond - below) * at_knee
    if rise * start**2 - spare * start + held_back > 0:
        return start
    return (spare + (spare**2 - 4 * rise * held_back).sqrt()) / (2 * rise)


def rear_pressure_share(front_torque: NewtonMetres, rear_torque: NewtonMetres, ideal_share: Number) -> Number:
    """To what part the rear pressure must come down for the ideal balance, (T_f / T_r) (1 - s) / s, at most 1."""
    share = positive(ideal_share, "ideal front share")
    return min(front_torque / positive(rear_torque, "rear brake torque") * (1 - share) / share, Decimal(1))


def braking_deceleration(
    front_torque: NewtonMetres,
    rear_torque: NewtonMetres,
    mass: Kilograms,
    gravity: MetresPerSecondSquared,
    tyre_diameter: Millimetres,
) -> Number:
    """Deceleration that four wheels' brakes make, as a part of gravity, 2 (T_f + T_r) / (m g r)."""
    radius = positive(tyre_diameter, "tyre diameter") / 2 / 1000
    return 2 * (front_torque + rear_torque) / (positive(mass, "mass") * gravity * radius)


def hydraulic_ratio(front_area: SquareMillimetres, rear_area: SquareMillimetres, bore: Millimetres) -> Number:
    """Area of all four wheels' pistons over that of the master cylinder, 2 (A_f + A_r) / A."""
    return 2 * (front_area + rear_area) / piston_area(Decimal(1), positive(bore, "bore"))


def fluid_taken(front_area: SquareMillimetres, rear_area: SquareMillimetres, piston_travel: Millimetres) -> Litres:
    """Fluid that all four wheels take while their pistons travel so far, 2 (A_f + A_r) s."""
    return 2 * (front_area + rear_area) * piston_travel / _MM3_IN_A_LITRE


def wheel_brake_fluid(area: SquareMillimetres, piston_travel: Millimetres) -> Litres:
    """Fluid that one wheel's brake takes, 2 A s: both pads of a disc, or both shoes of a drum, move by s.

    `area`: of the pistons on one side of a disc, or of one end of a wheel cylinder.  A sliding caliper's pistons
    travel twice as far and are half as many, so that it comes to the same.
    """
    return 2 * area * piston_travel / _MM3_IN_A_LITRE


def master_stroke(volume: Litres, bore: Millimetres) -> Millimetres:
    """How far the master cylinder moves for so much fluid, V / A."""
    return volume * _MM3_IN_A_LITRE / piston_area(Decimal(1), positive(bore, "bore"))


def proportioned_pressure(pressure: Megapascals, knee: Megapascals, slope: Number) -> Megapascals:
    """Pressure behind a proportioning valve, p up to the knee, above it knee + slope (p - knee) (brake handbook)."""
    return min(pressure, knee) + slope * max(pressure - knee, Decimal(0))


def scaled_torque(torque: NewtonMetres, pressure: Megapascals, full_pressure: Megapascals) -> NewtonMetres:
    """Brake torque at another pressure, T p / p_full: a disc's torque goes with its pressure."""
    return torque * pressure / positive(full_pressure, "full pressure")


def residual_wanted(cup_expanders: Code) -> PoundsPerSquareInch:
    """What a residual valve must keep on a drum brake: 6 psi where its cups have no expanders, else nothing.

    Common practice: valves of 6 to 14 psi, about 10.  Raises ValueError for another code than yes and no.
    """
    if cup_expanders not in _RESIDUAL:
        raise ValueError(f"cup expanders are yes or no, not {cup_expanders}")
    return _RESIDUAL[cup_expanders]
