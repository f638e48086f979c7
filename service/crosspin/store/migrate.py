"""Reads what data says in words that are deprecated as what it says in those of today.

A migration is a SHACL rule with an order below nought.  It runs where data uses a deprecated term, and what is said
by such a term is dropped after; so is a spec or a reading of which nothing but such a term says what it is.
"""

from collections.abc import Collection, Iterable
from decimal import Decimal

from pyoxigraph import DefaultGraph, NamedNode, Quad, Store, Triple

from crosspin.store.graph import ONTOLOGY, GraphStore
from crosspin.store.infer import infer, read_rules

_TYPE = NamedNode("http://www.w3.org/1999/02/22-rdf-syntax-ns#type")
_MIGRATED = NamedNode(f"{ONTOLOGY}migrated")
_SAYS_WHAT_IT_IS = (_TYPE, *(NamedNode(f"{ONTOLOGY}{word}") for word in ("onFeature", "onDimension")))


def migrated(triples: Iterable[Triple | Quad], ontology: GraphStore, deprecated: Collection[str]) -> list[Quad]:
    """What the triples say, without the deprecated terms (IRIs), by the migrations of the ontology in a store."""
    given = [Quad(t.subject, t.predicate, t.object) for t in triples]
    gone = frozenset(map(NamedNode, deprecated))
    if not any(quad.predicate in gone or quad.object in gone for quad in given):
        return given
    store = Store()
    store.extend(given)
    infer(store, [rule for rule in read_rules(ontology.quads) if rule.order < Decimal(0)], [DefaultGraph()], _MIGRATED)
    added = [Quad(q.subject, q.predicate, q.object) for q in store.quads_for_pattern(None, None, None, _MIGRATED)]
    told_anew = {quad.subject for quad in added if quad.predicate in _SAYS_WHAT_IT_IS}
    told_of_old = {quad.subject for quad in given if quad.predicate in _SAYS_WHAT_IT_IS and quad.object in gone}
    without = gone | (told_of_old - told_anew)
    return [
        quad
        for quad in dict.fromkeys([*given, *sorted(added, key=str)])
        if without.isdisjoint((quad.subject, quad.predicate, quad.object))
    ]


def migrate(graph: GraphStore, name: str, deprecated: Collection[str]) -> bool:
    """Let one named graph of a store speak in the words of the ontology beside it; whether it did not yet."""
    node = NamedNode(name)
    said = graph.quads.quads_for_pattern
    for old in map(NamedNode, sorted(deprecated)):
        if any(next(found, None) for found in (said(None, old, None, node), said(None, None, old, node))):
            graph.replace(name, migrated(list(graph.triples(name)), graph, deprecated))
            return True
    return False
