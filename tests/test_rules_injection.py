"""Faults put into a proposal on purpose, its cost reckoned anew so that no sum gives them away, are refused by the
rules for what is wrong with them.

Which alterations are wrong is decided here, from the parts themselves, not by the rules.
"""

from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal
from functools import cache

import pytest

from crosspin.knockon.ask import Ask, Fit
from crosspin.knockon.proposal import Choice, Proposal, State
from crosspin.knockon.search import Searcher
from crosspin.model.judge import judge_joint, meets
from crosspin.model.schema import Joint, Part, Verdict
from crosspin.rules.prover import Disproved
from seed import orderable, seed_library
from test_rules_prover import asked, proof, proposed, prover

MENDED = Ask(vehicle="hill-patrol", fit=(Fit(at="rear/right/hub", part="rb-8x1651-1213-52-l"),))
HOLDINGS = seed_library().holdings
MODEL, CATALOG = HOLDINGS.model, HOLDINGS.catalog
JOINTS = MODEL.layouts["two-beam-axles"].joints
MANY = frozenset(d.id for d in MODEL.dimensions.values() if d.many)


@cache
def mended() -> Proposal:
    found = Searcher(MODEL, CATALOG).propose(MENDED)
    assert isinstance(found, Proposal)
    return found


def reckoned(found: Proposal) -> Proposal:
    """The proposal with the positions it changes and the money it costs reckoned anew."""
    bought = [c.part for c in found.choices.values() if c.state is State.FRESH and c.part is not None]
    bought += [m.adapter for m in found.mendings if m.adapter is not None]
    operations = [MODEL.remedies[m.remedy].operation for m in found.mendings]
    hours = sum((MODEL.operations[name].hours for name in operations if name is not None), Decimal(0))
    money = sum((CATALOG.parts[part].price or Decimal(0) for part in bought), Decimal(0))
    named = {path for path, wishes in found.asked.items() if any(not w.startswith("keep/") for w in wishes)}
    changed = {path for path, choice in found.choices.items() if choice.state is not State.RECEIVED}
    cost = replace(found.cost, extra=len(changed - named), money=money + hours * MODEL.shop.hourly_rate)
    return replace(found, cost=cost)


def with_choices(found: Proposal, **choices: Choice) -> Proposal:
    return reckoned(replace(found, choices={**found.choices, **choices}))


def refusal(ask: Ask, altered: Proposal) -> str:
    with pytest.raises(Disproved) as caught:
        prover().prove(ask, altered)
    return str(caught.value)


def test_reckoning_alone_changes_nothing() -> None:
    assert reckoned(proposed()) == proposed()
    assert reckoned(mended()) == mended()


# ------------------------------------------------------------------ joints


def part_at(found: Proposal, path: str) -> Part | None:
    name = found.choices[path].part
    return CATALOG.parts.get(name) if name is not None else None


def clashing(found: Proposal, joint: Joint) -> list[str]:
    """The criteria that clash between two known parts at a joint, by readings alone."""
    kind = MODEL.joint_kinds[joint.joint_kind]
    left, right = part_at(found, joint.left), part_at(found, joint.right)
    if left is None or right is None:
        return []
    if (
        kind.left_kind not in MODEL.kinds[left.kind].ancestors
        or kind.right_kind not in MODEL.kinds[right.kind].ancestors
    ):
        return []
    return [f.criterion.id for f in judge_joint(kind, left, right, CATALOG.specs, MANY) if f.verdict is Verdict.CLASHES]


def swaps() -> Iterator[tuple[str, str, list[tuple[str, str]]]]:
    """For every fresh position a part of the kind that clashes there with another part of the plan, and how."""
    for path, choice in proposed().choices.items():
        if choice.state is not State.FRESH or choice.part is None:
            continue
        for other in orderable(seed_library(), CATALOG.parts[choice.part].kind):
            altered = with_choices(proposed(), **{path: Choice(State.FRESH, other)})
            near = [joint for joint in JOINTS if path in (joint.left, joint.right)]
            wrong = [(joint.id, criterion) for joint in near for criterion in clashing(altered, joint)]
            if other != choice.part and wrong:
                yield path, other, wrong
                break


def test_a_part_that_clashes_is_refused_for_the_joint_and_criterion() -> None:
    tried = list(swaps())
    assert len(tried) > 20
    for path, other, wrong in tried[::3]:
        said = refusal(asked(), with_choices(proposed(), **{path: Choice(State.FRESH, other)}))
        for joint, criterion in wrong:
            assert f"{joint} clashes by " in said, (path, other)
            assert criterion in said, (path, other)


# ------------------------------------------------------------------ needs, renewals, resources


