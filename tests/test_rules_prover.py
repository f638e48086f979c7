"""The rules prove what the search proposes, and refuse a proposal that was tampered with."""

import json
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from decimal import Decimal
from functools import cache
from pathlib import Path

import pytest
from pyoxigraph import parse

from crosspin.knockon.ask import Ask, Fit
from crosspin.knockon.proposal import Choice, Mending, Proposal, State
from crosspin.knockon.search import Searcher
from crosspin.model.judge import judge_joint, overall
from crosspin.model.schema import Verdict
from crosspin.model.terms import DEF
from crosspin.rules.prover import Disproved, Proof, Prover
from crosspin.store.graph import FORMATS
from seed import orderable, seed_desk, seed_library

ASK = Path(__file__).parent.parent / "seed_data" / "asks" / "hill-patrol.json"


@cache
def asked() -> Ask:
    return Ask.model_validate_json(ASK.read_text())


@cache
def prover() -> Prover:
    holdings = seed_library().holdings
    return Prover(seed_library().graph, holdings.model, holdings.catalog)


@cache
def proposed() -> Proposal:
    holdings = seed_library().holdings
    found = Searcher(holdings.model, holdings.catalog).propose(asked())
    assert isinstance(found, Proposal)
    return found


@cache
def proof() -> Proof:
    return prover().prove(asked(), proposed())


def test_the_plan_is_proved_joint_by_joint() -> None:
    holdings = seed_library().holdings
    model, catalog = holdings.model, holdings.catalog
    many = frozenset(d.id for d in model.dimensions.values() if d.many)
    joints = {j.id: j for j in model.layouts[catalog.vehicles["hill-patrol"].layout].joints}
    assert len(proof().joints) > 100
    for proved in proof().joints.values():
        joint = joints[proved.joint]
        left, right = (catalog.parts[proposed().choices[path].part or ""] for path in (joint.left, joint.right))
        told = judge_joint(model.joint_kinds[joint.joint_kind], left, right, catalog.specs, many)
        assert [(f.criterion, f.verdict, f.disputed, f.left) for f in proved.findings] == [
            (f.criterion.id, f.verdict, f.disputed, tuple(sorted(f.left, key=lambda v: (isinstance(v, str), v))))
            for f in told
        ]
        if not any(finding.remedy for finding in proved.findings):
            assert proved.verdict is overall([f.verdict for f in told])


def test_every_joint_of_a_fresh_part_is_judged() -> None:
    holdings = seed_library().holdings
    model, catalog = holdings.model, holdings.catalog
    fresh = {path for path, choice in proposed().choices.items() if choice.state is State.FRESH}
    touching = set()
    for joint in model.layouts[catalog.vehicles["hill-patrol"].layout].joints:
        parts = [proposed().choices[path].part for path in (joint.left, joint.right)]
        kind = model.joint_kinds[joint.joint_kind]
        if {joint.left, joint.right} & fresh and all(parts):
            left, right = (model.kinds[catalog.parts[part or ""].kind].ancestors for part in parts)
            if kind.left_kind in left and kind.right_kind in right:
                touching.add(joint.id)
    assert {name for name, joint in proof().joints.items() if joint.judged} == touching


def test_what_is_brought_is_known_to_the_model() -> None:
    model = seed_library().model
    known = {*model.operations, *model.checks, *model.cautions}
    assert proof().outcomes
    for outcome in proof().outcomes:
        assert outcome.brings in known
        brings = model.consequences[outcome.consequence].brings
        carried = {c for name in brings if name in model.operations for c in model.operations[name].cautions}
        assert outcome.brings in {*brings, *carried}
        assert outcome.position in proposed().choices
    for resource in proof().resources.values():
        assert resource.verdict is Verdict.FITS


@pytest.mark.parametrize(
    "ask",
    [
        Ask(vehicle="hill-patrol", fit=(Fit(at="rear/carrier", kind="LimitedSlip"),)),
        Ask(vehicle="trail-wagon", fit=(Fit(at="front/*/caliper", kind="FixedCaliper"),)),
        Ask(vehicle="orchard-runabout", fit=(Fit(at="rear/carrier", kind="LimitedSlip"),)),
        Ask(vehicle="farm-hauler", fit=(Fit(at="rear/carrier", kind="AirLocker"),)),
        Ask(vehicle="hill-patrol", fit=(Fit(at="rear/right/hub", part="rb-8x1651-1213-52-l"),)),
        asked(),
    ],
    ids=lambda ask: ask.vehicle,
)
def test_what_is_kept_between_proofs_changes_nothing(ask: Ask) -> None:
    """The shared prover has proved other plans, and this one before; a new one knows nothing yet.

    The plan with the wheel hub takes an adapter, whose own contacts are made while contacts are reasoned about.
    """
    holdings = seed_library().holdings
    found = Searcher(holdings.model, holdings.catalog).propose(ask)
    assert isinstance(found, Proposal)
    first, again = (prover().prove(ask, found) for _ in range(2))
    alone = Prover(seed_library().graph, holdings.model, holdings.catalog).prove(ask, found)
    assert first == again == alone
    assert alone.joints


# ------------------------------------------------------------------ tampering

Tamper = Callable[[Proposal], Proposal]


def with_choice(path: str, choice: Choice) -> Tamper:
    return lambda found: replace(found, choices={**found.choices, path: choice})


def refusal(tamper: Tamper) -> str:
    """Why an altered proposal is refused by a prover that has just proved the unaltered one."""
    altered = tamper(proposed())
    assert altered != proposed()
    assert proof() == prover().prove(asked(), proposed())
    with pytest.raises(Disproved) as caught:
        prover().prove(asked(), altered)
    return str(caught.value)


