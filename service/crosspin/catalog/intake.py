"""Checks drafts against the model and puts them on record: all of them, or none and every reason why not."""

import hashlib
import re
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from decimal import Decimal
from heapq import heappush, heappushpop

from crosspin.catalog.amounts import MOST_DECIMALS, NotUsable, read_amount
from crosspin.catalog.snapshot import Taken, Writer
from crosspin.figures.derive import FORMULAS
from crosspin.figures.exact import FRACTIONAL_DIGITS, parse_number, spell
from crosspin.figures.quantity import Calculation
from crosspin.model.drafts import PROPERTY, Cell, Drafts, KitDraft, PartDraft, Problem, Refused, VehicleDraft
from crosspin.model.schema import Datatype, Dimension, Kit, KitLine, Model, Part, Spec, Value, Vehicle

_ID = re.compile(r"[a-z0-9]+([.-][a-z0-9]+)*")

MOST_DEAR = 20
"""Of how many parts of an import, the dearest ones, the places are remembered."""

MOST_TOLD = 1000
"""After how many problems no more are looked for."""

MOST_KEPT = 200_000
"""How many different texts of readings are remembered."""


@dataclass
class TakenIn:
    """How much one import put on record."""

    parts: int = 0
    kits: int = 0
    vehicles: int = 0
    dearest: list[tuple[Decimal, str, str]] = field(default_factory=list)
    """Price, id and place of the dearest parts, as a heap."""

    def note(self, price: Decimal, part: str, place: str) -> None:
        """Remember where the price of a part came from, if it is among the dearest."""
        add = heappush if len(self.dearest) < MOST_DEAR else heappushpop
        add(self.dearest, (price, part, place))

    @property
    def places(self) -> dict[str, str]:
        """Where the prices of the dearest parts came from, by part."""
        return {part: place for _, part, place in self.dearest}


def take_in(drafts: Drafts, model: Model, writer: Writer) -> TakenIn:
    """Put these drafts on record, one after another.

    Raises Refused with every problem found (the first 1,000 of them); what was written must be undone then.
    """
    checker = _Checker(model, writer)
    for part in drafts.parts:
        if isinstance(part, Problem):
            checker.problem(part)
        else:
            checker.part(part)
    for kit in drafts.kits:
        checker.kit(kit)
    for vehicle in _merged(drafts.vehicles):
        checker.vehicle(vehicle)
    if checker.problems:
        raise Refused(checker.problems)
    return checker.taken


def _merged(drafts: Iterable[VehicleDraft]) -> list[VehicleDraft]:
    """One draft for each vehicle, however many files tell of it."""
    merged: dict[str, VehicleDraft] = {}
    for draft in drafts:
        other = merged.get(draft.id)
        merged[draft.id] = (
            draft
            if other is None
            else VehicleDraft(
                place=other.place,
                id=draft.id,
                label=other.label or draft.label,
                layout=other.layout or draft.layout,
                parts=(*other.parts, *draft.parts),
                lists_all=other.lists_all or draft.lists_all,
                leaves_open=(*other.leaves_open, *draft.leaves_open),
            )
        )
    return list(merged.values())


def intern(feature_kind: str, values: dict[str, tuple[Value, ...]]) -> Spec:
    """The spec with these readings; equal readings give the same id on every machine."""
    spelled = "|".join(
        f"{dimension}={','.join(v if isinstance(v, str) else spell(v) for v in found)}"
        for dimension, found in sorted(values.items())
    )
    digest = hashlib.sha256(f"{feature_kind}|{spelled}".encode()).hexdigest()[:16]
    return Spec(id=f"{feature_kind}-{digest}", feature_kind=feature_kind, values=dict(sorted(values.items())))


