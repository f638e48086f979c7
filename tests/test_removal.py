"""Taking parts out: the work, the cautions, what is left without a mate, and whether the vehicle may still be driven.

What a vehicle cannot be driven without is common practice, no published source.
"""

from functools import cache

import pytest

from api_client import seed_client
from crosspin.answer.plan import Plan
from crosspin.answer.text import tell_text
from crosspin.knockon.ask import Ask
from seed import seed_desk
from told_plan import Answer, Told, answer

VEHICLES = ("farm-hauler", "trail-wagon", "hill-patrol", "orchard-runabout")


@cache
def first_places() -> dict[str, tuple[str, str]]:
    """For every role a vehicle and a position at which there is a part in it."""
    holdings = seed_desk().holdings
    found: dict[str, tuple[str, str]] = {}
    for vehicle in VEHICLES:
        for position in holdings.model.layouts["two-beam-axles"].positions:
            if position.path in holdings.catalog.vehicles[vehicle].parts:
                found.setdefault(position.role, (vehicle, position.path))
    return found


def taken_out(vehicle: str, path: str) -> Answer:
    return answer({"vehicle": vehicle, "remove": [path]})


def roles() -> list[str]:
    """Every role that some vehicle has a part in."""
    return sorted(first_places())


SHARES = 4


@pytest.mark.parametrize("share", range(SHARES))
def test_whatever_is_taken_out_leaves_work_and_a_caution(share: int) -> None:
    for role in roles()[share::SHARES]:
        vehicle, path = first_places()[role]
        told = taken_out(vehicle, path)
        if told["verdict"] != "plan":
            assert told["why"], f"{path} cannot go, and nobody says why"
            continue
        steps = {step["position"]: step for step in told["steps"]}
        assert steps[path]["action"] == "remove", path
        loose = seed_desk().holdings.model.roles[role].loose
        assert told["work"] or loose, f"{path} goes without any work"
        assert told["cautions"] or loose, f"{path} goes without a caution"
        purposes = {line["purpose"] for line in told["unfit"] if line["position"] == path}
        assert purposes == needed_to(role, path), path


def needed_to(role: str, path: str) -> set[str]:
    """What the role says that its part is needed to."""
    found = set(seed_desk().holdings.model.roles[role].needed_to)
    return set() if path.startswith("front/") and role in ("PropshaftRole", "CentreBearingRole") else found


def test_all_roles_are_tried_that_a_vehicle_of_the_seed_data_has() -> None:
    tried, known = set(roles()), set(seed_desk().holdings.model.roles)
    # what no vehicle of the seed data has
    assert len(known - tried) < len(known) // 4, sorted(known - tried)


@pytest.mark.parametrize(
    ("path", "purpose", "word"),
    [
        ("steering-box", "toSteer", "cannot be steered"),
        ("master-cylinder", "toBrake", "cannot be braked"),
        ("front/left/wheel-nuts", "toCarry", "is not held"),
        ("rear/propshaft", "toMove", "does not move"),
        ("rear/cover-gasket", "toHoldOil", "runs out"),
    ],
)
def test_without_it_the_vehicle_is_not_fit_to_drive(path: str, purpose: str, word: str) -> None:
    told = taken_out("farm-hauler", path)
    (line,) = (line for line in told["unfit"] if line["purpose"] == purpose)
    assert line["position"] == path
    assert word in line["sentence"]
    assert line["part"]["label"] in line["sentence"]
    assert told["totals"]["hours"] != "0"
    plan = seed_desk().ask(Ask(vehicle="farm-hauler", remove=(path,)))
    assert isinstance(plan, Plan)
    head = tell_text(plan).split("ASKED")[0]
    assert "NOT FIT TO DRIVE" in head
    page = (
        seed_client().get("/", params={"vehicle": "farm-hauler", "remove": path}, headers={"Accept": "text/html"}).text
    )
    assert "Not fit to drive" in page
    assert word in page


@pytest.mark.parametrize("path", ["front/propshaft", "front/sway-bar", "light-bar"])
def test_without_it_the_vehicle_still_drives(path: str) -> None:
    found = [v for v in VEHICLES if path in seed_desk().holdings.catalog.vehicles[v].parts]
    assert found, path
    for vehicle in found:
        told = taken_out(vehicle, path)
        assert told["verdict"] != "plan" or told["unfit"] == []


def test_what_gives_way_to_another_part_leaves_the_vehicle_fit() -> None:
    told = Told({"vehicle": "farm-hauler", "renew": ["steering-box"]})
    assert told.plan["unfit"] == []


def test_what_is_left_without_a_mate_is_named() -> None:
    told = taken_out("farm-hauler", "steering-box")
    (step,) = (step for step in told["steps"] if step["position"] == "steering-box")
    (note,) = (note for note in step["notes"] if note.startswith("Leaves without a mate"))
    assert "pitman arm" in note


def test_taking_a_part_out_opens_what_lies_over_it() -> None:
    told = Told({"vehicle": "farm-hauler", "remove": ["front/left/inner-shaft"]})
    assert {"takeWheelsOff", "takeSpindleHubOff", "drawFrontShafts", "setHubBearings"} <= set(told.work())
    assert told.part("front/left/hub-seal")
