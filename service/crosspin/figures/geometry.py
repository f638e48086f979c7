"""Where an axle stands under its chassis, and what that makes of the shafts and links between the two.

Seen from the chassis: along the vehicle, up, and to the left.  Sources: geometry; Hooke's law for the springs.
"""

import math
from decimal import Decimal

from crosspin.figures.general import positive, radians
from crosspin.figures.quantity import (
    Degrees,
    Kilograms,
    MetresPerSecondSquared,
    Millimetres,
    NewtonsPerMillimetre,
)


def spring_lift(
    ride_lift: Millimetres,
    rated_load: Kilograms,
    load: Kilograms,
    spring_rate: NewtonsPerMillimetre,
    gravity: MetresPerSecondSquared,
) -> Millimetres:
    """How much higher than designed a corner stands on its spring, h + (m_rated - m) g / c.

    Raises ValueError where the spring has no stiffness.
    """
    return ride_lift + (rated_load - load) * gravity / positive(spring_rate, "spring rate")


def joint_fall(chassis_height: Millimetres, axle_height: Millimetres, axle_drop: Millimetres) -> Millimetres:
    """How far a joint on the axle lies below the one on the chassis that it belongs to, h_chassis + drop - h_axle.

    Heights are over the axle's centre where the chassis was designed to stand, the drop is the axle's from there.
    """
    return chassis_height + axle_drop - axle_height


def link_lean(rise: Millimetres, length: Millimetres) -> Degrees:
    """Angle against the level of a link whose ends differ in height by so much, asin(h / L), with the sign of the rise.

    The length is that from joint to joint, which stays where the link swings.  Raises ValueError where the link is
    shorter than the rise.
    """
    if abs(rise) > positive(length, "length"):
        raise ValueError("the link is too short")
    return Decimal(math.degrees(math.asin(float(rise / length))))


def space_distance(run: Millimetres, fall: Millimetres, aside: Millimetres) -> Millimetres:
    """Straight distance in space, sqrt(run^2 + fall^2 + aside^2)."""
    return (run * run + fall * fall + aside * aside).sqrt()


def fall_angle(fall: Millimetres, run: Millimetres) -> Degrees:
    """Angle at which a line falls over a run, atan(fall / run), rising where it is negative.

    Raises ValueError where it has no run.
    """
    return Decimal(math.degrees(math.atan2(float(fall), float(positive(run, "run")))))


def joint_angle(run: Millimetres, fall: Millimetres, aside: Millimetres, tilt: Degrees) -> Degrees:
    """Angle in space between a shaft and the axis of a yoke that falls along the shaft by `tilt` and runs straight.

    The shaft lies along (run, aside, -fall), the yoke along (cos t, 0, -sin t); atan2(|a x b|, a . b), which holds
    its digits where the two are nearly in line.
    """
    turn = radians(tilt)
    shaft, yoke = (float(run), float(aside), -float(fall)), (math.cos(turn), 0.0, -math.sin(turn))
    along = sum(a * b for a, b in zip(shaft, yoke, strict=True))
    across = math.hypot(
        shaft[1] * yoke[2] - shaft[2] * yoke[1],
        shaft[2] * yoke[0] - shaft[0] * yoke[2],
        shaft[0] * yoke[1] - shaft[1] * yoke[0],
    )
    return Decimal(math.degrees(math.atan2(across, along)))
