"""Needs that figures trigger, over HTTP on the seed data: tyres that grow, and the brace of the steering box.

The radii are worked out by hand from the sizes on the sidewall (diameter = bead + 2 x width x aspect, ETRTO): 265/75
on 16 in is 803.9 mm across, 285/75 is 833.9 mm (radius 15.00 mm more), 305/70 is 833.4 mm (14.75 mm more).  That a
brace belongs to tyres more than an inch taller is common practice, no published source.
"""

from typing import Any

import pytest

from api_client import seed_client
from crosspin.model.check import check_names
from crosspin.model.read_figures import check_figures
from crosspin.model.reader import BrokenOntology
from seed import seed_desk

NEED = "tallTyreNeedsBoxBrace"
client = seed_client()


def plan(tyre: str, **more: Any) -> dict[str, Any]:
    ask = {"vehicle": "hill-patrol", "fit": [{"at": "front/*/tyre", "part": tyre}], **more}
    reply = client.post("/v1/knock-on", json=ask)
    assert reply.status_code == 200, reply.text
    told: dict[str, Any] = reply.json()
    return told


def steps(told: dict[str, Any]) -> dict[str, Any]:
    return {step["position"]: step for step in told["steps"]}


def test_tyres_that_grow_by_the_limit_bring_a_brace() -> None:
    step = steps(plan("ty-285-75-16"))["box-brace"]
    assert step["part"] is not None
    (reason, *_) = step["reasons"]
    assert reason["rule"] == NEED
    assert "15 mm" in reason["sentence"]
    assert reason["source"].endswith("/tyre")


def test_tyres_just_below_the_limit_bring_none() -> None:
    assert "box-brace" not in steps(plan("ty-305-70-16"))


def test_the_need_is_a_rule_on_record() -> None:
    rule = client.get(f"/v1/rules/{NEED}").json()
    assert rule["sort"] == "figure-need"
    assert rule["rule"]["figure"] == "radiusGrowth"
    assert len(rule["cases"]) == 3


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"says": "A brace must be there."}, "does not say {value}"),
        ({"says": "{value} more, so {part} needs a brace."}, "says {part}, which nothing fills"),
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
