"""Why a rule did not speak: its conditions in order, with values, up to the first that failed."""

from functools import cache

import pytest

from api_client import seed_client
from crosspin.cli import main
from crosspin.knockon.ask import Ask, Fit
from crosspin.knockon.functions import place_of
from crosspin.knockon.proposal import Proposal
from crosspin.knockon.search import Searcher
from crosspin.rules.proof import Proof
from crosspin.rules.trial import NoSuchRule, Place, Tried, WhyNot
from seed import seed_desk, seed_library
from test_rules_prover import ASK, asked, proof, proposed, prover

LIFTED = Ask(vehicle="farm-hauler", fit=(Fit(at="front/*/spring", part="co-103-620-50"),))
REAR_LIFTED = Ask(vehicle="farm-hauler", fit=(Fit(at="rear/*/spring", part="co-103-1020-50"),))
LAMPS = {"light-bar": "lb-27", "work-lights": "wl-17", "socket": "sk-15", "beacon": "be-35"}
LIT = Ask(vehicle="farm-hauler", fit=tuple(Fit(at=at, part=part) for at, part in LAMPS.items()), keep=("radio",))
UNLOCKED = Ask(vehicle="trail-wagon", fit=(Fit(at="rear/carrier", kind="OpenCarrier"),))
LOCKED = Ask(vehicle="farm-hauler", fit=(Fit(at="front/carrier", kind="AirLocker"),))
MENDED = Ask(vehicle="hill-patrol", fit=(Fit(at="rear/right/hub", part="rb-8x1651-1213-52-l"),))


def why_not(rule: str, about: str | None = None) -> WhyNot:
    return prover().why_not(asked(), proposed(), rule, about)


def spoke_at(rule: str) -> set[str]:
    try:
        return {place.at for place in why_not(rule).places if place.spoke}
    except NoSuchRule as error:
        assert "it looks at: no place of this vehicle" in str(error)
        return set()


def test_a_rule_is_said_to_speak_where_the_proof_has_it_speaking() -> None:
    """The reasons are found by other means than the proof, so that each checks the other."""
    model, proved = seed_library().model, proof()
    judged = {name for name, joint in proved.joints.items() if joint.judged}
    for rule in model.joint_kinds:
        assert {f"{rule}/{at}" for at in spoke_at(rule)} == {j for j in judged if j.startswith(f"{rule}/")}, rule
    for rule in (*model.needs, *model.renewals):
        assert {f"{rule}/{at}" for at in spoke_at(rule)} == {n for n in proved.needs if n.startswith(f"{rule}/")}, rule
    for rule in model.consequences:
        assert spoke_at(rule) == {o.position for o in proved.outcomes if o.consequence == rule}, rule
    for rule in model.resources:
        assert bool(spoke_at(rule)) is any(r.judged for r in proved.resources.values() if r.resource == rule), rule


def test_where_a_rule_did_not_speak_the_last_condition_failed_and_no_other() -> None:
    for rule in ("innerShaftInSideGear", "airLockerNeedsBrakeTube", "freshWheelIsTightened", "drillAirPort"):
        for place in why_not(rule).places:
            held = [tried.holds is not False for tried in place.conditions]
            if place.spoke:
                assert place.failed is None
            else:
                assert held == [True] * (len(held) - 1) + [False]
                assert place.failed == place.conditions[-1]
                assert place.failed.found


@cache
def searcher() -> Searcher:
    holdings = seed_library().holdings
    return Searcher(holdings.model, holdings.catalog)


@cache
def found_for(ask: Ask) -> Proposal:
    found = searcher().propose(ask)
    assert isinstance(found, Proposal)
    return found


def mended() -> Proposal:
    return found_for(MENDED)


@pytest.mark.parametrize("ask", [MENDED, LIFTED, REAR_LIFTED])
def test_a_remedy_is_said_to_mend_where_the_plan_takes_it(ask: Ask) -> None:
    taken = {(m.remedy, m.joint.partition("/")[2]) for m in found_for(ask).mendings}
    assert taken
    told = set()
    for rule in seed_library().model.remedies:
        try:
            places = prover().why_not(ask, found_for(ask), rule).places
        except LookupError:
            continue
        told |= {(rule, place.at) for place in places if place.spoke}
        assert all(place.spoke or place.failed for place in places)
    assert told == taken


def test_the_first_condition_that_failed_is_told_with_the_value() -> None:
    (place,) = why_not("fitFlangeAdapter", "front/propshaft").places
    assert place.failed is not None
    assert place.failed.condition == "propshaftHeadOnFlange-pitchCircle clashes, both readings being known"
    assert place.failed.found.endswith(": fits")
    (line,) = why_not("airLockerNeedsBrakeTube", "rear/carrier").places
    assert line.failed is not None
    assert line.failed.condition == "the part at rear/carrier is new, or rear/air-line is changed"
    assert line.failed.found == "neither"


PLANS = pytest.mark.parametrize("ask", [asked(), LIFTED, REAR_LIFTED, LIT, UNLOCKED, LOCKED])


