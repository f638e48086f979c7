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

from pyoxigraph import BlankNode, DefaultGraph, NamedNode, Quad, QuerySolutions, QueryTriples, Store, Triple

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
        values = " ".join(str(node) for node in nodes)
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
            self.keep(self._derive(rule))

    def keep(self, triples: Iterable[Triple]) -> None:
        """Add triples for good."""
        self.store.extend([Quad(t.subject, t.predicate, t.object) for t in triples])

    @contextmanager
    def suppose(
        self, triples: Iterable[Triple], rules: Iterable[Rule], note: Callable[[Rule, list[Quad]], None] | None = None
    ) -> Iterator[Store]:
        """While the context lasts the store holds the triples too, and what the rules derive from all.

        `note` is told what each rule derived that was not there before.
        """
        added: list[Quad] = []
        try:
            self._add(triples, added)
            for rule in rules:
                if not self._has_members(rule.target):
                    continue
                fresh = self._add(self._derive(rule), added)
                if note is not None:
                    note(rule, fresh)
            yield self.store
        finally:
            for quad in added:
                self.store.remove(quad)

    def _derive(self, rule: Rule) -> QueryTriples:
        found = self.store.query(rule.query)
        assert isinstance(found, QueryTriples)
        return found

    def _has_members(self, target: str) -> bool:
        members = self.store.quads_for_pattern(None, _TYPE, NamedNode(target))
        return next(members, None) is not None

    def _add(self, triples: Iterable[Triple], added: list[Quad]) -> list[Quad]:
        quads = [Quad(t.subject, t.predicate, t.object) for t in triples]
        fresh = [quad for quad in dict.fromkeys(quads) if quad not in self.store]
        self.store.extend(fresh)
        added.extend(fresh)
        return fresh
