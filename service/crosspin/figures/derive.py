"""Every formula by the identifier that the ontology uses: one table for derived readings and for figures.

A reading is derived (`cp:derivedBy`) by a formula that rounds as it states, so that equal inputs always give equal
specs; a figure (`cp:computedBy`) is rounded where it is told.
"""

from collections.abc import Callable, Mapping
from decimal import Decimal
from types import MappingProxyType

from crosspin.figures import (
    air,
    bearings,
    bolts,
    brakes,
    driveshafts,
    fits,
    gearing,
    general,
    geometry,
    shafts,
    torque,
    tubes,
    wheels,
    wire,
)
from crosspin.figures.quantity import Calculation, calculation

_FUNCTIONS: Mapping[str, Callable[..., Decimal]] = {
    # general
    "asRead": general.as_read,
    "difference": general.difference,
    "hypotenuse": general.hypotenuse,
    "meanOfTwo": general.mean_of_two,
    "percentChange": general.percent_change,
    "product": general.product,
    "quotient": general.quotient,
    "slopeAngle": general.slope_angle,
    "smaller": general.smaller,
    "sumOfTwo": general.sum_of_two,
    # gearing
    "circumference": gearing.circumference,
    "crawlRatio": gearing.crawl_ratio,
    "diameterByDesignation": gearing.tyre_diameter,
    "effectiveRatio": gearing.effective_ratio,
    "engineSpeed": gearing.engine_speed,
    "loadedCircumference": gearing.loaded_circumference,
    "propshaftSpeed": gearing.propshaft_speed,
    "restoringRatio": gearing.restoring_ratio,
    "roadSpeed": gearing.road_speed,
    "speedSignalFactor": gearing.speed_signal_factor,
    "toothRatio": gearing.gear_ratio,
    "turnsPerKilometre": gearing.turns_per_kilometre,
    # splines and shafts
    "shaftShearStress": shafts.shaft_shear_stress,
    "shaftTwist": shafts.shaft_twist,
    "shaftYieldTorque": shafts.shaft_yield_torque,
    "shearYield": shafts.shear_yield,
    "splineBaseDiameter": shafts.spline_base_diameter,
    "splineCircularPitch": shafts.spline_circular_pitch,
    "splineInsideDiameter": shafts.spline_inside_diameter,
    "splineMajorDiameter": shafts.spline_major_diameter,
    "splinePitchDiameter": shafts.spline_pitch_diameter,
    "splineRootDiameter": shafts.spline_root_diameter,
    "splineSpaceWidth": shafts.spline_space_width,
    "torsionRatio": shafts.torsion_ratio,
    # tubes
    "axleBendingMoment": tubes.axle_bending_moment,
    "bendingStress": tubes.bending_stress,
    "tubePolarMoment": tubes.tube_polar_moment,
    "tubeSecondMoment": tubes.tube_second_moment,
    "tubeSectionModulus": tubes.tube_section_modulus,
    "tubeWeight": tubes.tube_weight,
    # shrink fits
    "heatingTemperature": fits.heating_temperature,
    "shrinkClearance": fits.shrink_clearance,
    "thermalGrowth": fits.thermal_growth,
    # bearings
    "bearingDistance": bearings.bearing_distance,
    "bearingHours": bearings.bearing_hours,
    "bearingLife": bearings.bearing_life,
    "bearingLoad": bearings.bearing_load,
    "lifeFactor": bearings.life_factor,
    "wheelLoad": bearings.wheel_load,
    # propshafts
    "compoundAngle": driveshafts.compound_angle,
    "criticalSpeed": driveshafts.critical_speed,
    "criticalSpeedShort": driveshafts.critical_speed_short,
    "jointLeadMost": driveshafts.joint_lead_most,
    "jointSpeedLeast": driveshafts.joint_speed_least,
    "jointSpeedMost": driveshafts.joint_speed_most,
    "jointSpeedRatio": driveshafts.joint_speed_ratio,
    "jointUnevenness": driveshafts.joint_unevenness,
    "pinionJointAngle": driveshafts.pinion_joint_angle,
    "residualAngle": driveshafts.residual_angle,
    "torsionalAcceleration": driveshafts.torsional_acceleration,
    # where the axle stands under the chassis
    "fallAngle": geometry.fall_angle,
    "jointAngle": geometry.joint_angle,
    "jointFall": geometry.joint_fall,
    "spaceDistance": geometry.space_distance,
    "springLift": geometry.spring_lift,
    # torque
    "engineAxleTorque": torque.engine_axle_torque,
    "pinionTorque": torque.pinion_torque,
    "slipTorque": torque.slip_torque,
    # brakes
    "brakingDeceleration": brakes.braking_deceleration,
    "fluidTakenByPistons": brakes.fluid_taken,
    "frontShare": brakes.front_share,
    "hydraulicRatio": brakes.hydraulic_ratio,
    "idealFrontShare": brakes.ideal_front_share,
    "linePressureByPedal": brakes.line_pressure,
    "lockingDeceleration": brakes.locking_deceleration,
    "masterStroke": brakes.master_stroke,
    "pistonArea": brakes.piston_area,
    "pressureAfterBore": brakes.pressure_after_bore,
    "rearPressureShare": brakes.rear_pressure_share,
    "wheelBrakeFluid": brakes.wheel_brake_fluid,
    "wheelBrakeTorque": brakes.wheel_brake_torque,
    # bolts
    "boltHoleSpacing": wheels.bolt_hole_spacing,
    "boltPreload": bolts.bolt_preload,
    "boltTorque": bolts.bolt_torque,
    "clampedTorque": bolts.clamped_torque,
    "proofStress": bolts.proof_stress,
    "stressArea": bolts.stress_area,
    "threadDiameter": bolts.thread_diameter,
    # air
    "airPressure": air.air_pressure,
    "fillingTime": air.filling_time,
    "freeAir": air.free_air,
    "lineVolume": air.line_volume,
    "pressureAfterCooling": air.pressure_after_cooling,
    "regulatedShots": air.regulated_shots,
    "restingTime": air.resting_time,
    "storedEnergy": air.stored_energy,
    "tankPressureAfterShot": air.tank_pressure_after_shot,
    "tankShots": air.tank_shots,
    "thinAirFactor": air.thin_air_factor,
    # wire
    "dropShare": wire.drop_share,
    "wireGaugeArea": wire.gauge_area,
    "wireGaugeDiameter": wire.gauge_diameter,
    "leastFuse": wire.least_fuse,
    "onePercentCurrent": wire.one_percent_current,
    "resistanceFactor": wire.resistance_factor,
    "voltageDrop": wire.voltage_drop,
    "wireGaugeSection": wire.wire_gauge_section,
    "wireResistance": wire.wire_resistance,
    # wheels and alignment
    "armShift": wheels.arm_shift,
    "backspacing": wheels.backspacing,
    "casterLoss": wheels.caster_loss,
    "scrubChange": wheels.scrub_change,
    "shimAngle": wheels.shim_angle,
    "taperAngle": wheels.taper_angle,
    "taperSink": wheels.taper_sink,
    "toeAngle": wheels.toe_angle,
    "trackWidth": wheels.track_width,
}

FORMULAS: Mapping[str, Calculation] = MappingProxyType({name: calculation(f) for name, f in _FUNCTIONS.items()})
"""Every formula by the identifier that the ontology uses."""
