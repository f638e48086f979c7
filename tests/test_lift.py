"""Lifts: what other springs do to propshaft, joints, pinion and caster, asked as a customer asks.

The numbers are worked out by hand beside each check, from a pure vertical lift (geometry).
"""

import math
from decimal import Decimal
from functools import cache

import pytest

from api_client import seed_client
from told_plan import Told, ask_of, before_and_after, figure, reading

FRONT, REAR = "front/*/spring", "rear/*/spring"


@cache
def asked(vehicle: str, *fits: tuple[str, str]) -> Told:
    return Told(ask_of(vehicle, dict(fits)))


def front_lift() -> Told:
    return asked("farm-hauler", (FRONT, "co-103-620-50"))


def rear_lift() -> Told:
    return asked("farm-hauler", (REAR, "co-103-1020-50"))


def slope(fall: float, run: float) -> float:
    return math.degrees(math.atan2(fall, run))


def test_a_front_lift_makes_the_shaft_longer_and_steeper() -> None:
    # the joints are 820 apart along the vehicle, 190 in height and 240 after the lift
    told = front_lift()
    assert before_and_after(told, "shaftAtRide/front") == (841.7, 854.4)
    assert before_and_after(told, "shaftSlope/front") == pytest.approx((slope(190, 820), slope(240, 820)), abs=0.006)
    # the received shaft serves 835 to 849 mm and has slip enough: it is built to the new length
    assert "front/propshaft" in told.stays
    assert told.remedies("front/propshaft") == [("buildToLength", None)]
    assert figure(told, "shaftAtRide/front")["mended"]


def test_the_longer_travel_asks_for_slip_in_hand() -> None:
    # bump 80 up less 50 of longer stops, droop 90 and 50 more on the longer springs and dampers: falls of 160 and 330
    used = math.hypot(820, 330) - math.hypot(820, 160)
    assert float(figure(front_lift(), "slipUsed/front")["after"]) == pytest.approx(used, abs=0.11)
    assert float(figure(front_lift(), "slipInHand/front")["after"]) >= 25


def test_longer_stops_meet_the_axle_as_much_sooner() -> None:
    # received with 90 mm of travel up to stops of 60 mm; springs 50 mm up bring stops of 110 mm (geometry)
    told = asked("hill-patrol", (FRONT, "co-103-620-50"))
    for side in ("left", "right"):
        assert told.part(f"front/{side}/bump-stop") == "bs-m10-50"
        assert before_and_after(told, f"stopGrowth/front/{side}") == (0, 110 - 60)
    assert reading("bs-m10-std", "stopBody.stopLength") == ["60"]
    assert before_and_after(told, "axleDrop/front/atBump") == (-90, -90 + 50)
    assert before_and_after(told, "bumpLeft/front/atRide") == (90, 90 + 50 - 50)
    # 640 kg on 24 N/mm for 620: 20 x 9.81 / 24 = 8.2 mm lower when laden (mechanics)
    assert before_and_after(told, "bumpLeft/front/laden") == pytest.approx((90 - 8.2, 90 - 8.2), abs=0.051)
    # crossed: the middle between bump and droop, 120 and 50 more (geometry)
    assert before_and_after(told, "axleDrop/front/crossed") == ((120 - 90) / 2, (170 - 40) / 2)
    # nothing is changed at the rear
    assert before_and_after(told, "bumpLeft/rear/atRide") == (100, 100)


def test_stops_that_reach_less_far_let_a_lowered_axle_rise_further() -> None:
    # received 50 mm up, 85 mm from its place as designed to stops of 110 mm; those of the works are 60 mm (geometry)
    told = asked("trail-wagon", (FRONT, "co-103-680"))
    assert told.part("front/left/bump-stop") == "bs-m10-std"
    assert before_and_after(told, "axleDrop/front/atBump") == (-85, -85 - 50)
    assert before_and_after(told, "bumpLeft/front/atRide") == (50 + 85, 0 + 85 + 50)


def test_caster_with_the_pinion_aimed_is_lost_to_the_slope() -> None:
    # caster and pinion share 16.5 degrees; the steering asks for 2 to 6
    told = front_lift()
    assert before_and_after(told, "casterAimed/front") == pytest.approx(
        (16.5 - slope(190, 820), 16.5 - slope(240, 820)), abs=0.006
    )
    assert figure(told, "casterAimed/front")["verdict"] == "clashes"
    assert ("clockForks", None) in told.remedies("front/housing")
    (line,) = [work for work in told.plan["work"] if work["operation"] == "reclockForks"]
    assert line["hours"]
    assert line["cautions"]
    # the joint at the pinion is beyond 2 degrees too; it is set by the same work, which is paid for once
    assert figure(told, "pinionJoint/front")["verdict"] == "clashes"
    assert told.remedies("front/housing") == [("clockForks", None)]
    prices = [step["part"]["price"] for step in told.plan["steps"]]
    for fix in told.plan["modifications"]:
        prices += [Decimal(fix["hours"]) * 90, *([fix["adapter"]["price"]] if fix["adapter"] else [])]  # EUR an hour
    assert sum(map(Decimal, prices)) == Decimal(told.plan["cost"]["money"])


