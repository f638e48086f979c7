"""Where the graph lives: an embedded quad store, in memory or on disk.

Named graphs: the ontology, what the layout rules derived from it, one per imported source, one per
vehicle file.  Reading text never opens a network connection or another file.
"""

from collections.abc import Iterable, Iterator
from itertools import chain, islice
from pathlib import Path

from pyoxigraph import BlankNode, Literal, NamedNode, Quad, RdfFormat, Store, Triple, parse

from crosspin.store.digest import digest_of
from crosspin.store.hold import Hold
from crosspin.store.infer import infer, read_rules

ONTOLOGY = "https://crosspin.example/def/"
DERIVED = "https://crosspin.example/id/derived"

# RDF/XML is left out on purpose: its entities can be made to eat all memory.
FORMATS = {
    "text/turtle": RdfFormat.TURTLE,
    "application/n-triples": RdfFormat.N_TRIPLES,
    "application/ld+json": RdfFormat.JSON_LD,
    "application/trig": RdfFormat.TRIG,
}
"""The RDF formats that are read, by media type."""

MANY = 1_000
"""From how many triples on it is worth while to write them in bulk."""

SUFFIXES = {".ttl": "text/turtle", ".nt": "application/n-triples", ".jsonld": "application/ld+json"}
"""Media type by file suffix, for files that are imported."""

Term = NamedNode | BlankNode | Literal


class BrokenText(ValueError):
    """Text that is not what its format says; the message names the place."""


def parse_text(text: bytes, media_type: str, name: str) -> list[Quad]:
    """Read RDF text; relative IRIs resolve against the project's own namespace.

    Raises BrokenText, naming the line, where the text is not well formed, and KeyError for a format
    that is not read.
    """
    try:
        quads = list(parse(text, format=FORMATS[media_type], base_iri=f"https://crosspin.example/id/source/{name}"))
    except SyntaxError as error:
        place = f"line {error.lineno}" if error.lineno else "somewhere"
        raise BrokenText(f"{name}, {place}: {error.msg}") from error
    except (ValueError, OSError) as error:
        raise BrokenText(f"{name}: {error}") from error
    # Blank node labels repeat from file to file; make them this file's own.
    renamed: dict[BlankNode, BlankNode] = {}

    def own(node: BlankNode) -> BlankNode:
        return renamed.setdefault(node, BlankNode())

    def owned(quad: Quad) -> Quad:
        subject, value = quad.subject, quad.object
        if not (isinstance(subject, BlankNode) or isinstance(value, BlankNode)):
            return quad
        return Quad(
            own(subject) if isinstance(subject, BlankNode) else subject,
            quad.predicate,
            own(value) if isinstance(value, BlankNode) else value,
            quad.graph_name,
        )

    return list(map(owned, quads))


class Facts:
    """Triples looked up by subject and property, without a query engine in between."""

    def __init__(self, quads: Iterable[Quad]) -> None:
        self._by_subject: dict[Term, dict[str, list[Term]]] = {}
        self._subjects_by_type: dict[str, list[Term]] = {}
        for quad in quads:
            # every look at a quad makes a new object
            subject, predicate, value = quad.subject, quad.predicate.value, quad.object
            if isinstance(subject, Triple) or isinstance(value, Triple):
                continue  # a statement about a statement; nothing of ours is written so
            about = self._by_subject.get(subject)
            if about is None:
                about = self._by_subject[subject] = {}
            values = about.get(predicate)
            if values is None:
                about[predicate] = [value]
            elif value not in values:
                values.append(value)
            else:
                continue
            if predicate == "http://www.w3.org/1999/02/22-rdf-syntax-ns#type":
                self._subjects_by_type.setdefault(value.value, []).append(subject)

    def of_type(self, iri: str) -> list[Term]:
        """Subjects with this rdf:type, in the order of their IRIs."""
        return sorted(self._subjects_by_type.get(iri, ()), key=str)

    def subjects(self) -> list[Term]:
        """Every subject, in the order of their IRIs."""
        return sorted(self._by_subject, key=str)

    def values(self) -> Iterator[Term]:
        """Every object of every subject, in any order."""
        return (value for about in self._by_subject.values() for found in about.values() for value in found)

    def all(self, subject: Term, predicate: str) -> list[Term]:
        """Every object, in an order that does not depend on the order of loading."""
        return sorted(self._by_subject.get(subject, {}).get(predicate, ()), key=str)

    def about(self, subject: Term) -> dict[str, list[Term]]:
        """Property IRI to objects."""
        return self._by_subject.get(subject, {})

    def list_items(self, head: Term) -> list[Term]:
        """The items of an rdf:List."""
        rdf = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
        items: list[Term] = []
        while not (isinstance(head, NamedNode) and head.value == rdf + "nil"):
            items.extend(self.all(head, rdf + "first"))
            head = self.all(head, rdf + "rest")[0]
        return items


