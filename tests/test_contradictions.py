"""A contradiction says why, over HTTP: never without a reason, and a figure is named with its value and its limit.

The figures named are those that stay wrong whatever else is bought, so that the ways out are the only ones.
"""

import math
from typing import Any

import pytest

from seed import orderable, seed_library
from test_figure_needs import LAMPS
from told_plan import Told, answer, ask_of, contradiction, reading

LIFT_PARTS = ("damper", "limit-strap", "spring")


def why(ask: dict[str, Any]) -> list[str]:
    told: list[str] = contradiction(ask)["why"]
    return told


def test_a_need_that_a_figure_triggers_is_named_with_its_value() -> None:
    # 125 A for hours as added up in test_figure_needs, and the beacon's 3.5 A; four fifths of 160 A are 128 A
    fits = dict((*LAMPS, ("beacon", "be-35")))
    assert why(ask_of("farm-hauler", fits, "radio", "ground-strap")) == [
        "The vehicle draws 128.5 A for hours, more than four fifths of a strap of 160 A,"
        " so there must be a heavier one from engine to frame."
    ]


def test_figures_that_nothing_on_sale_changes_are_named_with_value_and_limit() -> None:
    keep = [f"front/*/{part}" for part in LIFT_PARTS]
    ask = ask_of("hill-patrol", {"front/propshaft": "pd-121-370-660-80"}, "chassis", "front/housing", *keep)
    told = why(ask)
    # what the shaft slips between bump and droop is worked out for the plan that leaves it as it is
    figures = {f["id"]: f for f in Told(ask_of("hill-patrol", {"pressure-receiver": "pr-434-a"})).plan["figures"]}
    has = float(reading("pd-121-370-660-80", "lengthRange.slipTravel")[0])
    left = has - float(figures["slipUsed/front"]["before"])
    (slip,) = [sentence for sentence in told if "slip in hand" in sentence]
    assert f"has {left:.1f} mm of slip in hand at the front; 25 mm must stay" in slip
    assert any("in hand at the front at full droop; 2 deg must stay" in sentence for sentence in told)


def test_a_thin_tube_is_judged_by_its_own_figure_alone() -> None:
    # 1.21e8 sqrt(44.45^2 + 40.23^2) / 1400^2 = 3701 rpm, as in test_feared_mistakes_axle
    whirls = 1.21e8 * math.hypot(44.45, 44.45 - 2 * 2.1082) / 1400**2
    told = why(ask_of("farm-hauler", {"rear/propshaft": "pj-109-330-1100-thin"}))
    assert f"its tube whirls at {whirls:.0f}" in told[0]


def test_a_renewal_that_a_kept_part_stands_against_is_named() -> None:
    told = why(ask_of("farm-hauler", {"front/ring-bolts": "rb-815-hd"}, "front/cover-gasket"))
    assert len(told) == 1
    assert told[0].startswith("The cover comes off for Ring bolts")
    assert told[0].endswith("and its gasket is used once.")


def test_the_two_sides_of_one_wish_are_not_held_against_each_other() -> None:
    springs = {"front/*/spring": "co-103-620-50"}
    told = why(ask_of("farm-hauler", springs, "front/*/damper"))
    assert told[0].endswith("the damper is made for -10 mm to 25 mm.")
    assert not any("would lean" in sentence for sentence in told)


@pytest.mark.parametrize(("vehicle", "first"), [("farm-hauler", 0), ("trail-wagon", 1)])
def test_no_conflict_is_without_a_reason(vehicle: str, first: int) -> None:
    """One part for every role, on one vehicle or the other, everything that it meets to be kept: where no part alone
    goes in."""
    library = seed_library()
    layout = library.model.layouts["two-beam-axles"]
    positions, met = layout.positions, [{joint.left, joint.right} for joint in layout.joints]
    conflicts = 0
    for number, role in list(enumerate(sorted({p.role for p in positions})))[first::2]:
        parts = orderable(library, library.model.roles[role].kind)
        at = next(p.path for p in positions if p.role == role)
        if not parts:
            continue
        keep = sorted({path for ends in met if at in ends for path in ends - {at}})
        told = answer(ask_of(vehicle, {at: parts[number % len(parts)]}, *keep))
        if told["verdict"] == "contradiction":
            conflicts += 1
            assert told["why"], (at, parts[number % len(parts)])
            assert len(set(told["why"])) == len(told["why"]) <= 6
    assert conflicts > 20
