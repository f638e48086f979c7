"""Parts, specs, kits and vehicles as they stand in the graph: written and read back.

A part is typed with its kind and every kind above it, so that rules need no closure.  Only what was
published in another unit than it is kept in has a reading of its own.
"""

from collections.abc import Iterable, Iterator, Mapping
from decimal import Decimal

from pyoxigraph import Literal, NamedNode, Triple

from crosspin.figures.exact import canonical, spell
from crosspin.model.reader import RDFS
from crosspin.model.schema import Datatype, Kit, KitLine, Model, Part, Spec, Value, Vehicle
from crosspin.model.terms import DEF, ID, identifier, term, thing
from crosspin.store.graph import Facts, GraphStore
from crosspin.store.graph import Term as Node

XSD = "http://www.w3.org/2001/XMLSchema#"
TYPE = NamedNode("http://www.w3.org/1999/02/22-rdf-syntax-ns#type")
LABEL = NamedNode(RDFS + "label")
DECIMAL = NamedNode(XSD + "decimal")
INTEGER = NamedNode(XSD + "integer")


def cp(name: str) -> NamedNode:
    """A term of the project's own namespace (or a full IRI)."""
    return NamedNode(term(name))


def number(value: Decimal) -> Literal:
    """A decimal in its one spelling."""
    return Literal(spell(value), datatype=DECIMAL)


def value_node(value: Value, datatype: Datatype) -> Literal:
    """A reading as a literal."""
    if isinstance(value, str):
        return Literal(value)
    return Literal(spell(value), datatype=INTEGER) if datatype is Datatype.INTEGER else number(value)


def spec_triples(spec: Spec, model: Model) -> list[Triple]:
    """A spec with its values."""
    node = NamedNode(thing("spec", spec.id))
    return [
        Triple(node, TYPE, cp("Spec")),
        Triple(node, TYPE, cp(spec.feature_kind)),
        *(
            Triple(node, cp(dimension), value_node(value, model.dimensions[dimension].datatype))
            for dimension, values in spec.values.items()
            for value in values
        ),
    ]


def part_triples(part: Part, model: Model) -> list[Triple]:
    """A part, without its specs' values."""
    node = NamedNode(thing("part", part.id))
    triples = [
        *(Triple(node, TYPE, cp(kind)) for kind in model.kinds[part.kind].ancestors),
        Triple(node, cp("ofKind"), cp(part.kind)),
        Triple(node, cp("identifier"), Literal(part.id)),
        Triple(node, LABEL, Literal(part.label, language="en")),
        *(Triple(node, cp(f), NamedNode(thing("spec", s))) for f, s in part.specs.items()),
        *(Triple(node, cp("lacks"), cp(f)) for f in part.lacks),
        *(Triple(node, cp("givesFunction"), cp(f)) for f in part.functions),
    ]
    if part.price is not None:
        triples.append(Triple(node, cp("price"), number(part.price)))
    if part.stock is not None:
        triples.append(Triple(node, cp("stock"), Literal(str(part.stock), datatype=INTEGER)))
    for place, text in part.published.items():
        feature, dimension = place.split(".")
        reading = NamedNode(f"{ID}reading/{part.id}/{place}")
        triples += [
            Triple(reading, TYPE, cp("Reading")),
            Triple(reading, cp("ofPart"), node),
            Triple(reading, cp("onFeature"), cp(feature)),
            Triple(reading, cp("onDimension"), cp(dimension)),
            Triple(reading, cp("publishedValue"), Literal(text)),
        ]
    return triples


