"""Everything that the graph says about one thing, as RDF."""

from dataclasses import dataclass

from pyoxigraph import BlankNode, Literal, NamedNode, RdfFormat, Triple, serialize

from crosspin.store.graph import ONTOLOGY, GraphStore

FORMATS = {
    "text/turtle": RdfFormat.TURTLE,
    "application/ld+json": RdfFormat.JSON_LD,
    "application/n-triples": RdfFormat.N_TRIPLES,
}
"""The formats in which things are described."""

_PREFIXES = {
    "cp": "https://crosspin.example/def/",
    "dcterms": "http://purl.org/dc/terms/",
    "owl": "http://www.w3.org/2002/07/owl#",
    "rdf": "http://www.w3.org/1999/02/22-rdf-syntax-ns#",
    "rdfs": "http://www.w3.org/2000/01/rdf-schema#",
    "sh": "http://www.w3.org/ns/shacl#",
    "skos": "http://www.w3.org/2004/02/skos/core#",
    "unit": "http://qudt.org/vocab/unit/",
    "xsd": "http://www.w3.org/2001/XMLSchema#",
}
_RDF_TYPE = "http://www.w3.org/1999/02/22-rdf-syntax-ns#type"
_OF_PART = NamedNode("https://crosspin.example/def/ofPart")
_SPEC = "https://crosspin.example/id/spec/"


def about(graph: GraphStore, iri: str) -> list[Triple]:
    """What is said of a thing, of what belongs to it alone (its lines, placements, blank nodes, published
    readings), and of the specs that it has; empty where nothing is said.  In a fixed order."""
    start = NamedNode(iri)
    found: set[Triple] = set()
    seen: set[NamedNode | BlankNode] = set()
    waiting: list[NamedNode | BlankNode] = [start]
    for quad in graph.quads.quads_for_pattern(None, _OF_PART, start, None):
        if isinstance(quad.subject, NamedNode):
            waiting.append(quad.subject)
    while waiting:
        node = waiting.pop()
        if node in seen:
            continue
        seen.add(node)
        for quad in graph.quads.quads_for_pattern(node, None, None, None):
            found.add(quad.triple)
            target = quad.object
            if isinstance(target, BlankNode) or (
                isinstance(target, NamedNode) and target.value.startswith((f"{iri}/", _SPEC))
            ):
                waiting.append(target)
    return sorted(found, key=str)


def words(graph: GraphStore, iri: str, predicate: str) -> str:
    """The first text that the graph has for a property of a thing, in English where there is some, in the order of
    the texts; "" if none."""
    quads = graph.quads.quads_for_pattern(NamedNode(iri), NamedNode(predicate), None, None)
    found = [q.object for q in quads if isinstance(q.object, Literal)]
    return min(((text.language not in (None, "en"), text.value) for text in found), default=(False, ""))[1]


def source_of(graph: GraphStore, triple: Triple) -> str:
    """The IRI of the graph that holds a triple; of what several hold the first, in the order of their IRIs."""
    quads = graph.quads.quads_for_pattern(triple.subject, triple.predicate, triple.object, None)
    return min((q.graph_name.value for q in quads if isinstance(q.graph_name, NamedNode)), default="")


def graph_text(graph: GraphStore, name: str, media_type: str) -> bytes:
    """One whole named graph."""
    quads = graph.quads.quads_for_pattern(None, None, None, NamedNode(name))
    return write(sorted((quad.triple for quad in quads), key=str), media_type)


def write(triples: list[Triple], media_type: str) -> bytes:
    """Triples as text; raises KeyError for a format that is not written."""
    return serialize(triples, format=FORMATS[media_type], prefixes=_PREFIXES) or b""


@dataclass(frozen=True, slots=True)
class Value:
    """A value of a property: as text, the term of the ontology that it is (or ""), and the language it is in."""

    text: str
    term: str = ""
    language: str = ""


@dataclass(frozen=True, slots=True)
class Statement:
    """What the ontology says of a term by one property, which is a term too ("") or another vocabulary's."""

    property: str
    term: str
    values: tuple[Value, ...]


def statements(graph: GraphStore, iri: str) -> tuple[Statement, ...]:
    """What the ontology itself says of a term, by property."""
    found: dict[str, set[Value]] = {}
    for quad in graph.quads.quads_for_pattern(NamedNode(iri), None, None, NamedNode(ONTOLOGY)):
        found.setdefault(quad.predicate.value, set()).add(_value(quad.object))
    return tuple(
        Statement(_short(name), _term(name), tuple(sorted(values, key=lambda v: (v.language, v.text))))
        for name, values in sorted(found.items())
    )


def named_by(graph: GraphStore, iri: str, most: int) -> tuple[tuple[str, str], ...]:
    """Which terms name a term, and by which property; the first `most` of them."""
    quads = graph.quads.quads_for_pattern(None, None, NamedNode(iri), NamedNode(ONTOLOGY))
    pairs = {(_term(getattr(q.subject, "value", "")), _short(q.predicate.value)) for q in quads}
    return tuple(sorted(pair for pair in pairs if pair[0])[:most])


def terms(graph: GraphStore) -> tuple[str, ...]:
    """Every term that the ontology defines, by its identifier."""
    quads = graph.quads.quads_for_pattern(None, NamedNode(_RDF_TYPE), None, NamedNode(ONTOLOGY))
    names = {_term(q.subject.value) for q in quads if isinstance(q.subject, NamedNode)}
    return tuple(sorted(names - {""}))


def _value(node: object) -> Value:
    if isinstance(node, Literal):
        return Value(node.value, language=node.language or "")
    if isinstance(node, NamedNode):
        return Value(_short(node.value), _term(node.value))
    return Value("(see the RDF)")


def _term(iri: str) -> str:
    """The identifier of a term of ours, "" for anything else."""
    name = iri.removeprefix(ONTOLOGY) if iri.startswith(ONTOLOGY) else ""
    return name if "/" not in name else ""


def _short(iri: str) -> str:
    for prefix, namespace in _PREFIXES.items():
        if iri.startswith(namespace):
            return f"{prefix}:{iri.removeprefix(namespace)}"
    return iri