class GraphStore:
    """The quad store and the few things that the program does with it."""

    def __init__(self, folder: Path | None = None) -> None:
        """Open the store in `folder`, created if new, or one in memory."""
        self.folder = folder
        self._hold: Hold | None = None
        self.quads = Store(str(folder)) if folder is not None else Store()

    @classmethod
    def to_read(cls, folder: Path) -> "GraphStore":
        """The store in a folder, which nobody writes any more, and nobody takes away as long as this is there.

        Raises OSError where it is not there.
        """
        store = object.__new__(cls)
        store.folder = folder
        store._hold = Hold(folder)
        store.quads = Store.read_only(str(folder))
        return store

    @classmethod
    def of_text(cls, text: str) -> "GraphStore":
        """A store in memory with what `text` wrote down."""
        store = cls()
        store.quads.bulk_load(text.encode(), format=RdfFormat.N_QUADS)
        return store

    def text(self) -> str:
        """All that the store holds, as N-Quads."""
        written = self.quads.dump(format=RdfFormat.N_QUADS)
        assert written is not None
        return written.decode()

    def close(self) -> None:
        """Let go of the files; the store must not be used any more."""
        del self.quads

    def replace(self, graph: str, triples: Iterable[Quad | Triple]) -> None:
        """Put these triples in place of whatever the graph held, as they come."""
        name = NamedNode(graph)
        self.quads.remove_graph(name)
        self._add(Quad(t.subject, t.predicate, t.object, name) for t in triples)

    def _add(self, quads: Iterator[Quad]) -> None:
        first = list(islice(quads, MANY))
        if len(first) < MANY:
            self.quads.extend(first)
        else:
            self.quads.bulk_extend(chain(first, quads))

    def take_over(self, graphs: Iterable[str], other: "GraphStore") -> None:
        """Put what another store has in some graphs in place of whatever these held; what both have stays where it is,
        as to take it away and put it back would take as long as all the rest."""
        for graph in graphs:
            # Text of the same would not do in place of what is held: reading it gives blank nodes other names.
            before, wanted = set(self.triples(graph)), set(other.triples(graph))
            for quad in before - wanted:
                self.quads.remove(quad)
            self._add(iter(wanted - before))

    def remove(self, graph: str) -> None:
        """Forget a graph."""
        self.quads.remove_graph(NamedNode(graph))

    def triples(self, graph: str) -> Iterator[Quad]:
        """What one named graph says."""
        return self.quads.quads_for_pattern(None, None, None, NamedNode(graph))

    def facts(self, graphs: Iterable[str]) -> Facts:
        """The triples of some graphs, for look-up."""
        return Facts(
            quad for graph in graphs for quad in self.quads.quads_for_pattern(None, None, None, NamedNode(graph))
        )

    def graphs(self, prefix: str) -> list[str]:
        """The IRIs of the named graphs that start so, sorted."""
        return sorted(
            g.value for g in self.quads.named_graphs() if isinstance(g, NamedNode) and g.value.startswith(prefix)
        )

    def derive_layouts(self) -> None:
        """Run the rules below layer 10: they make the positions of every layout and what pairs them."""
        self.quads.remove_graph(NamedNode(DERIVED))
        rules = [rule for rule in read_rules(self.quads) if rule.order < 10]
        infer(self.quads, rules, [NamedNode(ONTOLOGY)], NamedNode(DERIVED))


def folder_digest(folder: Path) -> bytes:
    """A digest of the names and the text of every Turtle and CSV file below the folder."""
    pieces: list[str | bytes] = []
    for path in sorted((*folder.rglob("*.ttl"), *folder.rglob("*.csv"))):
        pieces += [path.relative_to(folder).as_posix(), path.read_bytes()]
    return bytes.fromhex(digest_of(pieces))


def read_folder(folder: Path) -> tuple[list[Quad], bytes]:
    """Every Turtle file below the folder, in the order of their paths, and its digest.  Raises BrokenText."""
    quads: list[Quad] = []
    for path in sorted(folder.rglob("*.ttl")):
        quads.extend(parse_text(path.read_bytes(), "text/turtle", path.name))
    return quads, folder_digest(folder)
