"""What a fabricator goes through from memory before a teardown, and where each of it stands in the ontology.

The two lists are common practice, written down without a published source: every place where parts must mate, and
every change that brings another.  A line that leads to nothing in the ontology, or to something without criteria,
sentence, severity, evidence or trials, fails.
"""

from collections.abc import Mapping
from functools import cache

import pytest

from crosspin.model.schema import Consequence, Model, Need, Renewal
from crosspin.model.terms import DEF
from rules.support import cases_below
from seed import seed_library


@cache
def model() -> Model:
    return seed_library().model


@cache
def tried(what: str) -> frozenset[str]:
    """Terms that some case expects, or refuses, something of."""
    cases = cases_below()
    return frozenset(t.removeprefix(DEF) for case in cases if getattr(case, what) for t in case.tests)


MATES = {
    "inner shaft in side gear": "innerShaftInSideGear rearShaftInSideGear",
    "outer shaft in locking hub or drive flange": "driveEndOnOuterShaft",
    "yoke on pinion, under its seal": "yokeOnPinion yokeUnderPinionSeal",
    "yoke or flange on an output of the transfer case": "connectionOnFrontOutput connectionOnRearOutput",
    "gears in a housing of their family": "gearSetInHousing ringOnCarrier carrierInHousing",
    "cut of the gears in a high or low pinion": "gearSetInHousing",
    "ratio and class of the carrier": "ringStandOffOnCarrier",
    "ring on the pilot of the carrier": "ringOnPilot",
    "ring bolts in ring and flange": "ringBoltHolesOnFlange ringBoltsInRing ringBoltSetForRing",
    "front ratio and rear ratio": "gearRatiosAlike",
    "carrier journal in its bearing": "carrierBearingOnJournal",
    "carrier bearing under its cap": "carrierBearingInCap",
    "pinion bearings on the pinion and in the housing": (
        "pinionHeadBearingOnPinion pinionHeadBearingInHousing pinionStemBearingOnPinion pinionStemBearingInHousing"
    ),
    "caps on the housing they were bored with": "capsOnHousing",
    "universal joint in yoke": "propshaftInPinionYoke propshaftInOutputYoke axleJointInInnerShaft",
    "propshaft flange on output flange": "propshaftHeadOnFlange propshaftHeadCentred",
    "turning speed of the propshaft": "propshaftBelowWhirling",
    "side of pinion and output": "pinionOnFrontOutputSide pinionOnRearOutputSide",
    "tube and what is welded or clamped on it": "trussOnTubes weldSpindleOnTube boltBowOverTube",
    "widths of the two axles": "mountFacesAlike",
    "spring seats under the chassis": "frontSeatsUnderChassis rearSeatsUnderChassis coilOnAxleSeat leafOnPerch",
    "links and bars between their ears": (
        "lowerLinkInBracket upperLinkInBracket lowerLinkOnFrontChassis trackBarSpans rearTrackBarSpans"
    ),
    "ball joints in the steering end": "upperJointInFork lowerJointInFork kingpinsInFork",
    "ball joint studs in the knuckle": "upperJointInKnuckle lowerJointInKnuckle kingpinsInKnuckle",
    "steering ends in the arms": "tieRodEndInArm dragLinkEndInArm",
    "steering ends in tube or sleeve": "leftTieRodEndInRod rightTieRodEndInRod dragLinkAxleEndInLink",
    "drag link in pitman arm": "dragLinkEndInPitmanArm pitmanArmOnBox",
    "hub or spindle on knuckle": "hubOnKnuckle hubInKnuckleBore",
    "wheel bearings on spindle and in hub": (
        "frontInnerBearingOnSpindle frontOuterBearingInHub hubInnerBearingOnSpindle wheelBearingOnShaft"
    ),
    "hub seals": "frontHubSealOnSpindle hubSealInHub wheelSealOnShaft",
    "wheel on the studs of its hub": "wheelOnFrontHub wheelOnRearShaft wheelOnRearHub",
    "wheel bore on pilot and snout": "wheelBoreOnFrontHub wheelBoreOnRearHub snoutInsideStuds",
    "studs and nuts": "nutOnFrontHubStud studOfFrontHubInWheel wheelNutsAlikeLeftRight",
    "nut seat in the wheel": "nutInWheel nutInSpareWheel",
    "knurl of studs in the hub": "studsInFrontHub studsInRearHub studsInRearShaft",
    "wheel over caliper": "wheelOverCaliper spareOverCaliper",
    "tyre on rim": "wheelInTyre spareWheelInTyre",
    "load and speed of tyres and wheels": "frontTyreCarriesAxle rearTyreCarriesAxle frontWheelCarriesAxle",
    "tyre in its arch": "frontTyreInRoom rearTyreInRoom",
    "rotor on hub, in the plane of the caliper": "rotorOnFrontHub rotorBoreOnFrontHub rotorInBracket",
    "caliper bracket on knuckle, housing or spindle": "bracketOnKnuckle bracketOnRearHousing bracketOnWeldSpindle",
    "caliper over rotor": "rotorInCaliper padsInCaliper caliperOnBracket",
    "ends of brake hoses and lines": "hoseOnCaliper hoseOnLine frontLineOnMaster rearLineOnValve",
    "pistons and master cylinder": "masterFeedsFrontCaliper masterFeedsRearCaliper masterFeedsDrumBrake",
    "parking brake and rear brake": (
        "parkBrakeOnRotor parkBrakeOnDrum parkShoesInHat leverHookOnCaliper cableOnHatShoes cableOnDrumBrake "
        "cableReachesBrake"
    ),
    "tone ring and control unit": (
        "toneRingOfFrontHub toneRingOfRearShaft sensorToControlUnit sensorOverRing leadOverTravel"
    ),
    "air port and fitting": "fittingInPort fittingInLowPort",
    "air tube and push-in fitting": "lineInFitting lineInManifold",
    "locker pressure and switch": "switchForLocker lineForLocker",
    "tank, relief valve and switch": "reliefForSwitch reliefForTank tankForSwitch",
    "fitting clear of what moves": "fittingInPort fittingInLowPort",
    "load on output, relay and fuse": "lightBarOnModule compressorOnRelay compressorOnFuse",
    "fuse and wire": "fuseOnCable moduleFuseOnCable",
    "loss along wires": "compressorOnCable lightBarOnWire moduleFuseLoss",
    "cover clear of steering": "coverClearsSteering",
    "what keeps shafts in": "rearShaftKept clipInGroove retainerOnHousing collarOnShaft",
}
"""Fifty-six places where parts must mate.  Six more are worked out over the build: brake balance, alternator, length
and joint angles of the propshaft, brake hoses at full droop, and track bar beside drag link (FIGURES)."""

