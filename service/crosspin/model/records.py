"""Parts, specs, kits and vehicles as they stand in the graph: written and read back.

A part is typed with its kind and every kind above it, so that rules need no closure.  Only what was
published in another unit than it is kept in has a reading of its own.
"""

from collections.abc import Callable, Iterable, Mapping
from decimal import Decimal
from typing import TypeVar

from pyoxigraph import Literal, NamedNode, Triple

from crosspin.figures.exact import canonical, spell
from crosspin.model.reader import RDFS
from crosspin.model.schema import Datatype, Kit, KitLine, Model, Part, Spec, Value, Vehicle
from crosspin.model.terms import DEF, ID, identifier, term, thing
from crosspin.store.graph import Facts
from crosspin.store.graph import Term as Node

XSD = "http://www.w3.org/2001/XMLSchema#"
TYPE = NamedNode("http://www.w3.org/1999/02/22-rdf-syntax-ns#type")
LABEL = NamedNode(RDFS + "label")
DECIMAL = NamedNode(XSD + "decimal")
INTEGER = NamedNode(XSD + "integer")

Record = TypeVar("Record", Spec, Part, Kit, Vehicle)


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
            Triple(line_node, cp("contains"), NamedNode(thing("part", line.part))),
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
    """Everything on record, read back from the graph; each table sorted by id."""

    def __init__(self, facts: Facts, model: Model) -> None:
        self._facts = facts
        self._model = model
        self._readings: dict[Node, list[Node]] = {}
        for reading in facts.of_type(DEF + "Reading"):
            for part in facts.all(reading, DEF + "ofPart"):
                self._readings.setdefault(part, []).append(reading)
        self.specs: Mapping[str, Spec] = self._table(facts.of_type(DEF + "Spec"), self._spec)
        self.parts: Mapping[str, Part] = self._table(facts.of_type(DEF + "Part"), self._part)
        self.kits: Mapping[str, Kit] = self._table(facts.of_type(DEF + "Kit"), self._kit)
        self.vehicles: Mapping[str, Vehicle] = self._table(facts.of_type(DEF + "Vehicle"), self._vehicle)

    @staticmethod
    def _table(nodes: Iterable[Node], build: Callable[[Node], Record]) -> dict[str, Record]:
        items = [build(node) for node in nodes]
        return {item.id: item for item in sorted(items, key=lambda item: item.id)}

    def _one(self, node: Node, name: str) -> str | None:
        values = self._facts.all(node, name if "://" in name else DEF + name)
        return values[0].value if values else None

    def _value(self, node: Node) -> Value:
        numeric = isinstance(node, Literal) and node.datatype in (DECIMAL, INTEGER)
        return canonical(Decimal(node.value)) if numeric else str(node.value)

    def _spec(self, node: Node) -> Spec:
        values: dict[str, tuple[Value, ...]] = {}
        feature_kind = ""
        for predicate, objects in sorted(self._facts.about(node).items()):
            if predicate == TYPE.value:
                feature_kind = next(identifier(o.value) for o in objects if o != cp("Spec"))
            else:
                values[identifier(predicate)] = tuple(
                    sorted(map(self._value, objects), key=lambda v: (str(type(v)), v))
                )
        return Spec(id=node.value.removeprefix(ID + "spec/"), feature_kind=feature_kind, values=values)

    def _part(self, node: Node) -> Part:
        facts = self._facts
        kind = identifier(self._one(node, "ofKind") or "")
        specs = {}
        for feature in self._model.kinds[kind].features:
            spec = self._one(node, feature)
            if spec is not None:
                specs[feature] = spec.removeprefix(ID + "spec/")
        price, stock = self._one(node, "price"), self._one(node, "stock")
        published = {}
        for reading in self._readings.get(node, ()):
            at = [identifier(self._one(reading, name) or "") for name in ("onFeature", "onDimension")]
            place = ".".join(at)
            published[place] = self._one(reading, "publishedValue") or ""
        return Part(
            id=self._one(node, "identifier") or "",
            kind=kind,
            label=self._one(node, RDFS + "label") or "",
            price=None if price is None else canonical(Decimal(price)),
            stock=None if stock is None else int(stock),
            specs=specs,
            lacks=tuple(identifier(f.value) for f in facts.all(node, DEF + "lacks")),
            published=dict(sorted(published.items())),
        )

    def _kit(self, node: Node) -> Kit:
        lines = [
            KitLine(
                part=(self._one(line, "contains") or "").removeprefix(ID + "part/"),
                quantity=int(Decimal(self._one(line, "quantity") or "1")),
            )
            for line in self._facts.all(node, DEF + "hasLine")
        ]
        stock = self._one(node, "stock")
        return Kit(
            id=self._one(node, "identifier") or "",
            label=self._one(node, RDFS + "label") or "",
            price=canonical(Decimal(self._one(node, "price") or "0")),
            stock=None if stock is None else int(stock),
            lines=tuple(sorted(lines, key=lambda line: line.part)),
        )

    def _vehicle(self, node: Node) -> Vehicle:
        parts = {
            self._one(placement, "atPath") or "": (self._one(placement, "holds") or "").removeprefix(ID + "part/")
            for placement in self._facts.all(node, DEF + "carries")
        }
        return Vehicle(
            id=self._one(node, "identifier") or "",
            label=self._one(node, RDFS + "label") or "",
            layout=(self._one(node, "hasLayout") or "").removeprefix(ID + "layout/"),
            parts=dict(sorted(parts.items())),
            unseen=tuple(v.value for v in self._facts.all(node, DEF + "leavesUnseen")),
        )


def record_triples(
    model: Model, parts: Iterable[Part], specs: Iterable[Spec], kits: Iterable[Kit], vehicles: Iterable[Vehicle]
) -> list[Triple]:
    """Everything that one source puts on record."""
    triples: list[Triple] = []
    for spec in specs:
        triples += spec_triples(spec, model)
    for part in parts:
        triples += part_triples(part, model)
    for kit in kits:
        triples += kit_triples(kit)
    for vehicle in vehicles:
        triples += vehicle_triples(vehicle)
    return triples


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
