"""What follows from where an axle stands under its chassis, asked as a customer asks.

The numbers are worked out by hand beside each check, from the heights, lengths and travels of the seed data (geometry).
"""

import math
from functools import cache

import pytest

from told_plan import Answer, Told, ask_of, before_and_after, contradiction, figure, written_ask

FRONT = "front/*/spring"


@cache
def asked(vehicle: str, *fits: tuple[str, str], keep: tuple[str, ...] = ()) -> Told:
    return Told(ask_of(vehicle, dict(fits), *keep))


def refusals(ask: Answer) -> str:
    """Why an ask cannot be had, in one text."""
    return " ".join(contradiction(ask)["why"])


def lean(fall: float, length: float) -> float:
    return math.degrees(math.asin(fall / length))


# ---------------------------------------------------------------------- slopes of track bar and drag link


def test_springs_turn_track_bar_and_drag_link_alike() -> None:
    # farm hauler: bar of 850 mm from 110 to 80, link of 890 mm from 101 to 70; springs and stops 50 mm longer
    told = asked("farm-hauler", (FRONT, "co-103-620-50"))
    for state, before, after in (("atRide", 0, 50), ("atBump", -80, -30), ("atDroop", 90, 140)):
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


# ---------------------------------------------------------------------- what hangs between axle and chassis


def in_hand(told: Told, name: str) -> float:
    return float(figure(told, name)["after"])


@pytest.mark.parametrize("side", ["left", "right"])
def test_springs_that_hang_lower_bring_a_longer_hose(side: str) -> None:
    # patrol truck, rear: 267 mm aside, 150 and 120 mm down, 50 more on the springs; 20 must stay (common practice)
    before, after = math.hypot(267, 270), math.hypot(267, 320)
    assert 430 - before > 20 > 430 - after
    told = asked("hill-patrol", ("rear/*/spring", "co-103-830-50"))
    assert float(figure(told, f"hoseInHand/rear/{side}")["before"]) == pytest.approx(430 - before, abs=0.11)
    assert told.steps[f"rear/{side}/brake-hose"]["instead_of"]["id"] == "bh-bm10x10-im10x10-430"
    assert told.part(f"rear/{side}/brake-hose") == "bh-bm10x10-im10x10-520"
    assert in_hand(told, f"hoseInHand/rear/{side}") == pytest.approx(520 - after, abs=0.11)


def test_a_hose_too_short_at_droop_cannot_stay() -> None:
    # the springs and one kept hose of 430 mm are enough to contradict each other: 13 mm are less than 20
    assert 430 - math.hypot(267, 320) < 20
    hoses = ("rear/left/brake-hose", "rear/right/brake-hose")
    told = contradiction(ask_of("hill-patrol", {"rear/*/spring": "co-103-830-50"}, *hoses))
    assert [wish["id"] for wish in told["wishes"]] == ["fit/0", "keep/0"]


def test_a_hose_that_is_long_enough_stays() -> None:
    # farm hauler, front: 331 mm aside, 200 and 90 mm down, 50 more: 474.5 mm of 520
    told = asked("farm-hauler", (FRONT, "co-103-620-50"))
    assert "front/left/brake-hose" in told.stays
    assert before_and_after(told, "hoseInHand/front/left") == pytest.approx(
        (520 - math.hypot(331, 290), 520 - math.hypot(331, 340)), abs=0.11
    )


def test_a_strap_that_holds_the_axle_up_spares_the_hose() -> None:
    # the wagon hangs on straps of 580 in a room of 540: 40 of its springs' 50 mm; 353 aside, 175 and 125 down.  Works
    # dampers and springs take straps of 535, which hold it 5 mm above where the springs would let it hang
    told = asked("trail-wagon", (FRONT, "co-103-680"))
    assert told.part("front/left/limit-strap") == "st-535"
    assert before_and_after(told, "hoseInHand/front/left") == pytest.approx(
        (520 - math.hypot(353, 300 + 40), 520 - math.hypot(353, 300 - 5)), abs=0.11
    )


def test_the_vent_hose_follows_the_axle_down() -> None:
    # patrol truck: 2200 mm on the works springs, the axle hangs 50 mm lower on these
    told = asked("hill-patrol", ("rear/*/spring", "co-103-830-50"), ("rear/vent-hose", "vh-8-2500"))
    assert in_hand(told, "ventHoseInHand/rear") == 2500 - 2200 - 50
    assert figure(told, "ventHoseInHand/rear")["verdict"] == "fits"