FIGURES = {
    "front wheels lock first": "rearLocksAbove brakeShare idealShare",
    "loads and alternator": "drawAll drawInterlocked",
    "length of the propshaft": "shaftAtRide slipInHand",
    "angle of the propshaft's joints": "jointAngleInHand angleMismatch pinionAim",
    "length of brake hoses": "hoseSpan hoseInHand",
    "track bar beside drag link": "trackBarSlope dragLinkSlope slopeGap",
}

MENDS = {
    "drill an air port": "drillAirPort",
    "screw in a thread adapter": "fitThreadAdapter",
    "ream a tapered hole, or sleeve it": "openTaper sleeveTaper",
    "centre a wheel by a ring": "fitCentringRing",
    "adapt a flange, a pilot, a case": "fitFlangeAdapter fitPilotRing fitCaseAdapter",
    "join two joint series": "fitCombinationJoint",
    "retube a propshaft": "buildToLength",
    "move spring seats, clock the steering ends, turn the pinion": "reseatSprings clockForks turnPinion",
    "change a tone ring, set the speed signal, lengthen a lead": "changeToneRing recalibrateSpeedSignal extendLead",
    "take out or add a residual valve, flare a line anew": "removeResidualValve addResidualValve reflareLine",
    "regulate the locker's air": "regulateLockerAir",
    "trim an arch": "trimArch",
    "hold a track bar lower": "dropTrackBar",
}

