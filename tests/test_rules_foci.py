"""What follows from a plan is the same whether the rules are run for what it changes or for all of it."""

from collections.abc import Callable, Collection, Iterable, Iterator
from decimal import Decimal
from functools import cache
from random import Random

import pytest
from pyoxigraph import NamedNode, Quad, Store, Triple

from crosspin.knockon.proposal import Choice, Cost, Mending, Proposal, State
from crosspin.model.schema import Vehicle
from crosspin.rules import reasoner as reasoners
from crosspin.rules.foci import Change, Foci, Spread
from crosspin.rules.plan_graph import PlanGraph
from crosspin.rules.reasoner import Difference, Origin, Reasoner, Subject
from crosspin.rules.trace import by_focus
from crosspin.store.infer import Rule, as_quads
from seed import seed_library

VEHICLES = ("farm-hauler", "hill-patrol", "orchard-runabout", "trail-wagon")


@cache
def plans() -> PlanGraph:
    holdings = seed_library().holdings
    return PlanGraph(holdings.model, holdings.catalog)


@cache
def reasoner() -> Reasoner:
    return Reasoner(seed_library().graph, 1)


@cache
def origin(vehicle: str) -> Origin:
    return reasoner().origin(plans().unchanged(seed_library().holdings.catalog.vehicles[vehicle]))


def any_plan(random: Random, vehicle: Vehicle, changes: int) -> Proposal:
    """Other parts of the kind, or none, at some positions, and remedies at some joints; it need not be a good plan."""
    holdings = seed_library().holdings
    model, catalog = holdings.model, holdings.catalog
    layout = model.layouts[vehicle.layout]
    choices = {p.path: Choice(State.RECEIVED, vehicle.parts.get(p.path)) for p in layout.positions}
    offers = {
        p.path: [alike.cheapest.part for alike in catalog.classes(model, model.roles[p.role].kind)]
        for p in layout.positions
    }
    eligible = [p for p in layout.positions if offers[p.path] or p.path in vehicle.parts]
    for position in random.sample(eligible, changes):
        parts = offers[position.path]
        if parts and (position.path not in vehicle.parts or random.random() < 0.8):
            choices[position.path] = Choice(State.FRESH, random.choice(parts))
        else:
            choices[position.path] = Choice(State.EMPTIED, None)
    changed = {path for path, choice in choices.items() if choice.state is State.FRESH}
    mendable = [
        Mending(joint.id, criterion.id, remedy, None)
        for joint in layout.joints
        if {joint.left, joint.right} & changed
        for criterion in model.joint_kinds[joint.joint_kind].criteria
        for remedy in criterion.remedies
    ]
    return Proposal(
        choices=choices,
        asked={path: (random.choice(("fit/0", "remove/0")),) for path in sorted(changed)},
        mendings=tuple(random.sample(mendable, min(2, len(mendable)))),
        cost=Cost(0, 0, 0, 0, Decimal(0)),
        causes={},
        forced=frozenset(),
        alternatives={},
        ruled_out={},
    )


def nothing(_: Iterable[Quad]) -> Collection[Subject]:
    return ()


def every_other(derived: Iterable[Quad]) -> Collection[Subject]:
    """Half of the contacts, as if the rules had spoken of them before."""
    contacts = {quad.subject for quad in derived if quad.predicate.value.endswith("/ofJoint")}
    return set(sorted(contacts, key=str)[::2])