def test_a_figure_beyond_its_limit_is_told_as_mended_or_as_a_warning() -> None:
    reply = seed_client().post("/v1/knock-on", json=front_lift().plan["ask"], headers={"Accept": "text/plain"})
    rows = " ".join(reply.text.split())
    assert "caster with the pinion aimed, front: 3.45 -> 0.19 deg: mended (" in rows
    assert "angle at the pinion's joint, front: 0.55 -> 3.81 deg: warns (" in rows
    assert ": clashes (" not in rows


def test_a_front_lift_leaves_the_rear_axle_alone() -> None:
    assert not any(path.startswith("rear/") for path in front_lift().steps)
    assert before_and_after(front_lift(), "pinionAim/rear") == pytest.approx((0.86, 0.86))


def test_a_rear_lift_takes_the_pinion_out_of_the_shafts_line_and_turning_it_cures_that() -> None:
    # 1180 along, 205 in height and 255 after the lift, the pinion 9 degrees up: at most 2 under the line
    told = rear_lift()
    assert before_and_after(told, "pinionAim/rear") == pytest.approx(
        (slope(205, 1180) - 9, slope(255, 1180) - 9), abs=0.006
    )
    assert ("turnPinion", None) in told.remedies("rear/housing")
    (line,) = [work for work in told.plan["work"] if work["operation"] == "turnPinionAngle"]
    assert float(line["hours"]) == 1.5
    assert line["cautions"]
    # 1207.2 mm, the shaft served up to 1206
    assert before_and_after(told, "shaftAtRide/rear") == pytest.approx(
        (math.hypot(1180, 205), math.hypot(1180, 255)), abs=0.06
    )
    assert "rear/propshaft" in told.steps or ("buildToLength", None) in told.remedies("rear/propshaft")


def test_a_laden_vehicle_stands_lower() -> None:
    # 650 kg on a front spring that is rated for 620, 24 N/mm: 30 x 9.81 / 24 = 12.3 mm less than the lift
    assert before_and_after(front_lift(), "axleLift/front/laden") == pytest.approx((-12.3, 37.7))
    assert before_and_after(front_lift(), "axleLift/front/atRide") == (0, 50)


def test_a_lift_in_the_same_ask_as_another_housing_counts_for_that_housing() -> None:
    # this housing's pinion is 285 before the axle's line and 25 below it: 815 along, 185 and 50 in height
    told = asked("farm-hauler", (FRONT, "co-103-620-50"), ("front/housing", "fh-845-lp-1560"))
    assert float(figure(told, "shaftAtRide/front")["after"]) == pytest.approx(math.hypot(815, 235), abs=0.06)
    assert float(figure(told, "casterAimed/front")["after"]) == pytest.approx(16 - slope(235, 815), abs=0.006)


def test_works_springs_bring_a_lifted_vehicle_down_again() -> None:
    # 800 along, 30 to the side, 140 in height on springs 50 mm up, 90 on those of the works
    told = asked("trail-wagon", (FRONT, "co-103-680"))
    lengths = [math.sqrt(800**2 + 30**2 + fall**2) for fall in (140, 90)]
    assert before_and_after(told, "shaftAtRide/front") == pytest.approx(lengths, abs=0.06)
    assert before_and_after(told, "casterAimed/front") == pytest.approx(
        (14 - slope(140, 800), 14 - slope(90, 800)), abs=0.006
    )


def test_limit_straps_that_go_let_the_axle_hang_and_the_figures_say_so() -> None:
    ask = {"vehicle": "trail-wagon", "remove": ["front/*/limit-strap"]}
    told = Told(ask)
    lines = {line["id"]: line for line in told.plan["figures"]}
    moved = {name for name, line in lines.items() if line["moved"]}
    assert {name for name, line in lines.items() if line["before"] not in (None, line["after"])} <= moved
    hose = lines["hoseInHand/front/left"]
    assert (hose["moved"], hose["verdict"]) == (True, "fits")
    assert float(hose["after"]) < float(hose["before"])
    text = seed_client().post("/v1/knock-on", json=ask, headers={"Accept": "text/plain"}).text
    assert "brake hose in hand at full droop" in text.partition("FIGURES")[2]