BRINGS = {
    "a bare housing empties what is within it": "role:GearSetRole role:HubRole role:CoverBoltRole",
    "a ratio across the break takes another carrier": "joint:ringStandOffOnCarrier",
    "a high pinion takes reverse cut": "joint:gearSetInHousing",
    "gears on their coast flank carry less": "reverseCutBehind standardCutInFront",
    "one ratio changed changes the other": "joint:gearRatiosAlike",
    "new gears renew bearings, seal, sleeve, nut, bolts, shims, gasket": (
        "gearSetRenewsHeadBearing gearSetRenewsStemBearing gearSetRenewsCarrierBearings "
        "stemBearingRenewsPinionSeal pinionNutRenewsCrushSleeve yokeRenewsPinionNut gearSetRenewsRingBolts "
        "gearSetRenewsShims coverRenewsGasket"
    ),
    "a new carrier renews bearings, bolts, shims": (
        "carrierRenewsBearings carrierRenewsRingBolts carrierRenewsShims newCarrier"
    ),
    "a pinion nut undone renews the sleeve": "pinionNutRenewsCrushSleeve",
    "preload and backlash by the maker's values": "work:setPinionPreload work:setBacklash",
    "pinion depth by pattern": "work:setPinionDepth check:gearPatternCheck newHeadBearing",
    "a tight ring is warmed": "work:fitRing caution:hotPartsCaution figure:ringHeat",
    "what is used once is new": (
        "newLeafRenewsUBolts newHousingRenewsUBolts connectionRenewsOutputNut yokeRenewsPinionNut"
    ),
    "threads in blind holes are locked and their torque told": "stuff:threadlocker figure:ringBoltTorque",
    "another side gear takes both shafts": "joint:rearShaftInSideGear joint:innerShaftInSideGear",
    "a stronger shaft moves the weak link": "newInnerShaft newOuterShaft check:weakLinkCheck figure:shaftStrength",
    "a housing without a port is drilled while it is empty": "remedy:drillAirPort order:drillAndTapPort<fitRing",
    "an air locker's tube is tried before the cover": "newSealHousing order:tryLocker<closeAxle",
    "an air locker brings all that works it": (
        "airLockerNeedsCompressor airLockerNeedsPressureSwitch airLockerNeedsSolenoid airLockerNeedsLine "
        "airLockerNeedsFitting airLockerNeedsSwitch"
    ),
    "locker pressure in its window": "joint:switchForLocker check:lockerPressureCheck",
    "a leaking locker must not blow the seals": "check:axleBreathesCheck",
    "an automatic locker in front": "newFrontAutomaticLocker frontAutomaticLockerNeedsLockingHubs",
    "a selectable locker is locked to slow going": "caution:selectableLockerCaution check:lockerInterlockCheck",
    "an electric locker brings its harness": "electricLockerNeedsHarness joint:lockerOnHarness",
    "clutches take their additive": "newLimitedSlip check:modifierCheck",
    "an opened axle is filled to its own level": "newCover check:oilLevelCheck stuff:gearOil",
    "new gears are run in": "newGears check:breakInCheck work:changeBreakInOil",
    "used gears go back to their old backlash": "work:setBacklash work:recordAsReceived",
    "caps are marked": "otherBearingCaps work:openAxle",
    "a clip axle that gets other ends loses its clips": "fullFloatShaftTakesNoRetainer",
    "a full-floating end brings spindles, hubs, bearings, seals, nuts, shafts": (
        "fullFloatShaftNeedsRearHub rearHubNeedsSpindle rearHubNeedsInnerBearing rearHubNeedsOuterBearing "
        "rearHubNeedsSeal rearHubNeedsNuts rearHubNeedsFullFloatShaft"
    ),
    "welding on a housing strips it": "order:stripHousing<weldSpindles caution:weldingHousingCaution",
    "pinion angle takes caster": "figure:casterAimed remedy:clockForks",
    "a lift takes caster": "liftedSpringStretchesAll check:liftAngleCheck figure:casterAimed",
    "steering work is aligned": "newKnuckle newTieRodEnd newTrackBar check:steeringZeroCheck",
    "another width of an axle": "newHousingMovesTrack joint:tieRodSpansArms",
    "another slope of the drag link": "figure:slopeGap remedy:dropTrackBar",
    "wide tyres and lockers load the steering": "wideTyreLoadsSteering airLockerInFrontLoadsSteering",
    "a lift stretches hoses, leads, links, stops": (
        "liftedSpringStretchesAll figure:hoseInHand figure:ventHoseInHand joint:lineForLift joint:stopForLift"
    ),
    "a pinion that moved is measured for its propshaft": "figure:shaftAtRide newPropshaft",
    "a higher pinion is tried at full bump": "newHousing check:bumpClearanceCheck",
    "a steep propshaft takes a double joint": "figure:singleJointShake figure:pinionAim",
    "two joints in phase and at equal angles": "newSingleJointPropshaft figure:angleMismatch",
    "a taller tyre": "tallTyreChangesMuch figure:speedSignal figure:effectiveGearing joint:spareTyreInRoom",
    "the speed signal is set": "joint:tyreForSpeedSignal remedy:recalibrateSpeedSignal",
    "four wheels and the spare are one set": "joint:wheelHolesAlikeFrontRear joint:spareTyreAlike",
    "a bigger caliper asks for a bigger wheel": "joint:wheelOverCaliper joint:spareOverCaliper",
    "an opened circuit is bled with fluid of its class": "work:bleedBrakes joint:masterFluidInBrake check:pedalCheck",
    "another caliper changes pedal and balance": "freshCaliperIsFitted figure:brakeStroke check:brakeBalanceCheck",
    "drums to discs": "remedy:removeResidualValve rearCaliperNeedsValve joint:parkBrakeOnRotor",
    "pads and discs are bedded": "newRotorRenewsPads freshPadsAreBedded freshRotorIsFitted",
    "brake hoses are marked and move freely": "caliperNeedsMarkedHose check:hoseTravelCheck",
    "another tone ring is compared on the road": "freshHubSpeedIsChecked check:wheelSpeedCheck",
    "no hand-over without a parking brake": "rearWheelNeedsParkBrake check:parkBrakeHoldCheck",
    "less offset moves scrub and track": "check:trackWidthCheck figure:scrubShift figure:trackChange",
    "a spacer is doubted": "freshSpacerIsDoubted",
    "new studs: one thread, pressed on the bench": "newWheelStuds joint:studThreadForFrontHub",
    "wheels are tightened and tried again": "freshWheelIsTightened check:wheelRetightenCheck",
    "wheel bearings are set": "newFrontInnerBearing newSpindleNuts check:hubPlayCheck",
    "locking hubs change": "check:hubLineCheck check:splineEngagementCheck",
    "fittings clear links, tyres, shafts": "check:airFittingClearanceCheck joint:fittingInPort",
    "an air line is of the right tube": "airLockerNeedsBrakeTube work:runAirLine",
    "a compressor: duty, heat, hose, own relay and fuse": (
        "compressorNeedsLeaderHose compressorNeedsRelay compressorNeedsFuse check:compressorHeatCheck"
    ),
    "a tank: rating, relief, drain": "tankNeedsReliefValve tankNeedsDrain joint:reliefForTank",
    "tyres from the compressor": "inflationHoseNeedsGauge inflationHoseNeedsClip figure:tyreTime",
    "altitude": "figure:thinAir",
    "a new load finds a circuit": "resource:switchedCircuits resource:panelSwitchPlaces lightBarNeedsModule",
    "a strong load goes by a relay": "compressorNeedsRelay relayNeedsModule joint:compressorOnRelay",
    "self-resetting outputs latch off": "check:latchOffCheck",
    "strong loads exclude each other": "figure:drawInterlocked check:alternatorCheck",
    "the battery is off for wiring and welding": "work:disconnectBattery caution:weldingOnVehicleCaution",
    "approval, insurer, records": "caution:legalityCaution caution:adviceCaution",
    "parts used again are inspected": "carriedInsidesAreInspected check:reusedPartsCheck",
    "deep water and salt": "wadingAsksForDryness barbedVentNeedsHose barbedGearboxVentNeedsHose",
    "another carrier or ring takes fresh shims": "carrierRenewsShims gearSetRenewsShims",
    "a heavier axle": "newHousingLoadsSprings check:axleMassCheck joint:springCarriesFrontCorner",
    "before the teardown all is recorded": "work:recordAsReceived",
}
"""Seventy-six changes that bring another: needs, renewals and consequences by name, the rest by what they are."""


