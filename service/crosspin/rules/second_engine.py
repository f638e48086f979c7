"""Another engine beside ours: pySHACL on rdflib judges the shapes, and derives what our runner derives.

pySHACL is not needed to answer anything, so it is no dependency of the program, only of its bench
(`pip install crosspin[bench]`); `AVAILABLE` says whether it is there.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from decimal import Decimal
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import rdflib
from pyoxigraph import BlankNode, Literal, NamedNode, Quad, Triple
from rdflib.plugins.sparql import CUSTOM_EVALS, evaluate, processor

from crosspin.model.terms import DEF
from crosspin.store.infer import FIRST_BUILD_ORDER, SH

AVAILABLE = find_spec("pyshacl") is not None
Fact = tuple[str, str, str]
"""Subject, predicate, object, spelled in one way."""

_Node = rdflib.term.Identifier
_Pattern = tuple[_Node, _Node, _Node]
_OPEN = (rdflib.Variable, rdflib.BNode)
_NUMBERS = {rdflib.XSD.decimal, rdflib.XSD.integer}


def spelled(term: object) -> str:
    """A term in one spelling, whichever library it is from and however it spells a number."""
    if isinstance(term, Literal):
        term = rdflib.Literal(term.value, datatype=rdflib.URIRef(term.datatype.value) if not term.language else None)
    if isinstance(term, rdflib.Literal):
        number = term.datatype in _NUMBERS
        return (
            f'"{Decimal(str(term)).normalize():f}"^^number'
            if number
            else f'"{term}"^^{term.datatype or rdflib.XSD.string}'
        )
    return term.value if isinstance(term, (NamedNode, BlankNode)) else str(term)


def fact(subject: object, predicate: object, obj: object) -> Fact:
    """A triple of either library."""
    return spelled(subject), spelled(predicate), spelled(obj)


def facts(triples: Iterable[Triple | Quad]) -> set[Fact]:
    """Triples of ours."""
    return {fact(t.subject, t.predicate, t.object) for t in triples}


def as_rdflib(triples: Iterable[Triple | Quad]) -> rdflib.Graph:
    """The triples as rdflib holds them."""

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


def _joined_in_order(triples: Collection[_Pattern], bound: Collection[_Node]) -> list[_Pattern]:
    """Patterns in an order in which each starts, where it can, from what those before it have bound."""

    def reach(pattern: _Pattern) -> int:
        subject, obj = (isinstance(node, _OPEN) and node not in bound for node in (pattern[0], pattern[2]))
        # a known subject leads to a few triples; a constant object, such as a class, to everything of that class
        constant = subject and not isinstance(pattern[2], _OPEN)
        return 2 * subject + obj + constant

    waiting, ordered, bound = list(triples), list[_Pattern](), set(bound)
    while waiting:
        ordered.append(min(waiting, key=reach))
        waiting.remove(ordered[-1])
        bound.update(node for node in ordered[-1] if isinstance(node, _OPEN))
    return ordered


@contextmanager
def quick_queries() -> Iterator[None]:
    """Let rdflib remember the algebra of a query's text, which pySHACL parses again for every focus node, and join
    the patterns of a query in an order that leads from one to the next.

    What it finds stays the same: a join has no order, and rdflib still makes it.
    """
    sparql: Any = processor
    parse, translate = sparql.parseQuery, sparql.translateQuery
    remembered: dict[str, object] = {}
    orders: dict[tuple[int, frozenset[_Node]], list[_Pattern]] = {}

    def remember(text: str, base: str | None = None, names: Mapping[str, Any] | None = None) -> object:
        if text not in remembered:
            remembered[text] = translate(parse(text), base, names)
        return remembered[text]

    def join(context: Any, part: Any) -> object:
        if part.name != "BGP":
            raise NotImplementedError  # rdflib then goes its own way
        nodes = {node for pattern in part.triples for node in pattern if isinstance(node, _OPEN)}
        bound = frozenset[_Node](node for node in nodes if context[node] is not None)
        # the algebra lives as long as `remembered`, so that its id stays its own
        key = id(part), bound
        if key not in orders:
            orders[key] = _joined_in_order(part.triples, bound)
        return evaluate.evalBGP(context, orders[key])

    sparql.parseQuery, sparql.translateQuery = str, remember
    CUSTOM_EVALS["crosspin"] = join
    try:
        yield
    finally:
        sparql.parseQuery, sparql.translateQuery = parse, translate
        del CUSTOM_EVALS["crosspin"]


def derive_by_pyshacl(ontology: Iterable[Triple | Quad], given: Iterable[Triple]) -> set[Fact]:
    """What pySHACL on rdflib derives from the ontology and the given triples."""
    from pyshacl import shacl_rules

    data = as_rdflib([*ontology, *given])
    before = set(data)
    with quick_queries():
        expanded = shacl_rules(data, shacl_graph=as_rdflib(ontology), advanced=True, inplace=False)
    return {fact(*triple) for triple in {found[:3] for found in expanded} - before}


def without_early_shapes(ontology: Iterable[Quad]) -> list[Quad]:
    """The triples without the shapes that complete the ontology, for where it is complete already."""
    quads = list(ontology)
    orders = {
        q.subject: Decimal(q.object.value)
        for q in quads
        if q.predicate.value == f"{SH}order" and isinstance(q.object, Literal)
    }
    early = {node for node, order in orders.items() if order < FIRST_BUILD_ORDER}
    early &= {q.subject for q in quads if q.predicate.value == f"{SH}targetClass"}
    return [quad for quad in quads if quad.subject not in early]


def mentioned(quads: list[Quad], given: Iterable[Triple]) -> list[Quad]:
    """The rules, and what the given triples mention of the ontology, directly or by what they mention.

    What is named after a term, such as the conditions of a need, is mentioned with it.
    """
    about: dict[object, list[Quad]] = {}
    for quad in quads:
        about.setdefault(quad.subject, []).append(quad)
        if isinstance(quad.subject, NamedNode) and quad.subject.value.startswith(DEF):
            term, slash, _ = quad.subject.value.removeprefix(DEF).partition("/")
            if slash:
                about.setdefault(NamedNode(DEF + term), []).append(quad)
    waiting: list[object] = [q.subject for q in quads if q.predicate.value.startswith(SH)]
    waiting += [node for t in given for node in (t.subject, t.predicate, t.object)]
    seen: set[object] = set()
    while waiting:
        node = waiting.pop()
        if node not in seen:
            seen.add(node)
            waiting.extend(quad.object for quad in about.get(node, ()))
    return [quad for node in seen for quad in about.get(node, ())]


def around(quads: Iterable[Quad], terms: Collection[str], steps: int) -> list[Quad]:
    """What is said of some terms, of what names them, and of what these lead to in so many steps; and which class
    is below which."""
    about: dict[object, list[Quad]] = {}
    naming: dict[object, list[object]] = {}
    found: dict[Quad, None] = {}
    for quad in quads:
        about.setdefault(quad.subject, []).append(quad)
        naming.setdefault(quad.object, []).append(quad.subject)
        if quad.predicate.value == "http://www.w3.org/2000/01/rdf-schema#subClassOf":
            found[quad] = None
    start: list[object] = [NamedNode(term) for term in terms]
    front = {*start, *(node for term in start for node in naming.get(term, ()))}
    seen: set[object] = set()
    for _ in range(steps + 1):
        seen |= front
        reached = [quad for node in front for quad in about.get(node, ())]
        found |= dict.fromkeys(reached)
        front = set[object](node for quad in reached for node in (quad.predicate, quad.object)) - seen
    return list(found)


def read_shapes(path: Path) -> rdflib.Graph:
    """The shapes in a Turtle file."""
    return rdflib.Graph().parse(path)


def refused_by_shapes(
    data: rdflib.Graph, shapes: rdflib.Graph, about: Collection[str] | None = None
) -> list[tuple[str, str]]:
    """What the shapes refuse, as pairs of a focus node and a message, sorted; only `about` these IRIs if given."""
    from pyshacl import validate

    with quick_queries():
        looked_at = shapes if about is None else _aimed(data, shapes, about)
        _, report, _ = validate(data, shacl_graph=looked_at, advanced=False, inplace=True)
    assert isinstance(report, rdflib.Graph)
    found: set[tuple[str, str]] = set()
    for result in report.subjects(rdflib.RDF.type, rdflib.SH.ValidationResult):
        focus = report.value(result, rdflib.SH.focusNode)
        found.update((str(focus), str(message)) for message in report.objects(result, rdflib.SH.resultMessage))
    return sorted(found)


def _aimed(data: rdflib.Graph, shapes: rdflib.Graph, about: Collection[str]) -> rdflib.Graph:
    """The shapes with those of their targets that are among these IRIs, named one by one.

    pySHACL's own choice of focus nodes lets what stands in nested shapes through unseen.
    """
    nodes = {rdflib.URIRef(iri) for iri in about}
    aimed = rdflib.Graph()
    for shape, predicate, target in shapes:
        if predicate == rdflib.SH.targetClass:
            classes = data.transitive_subjects(rdflib.RDFS.subClassOf, target)
            found = {node for one in classes for node in data.subjects(rdflib.RDF.type, one)}
        elif predicate == rdflib.SH.targetSubjectsOf:
            found = set(data.subjects(target, None))
        else:
            aimed.add((shape, predicate, target))
            continue
        for node in found & nodes:
            aimed.add((shape, rdflib.SH.targetNode, node))
    return aimed
