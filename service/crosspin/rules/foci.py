"""Which focus nodes of a rule a change of the graph can reach.

A rule of the portable profile looks at nothing but triples that match its patterns: those that must be there and
those, however deep, that FILTER NOT EXISTS denies; FILTER and BIND see only what these bind.  So what it derives for
a focus node in two graphs can differ only if, in one of the two, a triple that is not in both matches one of its
patterns, together with all patterns around that one: those beside it, and, where it is denied, those beside each
denial that it stands in.  (Had every match in one graph, denied ones too, all its triples in the other as well, the
other graph would say the same.)  From such a triple one comes to the focus node by going along those patterns, in
the union of the two graphs.  We go one way only, from pattern to pattern, and look at nothing else; that may reach
focus nodes for which nothing changes, but misses none.

Where no way leads to the focus, or a rule has anything in it that is not of the profile, every focus node counts as
reached.
"""

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from heapq import heappop, heappush
from typing import TypeAlias

from pyoxigraph import BlankNode, Literal, NamedNode, Quad, Store, Triple

from crosspin.rules.clauses import Clause, Pattern, cut
from crosspin.store.infer import Rule

Node: TypeAlias = NamedNode | BlankNode | Literal | Triple
_THIS = "?this"
_TERM = re.compile(r"""\?\w+|<[^<>]*>|"(?:[^"\\]|\\.)*"\S*|-?\d+(?:\.\d+)?|true|false""")
_FROM_PREDICATE, _FROM_END = 1.0, 8.0
"""What a way costs before its first step: from the predicate, of which few are in a change, or from an end."""


class Change:
    """How a graph differs from another one, as far as is known; what is in doubt counts as different.

    `store` has the one graph; what only the other one has must be noted.
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self.gone: dict[Quad, None] = {}
        """What perhaps the other graph only has."""
        self._quads: dict[NamedNode, dict[Quad, None]] = defaultdict(dict)
        self._ends: dict[NamedNode, tuple[set[Node], set[Node]]] = defaultdict(lambda: (set(), set()))
        self._objects: dict[tuple[NamedNode, Node], list[Node]] = defaultdict(list)
        self._subjects: dict[tuple[NamedNode, Node], list[Node]] = defaultdict(list)

    def note(self, quads: Iterable[Quad], gone: bool = False) -> None:
        """Triples that one of the graphs has; `gone`: perhaps the other one only."""
        for quad in quads:
            self._quads[quad.predicate][quad] = None
            subjects, objects = self._ends[quad.predicate]
            subjects.add(quad.subject)
            objects.add(quad.object)
            if gone:
                self.gone[quad] = None
                self._objects[quad.predicate, quad.subject].append(quad.object)
                self._subjects[quad.predicate, quad.object].append(quad.subject)

    def matches(self, pattern: "_Way") -> set[Node]:
        """What stands where a way starts, in the triples that match its pattern and are not in both graphs."""
        predicates = self._quads.keys() if pattern.predicate is None else (pattern.predicate,)
        if pattern.start == 1:
            return set(predicates)
        if pattern.subject is None and pattern.object is None:
            return {node for name in predicates if name in self._ends for node in self._ends[name][pattern.start // 2]}
        return {
            quad.object if pattern.start else quad.subject
            for name in predicates
            for quad in self._quads.get(name, ())
            if pattern.subject in (None, quad.subject) and pattern.object in (None, quad.object)
        }

    def touches(self, predicate: NamedNode | None) -> bool:
        """Whether any triple of a property, or any at all, is not in both."""
        return predicate is None or predicate in self._quads

    def objects(self, predicate: NamedNode, node: Node) -> Iterator[Node]:
        """What a property leads to in either graph."""
        if not isinstance(node, Literal):
            yield from (quad.object for quad in self._store.quads_for_pattern(node, predicate, None))
            yield from self._objects.get((predicate, node), ())

    def subjects(self, predicate: NamedNode, node: Node) -> Iterator[Node]:
        """What a property comes from in either graph."""
        yield from (quad.subject for quad in self._store.quads_for_pattern(None, predicate, node))
        yield from self._subjects.get((predicate, node), ())

    def may_say(self, node: Node, predicate: NamedNode, obj: Node) -> bool:
        """Whether either graph may have this of a node."""
        if isinstance(node, Literal):
            return False
        return (predicate, node) in self._objects or next(
            self._store.quads_for_pattern(node, predicate, obj), None
        ) is not None


@dataclass(frozen=True, slots=True)
class _Step:
    """From the nodes reached so far along a property, or against it."""

    predicate: NamedNode
    along: bool


@dataclass(frozen=True, slots=True)
class _Way:
    """From the triples that match a pattern to the focus: where in the triple it starts, and the steps from there."""

    subject: NamedNode | None
    predicate: NamedNode | None
    object: NamedNode | None
    start: int
    steps: tuple[_Step, ...]

    def foci(self, change: Change) -> set[Node]:
        """The nodes that the way ends at."""
        reached = change.matches(self)
        for step in self.steps:
            if not reached:
                break
            follow = change.objects if step.along else change.subjects
            reached = {found for node in reached for found in follow(step.predicate, node)}
        return reached


class Foci:
    """Finds the focus nodes of one rule that a change can reach."""

    def __init__(self, rule: Rule, spread: "Spread") -> None:
        clauses = cut(rule.query).clauses
        self._ways: Sequence[_Way] | None = None
        self._demands: list[tuple[NamedNode, Node]] = []
        self._wants: list[tuple[NamedNode, Node]] = []
        if not _portable(clauses) or not rule.query.rstrip().endswith("}"):
            return
        ways = [_way(pattern, around, spread) for pattern, around in _looked_at(clauses, ())]
        if None not in ways:
            self._ways = tuple(dict.fromkeys(way for way in ways if way is not None))
        for subject, predicate, obj in (c.pattern for c in clauses if c.pattern is not None):
            if predicate[0] == "<" and (obj[0] == "<" or obj in ("true", "false")):
                said = NamedNode(predicate[1:-1]), NamedNode(obj[1:-1]) if obj[0] == "<" else Literal(obj == "true")
                (self._demands if subject == _THIS else self._wants).append(said)

    def reached(self, change: Change) -> set[Node] | None:
        """The focus nodes for which the rule may say something else than in the other graph; None for all."""
        if self._ways is None:
            return None
        found: set[Node] = set()
        for way in self._ways:
            if change.touches(way.predicate):
                found |= way.foci(change)
        return {node for node in found if all(change.may_say(node, p, o) for p, o in self._demands)}

    def may_speak(self, store: Store) -> bool:
        """Whether a store has something of each sort that the rule cannot do without."""
        return all(next(store.quads_for_pattern(None, p, o), None) is not None for p, o in self._wants)


class Spread:
    """To how many nodes a property leads, on average, as counted in a store when first asked."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._counted: dict[NamedNode, tuple[float, float]] = {}

    def of(self, step: _Step) -> float:
        """How many nodes one step comes to."""
        if step.predicate not in self._counted:
            quads = list(self._store.quads_for_pattern(None, step.predicate, None))
            subjects, objects = {quad.subject for quad in quads}, {quad.object for quad in quads}
            self._counted[step.predicate] = (len(quads) / max(len(subjects), 1), len(quads) / max(len(objects), 1))
        return max(self._counted[step.predicate][0 if step.along else 1], 1.0)


