"""The vehicle as it is, over HTTP: figures that decide, and asks that would trip a program which compares parts in
pairs only.

The geometry is worked out in the comments; trade facts are common practice, no published source.
"""

import math
from typing import Any

import pytest

from told_plan import Answer, Told, ask_of, figure


def asked(vehicle: str, fits: list[dict[str, Any]]) -> Answer:
    return {"vehicle": vehicle, "fit": fits}


def test_spacers_behind_the_rear_wheels_widen_the_track_and_buy_no_axle() -> None:
    told = Told(asked("hill-patrol", [{"at": "rear/*/wheel-spacer", "part": "wsp-30-6x1397"}]))
    # faces 1550 mm apart, offset 0, 30 mm on each side: 1610 mm (geometry)
    assert (figure(told, "axleTrack/rear")["before"], figure(told, "axleTrack/rear")["after"]) == ("1550", "1610")
    apart = figure(told, "trackDifference/vehicle")
    assert (apart["after"], apart["verdict"], apart["severity"]) == ("-60", "clashes", "warns")
    assert set(told.steps) == {"rear/left/wheel-spacer", "rear/right/wheel-spacer"}


def test_nuts_keep_their_thread_on_the_studs_of_a_spacer() -> None:
    told = Told(asked("hill-patrol", [{"at": "rear/*/wheel-spacer", "part": "wsp-30-6x1397"}]))
    for side in ("left", "right"):
        grip = figure(told, f"spacerStudGrip/rear/{side}")
        # at least one diameter of thread, 12 mm of an M12 stud (from memory)
        assert grip["verdict"] == "fits"
        assert [limit["value"] for limit in grip["limits"]] == ["12"]
        assert float(grip["after"]) >= 12


def test_a_limit_that_was_passed_as_received_is_said_to_be_so_and_bars_nothing() -> None:
    told = Told(ask_of("farm-hauler", {"alternator": "gn-220"}))
    beyond = [line for line in told.plan["figures"] if line["verdict"] == "clashes"]
    assert all(line["so_already"] for line in beyond if line["severity"] not in ("warns", "informs"))


def test_a_figure_of_the_propshaft_is_noted_where_it_is_built() -> None:
    told = Told(ask_of("hill-patrol", {"front/housing": "fh-895-hp-1600-b", "front/pinion-yoke": "py-895-121-370"}))
    length = math.hypot(762, 120)
    assert figure(told, "shaftAtRide/front")["after"] == f"{length:.1f}"
    assert (
        f"Build the propshaft to {length:.1f} mm from joint to joint at ride height."
        in (told.steps["front/propshaft"]["notes"])
    )


@pytest.mark.parametrize("axle", ["front", "rear"])
def test_gears_at_one_axle_bring_the_other(axle: str) -> None:
    nine = {"feature": "toothPair", "dimension": "pinionTeeth", "equals": "9"}
    told = Told(asked("hill-patrol", [{"at": f"{axle}/gear-set", "kind": "RingAndPinionSet", "readings": [nine]}]))
    other = "rear" if axle == "front" else "front"
    assert f"{other}/gear-set" in told.steps
    mismatch = figure(told, "driveMismatch/vehicle")
    # ratio times tyre, front against rear, within one percent (common practice)
    assert abs(float(mismatch["after"])) <= 1
    assert mismatch["verdict"] == "fits"
