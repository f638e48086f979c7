"""Runs the rules over builds written as RDF, and keeps between builds what holds for every one of them.

What follows from a part alone (which kinds it passes for, which conditions it meets) is derived once and
stays.  What follows from a contact rests on nothing but its joint kind, the two parts, which of them are
fresh, and the mendings at it; so whoever knows that already can leave a contact out.

A plan leaves most of a vehicle as it came.  What the rules say of a vehicle is derived once, rule by rule and focus
node by focus node, and kept as an `Origin`.  For a plan, each rule is run, in its turn, for the focus nodes that the
plan can reach only (`foci`); for all others it says what it said of the vehicle, which is put in place in the same
turn.  So each rule sees the graph that it would see if all were run anew, and what follows is the same.
"""

from collections.abc import Callable, Collection, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import chain
from threading import Condition
from typing import TypeAlias

from pyoxigraph import BlankNode, Literal, NamedNode, Quad, Triple

from crosspin.model.records import TYPE, cp
from crosspin.model.terms import term, thing
from crosspin.model.written_rule import WrittenRule
from crosspin.rules.foci import Change, Foci, Node, Spread
from crosspin.rules.plan_graph import Written
from crosspin.rules.trace import Trace, by_focus, trace
from crosspin.rules.trial import WhyNot
from crosspin.rules.why_not_written import why_not_written
from crosspin.store.graph import DERIVED, ONTOLOGY, GraphStore
from crosspin.store.infer import FIRST_BUILD_ORDER, SH, Rule, Trial, Workspace, as_quads, read_rules

_MOST_KEPT_PARTS = 20_000
_MOST_FOCI = 30
"""Where a change reaches more focus nodes of a rule, it is run for all of them."""
_MOST_CHANGED = 15
"""Where a build differs in more pieces from another, it is quicker to reason about it anew."""
_LEAST_ROOMS = 4
_CONTACT = cp("Contact")
_PART = cp("Part")

Subject: TypeAlias = NamedNode | BlankNode | Triple
Derived: TypeAlias = list[tuple[Rule, list[Quad]]]
"""What each rule derived, in running order; a triple is told by the rule that derived it first."""


@dataclass(frozen=True, slots=True)
class Origin:
    """A build that others differ little from, with what each rule on builds, in running order, derives for each focus
    node.

    A rule for which that cannot be told has all under one node that is none (None).  `holds` is the build with all
    that follows from it.
    """

    written: Written
    derived: list[dict[Node | None, list[Quad]]]
    holds: dict[Quad, None]


@dataclass(frozen=True, slots=True)
class Difference:
    """What a build and all that follows from it has beside an origin, and what it has not."""

    more: list[Quad]
    less: list[Quad]


@dataclass(slots=True, eq=False)
class _Room:
    """A workspace, what it knows of parts, by id, and the origin whose build it holds meanwhile."""

    workspace: Workspace
    parts: dict[str, tuple[Triple, ...]] = field(default_factory=dict)
    origin: Origin | None = None

    def stand_at(self, origin: Origin | None) -> None:
        """Hold the build of this origin, or none."""
        if self.origin is not origin:
            if self.origin is not None:
                self.workspace.drop(self.origin.written.build)
            self.origin = origin
            if origin is not None:
                self.workspace.keep(origin.written.build)


class _Rooms:
    """The rooms, of which `at_once` may be taken at a time.

    They are made when they are wanted: four, or `at_once` where that is more, so that as many vehicles may be asked
    about in turn.  Each holds the whole ontology, some 40,000 triples in 12 MB.
    """

    def __init__(self, ground: list[Quad], at_once: int) -> None:
        self._ground = ground
        self._idle: list[_Room] = []
        self._more = max(at_once, _LEAST_ROOMS)
        self._at_once = at_once
        self._freed = Condition()

    @contextmanager
    def one(self, origin: Origin | None = None) -> Iterator[_Room]:
        """A room while the context lasts: one that holds this origin, else a new one, else the one idle longest."""
        with self._freed:
            self._freed.wait_for(lambda: self._at_once > 0)
            self._at_once -= 1
            room = next((room for room in self._idle if room.origin is origin), None)
            if room is None and self._more == 0:
                room = self._idle[0]
            if room is not None:
                self._idle.remove(room)
            else:
                self._more -= 1
        room = room or _Room(Workspace(self._ground))
        try:
            yield room
        finally:
            with self._freed:
                self._idle.append(room)
                self._at_once += 1
                self._freed.notify()