def test_the_lists_are_whole() -> None:
    assert len(MATES) + len(FIGURES) == 62
    assert len(BRINGS) == 76


@pytest.mark.parametrize("line", MATES)
def test_every_place_where_parts_mate_is_judged(line: str) -> None:
    for name in MATES[line].split():
        kind = model().joint_kinds[name]
        assert kind.criteria, name
        assert kind.evidence, name
        for criterion in kind.criteria:
            assert "{left}" in criterion.says_clash, criterion.id
            assert criterion.id in tried("expects"), criterion.id
            assert criterion.id in tried("refuses"), criterion.id
            assert model().dimensions[criterion.left].how_to_measure, criterion.id


@pytest.mark.parametrize("line", MENDS)
def test_every_way_to_mend_is_used_and_tried(line: str) -> None:
    used = {name for kind in model().joint_kinds.values() for c in kind.criteria for name in c.remedies}
    used |= {name for figure in model().figures.values() for limit in figure.limits for name in limit.remedies}
    for name in MENDS[line].split():
        remedy = model().remedies[name]
        assert name in used
        assert name in tried("expects")
        assert remedy.operation in model().operations
        assert model().operations[remedy.operation or ""].hours > 0


@cache
def rules() -> Mapping[str, Need | Renewal | Consequence]:
    return {**model().needs, **model().renewals, **model().consequences}


