"""Runs SHACL SPARQL rules over a store, a whole class at a time.

A rule is a `sh:SPARQLRule` on a node shape with a `sh:targetClass`.  Instead of running it once for
every focus node we let `$this` range over the class, which gives the same triples in one query.  Rules
run once, in the order of their `sh:order`; a layer sees all that lower orders have added.

Orders below `FIRST_BUILD_ORDER` complete the ontology and its layouts and run when those are read;
the others run for every build.
"""

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from pyoxigraph import DefaultGraph, NamedNode, Quad, Store, Triple

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
_WHERE = re.compile(r"\bWHERE\s*\{")


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule, ready to run: its IRI, target class and order, and the query with `?this` bound to the class."""

    iri: str
    target: str
    order: Decimal
    query: str


def read_rules(store: Store) -> tuple[Rule, ...]:
    """The rules in a store, in running order; raises ValueError where one has no WHERE."""
    prefixes = "".join(
        f"PREFIX {row['prefix'].value}: <{row['namespace'].value}>\n"
        for row in store.query(_PREFIXES, use_default_graph_as_union=True)
    )
    rules = []
    for row in store.query(_RULES, use_default_graph_as_union=True):
        body = row["construct"].value.replace("$this", "?this")
        target = row["target"].value
        match = _WHERE.search(body)
        if match is None:
            raise ValueError(f"{row['rule'].value} has no WHERE; write CONSTRUCT {{ ... }} WHERE {{ ... }}")
        query = f"{prefixes}{body[: match.end()]} ?this a <{target}> . {body[match.end() :]}"
        rules.append(Rule(row["rule"].value, target, Decimal(row["order"].value), query))
    return tuple(sorted(rules, key=lambda rule: (rule.order, rule.iri, rule.target)))


def infer(
    store: Store,
    rules: Iterable[Rule],
    read: Sequence[NamedNode | DefaultGraph],
    write: NamedNode,
    note: Callable[[Rule, list[Triple]], None] | None = None,
) -> int:
    """Run rules over the graphs `read` and add what they derive to the graph `write`, which is read too.

    `note` is told what each rule derived, new or not.  Returns the number of new triples.
    """
    before = sum(1 for _ in store.quads_for_pattern(None, None, None, write))
    graphs = [*read, write]
    for rule in rules:
        found = list(store.query(rule.query, default_graph=graphs))
        store.extend([Quad(t.subject, t.predicate, t.object, write) for t in found])
        if note is not None:
            note(rule, found)
    return sum(1 for _ in store.quads_for_pattern(None, None, None, write)) - before