def _portable(clauses: Sequence[Clause]) -> bool:
    """Whether all clauses are patterns without paths, FILTER NOT EXISTS of such, or FILTER and BIND that look at
    nothing else."""
    return all(
        all(_TERM.fullmatch(term) for term in clause.pattern)
        if clause.pattern is not None
        else _portable(clause.denied)
        if clause.denies
        else "{" not in clause.text
        for clause in clauses
    )


def _looked_at(clauses: Sequence[Clause], above: Sequence[Pattern]) -> Iterator[tuple[Pattern, Sequence[Pattern]]]:
    """Every pattern, with those around it, itself among them."""
    around = [*above, *(clause.pattern for clause in clauses if clause.pattern is not None)]
    for clause in clauses:
        if clause.pattern is not None:
            yield clause.pattern, around
        elif clause.denies:
            yield from _looked_at(clause.denied, around)


def _way(pattern: Pattern, around: Sequence[Pattern], spread: Spread) -> _Way | None:
    """The way to the focus that is likely to pass the fewest nodes; None where none leads there."""
    waiting: list[tuple[float, int, str, int, tuple[_Step, ...]]] = []
    for start, term in enumerate(pattern):
        if term[0] == "?":
            cost = 0.0 if term == _THIS else _FROM_PREDICATE if start == 1 else _FROM_END
            heappush(waiting, (cost, len(waiting), term, start, ()))
    edges = _edges(around)
    seen: set[str] = set()
    pushed = len(waiting)
    while waiting:
        cost, _, here, start, steps = heappop(waiting)
        if here == _THIS:
            subject, predicate, obj = (NamedNode(t[1:-1]) if t[0] == "<" else None for t in pattern)
            return _Way(subject, predicate, obj, start, steps)
        if here in seen:
            continue
        seen.add(here)
        for step, there in edges.get(here, ()):
            pushed += 1
            heappush(waiting, (cost + spread.of(step), pushed, there, start, (*steps, step)))
    return None


def _edges(patterns: Iterable[Pattern]) -> Mapping[str, Sequence[tuple[_Step, str]]]:
    """By variable the steps that lead to other variables."""
    edges: dict[str, list[tuple[_Step, str]]] = defaultdict(list)
    for subject, predicate, obj in patterns:
        if subject[0] == obj[0] == "?" and predicate[0] == "<":
            edges[subject].append((_Step(NamedNode(predicate[1:-1]), True), obj))
            edges[obj].append((_Step(NamedNode(predicate[1:-1]), False), subject))
    return edges
