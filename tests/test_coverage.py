"""Nothing in the model is there for nothing: every kind has parts, every rule its trials, all work is complete.

What must be there is this project's own decision; no outside source is checked here.
"""

from collections.abc import Iterable
from functools import cache

import pytest
from pyoxigraph import NamedNode

from crosspin.home import data_folder
from crosspin.model.labour import Repeat
from crosspin.model.schema import Model
from crosspin.model.terms import DEF
from crosspin.store.graph import read_folder
from rules.support import cases_below
from seed import seed_library

NEVER_SOLD = {"Chassis", "Engine", "Gearbox", "VehicleLoom", "VehicleShell"}
"""What comes with a vehicle and goes with it."""

NO_TERMS = {"Criterion", "Station", "Shop", "Unit"}
"""Things of the ontology that carry another sort of text than a label, a definition and an example."""


@cache
def model() -> Model:
    return seed_library().model


@cache
def tried() -> tuple[frozenset[str], frozenset[str]]:
    """The terms that some case expects something of, and those that some case refuses something of."""
    cases = cases_below()
    expected = {term.removeprefix(DEF) for case in cases if case.expects for term in case.tests}
    refused = {term.removeprefix(DEF) for case in cases if case.refuses for term in case.tests}
    return frozenset(expected), frozenset(refused)


def untried(terms: Iterable[str]) -> list[str]:
    expected, refused = tried()
    return sorted(term for term in terms if term not in expected or term not in refused)


# ---------------------------------------------------------------------- kinds and parts


@cache
def leaf_kinds() -> tuple[str, ...]:
    """The narrowest kinds that a role takes or a remedy fits."""
    kinds = model().kinds.values()
    wanted = {role.kind for role in model().roles.values()}
    wanted |= {remedy.adapter_kind for remedy in model().remedies.values() if remedy.adapter_kind}
    wide = {parent for kind in kinds for parent in kind.ancestors if parent != kind.id}
    return tuple(kind.id for kind in kinds if kind.id not in wide and wanted & set(kind.ancestors))


def test_every_kind_is_in_use() -> None:
    used = {above for leaf in leaf_kinds() for above in model().kinds[leaf].ancestors}
    assert sorted(set(model().kinds) - used) == []


@pytest.mark.parametrize("kind", leaf_kinds())
def test_every_kind_has_parts_to_choose_from(kind: str) -> None:
    parts = [part for part in seed_library().holdings.catalog.parts.values() if part.kind == kind]
    assert parts, f"cp:{kind} has no part; add seed_data/parts/{kind}.csv"
    sold = [part for part in parts if part.price is not None]
    if kind in NEVER_SOLD:
        assert sold == []
    else:
        different = {(tuple(sorted(part.specs.items())), part.price) for part in sold}
        assert len(different) >= 2, f"cp:{kind} has not two parts to choose between"


# ---------------------------------------------------------------------- rules and their trials


def test_every_joint_kind_and_criterion_is_tried() -> None:
    criteria = [criterion.id for kind in model().joint_kinds.values() for criterion in kind.criteria]
    assert criteria
    assert untried(criteria) == []


@pytest.mark.parametrize("table", ["needs", "renewals", "resources", "remedies", "consequences"])
def test_every_rule_is_tried(table: str) -> None:
    rules: dict[str, object] = getattr(model(), table)
    assert rules
    assert untried(rules) == []


# ---------------------------------------------------------------------- words


def test_every_term_has_its_words() -> None:
    quads, _ = read_folder(data_folder("ontology"))
    typed: dict[str, set[str]] = {}
    said: dict[str, set[str]] = {}
    for quad in quads:
        if isinstance(quad.subject, NamedNode) and quad.subject.value.startswith(DEF):
            name = quad.subject.value.removeprefix(DEF)
            said.setdefault(name, set()).add(quad.predicate.value.rpartition("#")[2])
            if quad.predicate.value.endswith("#type") and isinstance(quad.object, NamedNode):
                typed.setdefault(name, set()).add(quad.object.value.rpartition("/")[2])
    terms = [n for n, kinds in typed.items() if n and not kinds & NO_TERMS and not any("shacl#" in k for k in kinds)]
    assert len(terms) > 500
    for word in ("label", "definition", "example"):
        assert [name for name in sorted(terms) if word not in said[name]] == [], word