def kit_triples(kit: Kit) -> list[Triple]:
    """A kit and its lines."""
    node = NamedNode(thing("kit", kit.id))
    triples = [
        Triple(node, TYPE, cp("Kit")),
        Triple(node, cp("identifier"), Literal(kit.id)),
        Triple(node, LABEL, Literal(kit.label, language="en")),
        Triple(node, cp("price"), number(kit.price)),
    ]
    if kit.stock is not None:
        triples.append(Triple(node, cp("stock"), Literal(str(kit.stock), datatype=INTEGER)))
    for line in kit.lines:
        line_node = NamedNode(f"{node.value}/{line.part}")
        triples += [
            Triple(node, cp("hasLine"), line_node),
            Triple(line_node, TYPE, cp("KitLine")),
            Triple(line_node, cp("listsPart"), NamedNode(thing("part", line.part))),
            Triple(line_node, cp("quantity"), number(Decimal(line.quantity))),
        ]
    return triples


def vehicle_triples(vehicle: Vehicle) -> list[Triple]:
    """A vehicle as received, one placement for each filled position."""
    node = NamedNode(thing("vehicle", vehicle.id))
    triples = [
        Triple(node, TYPE, cp("Vehicle")),
        Triple(node, cp("identifier"), Literal(vehicle.id)),
        Triple(node, LABEL, Literal(vehicle.label, language="en")),
        Triple(node, cp("hasLayout"), NamedNode(thing("layout", vehicle.layout))),
        *(Triple(node, cp("leavesUnseen"), Literal(path)) for path in vehicle.unseen),
    ]
    for path, part in vehicle.parts.items():
        placement = NamedNode(f"{node.value}/{path}")
        triples += [
            Triple(node, cp("carries"), placement),
            Triple(placement, TYPE, cp("Placement")),
            Triple(placement, cp("atPath"), Literal(path)),
            Triple(placement, cp("holds"), NamedNode(thing("part", part))),
        ]
    return triples


