"""Runs the rules over builds written as RDF, and keeps between builds what holds for every one of them.

What follows from a part alone (which kinds it passes for, which conditions it meets) is derived once and
stays.  What follows from a contact rests on nothing but its joint kind, the two parts, which of them are
fresh, and the mendings at it; so whoever knows that already can leave a contact out.
"""

from collections.abc import Callable, Collection, Iterable, Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import chain
from queue import LifoQueue
from typing import TypeAlias

from pyoxigraph import BlankNode, Literal, NamedNode, Quad, Triple

from crosspin.model.records import TYPE, cp
from crosspin.model.terms import term, thing
from crosspin.model.written_rule import WrittenRule
from crosspin.rules.plan_graph import Written
from crosspin.rules.trace import Trace, trace
from crosspin.rules.why_not import WhyNot
from crosspin.rules.why_not_written import why_not_written
from crosspin.store.graph import DERIVED, ONTOLOGY, GraphStore
from crosspin.store.infer import FIRST_BUILD_ORDER, SH, Rule, Workspace, read_rules

_MOST_KEPT_PARTS = 20_000
_CONTACT = cp("Contact")
_PART = cp("Part")

Subject: TypeAlias = NamedNode | BlankNode | Triple
Derived: TypeAlias = list[tuple[Rule, list[Quad]]]
"""What each rule derived, in running order; a triple is told by the rule that derived it first."""


@dataclass(frozen=True, slots=True)
class _Room:
    """A workspace, and the ids of the parts that it knows."""

    workspace: Workspace
    parts: set[str] = field(default_factory=set)


class Reasoner:
    """The ontology with its rules.  Safe to share between threads.

    Each build is reasoned about in a room of its own, of which there are `at_once`; more wait for a free one.
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
        self._idle: LifoQueue[_Room] = LifoQueue()
        for _ in range(at_once):
            self._idle.put(_Room(Workspace(self._ground)))

    def derive(self, written: Written, known: Callable[[Iterable[Quad]], Collection[Subject]] | None = None) -> Derived:
        """What follows from a build, beside what follows from each of its parts alone.

        `known` is shown what follows up to the contacts that the build makes, and says which of these need not be
        reasoned about; without it, all are.
        """
        derived: Derived = []
        room = self._idle.get()
        try:
            room = self._with_parts(room, written)
            workspace = room.workspace

            def note(rule: Rule, fresh: list[Quad]) -> None:
                derived.append((rule, fresh))

            with workspace.suppose(written.build, self._on_builds, note):
                rest: Iterable[Rule] = self._beyond_contacts
                if known is not None:
                    rest = self._leaving_out(known(chain.from_iterable(quads for _, quads in derived)), derived)
                with workspace.suppose((), rest, note):
                    return derived
        finally:
            self._idle.put(room)

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
        room = self._idle.get()
        try:
            room = self._with_parts(room, written)
            known = room.workspace.store.quads_for_pattern
            return {quad.triple for part in written.parts for quad in known(_node(part), None, None)}.union(
                *written.parts.values()
            )
        finally:
            self._idle.put(room)

    def _with_parts(self, room: _Room, written: Written) -> _Room:
        """The room, or a new one where it is full, with all parts of a build known."""
        if len(room.parts) > _MOST_KEPT_PARTS:
            room = _Room(Workspace(self._ground))
        new = [name for name in written.parts if name not in room.parts]
        if new:
            for name in new:
                room.workspace.keep(written.parts[name])
            nodes = [_node(name) for name in new]
            room.workspace.settle(rule.about(nodes) for rule in self._on_parts)
            room.parts.update(new)
        return room


def _node(part: str) -> NamedNode:
    return NamedNode(thing("part", part))


def _ground(graph: GraphStore) -> Iterator[Quad]:
    """What the rules reason from: the completed ontology and layouts, without words for people and the rules' text."""
    for name in (ONTOLOGY, DERIVED):
        for quad in graph.quads.quads_for_pattern(None, None, None, NamedNode(name)):
            spoken = isinstance(quad.object, Literal) and quad.object.language is not None
            if not spoken and not quad.predicate.value.startswith(SH):
                yield quad