def other_part(path: str) -> str:
    """A part of the same kind that does not go together with the plan, or at least costs something else."""
    holdings = seed_library().holdings
    chosen = holdings.catalog.parts[proposed().choices[path].part or ""]
    return next(
        part
        for part in orderable(seed_library(), chosen.kind)
        if part != chosen.id and holdings.catalog.parts[part].specs != chosen.specs
    )


def fresh_paths() -> list[str]:
    """Fresh positions at which another part of the kind is on sale."""
    found = []
    for path, choice in proposed().choices.items():
        if choice.state is State.FRESH:
            try:
                other_part(path)
            except StopIteration:
                continue
            found.append(path)
    return found


def test_another_part_anywhere_is_noticed() -> None:
    paths = fresh_paths()
    assert len(paths) > 20
    for path in paths[::3]:
        assert "do not agree" in refusal(with_choice(path, Choice(State.FRESH, other_part(path))))


def test_an_old_part_left_in_is_noticed() -> None:
    vehicle = seed_library().holdings.catalog.vehicles["hill-patrol"]
    for path in ("front/gear-set", "front/left/wheel"):
        assert proposed().choices[path].state is State.FRESH
        said = refusal(with_choice(path, Choice(State.RECEIVED, vehicle.parts[path])))
        assert "clashes by" in said


def test_a_needed_part_left_out_is_noticed() -> None:
    said = refusal(with_choice("front/gear-set", Choice(State.EMPTIED, None)))
    assert "front/gear-set is left empty, which its role does not allow." in said


def test_what_must_be_there_may_go_only_where_it_was_asked_out() -> None:
    holdings = seed_library().holdings
    ask = Ask(vehicle="hill-patrol", remove=("spare-*",))
    found = Searcher(holdings.model, holdings.catalog).propose(ask)
    assert isinstance(found, Proposal)
    assert not holdings.model.roles["SpareWheelRole"].may_be_empty
    prover().prove(ask, found)
    asked_less = {path: wishes for path, wishes in found.asked.items() if path != "spare-wheel"}
    with pytest.raises(Disproved) as caught:
        prover().prove(ask, replace(found, asked=asked_less))
    assert "spare-wheel is left empty, which its role does not allow." in str(caught.value)
    assert "spare-tyre" not in str(caught.value)


def test_miscounted_costs_are_noticed() -> None:
    cost = proposed().cost
    for name, wrong in (("unsafe", cost.unsafe + 1), ("extra", cost.extra - 1), ("unknown", cost.unknown + 1)):
        said = refusal(lambda found, n=name, w=wrong: replace(found, cost=replace(found.cost, **{n: w})))  # type: ignore[misc]
        assert f"The search counts {wrong}" in said
    said = refusal(lambda found: replace(found, cost=replace(found.cost, money=found.cost.money - Decimal("0.01"))))
    assert "money" in said


def test_a_mending_that_mends_nothing_is_noticed() -> None:
    model = seed_library().model
    kind = next(k for k in model.joint_kinds.values() if any(c.remedies for c in k.criteria))
    criterion = next(c for c in kind.criteria if c.remedies)
    layout = model.layouts["two-beam-axles"]
    joint = next(j for j in layout.joints if j.joint_kind == kind.id)
    idle = Mending(joint.id, criterion.id, criterion.remedies[0], None)
    assert "does not mend" in refusal(lambda found: replace(found, mendings=(*found.mendings, idle)))


def test_what_is_not_on_record_is_noticed() -> None:
    assert "no-such-part" in refusal(with_choice("front/gear-set", Choice(State.FRESH, "no-such-part")))
    assert "front/gear-set" in refusal(
        lambda found: replace(found, choices={p: c for p, c in found.choices.items() if p != "front/gear-set"})
    )
    wheel = proposed().choices["front/left/wheel"].part
    assert "not of the kind" in refusal(with_choice("front/gear-set", Choice(State.FRESH, wheel)))
    said = refusal(with_choice("rear/housing", Choice(State.RECEIVED, proposed().choices["front/housing"].part)))
    assert "not the part that was received" in said


# ------------------------------------------------------------------ the graph, and many at once


def test_the_proof_as_rdf_names_the_rule_of_every_verdict() -> None:
    text = prover().graph(asked(), proposed(), "application/n-triples")
    triples = [quad.triple for quad in parse(text, format=FORMATS["application/n-triples"])]
    judged = {t.subject for t in triples if t.predicate.value == DEF + "hasVerdict"}
    named = {t.subject for t in triples if t.predicate.value.endswith("#wasGeneratedBy")}
    assert judged == named
    assert len(judged) > 300
    assert text == prover().graph(asked(), proposed(), "application/n-triples")


def test_proofs_do_not_disturb_each_other() -> None:
    other = Ask(vehicle="trail-wagon", fit=(Fit(at="brake-booster", part="bb-82-55"),))
    holdings = seed_library().holdings
    found = Searcher(holdings.model, holdings.catalog).propose(other)
    assert isinstance(found, Proposal)
    expected = prover().prove(other, found)
    jobs = [(asked(), proposed(), proof()), (other, found, expected)] * 4
    with ThreadPoolExecutor(max_workers=4) as pool:
        proofs = list(pool.map(lambda job: prover().prove(job[0], job[1]), jobs))
    assert proofs == [job[2] for job in jobs]


def test_the_desk_answers_with_a_proved_plan() -> None:
    assert json.loads(ASK.read_text())["vehicle"] == "hill-patrol"
    assert seed_desk().plan_graph(asked(), "text/turtle").startswith(b"@prefix")
