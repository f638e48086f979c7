"""Runs SHACL SPARQL rules over a store, a whole class at a time.

A rule is a `sh:SPARQLRule` on a node shape with a `sh:targetClass`.  Instead of running it once for
every focus node we let `$this` range over the class, which gives the same triples in one query.  Rules
run once, in the order of their `sh:order`; a layer sees all that lower orders have added.

Orders below `FIRST_BUILD_ORDER` complete the ontology and its layouts and run when those are read;
the others run for every build.
"""

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TypeGuard

from pyoxigraph import BlankNode, DefaultGraph, Literal, NamedNode, Quad, QuerySolutions, QueryTriples, Store, Triple

SH = "http://www.w3.org/ns/shacl#"
FIRST_BUILD_ORDER = Decimal(10)

_RULES = """
PREFIX sh: <http://www.w3.org/ns/shacl#>
SELECT ?rule ?target ?order ?construct WHERE {
  ?shape sh:targetClass ?target ; sh:rule ?rule .
  ?rule a sh:SPARQLRule ; sh:construct ?construct ; sh:order ?order .
} ORDER BY ?order ?rule
"""
_PREFIXES = """
PREFIX sh: <http://www.w3.org/ns/shacl#>
SELECT DISTINCT ?prefix ?namespace WHERE {
  ?rule sh:prefixes/sh:declare ?d . ?d sh:prefix ?prefix ; sh:namespace ?namespace .
} ORDER BY ?prefix
"""
_TYPE = NamedNode("http://www.w3.org/1999/02/22-rdf-syntax-ns#type")
_WHERE = re.compile(r"\bWHERE\s*\{")


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule, ready to run: its IRI, target class and order, and the query with `?this` bound to the class."""

    iri: str
    target: str
    order: Decimal
    query: str

    def about(self, nodes: Iterable[NamedNode | BlankNode | Triple]) -> "Rule":
        """The same rule for these focus nodes only, whatever their class."""
        values = " ".join(sorted(str(node) for node in nodes))
        return replace(self, query=self.query.replace(f"?this a <{self.target}> .", f"VALUES ?this {{ {values} }}", 1))


def rows(store: Store, query: str) -> QuerySolutions:
    """The solutions of a SELECT over all graphs together."""
    found = store.query(query, use_default_graph_as_union=True)
    assert isinstance(found, QuerySolutions)
    return found


def read_rules(store: Store) -> tuple[Rule, ...]:
    """The rules in a store, in running order; raises ValueError where one has no WHERE."""
    prefixes = "".join(f"PREFIX {row['prefix'].value}: <{row['namespace'].value}>\n" for row in rows(store, _PREFIXES))
    rules = []
    for row in rows(store, _RULES):
        body = row["construct"].value.replace("$this", "?this")
        target = row["target"].value
        match = _WHERE.search(body)
        if match is None:
            raise ValueError(f"{row['rule'].value} has no WHERE; write CONSTRUCT {{ ... }} WHERE {{ ... }}")
        query = f"{prefixes}{body[: match.end()]} ?this a <{target}> . {body[match.end() :]}"
        rules.append(Rule(row["rule"].value, target, Decimal(row["order"].value), query))
    return tuple(sorted(rules, key=lambda rule: (rule.order, rule.iri, rule.target)))


def infer(store: Store, rules: Iterable[Rule], read: Sequence[NamedNode | DefaultGraph], write: NamedNode) -> int:
    """Run rules over the graphs `read` and add what they derive to the graph `write`, which is read too.

    Returns the number of new triples.
    """
    before = sum(1 for _ in store.quads_for_pattern(None, None, None, write))
    graphs: list[NamedNode | BlankNode | DefaultGraph] = [*read, write]
    for rule in rules:
        found = store.query(rule.query, default_graph=graphs)
        assert isinstance(found, QueryTriples)
        store.extend([Quad(t.subject, t.predicate, t.object, write) for t in found])
    return sum(1 for _ in store.quads_for_pattern(None, None, None, write)) - before


class Workspace:
    """Ground triples, to which a few more are added for a while, with all that follows from them.

    Everything lies in one graph, because a query over one graph is several times as fast as one over the
    union of two.  Not safe to share between threads.
    """

    def __init__(self, ground: Iterable[Triple | Quad]) -> None:
        """Take the triples that stay, whatever graphs they come from."""
        self.store = Store()
        self.store.bulk_extend([Quad(t.subject, t.predicate, t.object) for t in ground])

    def settle(self, rules: Iterable[Rule]) -> None:
        """Add for good what the rules derive from what is here."""
        for rule in rules:
            self.keep(self.derive(rule))

    def keep(self, triples: Iterable[Triple]) -> None:
        """Add triples for good."""
        self.store.extend(as_quads(triples))

    def drop(self, triples: Iterable[Triple]) -> None:
        """Take triples away for good."""
        for quad in as_quads(triples):
            self.store.remove(quad)

    def members(self, target: str) -> list[NamedNode | BlankNode | Triple]:
        """The members of a class."""
        return [quad.subject for quad in self.store.quads_for_pattern(None, _TYPE, NamedNode(target))]

    def is_a(
        self, node: NamedNode | BlankNode | Literal | Triple | None, target: str
    ) -> TypeGuard[NamedNode | BlankNode | Triple]:
        """Whether a node is a member of a class."""
        return isinstance(node, NamedNode | BlankNode) and Quad(node, _TYPE, NamedNode(target)) in self.store

    @contextmanager
    def trial(self) -> Iterator["Trial"]:
        """While the context lasts triples may be added and taken away; then all is as it was."""
        trial = Trial(self)
        try:
            yield trial
        finally:
            trial.undo()

    @contextmanager
    def suppose(
        self, triples: Iterable[Triple], rules: Iterable[Rule], note: Callable[[Rule, list[Quad]], None] | None = None
    ) -> Iterator[Store]:
        """While the context lasts the store holds the triples too, and what the rules derive from all.

        `note` is told what each rule derived that was not there before.
        """
        with self.trial() as trial:
            trial.add(as_quads(triples))
            for rule in rules:
                if not self.has_members(rule.target):
                    continue
                fresh = trial.add(as_quads(self.derive(rule)))
                if note is not None:
                    note(rule, fresh)
            yield self.store

    def derive(self, rule: Rule) -> QueryTriples:
        """What a rule derives from what is here."""
        found = self.store.query(rule.query)
        assert isinstance(found, QueryTriples)
        return found

    def has_members(self, target: str) -> bool:
        """Whether a class has any member."""
        members = self.store.quads_for_pattern(None, _TYPE, NamedNode(target))
        return next(members, None) is not None


class Trial:
    """What is added to a workspace, and taken away, for a while."""

    def __init__(self, workspace: Workspace) -> None:
        self.store = workspace.store
        self._added: list[Quad] = []
        self._removed: list[Quad] = []

    def add(self, quads: Iterable[Quad]) -> list[Quad]:
        """Add triples; gives those that were not there."""
        fresh = [quad for quad in dict.fromkeys(quads) if quad not in self.store]
        self.store.extend(fresh)
        self._added.extend(fresh)
        return fresh

    def remove(self, quads: Iterable[Quad]) -> None:
        """Take away triples that are there, before any are added."""
        for quad in quads:
            self.store.remove(quad)
            self._removed.append(quad)

    def undo(self) -> None:
        """Make all as it was."""
        for quad in self._added:
            self.store.remove(quad)
        self.store.extend(self._removed)


def as_quads(triples: Iterable[Triple]) -> list[Quad]:
    """Triples as a workspace holds them, all in one graph."""
    return [Quad(t.subject, t.predicate, t.object) for t in triples]