class Reasoner:
    """The ontology with its rules.  Safe to share between threads.

    Each build is reasoned about in a room of its own; at most `at_once` are in use, and more builds wait for one.
    """

    def __init__(self, graph: GraphStore, at_once: int) -> None:
        self._ground = list(_ground(graph))
        rules = [rule for rule in read_rules(graph.quads) if rule.order >= FIRST_BUILD_ORDER]
        self._in_order = rules
        of_builds = [rule for rule in rules if rule.target != _PART.value]
        first = min((rule.order for rule in of_builds if rule.target == _CONTACT.value), default=Decimal("Infinity"))
        self._on_parts = [rule for rule in rules if rule.target == _PART.value]
        self._on_builds = [rule for rule in of_builds if rule.order < first]
        self._beyond_contacts = [rule for rule in of_builds if rule.order >= first]
        self._of_builds = [*self._on_builds, *self._beyond_contacts]
        self._foci: list[Foci] | None = None
        self._rooms = _Rooms(self._ground, at_once)

    def derive(self, written: Written, known: Callable[[Iterable[Quad]], Collection[Subject]] | None = None) -> Derived:
        """What follows from a build, beside what follows from each of its parts alone.

        `known` is shown what follows up to the contacts that the build makes, and says which of these need not be
        reasoned about; without it, all are.
        """
        derived: Derived = []
        with self._rooms.one() as room:
            self._learn(room, written)
            workspace = room.workspace

            def note(rule: Rule, fresh: list[Quad]) -> None:
                derived.append((rule, fresh))

            room.stand_at(None)
            with workspace.suppose(written.build, self._on_builds, note):
                rest: Iterable[Rule] = self._beyond_contacts
                if known is not None:
                    rest = self._leaving_out(known(chain.from_iterable(quads for _, quads in derived)), derived)
                with workspace.suppose((), rest, note):
                    return derived

    def _leaving_out(self, known: Collection[Subject], derived: Derived) -> Iterator[Rule]:
        """The rules beyond contacts, those on contacts for the ones only that are not known; `derived` grows
        meanwhile: an adapter makes contacts too."""
        contacts: dict[Subject, None] = {}
        seen = 0
        for rule in self._beyond_contacts:
            for _, quads in derived[seen:]:
                new = (q.subject for q in quads if q.predicate == TYPE and q.object == _CONTACT)
                contacts.update((node, None) for node in new if node not in known)
            seen = len(derived)
            yield rule.about(contacts) if rule.target == _CONTACT.value else rule

    def origin(self, written: Written) -> Origin:
        """What follows from a build, to start from for those that differ little from it."""
        with self._rooms.one() as room:
            self._learn(room, written)
            room.stand_at(None)
            derived: list[dict[Node | None, list[Quad]]] = []
            with room.workspace.trial() as trial:
                holds = dict.fromkeys(trial.add(as_quads(written.build)))
                for rule in self._of_builds:
                    quads = as_quads(room.workspace.derive(rule))
                    each = {node: as_quads(triples) for node, triples in by_focus(trial.store, rule).items()}
                    told = set(chain.from_iterable(each.values())) == set(quads)
                    derived.append(dict(each.items()) if told else {None: quads})
                    holds.update(dict.fromkeys(trial.add(quads)))
                if self._foci is None:
                    spread = Spread(trial.store)
                    self._foci = [Foci(rule, spread) for rule in self._of_builds]
            return Origin(written, derived, holds)

    @staticmethod
    def is_near(written: Written, other: Written) -> bool:
        """Whether a build differs so little from another that it is quicker to reason about the difference."""
        return len(written.pieces_beside(other)) <= _MOST_CHANGED

    def difference(
        self, origin: Origin, written: Written, known: Callable[[Iterable[Quad]], Collection[Subject]]
    ) -> Difference:
        """What follows from a build, beside what follows from its origin; `known` as for `derive`."""
        with self._rooms.one(origin) as room:
            self._learn(room, written)
            room.stand_at(origin)
            with room.workspace.trial() as trial:
                return self._changed(room, trial, written, known)

    def _changed(
        self, room: _Room, trial: Trial, written: Written, known: Callable[[Iterable[Quad]], Collection[Subject]]
    ) -> Difference:
        origin, store, contacts = room.origin, room.workspace.store, len(self._on_builds)
        assert origin is not None and self._foci is not None, "the room stands at an origin"
        more, less = written.beside(origin.written)
        change = Change(store)
        trial.remove(less)
        fresh = trial.add(more)
        change.note(fresh)
        change.note(less, gone=True)
        leave: Collection[Node] = ()
        for number, (rule, foci, before) in enumerate(zip(self._of_builds, self._foci, origin.derived, strict=True)):
            if number == contacts:
                leave = known(fresh)
            left = leave if number >= contacts and rule.target == _CONTACT.value else ()
            if not before and not room.workspace.has_members(rule.target):
                continue
            reached = None if None in before else foci.reached(change)
            whole = reached is None or len(reached) > _MOST_FOCI
            nodes: set[Node | None] = {*before, *room.workspace.members(rule.target)} if whole else {*(reached or ())}
            nodes.update(node for node in left if node in before)
            about = {node for node in nodes if node not in left and room.workspace.is_a(node, rule.target)}
            now: list[Quad] = []
            if about and foci.may_speak(store):
                now = as_quads(room.workspace.derive(rule if whole and not left else rule.about(about)))
            was = [quad for node in nodes for quad in before.get(node, ())]
            trial.add(quad for node, quads in before.items() if node not in nodes for quad in quads)
            fresh += trial.add(now)
            change.note(set(now).difference(was))
            change.note(set(was).difference(now), gone=True)
        return Difference(
            more=[quad for quad in fresh if quad not in origin.holds],
            less=[quad for quad in change.gone if quad in origin.holds and quad not in store],
        )

    def traced(self, written: Written) -> Trace:
        """What follows from a build and from each of its parts, triple by triple, with nothing kept or left out."""
        store = Workspace(self._ground).store
        given = chain(written.build, *written.parts.values())
        return trace(store, given, self._in_order)

    def why_not(self, written: Written, described: WrittenRule, about: str | None) -> WhyNot:
        """What became of a rule that is written as a query; it sees all that layers below its own derive."""
        rule = next(rule for rule in self._in_order if rule.iri == term(described.id))
        store = Workspace(self._ground).store
        before = [other for other in self._in_order if other.order < rule.order]
        trace(store, chain(written.build, *written.parts.values()), before)
        return why_not_written(store, rule, described, about)

    def about_parts(self, written: Written) -> set[Triple]:
        """All that is known of the parts of a build, and of each alone follows."""
        with self._rooms.one() as room:
            self._learn(room, written)
            known = room.workspace.store.quads_for_pattern
            return {quad.triple for part in written.parts for quad in known(_node(part), None, None)}.union(
                *written.parts.values()
            )

    def _learn(self, room: _Room, written: Written) -> None:
        """Make all parts of a build known in a room, which forgets all others where it is full or one has changed."""
        told = written.parts
        changed = any(room.parts.get(name, facts) != facts for name, facts in told.items())
        if changed or len(room.parts) > _MOST_KEPT_PARTS:
            room.workspace, room.parts, room.origin = Workspace(self._ground), {}, None
        new = [name for name in told if name not in room.parts]
        room.parts.update(told)
        if new:
            room.stand_at(None)
            for name in new:
                room.workspace.keep(written.parts[name])
            nodes = [_node(name) for name in new]
            room.workspace.settle(rule.about(nodes) for rule in self._on_parts)


def _node(part: str) -> NamedNode:
    return NamedNode(thing("part", part))


def _ground(graph: GraphStore) -> Iterator[Quad]:
    """What the rules reason from: the completed ontology and layouts, without words for people and the rules' text."""
    for name in (ONTOLOGY, DERIVED):
        for quad in graph.quads.quads_for_pattern(None, None, None, NamedNode(name)):
            spoken = isinstance(quad.object, Literal) and quad.object.language is not None
            if not spoken and not quad.predicate.value.startswith(SH):
                yield quad
