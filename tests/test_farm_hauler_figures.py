"""The figures of the farm hauler's answer, over HTTP, each as a fabricator would work it out by hand.

The vehicle and the parts are invented; what each number follows from stands beside it.
"""

import json
import math
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from api_client import seed_client

ASK = Path(__file__).parent.parent / "seed_data" / "asks" / "farm-hauler.json"
Answer = dict[str, Any]


@cache
def plan() -> Answer:
    response = seed_client().post("/v1/knock-on", json=json.loads(ASK.read_text()))
    assert response.status_code == 200, response.text
    answer: Answer = response.json()
    return answer


@cache
def figures() -> dict[str, Answer]:
    return {one["id"]: one for one in plan()["figures"]}


# What each figure comes to, before and after, and its verdict.
EXPECTED = {
    # 34 against 31 over one pitch, cubed (torsion of a round section, from memory)
    "shaftGain/rear/left": (None, 1.319, None),
    "shaftGain/rear/right": (None, 1.319, None),
    # T = 2 mu p A r at 8.5 MPa and 0.38; drums have no such torque (brake handbook, from memory)
    "brakeTorque/front": (2748.4, 2748.4, None),
    "brakeTorque/rear": (None, 1613.2, None),
    "brakeShare/vehicle": (None, 0.6301, None),
    "rearLocksAbove/vehicle": (None, 0.568, "clashes"),
    "idealShare/vehicle": (0.6916, 0.6916, None),
    "rearPressurePart/vehicle": (None, 0.760, None),
    # drums of 22.2 mm with 2.2 mm a shoe against one piston of 48 mm with 0.3 mm a pad (geometry), litres an axle
    "fluidOfAxle/rear": (0.003406, 0.002171, None),
    "fluidAgainstReceived/rear": (None, 0.637, "fits"),
    # pinion joint 1180 along and 205 below: it is not moved (geometry)
    "shaftAtRide/rear": (1197.7, 1197.7, None),
    "shaftSlope/rear": (9.86, 9.86, None),
    # 130 km/h, 39/10, 839.9 mm tyre (kinematics) against seven tenths of 1.21e8 sqrt(D^2 + d^2) / L^2
    "propshaftTurns/rear": (3202.4, 3202.4, None),
    "whirlsAt/rear": (7327.7, 7327.7, None),
    "whirlingMargin/rear": (3202.4, 3202.4, "fits"),
    # ratio and tyre stay, so does the speed signal
    "speedSignal/vehicle": (None, 1, "fits"),
    "ratioMismatch/vehicle": (0, 0, "fits"),
}


@pytest.mark.parametrize("name", EXPECTED)
def test_a_figure_comes_out_as_by_hand(name: str) -> None:
    before, after, verdict = EXPECTED[name]
    found = figures()[name]
    assert [None if found[k] is None else float(found[k]) for k in ("before", "after")] == [before, after]
    assert found["verdict"] == verdict


def test_the_trades_numbers_follow_from_the_shapes() -> None:
    # the same once more without the program
    assert round((34 / 31) ** 3, 3) == 1.319
    front = 2 * 0.38 * 8.5 * 2 * math.pi / 4 * 46**2 * 0.128
    rear = 2 * 0.38 * 8.5 * math.pi / 4 * 48**2 * 0.138
    share, ideal = front / (front + rear), 0.48 + 0.8 * 0.82 / 3.10
    assert (round(front, 1), round(rear, 1)) == (2748.4, 1613.2)
    assert (round(share, 4), round(ideal, 4)) == (0.6301, 0.6916)
    assert round((share - 0.48) * 3.10 / 0.82, 3) == 0.568
    assert round(front / rear * (1 - ideal) / ideal, 3) == 0.760
    assert round(2 * 2 * math.pi / 4 * 22.2**2 * 2.2 / 1000, 3) == 3.406
    assert round(2 * 2 * math.pi / 4 * 48**2 * 0.3 / 1000, 3) == 2.171
    assert round(math.hypot(1180, 205), 1) == 1197.7
    assert round(1.21e8 * math.hypot(63.5, 63.5 - 2 * 2.1082) / 1197.7**2) == 7328
    assert round(130e6 / 60 * 3.9 / (math.pi * 839.9)) == 3202


def test_the_rear_locking_first_is_a_check() -> None:
    checks = {check["id"]: check["text"] for check in plan()["checks"]}
    assert "0.568" in checks["rearLocksAbove/vehicle"]
    assert "proportioning valve" in checks["rearLocksAbove/vehicle"]


def test_a_figure_of_drums_gives_way_to_one_of_discs() -> None:
    # what the drum takes is told of the received vehicle through the axle's fluid, and not of the plan
    assert "fluidOfDrum/rear" not in figures()
    assert figures()["fluidOfDisc/rear"]["before"] is None
