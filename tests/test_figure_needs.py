"""Needs that figures trigger, over HTTP on the seed data: what the vehicle draws for hours, and its ground strap.

The draws are added up by hand from the seed: base 58 A, radio 8 A, light bar 27 A, work lights 17 A, socket 15 A make
125 A; a beacon of 3.5 A makes 128.5 A.  That a conductor is loaded to four fifths at most for hours is common practice,
no published source.
"""

from typing import Any

import pytest

from api_client import seed_client
from crosspin.model.check import check_names
from crosspin.model.read_figures import check_figures
from crosspin.model.reader import BrokenOntology
from seed import seed_desk

NEED = "heavyDrawNeedsHeavyStrap"
client = seed_client()


def plan(*fitted: tuple[str, str]) -> dict[str, Any]:
    # without it being kept, the radio would be taken out, which draws less and costs nothing
    ask = {
        "vehicle": "farm-hauler",
        "fit": [{"at": at, "part": part} for at, part in fitted],
        "keep": ["radio"],
    }
    reply = client.post("/v1/knock-on", json=ask)
    assert reply.status_code == 200, reply.text
    told: dict[str, Any] = reply.json()
    return told


def steps(told: dict[str, Any]) -> dict[str, Any]:
    return {step["position"]: step for step in told["steps"]}


LAMPS = (("light-bar", "lb-27"), ("work-lights", "wl-17"), ("socket", "sk-15"))


def test_a_draw_beyond_the_limit_brings_a_heavier_strap() -> None:
    step = steps(plan(*LAMPS, ("beacon", "be-35")))["ground-strap"]
    assert step["part"]["id"] == "gs-240-400"
    (reason, *_) = step["reasons"]
    assert reason["rule"] == NEED
    assert reason["sentence"].startswith("The vehicle draws 128.5 A for hours")
    assert reason["source"] in {"light-bar", "work-lights", "socket", "beacon"}


def test_a_draw_just_below_the_limit_leaves_the_strap() -> None:
    assert "ground-strap" not in steps(plan(*LAMPS))


def test_the_need_is_a_rule_on_record() -> None:
    rule = client.get(f"/v1/rules/{NEED}").json()
    assert rule["sort"] == "figure-need"
    assert rule["rule"]["figure"] == "drawWithoutCompressor"
    assert len(rule["cases"]) == 4


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"says": "A strap must be there."}, "does not say {value}"),
        ({"says": "{value} more, so {part} needs a strap."}, "says {part}, which nothing fills"),
        ({"figure": "noSuchFigure"}, "cp:noSuchFigure, which is no figure"),
        ({"then_role": "NoSuchRole"}, "cp:NoSuchRole, which is no role"),
    ],
)
def test_what_is_wrong_with_such_a_need_is_told(changed: dict[str, str], said: str) -> None:
    model = seed_desk().holdings.model
    need = model.figure_needs[NEED].model_copy(update=changed)
    broken = model.model_copy(update={"figure_needs": {NEED: need}})
    with pytest.raises(BrokenOntology, match=said.replace("{", r"\{").replace("}", r"\}")):
        check_names(broken)
        check_figures(broken)