class _Checker:
    def __init__(self, model: Model, writer: Writer) -> None:
        self.model = model
        self.writer = writer
        self.units = {unit.symbol: unit for unit in model.units.values()}
        self.summed = {name for r in model.resources.values() for name in (r.draw_dimension, r.supply_dimension)}
        self.problems: list[Problem] = []
        self.taken = TakenIn()
        self._specs: dict[tuple[object, ...], Spec] = {}
        self._read: dict[tuple[object, ...], tuple[Value, ...]] = {}

    def problem(self, problem: Problem) -> None:
        self.problems.append(problem)
        if len(self.problems) >= MOST_TOLD:
            raise Refused(self.problems)

    def wrong(self, place: str, wrong: str, mend: str) -> None:
        self.problem(Problem(place, wrong, mend))

    def check_id(self, place: str, name: str) -> None:
        if not _ID.fullmatch(name):
            self.wrong(place, f"the id {name!r} is not usable", "Use small letters, digits, hyphens and dots")

    @contextmanager
    def new_id(self, place: str) -> Iterator[None]:
        """What is put on record meanwhile, under an id that must not be there yet."""
        try:
            yield
        except Taken as taken:
            mend = "Give it an id of its own, or import the file it came from again"
            self.wrong(place, f"the id {taken.name!r} is taken already", mend)

    def amount(self, place: str, text: str | None, what: str) -> Decimal | None:
        """A price, stock or quantity; None where there is none, or none that is usable."""
        if text is None:
            return None
        try:
            return read_amount(text, what)
        except NotUsable as error:
            self.wrong(place, error.wrong, error.mend)
            return None

    def part(self, draft: PartDraft) -> None:
        if draft.kind not in self.model.kinds:
            self.wrong(draft.place, f"{draft.kind!r} is no kind", "Use a kind that the ontology knows")
            return
        self.check_id(draft.place, draft.id)
        if not draft.label:
            self.wrong(draft.place, "there is no label", "Say in a few words what it is")
        kind = self.model.kinds[draft.kind]
        readings: dict[str, dict[str, tuple[Value, ...]]] = {}
        published: dict[str, str] = {}
        for cell in draft.cells:
            if cell.feature not in kind.features:
                known = ", ".join(kind.features) or "none"
                self.wrong(cell.place, f"a {kind.label} has no feature {cell.feature!r}", f"Its features: {known}")
                continue
            feature_kind = self.model.feature_kinds[self.model.features[cell.feature].feature_kind]
            if cell.dimension not in feature_kind.dimensions:
                known = ", ".join(feature_kind.dimensions)
                self.wrong(
                    cell.place, f"{cell.feature!r} has no dimension {cell.dimension!r}", f"Its dimensions: {known}"
                )
                continue
            if cell.feature in draft.lacks:
                self.wrong(
                    cell.place, f"{cell.feature!r} is said to be lacking, yet has a reading", "Keep one of the two"
                )
                continue
            values = self.reading(cell)
            readings.setdefault(cell.feature, {})[cell.dimension] = values
            unit = self.units.get(cell.unit or "")
            if unit is not None and unit.factor != 1:
                published[f"{cell.feature}.{cell.dimension}"] = f"{', '.join(cell.texts)} {unit.symbol}"
        for feature in draft.lacks:
            if feature not in kind.features:
                self.wrong(
                    draft.place,
                    f"a {kind.label} has no feature {feature!r} to lack",
                    f"Its features: {', '.join(kind.features)}",
                )
        for function in draft.functions:
            if function not in self.model.functions:
                known = ", ".join(self.model.functions) or "none"
                self.wrong(draft.place, f"{function!r} is no function", f"Functions: {known}")
        specs = {feature: self.spec(feature, found) for feature, found in sorted(readings.items())}
        stock = self.amount(draft.column.format(draft.place, "stock"), draft.stock, "stock")
        price = self.amount(priced := draft.column.format(draft.place, "price"), draft.price, "price")
        part = Part(
            id=draft.id,
            kind=draft.kind,
            label=draft.label,
            price=price,
            stock=None if stock is None else int(stock),
            specs=specs,
            lacks=tuple(sorted(draft.lacks)),
            functions=tuple(sorted(draft.functions)),
            published=dict(sorted(published.items())),
        )
        if self.problems:
            return  # nothing of this import will stay, so that only its problems matter
        with self.new_id(draft.place):
            self.writer.put_part(part)
        self.taken.parts += 1
        if price is not None:
            self.taken.note(price, part.id, priced)

    def spec(self, feature: str, found: dict[str, tuple[Value, ...]]) -> str:
        """Put the readings at a feature on record and return the id of their spec."""
        kind = self.model.features[feature].feature_kind
        key = (kind, *sorted(found.items()))
        known = self._specs.get(key)
        if known is None:
            known = self._specs[key] = intern(kind, self.derive(kind, found))
        self.writer.put_spec(known)
        return known.id

    def reading(self, cell: Cell) -> tuple[Value, ...]:
        """What a cell says; the same is written in many."""
        key = cell.dimension, cell.texts, cell.unit, cell.disputed
        known = self._read.get(key)
        if known is None:
            before = len(self.problems)
            known = self.values(cell, self.model.dimensions[cell.dimension])
            if len(self._read) >= MOST_KEPT:
                self._read.clear()
            if len(self.problems) == before:
                self._read[key] = known
        return known

    def values(self, cell: Cell, dimension: Dimension) -> tuple[Value, ...]:
        if len(cell.texts) > 1 and not dimension.many and not cell.disputed:
            self.wrong(
                cell.place,
                f"{dimension.label} takes one value, not {len(cell.texts)}",
                "Keep one; put ';' between sources that disagree",
            )
        found = [self.value(text, cell, dimension) for text in cell.texts]
        return tuple(sorted({v for v in found if v is not None}, key=lambda v: (str(type(v)), v)))

    def value(self, text: str, cell: Cell, dimension: Dimension) -> Value | None:
        if dimension.datatype is Datatype.CODE:
            if cell.unit:
                self.wrong(
                    cell.place,
                    f"{dimension.label} is a code and has no unit, not {cell.unit!r}",
                    "Leave the unit empty",
                )
            if dimension.codes and text not in dimension.codes:
                self.wrong(cell.place, f"{text!r} is no {dimension.label}", f"Use one of: {', '.join(dimension.codes)}")
            elif dimension.pattern and not re.fullmatch(dimension.pattern, text):
                self.wrong(
                    cell.place, f"{text!r} is not written as a {dimension.label}", f"It must match {dimension.pattern}"
                )
            return text
        try:
            value = parse_number(text)
        except ValueError as error:
            self.wrong(cell.place, str(error), f"Give the {dimension.label} as a number")
            return None
        value *= self.factor(cell, dimension)
        if dimension.datatype is Datatype.INTEGER and value != int(value):
            self.wrong(cell.place, f"the {dimension.label} {text} is not whole", "Count again")
        if (dimension.least is not None and value < dimension.least) or (
            dimension.most is not None and value > dimension.most
        ):
            unit = f" {self.model.units[dimension.unit].symbol}" if dimension.unit in self.model.units else ""
            least = "any" if dimension.least is None else spell(dimension.least)
            most = "any" if dimension.most is None else spell(dimension.most)
            wrong = f"a {dimension.label} of {spell(value)}{unit} is beyond belief"
            self.wrong(
                cell.place, wrong, f"Between {least} and {most}{unit} is possible; look at the figure and its unit"
            )
        finest = MOST_DECIMALS if dimension.id in self.summed else FRACTIONAL_DIGITS
        if len(spell(value).partition(".")[2]) > finest:
            self.wrong(
                cell.place, f"{text} {cell.unit or ''}".rstrip() + f" has more than {finest} decimals", "Round it"
            )
            return None
        return parse_number(spell(value))

    def factor(self, cell: Cell, dimension: Dimension) -> Decimal:
        if dimension.unit is None:
            if cell.unit:
                self.wrong(cell.place, f"{dimension.label} has no unit, not {cell.unit!r}", "Leave the unit empty")
            return Decimal(1)
        kept = self.model.units[dimension.unit]
        fitting = sorted(u.symbol for u in self.model.units.values() if u.kept_in == kept.id)
        if cell.unit is None:
            return Decimal(1)
        unit = self.units.get(cell.unit)
        if not cell.unit:
            self.wrong(cell.place, f"the unit of {dimension.label} is not given", f"Write one of: {', '.join(fitting)}")
            return Decimal(1)
        if unit is None or unit.kept_in != kept.id:
            self.wrong(
                cell.place, f"{dimension.label} is not measured in {cell.unit!r}", f"Use one of: {', '.join(fitting)}"
            )
            return Decimal(1)
        return unit.factor

    def derive(self, feature_kind: str, readings: dict[str, tuple[Value, ...]]) -> dict[str, tuple[Value, ...]]:
        """Fill in derived dimensions, those that others are derived from first."""
        found = dict(readings)
        waiting = [self.model.dimensions[d] for d in self.model.feature_kinds[feature_kind].dimensions]
        waiting = [d for d in waiting if d.formula is not None and d.id not in found]
        progress = True
        while progress:
            progress = False
            for dimension in list(waiting):
                inputs = [found.get(name, ()) for name in dimension.derived_from]
                if dimension.formula is not None and all(len(values) == 1 for values in inputs):
                    value = self._derived(FORMULAS[dimension.formula], [v[0] for v in inputs])
                    if value is not None:
                        found[dimension.id] = (value,)
                        progress = True
                    waiting.remove(dimension)
        return found

    @staticmethod
    def _derived(formula: Calculation, values: Sequence[Value]) -> Decimal | None:
        """What a formula gives for readings; None where they are not of its sort, or make no sense to it."""
        wanted = formula.parameters.values()
        if any(isinstance(value, str) != quantity.is_code for value, quantity in zip(values, wanted, strict=True)):
            return None
        try:
            return formula(*values)
        except ValueError:
            return None

    def kit(self, draft: KitDraft) -> None:
        self.check_id(draft.place, draft.id)
        price = self.amount(PROPERTY.format(draft.place, "price"), draft.price, "price")
        stock = self.amount(PROPERTY.format(draft.place, "stock"), draft.stock, "stock")
        if draft.price is None:
            self.wrong(draft.place, "the kit has no price", "Give the price of the whole kit")
        if not draft.lines:
            self.wrong(draft.place, "the kit has no lines", "Say which parts it contains")
        lines = []
        for part, quantity in draft.lines:
            if self.writer.kind_of(part) is None:
                self.wrong(
                    draft.place,
                    f"it contains {part!r}, which is no part on record",
                    "Import the part first, or mend the id",
                )
            count = self.amount(PROPERTY.format(draft.place, f"quantity of {part}"), quantity, "quantity")
            if count is not None:
                lines.append(KitLine(part=part, quantity=int(count)))
        kit = Kit(
            id=draft.id,
            label=draft.label,
            price=price or Decimal(0),
            stock=None if stock is None else int(stock),
            lines=tuple(lines),
        )
        with self.new_id(draft.place):
            self.writer.put_kit(kit)
        self.taken.kits += 1

    def vehicle(self, draft: VehicleDraft) -> None:
        self.check_id(draft.place, draft.id)
        layout = self.model.layouts.get(draft.layout)
        if layout is None:
            known = ", ".join(self.model.layouts)
            self.wrong(draft.place, f"there is no layout {draft.layout!r}", f"Use one of: {known}")
            return
        positions = {position.path: position for position in layout.positions}
        parts: dict[str, str] = {}
        for path, part in draft.parts:
            place = f"{draft.place}, {path}"
            if path not in positions:
                self.wrong(place, f"the layout {layout.id!r} has no position {path!r}", "Mend the path")
                continue
            kind = self.writer.kind_of(part)
            if kind is None:
                self.wrong(place, f"there is no part {part!r} on record", "Import the part first, or mend the id")
                continue
            role = self.model.roles[positions[path].role]
            if role.kind not in self.model.kinds[kind].ancestors:
                taken, given = self.model.kinds[role.kind].label, self.model.kinds[kind].label
                self.wrong(place, f"the position takes a {taken}; {part!r} is a {given}", "Mend the path or the part")
            if path in parts:
                self.wrong(place, "two parts are said to stand here", "Keep one")
            parts[path] = part
        unseen = [
            path
            for path, position in positions.items()
            if path not in parts and (not draft.lists_all or position.role in draft.leaves_open)
        ]
        vehicle = Vehicle(
            id=draft.id,
            label=draft.label,
            layout=layout.id,
            parts=dict(sorted(parts.items())),
            unseen=tuple(sorted(unseen)),
        )
        with self.new_id(draft.place):
            self.writer.put_vehicle(vehicle)
        self.taken.vehicles += 1
