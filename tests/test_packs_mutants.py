"""What the shipped ontology says, rules and packs, cannot change unnoticed: cases notice mutants of it, or each that
none notices is explained.

All mutants take minutes, so that a share of them is tried each time, and all where CROSSPIN_EVERY_CASE is set.  A
mutant's name decides its share: which are tried does not change when others come.
"""

import os
import tomllib
from collections.abc import Callable
from functools import cache
from hashlib import sha256

import pytest

from crosspin.home import data_folder
from crosspin.rules.inspection import Inspection
from crosspin.rules.mutants import Mutant

SHARES = 24
EACH_TIME = 3
LEAST_PERCENT = 95


@cache
def inspection() -> Inspection:
    return Inspection(data_folder("ontology"))


@cache
def mutants() -> tuple[Mutant, ...]:
    return inspection().mutants()


def explained() -> dict[str, str]:
    return tomllib.loads((data_folder("ontology") / "survivors.toml").read_text(encoding="utf-8"))


def share_of(mutant: Mutant) -> int:
    return int(sha256(mutant.name.encode()).hexdigest(), 16) % SHARES


@pytest.mark.parametrize("share", range(SHARES if os.environ.get("CROSSPIN_EVERY_CASE") else EACH_TIME))
def test_cases_notice_what_changes(share: int, record_property: Callable[[str, object], None]) -> None:
    chosen = [mutant for mutant in mutants() if share_of(mutant) == share]
    score = inspection().hunt(chosen)
    told = f"Mutants, share {share + 1} of {SHARES}: cases notice {score.percent} percent of {score.tried}."
    record_property("told", told)
    assert {mutant.name for mutant in score.survivors} == {m.name for m in chosen} & explained().keys()
    assert score.percent >= LEAST_PERCENT
    assert score.tried > len(mutants()) / SHARES / 2


def test_each_mutant_that_is_explained_is_one() -> None:
    """That it survives is tried with its share."""
    assert explained().keys() <= {mutant.name for mutant in mutants()}
    assert any(share_of(mutant) < EACH_TIME for mutant in mutants() if mutant.name in explained())
    assert all(len(reason) > 40 for reason in explained().values())
    assert len(explained()) < (100 - LEAST_PERCENT) / 100 * len(mutants())


def test_the_limits_of_figures_are_among_them() -> None:
    changed = {mutant.term.rpartition("/")[2] for mutant in mutants()}
    limits = {limit.id for figure in inspection().model.figures.values() for limit in figure.limits}
    assert limits <= changed
    assert len(limits) > 50