def test_every_dimension_says_how_it_is_measured() -> None:
    short = [d.id for d in model().dimensions.values() if len(d.how_to_measure.split()) < 2]
    assert short == []


# ---------------------------------------------------------------------- work


@cache
def brought() -> frozenset[str]:
    """Operations, checks and cautions that come with a part, or with a figure beyond its limit."""
    lists = [c.brings for c in model().consequences.values()] + [f.brings for f in model().figures.values()]
    return frozenset(name for names in lists for name in names)


@cache
def reached() -> frozenset[str]:
    """Operations that some consequence, figure or remedy brings, or that take a kind of part off, put it back or fit
    it, and those that they entail."""
    found: set[str] = set()
    waiting = [name for name in brought() if name in model().operations]
    waiting += [remedy.operation for remedy in model().remedies.values() if remedy.operation]
    for kind in model().kinds.values():
        waiting += [*kind.comes_off_by, *kind.goes_back_by, *kind.goes_on_by, *kind.goes_for_good_by]
    while waiting:
        name = waiting.pop()
        if name not in found:
            found.add(name)
            waiting.extend(model().operations[name].entails)
    return frozenset(found)


def test_every_operation_is_brought_by_something() -> None:
    assert sorted(set(model().operations) - reached()) == []


def test_every_operation_takes_time() -> None:
    assert [o.id for o in model().operations.values() if o.hours <= 0] == []


def test_every_operation_has_cautions_or_hurts_nobody() -> None:
    undecided = [o.id for o in model().operations.values() if bool(o.cautions) == o.hurts_nobody]
    assert undecided == []


def test_what_another_job_entails_is_not_counted_by_parts() -> None:
    """Its places are those of the other job, so their number says nothing."""
    entailed = {name for o in model().operations.values() for name in o.entails}
    assert [n for n in sorted(entailed) if model().operations[n].repeat is Repeat.EACH_PART] == []


def test_every_new_part_brings_work() -> None:
    worked = {c.role for c in model().consequences.values() if any(b in model().operations for b in c.brings)}
    parts = seed_library().holdings.catalog.parts.values()
    sold = {kind for part in parts if part.price is not None for kind in model().kinds[part.kind].ancestors}
    assert [r.id for r in model().roles.values() if r.kind in sold and r.id not in worked] == []


def test_everything_used_in_work_is_used_somewhere() -> None:
    operations = [model().operations[name] for name in reached()]
    used = {
        "consumables": {use.consumable for o in operations for use in o.uses},
        "tools": {tool for o in operations for tool in o.tools},
        "phases": {o.phase for o in operations} | {check.phase for check in model().checks.values()},
        "checks": brought() & set(model().checks),
        "cautions": {caution for o in operations for caution in o.cautions} | brought() & set(model().cautions),
    }
    for table, names in used.items():
        assert sorted(set(getattr(model(), table)) - names) == [], table


def runs_of(text: str, length: int) -> set[tuple[str, ...]]:
    words = [word.strip(".,:;()").lower() for word in text.split()]
    return {tuple(words[n : n + length]) for n in range(len(words) - length + 1)}


def test_no_check_says_what_a_job_or_another_check_says() -> None:
    """A check is what somebody sees or measures after the work, not the work told twice."""
    told = [(o.id, o.text) for o in model().operations.values()] + [(c.id, c.text) for c in model().checks.values()]
    checks = {check.id for check in model().checks.values()}
    twice = [
        (one, other)
        for n, (one, text) in enumerate(told)
        for other, words in told[n + 1 :]
        if {one, other} & checks and runs_of(text, 6) & runs_of(words, 6)
    ]
    assert twice == []


def test_all_evidence_stands_behind_something() -> None:
    quads, _ = read_folder(data_folder("ontology"))
    used = {
        quad.object.value.removeprefix(DEF)
        for quad in quads
        if quad.predicate.value == DEF + "hasEvidence" and isinstance(quad.object, NamedNode)
    }
    assert sorted(set(model().evidence) - used) == []