class Records:
    """What one named graph has on record, read back one thing after another."""

    def __init__(self, store: GraphStore, graph: str, model: Model) -> None:
        self._store = store
        self._graph = NamedNode(graph)
        self._model = model

    def specs(self) -> Iterator[Spec]:
        """Every spec."""
        return (self._spec(node, self._facts(node)) for node in self._nodes("Spec"))

    def parts(self) -> Iterator[Part]:
        """Every part."""
        return (self._part(node, self._facts(node)) for node in self._nodes("Part"))

    def kits(self) -> Iterator[Kit]:
        """Every kit."""
        return (self._kit(node, self._facts(node, "hasLine")) for node in self._nodes("Kit"))

    def vehicles(self) -> Iterator[Vehicle]:
        """Every vehicle."""
        return (self._vehicle(node, self._facts(node, "carries")) for node in self._nodes("Vehicle"))

    def _nodes(self, sort: str) -> Iterator[NamedNode]:
        for quad in self._store.quads.quads_for_pattern(None, TYPE, cp(sort), self._graph):
            if isinstance(quad.subject, NamedNode):
                yield quad.subject

    def _facts(self, node: NamedNode, link: str = "") -> Facts:
        """What the graph says of a node, and of what it leads to."""
        about = self._store.quads.quads_for_pattern
        quads = list(about(node, None, None, self._graph))
        if link:
            ends = [quad.object for quad in quads if quad.predicate == cp(link)]
            quads += [
                quad for end in ends if isinstance(end, NamedNode) for quad in about(end, None, None, self._graph)
            ]
        return Facts(quads)

    @staticmethod
    def _one(facts: Facts, node: Node, name: str) -> str | None:
        values = facts.all(node, name if "://" in name else DEF + name)
        return values[0].value if values else None

    def _value(self, node: Node) -> Value:
        numeric = isinstance(node, Literal) and node.datatype in (DECIMAL, INTEGER)
        return canonical(Decimal(node.value)) if numeric else str(node.value)

    def _spec(self, node: Node, facts: Facts) -> Spec:
        values: dict[str, tuple[Value, ...]] = {}
        feature_kind = ""
        for predicate, objects in sorted(facts.about(node).items()):
            if predicate == TYPE.value:
                feature_kind = next(identifier(o.value) for o in objects if o != cp("Spec"))
            else:
                values[identifier(predicate)] = tuple(
                    sorted(map(self._value, objects), key=lambda v: (str(type(v)), v))
                )
        return Spec(id=node.value.removeprefix(ID + "spec/"), feature_kind=feature_kind, values=values)

    def _part(self, node: Node, facts: Facts) -> Part:
        kind = identifier(self._one(facts, node, "ofKind") or "")
        specs = {}
        for feature in self._model.kinds[kind].features:
            spec = self._one(facts, node, feature)
            if spec is not None:
                specs[feature] = spec.removeprefix(ID + "spec/")
        price, stock = self._one(facts, node, "price"), self._one(facts, node, "stock")
        published = {}
        for quad in self._store.quads.quads_for_pattern(None, cp("ofPart"), node, self._graph):
            assert isinstance(quad.subject, NamedNode)
            said = self._facts(quad.subject)
            at = [identifier(self._one(said, quad.subject, name) or "") for name in ("onFeature", "onDimension")]
            published[".".join(at)] = self._one(said, quad.subject, "publishedValue") or ""
        return Part(
            id=self._one(facts, node, "identifier") or "",
            kind=kind,
            label=self._one(facts, node, RDFS + "label") or "",
            price=None if price is None else canonical(Decimal(price)),
            stock=None if stock is None else int(stock),
            specs=specs,
            lacks=tuple(identifier(f.value) for f in facts.all(node, DEF + "lacks")),
            functions=tuple(identifier(f.value) for f in facts.all(node, DEF + "givesFunction")),
            published=dict(sorted(published.items())),
        )

    def _kit(self, node: Node, facts: Facts) -> Kit:
        lines = [
            KitLine(
                part=(self._one(facts, line, "listsPart") or "").removeprefix(ID + "part/"),
                quantity=int(Decimal(self._one(facts, line, "quantity") or "1")),
            )
            for line in facts.all(node, DEF + "hasLine")
        ]
        stock = self._one(facts, node, "stock")
        return Kit(
            id=self._one(facts, node, "identifier") or "",
            label=self._one(facts, node, RDFS + "label") or "",
            price=canonical(Decimal(self._one(facts, node, "price") or "0")),
            stock=None if stock is None else int(stock),
            lines=tuple(sorted(lines, key=lambda line: line.part)),
        )

    def _vehicle(self, node: Node, facts: Facts) -> Vehicle:
        parts = {
            self._one(facts, placement, "atPath") or "": (self._one(facts, placement, "holds") or "").removeprefix(
                ID + "part/"
            )
            for placement in facts.all(node, DEF + "carries")
        }
        return Vehicle(
            id=self._one(facts, node, "identifier") or "",
            label=self._one(facts, node, RDFS + "label") or "",
            layout=(self._one(facts, node, "hasLayout") or "").removeprefix(ID + "layout/"),
            parts=dict(sorted(parts.items())),
            unseen=tuple(v.value for v in facts.all(node, DEF + "leavesUnseen")),
        )


def record_triples(
    model: Model, parts: Iterable[Part], specs: Iterable[Spec], kits: Iterable[Kit], vehicles: Iterable[Vehicle]
) -> Iterator[Triple]:
    """Everything that one source puts on record."""
    for spec in specs:
        yield from spec_triples(spec, model)
    for part in parts:
        yield from part_triples(part, model)
    for kit in kits:
        yield from kit_triples(kit)
    for vehicle in vehicles:
        yield from vehicle_triples(vehicle)


def source_triples(digests: Mapping[str, str]) -> list[Triple]:
    """Which sources are on record, each with the digest of its text."""
    prov = NamedNode("http://www.w3.org/ns/prov#Entity")
    triples = []
    for name, digest in sorted(digests.items()):
        node = NamedNode(thing("source", name))
        triples += [
            Triple(node, TYPE, prov),
            Triple(node, LABEL, Literal(name)),
            Triple(node, cp("digest"), Literal(digest)),
        ]
    return triples


def source_digests(facts: Facts) -> dict[str, str]:
    """The digest of each source on record, by name."""
    return {
        node.value.removeprefix(ID + "source/"): facts.all(node, DEF + "digest")[0].value for node in facts.subjects()
    }
