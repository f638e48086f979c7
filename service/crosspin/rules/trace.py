"""Runs the rules over a build and writes down from what each triple follows.

Costs about twice what plain reasoning costs, so it is done for those only who ask where a conclusion is from.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache

from pyoxigraph import BlankNode, Literal, NamedNode, Quad, QuerySolutions, Store, Triple

from crosspin.rules.clauses import Cut, Pattern, cut
from crosspin.store.infer import Rule

Node = NamedNode | BlankNode | Literal | Triple
_HEAD = re.compile(r"CONSTRUCT\s*\{.*?\}\s*WHERE", re.DOTALL)
_NUMBER = re.compile(r"-?\d+(\.\d+)?")
_XSD = "http://www.w3.org/2001/XMLSchema#"


@dataclass(frozen=True, slots=True)
class Step:
    """How one triple was derived first: by which rule, with what in its variables, from which triples; and the
    conditions of the rule that nothing may meet, or that are worked out, as they are written."""

    rule: str
    bindings: Mapping[str, Node]
    uses: tuple[Triple, ...]
    besides: tuple[str, ...]


@dataclass(frozen=True)
class Trace:
    """Everything that follows from a build, triple by triple in the order of derivation."""

    steps: Mapping[Triple, Step]


@lru_cache(maxsize=1024)
def _cut(query: str) -> Cut:
    return cut(query)


def trace(store: Store, given: Iterable[Triple], rules: Iterable[Rule]) -> Trace:
    """Run rules, in this order, over a store to which the given triples are added for good."""
    store.extend([Quad(t.subject, t.predicate, t.object) for t in given])
    steps: dict[Triple, Step] = {}
    for rule in rules:
        pieces = _cut(rule.query)
        found = store.query(_HEAD.sub("SELECT * WHERE", rule.query, count=1))
        assert isinstance(found, QuerySolutions)
        names = [variable.value for variable in found.variables]
        fresh: dict[Triple, Step] = {}
        for solution in found:
            bindings = {name: node for name in names if (node := solution[name]) is not None}
            step: Step | None = None
            for pattern in pieces.adds:
                triple = _filled(pattern, bindings)
                if triple in fresh or Quad(triple.subject, triple.predicate, triple.object) in store:
                    continue
                step = step or Step(
                    rule=rule.iri,
                    bindings=bindings,
                    uses=tuple(_filled(c.pattern, bindings) for c in pieces.clauses if c.pattern is not None),
                    besides=tuple(c.text for c in pieces.clauses if c.pattern is None),
                )
                fresh[triple] = step
        store.extend([Quad(t.subject, t.predicate, t.object) for t in fresh])
        steps |= fresh
    return Trace(steps)


def by_focus(store: Store, rule: Rule) -> dict[Node, list[Triple]]:
    """What a rule derives from what is in a store, by the focus node that it derives it for."""
    pieces = _cut(rule.query)
    found = store.query(_HEAD.sub("SELECT * WHERE", rule.query, count=1))
    assert isinstance(found, QuerySolutions)
    names = [variable.value for variable in found.variables]
    derived: dict[Node, list[Triple]] = {}
    for solution in found:
        bindings = {name: node for name in names if (node := solution[name]) is not None}
        derived.setdefault(bindings["this"], []).extend(_filled(pattern, bindings) for pattern in pieces.adds)
    return derived


def _filled(pattern: Pattern, bindings: Mapping[str, Node]) -> Triple:
    subject, predicate, obj = (_node(term, bindings) for term in pattern)
    assert isinstance(predicate, NamedNode)
    assert not isinstance(subject, Literal)
    return Triple(subject, predicate, obj)


def _node(term: str, bindings: Mapping[str, Node]) -> Node:
    if term.startswith("?"):
        return bindings[term[1:]]
    if term.startswith("<"):
        return NamedNode(term[1:-1])
    if term in ("true", "false"):
        return Literal(term == "true")
    number = _NUMBER.fullmatch(term)
    if number is not None:
        return Literal(term, datatype=NamedNode(_XSD + ("decimal" if number[1] else "integer")))
    return Literal(term[1:-1])
