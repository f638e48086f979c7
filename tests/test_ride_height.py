"""What follows from where an axle stands under its chassis, asked as a customer asks.

The numbers are worked out by hand beside each check, from the heights, lengths and travels of the seed data (geometry).
"""

import math
from functools import cache
from typing import Any

import pytest

from told_plan import Answer, Told, ask_of, contradiction, written_ask

FRONT = "front/*/spring"


@cache
def asked(vehicle: str, *fits: tuple[str, str], keep: tuple[str, ...] = ()) -> Told:
    return Told(ask_of(vehicle, dict(fits), *keep))


def figure(told: Told, name: str) -> dict[str, Any]:
    found: dict[str, Any] = next(line for line in told.plan["figures"] if line["id"] == name)
    return found


def before_and_after(told: Told, name: str) -> tuple[float, float]:
    line = figure(told, name)
    return float(line["before"]), float(line["after"])


def refusals(ask: Answer) -> str:
    """Why an ask cannot be had, in one text."""
    return " ".join(contradiction(ask)["why"])


def lean(fall: float, length: float) -> float:
    return math.degrees(math.asin(fall / length))


# ---------------------------------------------------------------------- slopes of track bar and drag link


def test_springs_turn_track_bar_and_drag_link_alike() -> None:
    # farm hauler: bar of 850 mm from 110 to 80, link of 890 mm from 101 to 70; springs 50 mm longer
    told = asked("farm-hauler", (FRONT, "co-103-620-50"))
    for state, before, after in (("atRide", 0, 50), ("atBump", -80, -80), ("atDroop", 90, 140)):
        for name, fall, length in (("trackBarSlope", 30, 850), ("dragLinkSlope", 31, 890)):
            expected = lean(fall + before, length), lean(fall + after, length)
            assert before_and_after(told, f"{name}/front/{state}") == pytest.approx(expected, abs=0.051)
    gap = figure(told, "slopeGap/front")
    assert float(gap["after"]) == pytest.approx(lean(80, 850) - lean(81, 890), abs=0.051)
    assert gap["verdict"] == "fits"


def test_a_dropped_arm_after_a_lift_asks_for_a_drop_bracket_too() -> None:
    # the arm takes 60 off the link's fall of 81: 1.4 degrees, the bar has 5.4; 3 apart at most (common practice)
    told = asked("farm-hauler", (FRONT, "co-103-620-50"), ("pitman-arm", "pa-640-dropped"), keep=("front/track-bar",))
    gap = lean(80, 850) - lean(21, 890)
    assert gap > 3
    assert float(figure(told, "slopeGap/front")["after"]) == pytest.approx(gap, abs=0.051)
    assert told.remedies("front/track-bar") == [("dropTrackBar", None)]
    (line,) = [work for work in told.plan["work"] if work["operation"] == "fitDropBracket"]
    assert float(line["hours"]) == 1.5
    assert line["cautions"]


def test_a_track_bar_with_its_bracket_does_as_well() -> None:
    told = asked(
        "farm-hauler", (FRONT, "co-103-620-50"), ("pitman-arm", "pa-640-dropped"), ("front/track-bar", "tb-44-35")
    )
    gap = lean(80 - 25, 850) - lean(21, 890)
    assert gap < 3
    assert float(figure(told, "slopeGap/front")["after"]) == pytest.approx(gap, abs=0.051)
    assert told.remedies("front/track-bar") == []


def test_a_bracket_that_drops_too_far_is_refused_or_takes_a_dropped_arm() -> None:
    # patrol truck, bar of 870 mm from 110 to 80, link of 900 mm from 101 to 70: 75 mm less leave the bar 45 uphill
    assert lean(30 - 75, 870) - lean(31, 900) < -3 < lean(30 - 75, 870) - lean(31 - 60, 900)
    bar = {"front/track-bar": "tb-44-75"}
    stays = ("front/housing", "front/right/knuckle", "front/*/spring", "pitman-arm")
    assert "-4.9 deg" in refusals(ask_of("hill-patrol", bar, *stays))
    assert asked("hill-patrol", *bar.items()).part("pitman-arm") == "pa-640-dropped"


def test_a_little_drop_is_within_three_degrees() -> None:
    told = asked("hill-patrol", ("front/track-bar", "tb-44-35"))
    assert before_and_after(told, "slopeGap/front") == pytest.approx(
        (lean(30, 870) - lean(31, 900), lean(5, 870) - lean(31, 900)), abs=0.051
    )


def test_the_lifted_wagon_on_works_springs_has_both_uphill() -> None:
    # bar of 890 mm from 61 to 80, link of 930 mm from 104 to 61 on an arm dropped by 60; received 50 mm up
    told = asked("trail-wagon", (FRONT, "co-103-680"))
    assert before_and_after(told, "trackBarSlope/front/atRide") == pytest.approx(
        (lean(31, 890), lean(-19, 890)), abs=0.051
    )
    assert before_and_after(told, "dragLinkSlope/front/atRide") == pytest.approx(
        (lean(33, 930), lean(-17, 930)), abs=0.051
    )


def test_a_mount_of_which_nobody_knows_the_height_is_measured_first() -> None:
    told = Told(written_ask("hill-patrol"))
    assert figure(told, "slopeGap/front")["verdict"] == "unknown"
    asks = {(m["position"], m["dimension"]) for m in told.plan["measurements"]}
    assert ("front/housing", "height over the axle's centre") in asks
