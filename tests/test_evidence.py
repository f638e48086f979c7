"""What stands behind a rule says of itself whether it was quoted from memory, wherever a person reads it.

What an answer says of its sources is this project's own decision; no outside source is checked here.
"""

import json

import pytest

from crosspin.answer.knowledge import knowledge
from crosspin.answer.text import tell_text
from crosspin.knockon.ask import Ask
from page_client import get
from seed import seed_desk, seed_library
from told_plan import answer, written_ask


def test_what_was_quoted_from_memory_says_so_and_nothing_else_does() -> None:
    evidence = seed_library().model.evidence.values()
    flagged = {one.id for one in evidence if one.from_memory}
    assert flagged == {one.id for one in evidence if "from memory" in one.definition}
    assert {"boltStandards", "unRegulation39", "en286"} <= flagged
    assert not {"geometry", "commonPractice", "ansiB92"} & flagged


def test_an_answer_says_so_beside_the_source_of_a_figure_and_of_a_reason() -> None:
    plan = answer(written_ask("hill-patrol"))
    figures = {one["id"]: one["evidence"] for one in plan["figures"]}
    assert "Brake design handbook, from memory" in figures["brakeTorque/front"]
    assert figures["shaftChange/front"] == ["Geometry", "By definition"]
    reasons = {source for step in plan["steps"] for reason in step["reasons"] for source in reason["evidence"]}
    assert "ISO 4000-1, from memory" in reasons
    assert "Common practice" in reasons


def test_text_and_page_say_so_too() -> None:
    ask = Ask.model_validate_json(json.dumps(written_ask("hill-patrol")))
    assert "from memory" in " ".join(tell_text(seed_desk().ask(ask)).split())
    assert "ISO 4000-1, from memory</b>" in get("/v1/rules/wheelInTyre").text
    assert "ISO 4000-1, from memory" in knowledge()


@pytest.mark.parametrize(
    ("rule", "stands", "not_behind"),
    [
        # 29 CFR 1910.169 leaves receivers of automotive equipment out; EN 286-2 is for vehicles (from memory)
        ("tankNeedsReliefValve", "EN 286-2", "29 CFR 1910.169"),
        # ISO 355 is metric, inch bearings are ABMA 19.2 (from memory)
        ("hubInnerBearingOnSpindle", "ABMA 19.2", ""),
        # ISO 4000-1 is for passenger cars, light-truck sizes are in ISO 4209-1 (from memory)
        ("wheelInTyre", "ISO 4209-1", ""),
        # J844 is inch tube, ISO 7628 metric (from memory)
        ("lineForLocker", "ISO 7628", ""),
        # flares of brakes say nothing of steering hoses
        ("hoseOnPump", "Common practice", "SAE J533"),
        # UN R13 says that a parking brake holds, not how its cables end
        ("cableOnDrumBrake", "Common practice", "UN Regulation"),
        ("parkShoesInHat", "Common practice", "UN Regulation"),
    ],
)
def test_standards_stand_behind_what_they_are_about(rule: str, stands: str, not_behind: str) -> None:
    model = seed_library().model
    found = model.joint_kinds[rule] if rule in model.joint_kinds else model.needs[rule]
    sources = " ".join(model.evidence[e].source for e in found.evidence)
    assert stands in sources
    assert not not_behind or not_behind not in sources