def judged(ask: Ask, rule: str) -> dict[str, Place]:
    """The places at which a rule spoke, under the names that the proof has for them."""
    try:
        places = prover().why_not(ask, found_for(ask), rule).places
    except NoSuchRule as error:
        assert "it looks at: no place of this vehicle" in str(error)
        return {}
    assert all(place.spoke or place.failed for place in places)
    return {place.at: place for place in places if place.spoke}


def said(place: Place) -> dict[str, Tried]:
    return {tried.condition: tried for tried in place.conditions}


@cache
def proved(ask: Ask) -> Proof:
    return prover().prove(ask, found_for(ask))


@PLANS
def test_every_limit_is_said_to_speak_where_the_proof_judges_by_it(ask: Ask) -> None:
    """Formulas and limits are gone through again here, while the proof is read off what the rules derived."""
    findings = {(name, f.criterion): f for name, figure in proved(ask).figures.items() for f in figure.findings}
    for figure in seed_library().model.figures.values():
        spoke = set()
        for limit in figure.limits:
            for at, place in judged(ask, limit.id).items():
                name = f"{figure.id}/{at}"
                finding, conditions = findings[name, limit.id], said(place)
                spoke.add((name, limit.id))
                assert conditions[f"judged by {limit.id}"].found.endswith(f": {finding.verdict}")
                already = conditions.get("it was beyond it already, and no less")
                assert (already is not None and already.holds is True) is finding.so_already
                cured = conditions.get("a remedy brings it back")
                assert (cured.found if cured is not None else None) == finding.remedy
        assert spoke == {pair for pair in findings if pair[0].startswith(f"{figure.id}/")}, figure.id
        if figure.limits:
            assert {f"{figure.id}/{at}" for at in judged(ask, figure.id)} == {name for name, _ in spoke}


@PLANS
def test_every_triggered_need_is_said_to_speak_where_the_proof_has_it_speaking(ask: Ask) -> None:
    for need in seed_library().model.figure_needs.values():
        named = {f"{need.id}/{need.figure}/{at}" for at in judged(ask, need.id)}
        assert named == {name for name, found in proved(ask).needs.items() if found.rule == need.id}


@PLANS
def test_every_function_is_said_to_speak_where_the_proof_has_it_lost_or_gained(ask: Ask) -> None:
    positions = {p.path: p for p in seed_library().model.layouts["two-beam-axles"].positions}
    for function in seed_library().model.functions.values():
        moved = [f for f in (*proved(ask).lost, *proved(ask).gained) if f.function == function.id]
        places = {place_of(function, positions[path]) for found in moved for path in found.paths}
        names = {"/".join(filter(None, (place.station, place.side))) or "the vehicle" for place in places}
        assert set(judged(ask, function.id)) == names


# Rules that are written as queries: their clauses in order, over all that lower layers derive.
def test_a_written_rule_is_followed_clause_by_clause() -> None:
    told = why_not("bringByMendingLeft")
    (place,) = told.places
    assert not told.spoke
    assert place.failed is not None
    assert place.failed.condition.endswith("<https://crosspin.example/def/Mending>")
    assert prover().why_not(MENDED, mended(), "bringByMendingLeft").spoke is True
    old = why_not("bringByFresh", "transfer-case")
    (place,) = old.places
    assert place.failed is not None
    assert place.failed.condition == "?this cp:isFresh true"
    assert place.failed.found == "none of this = plan/proposed/at/transfer-case"


def test_every_written_rule_is_said_to_speak_where_it_derived_something() -> None:
    derived = {fact.rule for fact in seed_desk().derivations(asked()).facts}
    rules = [rule for rule in seed_library().model.rules.values() if rule.layer >= 10]
    for rule in rules[::12]:
        spoke = why_not(rule.id).spoke
        assert spoke or rule.id not in derived, rule.id


@pytest.mark.parametrize("rule", ["noSuchRule", "torqueCaution", "front/carrier"])
def test_what_is_no_rule_is_refused(rule: str) -> None:
    with pytest.raises(NoSuchRule, match="there is no rule"):
        why_not(rule)


def test_a_place_that_a_rule_does_not_look_at_is_refused() -> None:
    with pytest.raises(NoSuchRule, match="it looks at: front/left/inner-shaft--front/carrier"):
        why_not("innerShaftInSideGear", "steering-pump")


def test_the_service_and_the_command_say_why_not(capsys: pytest.CaptureFixture[str]) -> None:
    params = {"rule": "freshWheelIsTightened", "about": "front/left/wheel"}
    headers = {"Content-Type": "application/json"}
    reply = seed_client().post("/v1/knock-on/why-not", content=ASK.read_bytes(), headers=headers, params=params)
    assert WhyNot.model_validate_json(reply.content) == why_not("freshWheelIsTightened", "front/left/wheel")
    unknown = seed_client().post(
        "/v1/knock-on/why-not", content=ASK.read_bytes(), headers=headers, params={"rule": "noSuchRule"}
    )
    assert unknown.status_code == 404
    assert main(["why-not", str(ASK), "--rule", "bringByFresh", "--about", "transfer-case"]) == 0
    told = capsys.readouterr().out
    assert "It did not speak." in told
    assert "no    ?this cp:isFresh true: none of this = plan/proposed/at/transfer-case" in told
