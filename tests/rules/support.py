"""What the tests of the rules share: the rules on their own, and another engine to hold ours against."""

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from decimal import Decimal
from pathlib import Path
from typing import Any

import rdflib
from pyoxigraph import BlankNode, Literal, NamedNode, Quad, Triple
from pyshacl import shacl_rules
from rdflib.plugins.sparql import processor

from crosspin.home import data_folder
from crosspin.rules.cases import Bench
from crosspin.store.graph import parse_text

NUMBERS = {rdflib.XSD.decimal, rdflib.XSD.integer}
Fact = tuple[str, str, str]


def read_quads(paths: Iterable[Path]) -> list[Quad]:
    return [quad for path in paths for quad in parse_text(path.read_bytes(), "text/turtle", path.name)]


def rule_files() -> list[Path]:
    """The core words and the rules, without packs and layouts."""
    ontology = data_folder("ontology")
    core = [ontology / f"{name}.ttl" for name in ("core", "comparators", "proof")]
    return core + sorted((ontology / "rules").glob("*.ttl"))


def rule_bench() -> Bench:
    return Bench(read_quads(rule_files()))


def spelled(term: object) -> str:
    """A term in one spelling, whichever library it is from and however it spells a number."""
    if isinstance(term, Literal):
        term = rdflib.Literal(term.value, datatype=rdflib.URIRef(term.datatype.value) if not term.language else None)
    if isinstance(term, rdflib.Literal):
        number = term.datatype in NUMBERS
        return (
            f'"{Decimal(str(term)).normalize():f}"^^number'
            if number
            else f'"{term}"^^{term.datatype or rdflib.XSD.string}'
        )
    return term.value if isinstance(term, (NamedNode, BlankNode)) else str(term)


def fact(subject: object, predicate: object, obj: object) -> Fact:
    return spelled(subject), spelled(predicate), spelled(obj)


def as_rdflib(triples: Iterable[Triple | Quad]) -> rdflib.Graph:
    def node(term: object) -> rdflib.term.Identifier:
        if isinstance(term, Literal):
            if term.language:
                return rdflib.Literal(term.value, lang=term.language)
            kind = rdflib.URIRef(term.datatype.value)
            return rdflib.Literal(term.value, datatype=None if kind == rdflib.XSD.string else kind)
        if isinstance(term, BlankNode):
            return rdflib.BNode(term.value)
        assert isinstance(term, NamedNode)
        return rdflib.URIRef(term.value)

    graph = rdflib.Graph()
    for triple in triples:
        graph.add((node(triple.subject), node(triple.predicate), node(triple.object)))
    return graph


@contextmanager
def parsing_once() -> Iterator[None]:
    """Let rdflib remember the algebra of a query's text: pySHACL parses it again for every focus node."""
    sparql: Any = processor
    parse, translate = sparql.parseQuery, sparql.translateQuery
    remembered: dict[str, object] = {}

    def remember(text: str, base: str | None = None, names: Mapping[str, Any] | None = None) -> object:
        if text not in remembered:
            remembered[text] = translate(parse(text), base, names)
        return remembered[text]

    sparql.parseQuery, sparql.translateQuery = str, remember
    try:
        yield
    finally:
        sparql.parseQuery, sparql.translateQuery = parse, translate


def derive_by_pyshacl(ontology: Iterable[Triple | Quad], given: Iterable[Triple]) -> set[Fact]:
    """What pySHACL on rdflib derives from the ontology and the given triples."""
    data = as_rdflib([*ontology, *given])
    before = set(data)
    with parsing_once():
        expanded = shacl_rules(data, shacl_graph=as_rdflib(ontology), advanced=True, inplace=False)
    return {fact(*triple) for triple in {found[:3] for found in expanded} - before}


def without_early_shapes(ontology: Iterable[Quad]) -> list[Quad]:
    """The triples without the shapes that complete the ontology, for where it is complete already."""
    quads = list(ontology)
    orders = {
        q.subject: Decimal(q.object.value)
        for q in quads
        if q.predicate.value.endswith("#order") and isinstance(q.object, Literal)
    }
    early = {node for node, order in orders.items() if order < 10}
    early &= {q.subject for q in quads if q.predicate.value.endswith("#targetClass")}
    return [quad for quad in quads if quad.subject not in early]