def answered() -> Iterator[tuple[str, str]]:
    """Needs of the plan that a part answers which may be left out as far as its role goes, and where it is."""
    roles = {p.path: p.role for p in MODEL.layouts["two-beam-axles"].positions}
    for need in proof().needs.values():
        rule = MODEL.needs.get(need.rule)
        part = part_at(proposed(), need.position)
        if rule is None or rule.then is None or part is None or not MODEL.roles[roles[need.position]].may_be_empty:
            continue
        if meets(MODEL, rule.then, part, CATALOG.specs) and need.verdict is Verdict.FITS:
            yield need.rule, need.position


def test_a_needed_part_that_is_left_out_is_refused_for_the_need() -> None:
    places = {position: rule for rule, position in answered()}
    assert len(places) > 10
    for position, rule in sorted(places.items())[::4]:
        said = refusal(asked(), with_choices(proposed(), **{position: Choice(State.EMPTIED, None)}))
        assert f"{rule} of " in said
        assert f"is not met at {position}." in said


def test_an_old_part_that_had_to_be_renewed_is_refused_for_the_renewal() -> None:
    vehicle = CATALOG.vehicles["hill-patrol"]
    renewed = {
        need.position: need.rule
        for need in proof().needs.values()
        if need.rule in MODEL.renewals
        and proposed().choices[need.position].state is State.FRESH
        and need.position in vehicle.parts
    }
    assert len(renewed) > 5
    for position, rule in sorted(renewed.items())[::3]:
        old = Choice(State.RECEIVED, vehicle.parts[position])
        said = refusal(asked(), with_choices(proposed(), **{position: old}))
        assert f"{rule} of " in said
        assert f"is not met at {position}." in said


def having(feature: str) -> dict[str, Part]:
    """The known parts of the plan with a feature, by position."""
    parts = {path: part_at(proposed(), path) for path in proposed().choices}
    return {
        path: part
        for path, part in parts.items()
        if part is not None and feature in MODEL.kinds[part.kind].features and feature not in part.lacks
    }


def drawn(feature: str, dimension: str) -> Decimal:
    """What the parts of the plan draw in all."""
    specs = [part.specs[feature] for part in having(feature).values()]
    values = [value for spec in specs for value in CATALOG.specs[spec].values[dimension]]
    return sum((value for value in values if isinstance(value, Decimal)), Decimal(0))


def test_what_is_drawn_and_not_supplied_is_refused_for_the_resource() -> None:
    tried = 0
    for name, resource in MODEL.resources.items():
        proved = proof().resources.get(name)
        if proved is None or proved.verdict is not Verdict.FITS:
            continue
        if drawn(resource.draw_feature, resource.draw_dimension) <= 0:
            continue
        empty = {path: Choice(State.EMPTIED, None) for path in having(resource.supply_feature)}
        assert f"{name} is overdrawn." in refusal(asked(), with_choices(proposed(), **empty))
        tried += 1
    assert tried > 1


# ------------------------------------------------------------------ mendings


def test_a_mending_that_is_left_out_is_refused_for_what_clashes_then() -> None:
    assert mended().mendings
    said = refusal(MENDED, reckoned(replace(mended(), mendings=())))
    for mending in mended().mendings:
        assert f"{mending.joint} clashes by " in said
        assert mending.criterion in said


def test_another_adapter_is_refused() -> None:
    (mending,) = (m for m in mended().mendings if m.adapter is not None)
    chosen = CATALOG.parts[mending.adapter or ""]
    others = [p for p in orderable(seed_library(), chosen.kind) if CATALOG.parts[p].specs != chosen.specs]
    assert others
    for other in others:
        rest = tuple(m for m in mended().mendings if m != mending)
        said = refusal(MENDED, reckoned(replace(mended(), mendings=(*rest, replace(mending, adapter=other)))))
        assert "does not mend" in said or "clashes by" in said


def test_a_remedy_of_something_else_is_refused() -> None:
    mending = mended().mendings[0]
    for remedy in sorted(set(MODEL.remedies) - {mending.remedy})[::4]:
        altered = replace(mended(), mendings=(replace(mending, remedy=remedy), *mended().mendings[1:]))
        assert "does not mend" in refusal(MENDED, reckoned(altered))


# ------------------------------------------------------------------ what was asked


def test_a_wish_that_nobody_made_does_not_hide_a_change() -> None:
    path = next(p for p, c in proposed().choices.items() if c.state is State.FRESH and p not in proposed().asked)
    altered = replace(proposed(), asked={**proposed().asked, path: ("fit/99",)})
    assert "positions changed beyond those asked" in refusal(asked(), altered)
