"""What the service answers with, beside plans and the ontology's own records."""

from decimal import Decimal
from enum import StrEnum
from typing import Any, Generic, TypeVar

from pydantic import BaseModel, ConfigDict

from crosspin.answer.saved import Fired
from crosspin.api.problems import ProblemLine
from crosspin.knockon.ask import ReadingWish
from crosspin.model.figure import Figure, Formula, SpeedTable
from crosspin.model.schema import (
    Consequence,
    Dimension,
    FigureNeed,
    Function,
    JointKind,
    Kind,
    Kit,
    Need,
    Remedy,
    Renewal,
    Resource,
    Spec,
)
from crosspin.model.written_rule import WrittenRule
from crosspin.rules.casebook import CaseLine

Item = TypeVar("Item")


class Shape(BaseModel):
    """Base of every answer."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Page(Shape, Generic[Item]):
    """Some of a list: `total` counts all, `next` is the token of the following page, None on the last."""

    items: tuple[Item, ...]
    total: int
    next: str | None = None


class KindLine(Shape):
    """A kind in a list; `orderable` counts the parts of it, or of kinds below it, that have a price."""

    id: str
    label: str
    definition: str
    parents: tuple[str, ...]
    orderable: int


class FeatureSheet(Shape):
    """A feature that parts of a kind have, with what is measured there."""

    id: str
    label: str
    definition: str
    feature_kind: str
    dimensions: tuple[Dimension, ...]


class KindSheet(Shape):
    """A kind with its features, the roles that take it and the rules that name it."""

    kind: Kind
    below: tuple[str, ...]
    roles: tuple[str, ...]
    features: tuple[FeatureSheet, ...]
    rules: tuple[str, ...]


class RuleSort(StrEnum):
    """The sorts of rules."""

    JOINT_KIND = "joint-kind"
    NEED = "need"
    FIGURE_NEED = "figure-need"
    RENEWAL = "renewal"
    RESOURCE = "resource"
    FUNCTION = "function"
    REMEDY = "remedy"
    CONSEQUENCE = "consequence"
    FIGURE = "figure"
    SPEED_TABLE = "speed-table"
    FORMULA = "formula"
    WRITTEN = "written"


class RuleLine(Shape):
    """A rule in a list."""

    id: str
    sort: RuleSort
    label: str
    definition: str


class RuleSheet(Shape):
    """A rule as the ontology has it, the cases that try it, and what became of it in the plans for saved asks."""

    sort: RuleSort
    rule: (
        JointKind
        | Need
        | FigureNeed
        | Renewal
        | Resource
        | Function
        | Remedy
        | Consequence
        | Figure
        | SpeedTable
        | Formula
        | WrittenRule
    )
    cases: tuple[CaseLine, ...]
    saved_plans: tuple[Fired, ...]


class PartSummary(Shape):
    """A part in a list; prices in the shop's currency, None where it is not sold; stock None where not known."""

    id: str
    kind: str
    label: str
    price: Decimal | None
    stock: int | None


class DescribedLine(Shape):
    """A wish that what was typed describes: a kind with readings, as an ask has them; `equals` a code or
    number in the dimension's own unit, or between `least` and `most`."""

    kind: str
    readings: tuple[ReadingWish, ...]


class FoundSheet(Shape):
    """What goes with some words: parts, kits, and wishes that could be made; `more` where there are more parts."""

    parts: tuple[PartSummary, ...]
    kits: tuple[Kit, ...]
    wishes: tuple[DescribedLine, ...]
    more: bool


class ReadingLine(Shape):
    """The values of one dimension, in its own unit.  Several are accepted ones, or, where `disputed`,
    what sources that disagree say.  `published` is the value as printed where that was another unit."""

    dimension: str
    label: str
    values: tuple[Decimal | str, ...]
    unit: str | None
    disputed: bool
    published: str | None


class FeatureReadings(Shape):
    """What is known of one feature of a part; parts with equal readings share the spec."""

    feature: str
    label: str
    spec: str
    readings: tuple[ReadingLine, ...]


class PartSheet(Shape):
    """A part with all that is known of it.  `functions` is what it lets the driver do; `not_recorded` lists the
    features nobody has measured."""

    id: str
    iri: str
    kind: str
    label: str
    price: Decimal | None
    currency: str
    stock: int | None
    features: tuple[FeatureReadings, ...]
    lacks: tuple[str, ...]
    functions: tuple[str, ...]
    not_recorded: tuple[str, ...]


class SpecSheet(Shape):
    """A spec and the parts that have it, by feature."""

    spec: Spec
    parts: dict[str, tuple[str, ...]]


class VehicleLine(Shape):
    """A vehicle in a list."""

    id: str
    label: str
    layout: str


class PositionState(StrEnum):
    """What is known of a position of a received vehicle."""

    FILLED = "filled"
    EMPTY = "empty"
    UNSEEN = "unseen"


class PositionLine(Shape):
    """A position and what was received there; `takes` is the kind that it takes."""

    path: str
    role: str
    takes: str
    state: PositionState
    part: PartSummary | None


class VehicleSheet(Shape):
    """A vehicle as received."""

    id: str
    iri: str
    label: str
    layout: str
    positions: tuple[PositionLine, ...]


class ValueLine(Shape):
    """A value: as text, the term of the ontology that it is, and the language it is in ("" where none)."""

    text: str
    term: str
    language: str


class StatementLine(Shape):
    """What the ontology says of a term by one property; `term` is the property's own, where it is one of ours."""

    property: str
    term: str
    values: tuple[ValueLine, ...]


class NamingLine(Shape):
    """A term that names another, and the property by which it does."""

    term: str
    property: str


class TermSheet(Shape):
    """A term of the ontology in one version of it (`version_iri`).

    `record` holds what the model makes of it, where it makes something; `named_by` the first of the terms that name
    it.  A term that is `deprecated` (the version from which on) should not be written any more; `replaced_by` is
    what to write.
    """

    id: str
    iri: str
    version_iri: str
    sort: str
    label: str
    definition: str
    example: str
    deprecated: str
    replaced_by: str
    statements: tuple[StatementLine, ...]
    named_by: tuple[NamingLine, ...]
    record: dict[str, Any] | None


class ImportDone(Shape):
    """What an import put on record, and the version of the graph since."""

    source: str
    parts: int
    kits: int
    vehicles: int
    version: str


class PackLine(Shape):
    """A pack in use: its terms, what it adds to the terms of others, and what it replaces and why."""

    name: str
    terms: tuple[str, ...]
    additions: tuple[str, ...]
    replacements: tuple[str, ...]


class Health(Shape):
    """By what the service answers; `refused` tells why folders that it `watches` were not taken as they are now."""

    version: str
    watches: bool
    refused: tuple[ProblemLine, ...]
    packs: tuple[PackLine, ...]
