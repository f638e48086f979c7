"""Causes, forced changes and ruled-out parts are true of the plan, by the reference's reading."""

from hypothesis import HealthCheck, given, settings

from crosspin.knockon.explain import RULED_OUT_LIMIT
from crosspin.knockon.proposal import Cause, Proposal, State
from crosspin.knockon.search import propose
from search.answers import plan, plan_of, rank, reference
from search.reference import Held, Plan, Reference
from search.worlds import World, worlds

SLOW = [HealthCheck.too_slow, HealthCheck.filter_too_much]


def changed(found: Proposal) -> list[str]:
    return [path for path, choice in found.choices.items() if choice.state is not State.RECEIVED]


def asked(found: Proposal) -> set[str]:
    return {path for path, ids in found.asked.items() if any(not i.startswith("keep/") for i in ids)}


def speaks_against(ref: Reference, found: Proposal, path: str, instead: Held, cause: Cause) -> bool:
    """Whether the rule that a cause names forbids, leaves unsafe or loses by that instead of the plan's choice."""
    chosen = plan(ref, found)
    changed_plan = {**chosen, path: instead}
    for joint in ref.layout["joints"]:
        if joint["id"] == cause.rule:
            assert {joint["left"], joint["right"]} == {path, cause.source}
            cost = ref.joint_cost(joint, changed_plan[joint["left"]], changed_plan[joint["right"]])
            assert cause.criterion is not None
            return cost is None or cost[0] > 0
    for pairing in ref.layout["pairings"]:
        if pairing["id"] == cause.rule:
            assert {pairing["when"], pairing["then"]} == {path, cause.source}
            return ref.pairing_cost(pairing, changed_plan[pairing["when"]], changed_plan[pairing["then"]]) is None
    if "/for/" in cause.rule:
        name, _, change = cause.rule.partition("/for/")
        (pairing,) = (p for p in ref.layout["pairings"] if p["id"] == name)
        assert {change, pairing["then"]} == {path, cause.source}
        assert pairing["when"] in ref.comes_off[change]
        rule = ref.model["renewals"][pairing["rule"]]
        return ref.disturbed_cost(rule, changed_plan[change], changed_plan[pairing["then"]]) is None
    if cause.rule in ref.model["functions"]:
        return loses(ref, found, changed_plan, cause)
    return exceeded(ref, changed_plan, cause.rule) and takes_part(ref, changed_plan, chosen, cause)


def loses(ref: Reference, found: Proposal, changed_plan: Plan, cause: Cause) -> bool:
    """Whether the source gave the function, and a place loses it that has it in the plan, without whatever else gives
    it that nobody asked for."""
    chosen = plan(ref, found)
    others: Plan = {
        path: ("received", ref.was[path])
        for path in found.causes
        if chosen[path] == changed_plan[path] and not ref.gives(cause.rule, ref.was[path])
    }
    without: Plan = {**changed_plan, **others}
    return ref.gives(cause.rule, ref.was[cause.source]) and any(
        any(ref.gives(cause.rule, chosen[path][1]) for path in paths)
        and not any(ref.gives(cause.rule, without[path][1]) for path in paths)
        for function, paths in ref.had()
        if function == cause.rule
    )


def exceeded(ref: Reference, chosen: Plan, resource: str) -> bool:
    shares = [ref.takes_part(ref.model["resources"][resource], part) for _, part in chosen.values()]
    return sum(net for _, _, net in shares) > 0 and not any(missing for _, missing, _ in shares)


def takes_part(ref: Reference, changed_plan: Plan, chosen: Plan, cause: Cause) -> bool:
    """Whether the source takes part in the resource, as it was, in the plan or in the changed plan."""
    parts = [ref.was[cause.source], chosen[cause.source][1], changed_plan[cause.source][1]]
    return any(ref.takes_part(ref.model["resources"][cause.rule], part)[0] for part in parts)


@settings(max_examples=150, deadline=None, suppress_health_check=SLOW)
@given(worlds())
def test_every_chain_of_first_links_ends_at_an_asked_position(world: World) -> None:
    found = plan_of(world)
    assert set(found.causes) == set(changed(found)) - asked(found)
    for path in found.causes:
        seen = {path}
        while path not in asked(found):
            path = found.causes[path][0].source
            assert path not in seen
            seen.add(path)
        assert found.choices[path].state is not State.RECEIVED


@settings(max_examples=150, deadline=None, suppress_health_check=SLOW)
@given(worlds())
def test_every_cause_speaks_against_the_received_state(world: World) -> None:
    found = plan_of(world)
    ref = reference(world)
    for path, causes in found.causes.items():
        assert len(set(causes)) == len(causes)
        for cause in causes:
            assert speaks_against(ref, found, path, ("received", ref.was[path]), cause)


@settings(max_examples=100, deadline=None, suppress_health_check=SLOW)
@given(worlds(most_roles=6, most_parts=5))
def test_forced_and_ruled_out_are_in_no_plan(world: World) -> None:
    found = plan_of(world)
    ref = reference(world)
    wishes = ref.every_wish()
    for path in changed(found):
        stays = ref.solve(force={path: ("received", ref.was[path])})
        assert (path in found.forced) == (stays is None)
        hopeless = {part for state, part in ref.domain(path, wishes) if state == "fresh"}
        hopeless -= {a.choice.part for a in found.alternatives[path] if a.choice.state is State.FRESH}
        hopeless.discard(found.choices[path].part)
        told = found.ruled_out[path]
        assert len(told) == min(len(hopeless), RULED_OUT_LIMIT)
        for out in told:
            assert out.part in hopeless
            assert ref.solve(force={path: ("fresh", out.part)}) is None
            assert out.against
            for cause in out.against:
                assert speaks_against(ref, found, path, ("fresh", out.part), cause)


@settings(max_examples=60, deadline=None, suppress_health_check=SLOW)
@given(worlds(most_roles=6, most_parts=5))
def test_forcing_a_choice_gives_the_plan_that_the_alternative_promises(world: World) -> None:
    found = plan_of(world)
    ref = reference(world)
    for path, alternatives in found.alternatives.items():
        for alternative in alternatives:
            forced = propose(world.model, world.catalog, world.ask, force={path: alternative.choice})
            assert isinstance(forced, Proposal)
            assert forced.choices[path] == alternative.choice
            assert forced.cost == alternative.cost
            assert ref.rank(plan(ref, forced), ref.every_wish()) == rank(forced.cost)


@settings(max_examples=60, deadline=None, suppress_health_check=SLOW)
@given(worlds())
def test_mendings_are_of_joints_that_the_plan_makes(world: World) -> None:
    found = plan_of(world)
    joints = {joint.id: joint for joint in world.model.layouts["l"].joints}
    for mending in found.mendings:
        joint = joints[mending.joint]
        kind = world.model.joint_kinds[joint.joint_kind]
        criterion = next(c for c in kind.criteria if c.id == mending.criterion)
        assert mending.remedy in criterion.remedies
        assert State.FRESH in {found.choices[joint.left].state, found.choices[joint.right].state}
        takes_adapter = world.model.remedies[mending.remedy].adapter_kind is not None
        assert (mending.adapter is not None) == takes_adapter