@pytest.mark.parametrize("known", [nothing, every_other])
@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("vehicle", VEHICLES)
def test_what_follows_is_the_same(
    vehicle: str,
    seed: int,
    known: Callable[[Iterable[Quad]], Collection[Subject]],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    random = Random(f"{vehicle} {seed}")
    monkeypatch.setattr(reasoners, "_MOST_CHANGED", 1000)
    monkeypatch.setattr(reasoners, "_MOST_FOCI", random.choice((3, 30, 1000)))
    received = seed_library().holdings.catalog.vehicles[vehicle]
    written = plans().proposed(received, any_plan(random, received, changes=random.choice((1, 2, 5, 12))))
    derived = reasoner().derive(written, known)
    whole = {*as_quads(written.build), *(quad for _, quads in derived for quad in quads)}
    difference = reasoner().difference(origin(vehicle), written, known)
    assert difference.more, "the plan changes something"
    assert (set(origin(vehicle).holds) - set(difference.less)) | set(difference.more) == whole
    assert not set(difference.more) & set(origin(vehicle).holds)
    assert set(difference.less) <= set(origin(vehicle).holds)


def test_a_plan_that_changes_nothing_adds_nothing() -> None:
    difference = reasoner().difference(origin("hill-patrol"), origin("hill-patrol").written, nothing)
    assert difference == Difference([], [])


def test_the_rules_that_ship_need_not_be_run_for_all() -> None:
    """Each has a way from all that it looks at to its focus; else one changed part would cost as much as a plan."""
    assert origin("hill-patrol")
    graph = seed_library().graph.quads
    change = Change(Store())
    assert all(Foci(rule, Spread(graph)).reached(change) == set() for rule in reasoner()._of_builds)


# ---------------------------------------------------------------------- rules made up at random

_NS = "https://crosspin.example/any/"
_NODES = [NamedNode(f"{_NS}n{number}") for number in range(6)]
_PROPERTIES = [NamedNode(f"{_NS}p{number}") for number in range(3)]
_TYPE = NamedNode("http://www.w3.org/1999/02/22-rdf-syntax-ns#type")
_CLASS = NamedNode(f"{_NS}Class")


def any_graph(random: Random) -> set[Triple]:
    members = {Triple(node, _TYPE, _CLASS) for node in random.sample(_NODES, 5)}
    return members | {
        Triple(random.choice(_NODES), random.choice(_PROPERTIES), random.choice([*_NODES, *_PROPERTIES]))
        for _ in range(random.randrange(10, 30))
    }


def any_patterns(random: Random, variables: list[str], count: int) -> Iterator[str]:
    """Patterns that hang together: each has a variable that was there before."""
    for _ in range(count):
        known, new = random.choice(variables), f"?v{len(variables)}"
        other = random.choice([new, new, random.choice(variables), str(random.choice(_NODES))])
        kinds = [str(random.choice(_PROPERTIES))] * 4 + [v for v in variables if v != "?this"]
        ends = (known, other) if random.random() < 0.6 else (other, known)
        if other == new:
            variables.append(new)
        yield f"{ends[0]} {random.choice(kinds)} {ends[1]} ."


def any_rule(random: Random) -> Rule:
    variables = ["?this"]
    body = list(any_patterns(random, variables, random.randrange(1, 4)))
    head = random.choice(variables)
    for _ in range(random.randrange(3)):
        inner = [*variables]
        denied = list(any_patterns(random, inner, random.randrange(1, 3)))
        if random.random() < 0.5:
            deeper = " ".join(any_patterns(random, [*inner], random.randrange(1, 3)))
            denied.append(f"FILTER NOT EXISTS {{ {deeper} }}")
        body.append(f"FILTER NOT EXISTS {{ {' '.join(denied)} }}")
    if random.random() < 0.3:
        body.append(f"FILTER ({random.choice(variables)} != {random.choice(_NODES)})")
    head_text = f"?this <{_NS}says> {head} ."
    query = f"CONSTRUCT {{ {head_text} }} WHERE {{ ?this a {_CLASS} . {' '.join(body)} }}"
    return Rule(f"{_NS}rule", _CLASS.value, Decimal(10), query)


def in_store(triples: Iterable[Triple]) -> Store:
    store = Store()
    store.extend(as_quads(triples))
    return store


@pytest.mark.parametrize("block", range(6))
def test_no_focus_node_is_missed(block: int) -> None:
    """For any rule of the profile and any two graphs, whatever says something else is reached."""
    random = Random(block)
    differed = 0  # not all changes bear on the rule
    while differed < 50:
        rule, before = any_rule(random), any_graph(random)
        after = (before - set(random.sample(sorted(before, key=str), 3))) | set(
            random.sample(sorted(any_graph(random), key=str), random.randrange(3))
        )
        was, now = by_focus(in_store(before), rule), by_focus(in_store(after), rule)
        change = Change(in_store(after))
        change.note(as_quads(after - before))
        change.note(as_quads(before - after), gone=True)
        reached = Foci(rule, Spread(in_store(before))).reached(change)
        says = {node for node in {**was, **now} if set(was.get(node, ())) != set(now.get(node, ()))}
        assert reached is None or says <= reached, rule.query
        differed += bool(says) and reached is not None


@pytest.mark.parametrize(
    "body",
    [
        "OPTIONAL { ?this <p:a> ?b }",
        "{ ?this <p:a> ?b } UNION { ?this <p:b> ?b }",
        "?this <p:a>/<p:b> ?b .",
        "?this <p:a> ?b . MINUS { ?b <p:b> ?c }",
        "?this <p:a> ?b . FILTER EXISTS { ?b <p:b> ?c }",
        "?this <p:a> ?b . FILTER (?b = ?b || NOT EXISTS { ?b <p:b> ?c })",
        "?this <p:a> ?b . ?c <p:b> ?d .",
    ],
)
def test_all_are_reached_where_a_rule_does_not_keep_to_the_profile_or_hang_together(body: str) -> None:
    query = f"CONSTRUCT {{ ?this <p:says> ?b }} WHERE {{ ?this a <p:Class> . {body} }}"
    rule = Rule("p:rule", "p:Class", Decimal(10), query)
    assert Foci(rule, Spread(Store())).reached(Change(Store())) is None


def test_a_plan_that_changes_much_comes_to_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is reasoned about anew."""
    received = seed_library().holdings.catalog.vehicles["trail-wagon"]
    written = plans().proposed(received, any_plan(Random(7), received, changes=20))
    told = []
    for most in (0, 1000):
        monkeypatch.setattr(reasoners, "_MOST_CHANGED", most)
        difference = reasoner().difference(origin("trail-wagon"), written, nothing)
        told.append((set(difference.more), set(difference.less)))
    assert told[0] == told[1]
    assert told[0][0]