@pytest.mark.parametrize("line", BRINGS)
def test_every_change_brings_what_it_must(line: str) -> None:
    tables: dict[str, Mapping[str, object]] = {
        "joint": model().joint_kinds,
        "remedy": model().remedies,
        "work": model().operations,
        "check": model().checks,
        "caution": model().cautions,
        "figure": model().figures,
        "resource": model().resources,
        "stuff": model().consumables,
        "role": model().roles,
    }
    for word in BRINGS[line].split():
        sort, _, name = word.rpartition(":")
        if sort == "order":
            first, _, then = name.partition("<")
            assert comes_before(first, then), word
        elif sort:
            assert name in tables[sort], word
        else:
            rule = rules()[name]
            assert rule.severity, name
            assert rule.evidence, name
            assert name in tried("expects"), name
            assert name in tried("refuses"), name


def comes_before(first: str, then: str) -> bool:
    """Whether one job is done before another: by its phase, or by being told so."""
    operations, phases = model().operations, model().phases
    one, other = (phases[operations[name].phase].number for name in (first, then))
    return one < other or (one == other and then in later(first))


def later(name: str) -> set[str]:
    found: set[str] = set()
    waiting = [name]
    while waiting:
        for other in model().operations[waiting.pop()].before:
            if other not in found:
                found.add(other)
                waiting.append(other)
    return found


@pytest.mark.parametrize("line", FIGURES)
def test_what_is_a_sum_over_the_build_is_a_figure_with_a_limit_somewhere(line: str) -> None:
    figures = [model().figures[name] for name in FIGURES[line].split()]
    assert any(figure.limits for figure in figures)
    assert all(figure.evidence for figure in figures)


def test_what_lies_within_a_housing_is_emptied_with_it() -> None:
    within = {role.id for role in model().roles.values() if role.within}
    assert {"GearSetRole", "HubRole", "CoverRole", "CoverBoltRole", "DustShieldRole", "AxleShaftRole"} <= within
