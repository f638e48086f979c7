"""Reads drafts of parts, kits and vehicles out of RDF text."""

from pyoxigraph import BlankNode, Literal, NamedNode

from crosspin.model.drafts import Cell, Drafts, KitDraft, PartDraft, Problem, Refused, VehicleDraft
from crosspin.model.reader import RDFS
from crosspin.model.schema import Model
from crosspin.model.terms import DEF, ID, UNIT, identifier, term
from crosspin.store.graph import BrokenText, Facts, GraphStore, Term, parse_text
from crosspin.store.migrate import migrated

RDF_TYPE = "http://www.w3.org/1999/02/22-rdf-syntax-ns#type"


def read_rdf(
    text: bytes, media_type: str, name: str, model: Model, units: dict[str, str], ontology: GraphStore
) -> Drafts:
    """The drafts in RDF text; `units` leads from QUDT local name to symbol, `ontology` to the store whose migrations
    are run where the text uses deprecated terms.

    Raises Refused where the text is broken, or holds something that is neither part, kit nor vehicle.
    """
    try:
        quads = parse_text(text, media_type, name)
    except BrokenText as error:
        raise Refused([Problem(name, str(error), "Mend the text there; nothing was changed")]) from None
    old = {term(word) for word in model.deprecated}
    if any(q.predicate.value in old or getattr(q.object, "value", "") in old for q in quads):
        quads = migrated(quads, ontology, old)
    facts = Facts(quads)
    reader = _RdfReader(facts, name, model, units)
    drafts = Drafts([reader.part(node, kind) for kind in model.kinds for node in facts.of_type(DEF + kind)])
    drafts.kits.extend(reader.kit(node) for node in facts.of_type(DEF + "Kit"))
    # A vehicle may be told in several files; a mention without a layout adds placements only.
    drafts.vehicles.extend(reader.vehicle(node) for node in facts.of_type(DEF + "Vehicle"))
    reader.refuse_the_rest()
    if reader.problems:
        raise Refused(reader.problems)
    return drafts


class _RdfReader:
    def __init__(self, facts: Facts, name: str, model: Model, units: dict[str, str]) -> None:
        self.facts = facts
        self.name = name
        self.model = model
        self.units = units
        self.problems: list[Problem] = []
        self.read: set[Term] = set()

    def place(self, node: Term, predicate: str = "") -> str:
        subject = node.value.removeprefix(ID) if isinstance(node, NamedNode) else "a blank node"
        return f"{self.name}, {subject}" + (f" cp:{predicate}" if predicate else "")

    def text(self, node: Term, predicate: str) -> str | None:
        values = self.facts.all(node, predicate if "://" in predicate else DEF + predicate)
        if len(values) > 1:
            self.problems.append(Problem(self.place(node, predicate), f"there are {len(values)} values", "Keep one"))
        return values[0].value if values else None

    def name_of(self, node: Term, sort: str) -> str:
        prefix = f"{ID}{sort}/"
        if not isinstance(node, NamedNode) or not node.value.startswith(prefix):
            self.problems.append(Problem(self.place(node), f"it is named {node}", f"Name it <{prefix}...>"))
            return str(node)
        return node.value.removeprefix(prefix)

    def part(self, node: Term, kind: str) -> PartDraft:
        self.read.add(node)
        cells: list[Cell] = []
        ours = ("identifier", "price", "stock", "lacks", "givesFunction")
        known = {RDF_TYPE, RDFS + "label", *(DEF + word for word in ours)}
        for predicate, objects in sorted(self.facts.about(node).items()):
            if predicate in known:
                continue
            feature = identifier(predicate)
            if feature not in self.model.features:
                self.problems.append(
                    Problem(
                        self.place(node, feature), "this is no feature", "Use a feature of the kind, or import its pack"
                    )
                )
                continue
            for spec in objects:
                cells.extend(self.cells(node, feature, spec))
        return PartDraft(
            place=self.place(node),
            id=self.name_of(node, "part"),
            kind=kind,
            label=self.text(node, RDFS + "label") or "",
            price=self.text(node, "price"),
            stock=self.text(node, "stock"),
            lacks=tuple(identifier(f.value) for f in self.facts.all(node, DEF + "lacks")),
            functions=tuple(identifier(f.value) for f in self.facts.all(node, DEF + "givesFunction")),
            cells=tuple(cells),
        )

    def cells(self, node: Term, feature: str, spec: Term) -> list[Cell]:
        self.read.add(spec)
        found = []
        for predicate, values in sorted(self.facts.about(spec).items()):
            if predicate == RDF_TYPE:
                continue
            dimension = identifier(predicate)
            texts, unit = [], None
            for value in values:
                if isinstance(value, BlankNode):  # [ cp:publishedValue "3 1/8" ; cp:unit unit:IN ]
                    self.read.add(value)
                    texts.append(self.text(value, "publishedValue") or "")
                    units = self.facts.all(value, DEF + "unit")
                    unit = self.units.get(units[0].value.removeprefix(UNIT), units[0].value) if units else None
                elif isinstance(value, Literal):
                    texts.append(value.value)
            many = dimension in self.model.dimensions and self.model.dimensions[dimension].many
            place = f"{self.place(node, feature)} cp:{dimension}"
            found.append(Cell(feature, dimension, tuple(texts), unit, place, disputed=len(texts) > 1 and not many))
        return found

    def kit(self, node: Term) -> KitDraft:
        self.read.add(node)
        lines = []
        for line in self.facts.all(node, DEF + "hasLine"):
            self.read.add(line)
            for part in self.facts.all(line, DEF + "listsPart"):
                lines.append((self.name_of(part, "part"), self.text(line, "quantity") or "1"))
        return KitDraft(
            place=self.place(node),
            id=self.name_of(node, "kit"),
            label=self.text(node, RDFS + "label") or "",
            price=self.text(node, "price"),
            stock=self.text(node, "stock"),
            lines=tuple(sorted(lines)),
        )

    def vehicle(self, node: Term) -> VehicleDraft:
        self.read.add(node)
        parts = []
        for placement in self.facts.all(node, DEF + "carries"):
            self.read.add(placement)
            path = self.text(placement, "atPath")
            for part in self.facts.all(placement, DEF + "holds"):
                parts.append((path or "", self.name_of(part, "part")))
        layouts = self.facts.all(node, DEF + "hasLayout")
        return VehicleDraft(
            place=self.place(node),
            id=self.name_of(node, "vehicle"),
            label=self.text(node, RDFS + "label") or "",
            layout=layouts[0].value.removeprefix(ID + "layout/") if layouts else "",
            parts=tuple(sorted(parts)),
            lists_all=self.text(node, "listsAll") == "true",
            leaves_open=tuple(identifier(r.value) for r in self.facts.all(node, DEF + "leavesOpen")),
        )

    def refuse_the_rest(self) -> None:
        for node in self.facts.subjects():
            if node not in self.read:
                self.problems.append(
                    Problem(
                        self.place(node),
                        "it is neither a part of a known kind, a kit nor a vehicle",
                        "Give it a type that the ontology knows, or leave it out",
                    )
                )
