"""The ontology as plain immutable objects.

Everything here is data read from the graph (see `model.read`) and is published unchanged as JSON,
so that another program can check our answers.  An identifier is the local name of the term in the
project's own namespace, or a full IRI for a term of another namespace.
"""

from decimal import Decimal
from enum import StrEnum
from functools import cached_property

from pydantic import Field

from crosspin.model.base import Frozen as Frozen
from crosspin.model.base import Term as Term
from crosspin.model.circuit import Wiring
from crosspin.model.figure import Figure, Formula, SpeedTable, State
from crosspin.model.labour import Check, Note, Operation, Phase
from crosspin.model.mark import Mark
from crosspin.model.written_rule import WrittenRule


class Datatype(StrEnum):
    """What a reading is made of."""

    DECIMAL = "decimal"
    INTEGER = "integer"
    CODE = "code"


class Comparator(StrEnum):
    """How a criterion compares two readings (`ontology/comparators.ttl` defines each)."""

    EQUALS = "equals"
    DIFFERENCE_WITHIN = "differenceWithin"
    PERCENT_WITHIN = "percentWithin"
    WITHIN_RANGE = "withinRange"
    IS_ONE_OF = "isOneOf"


class Scope(StrEnum):
    """Which positions of two roles are paired (`ontology/core.ttl` defines each)."""

    SAME_AXLE = "sameAxle"
    ACROSS_SIDES = "acrossSides"
    ACROSS_AXLES = "acrossAxles"
    WHOLE_VEHICLE = "wholeVehicle"


class Verdict(StrEnum):
    """What comes of judging a joint, a criterion or a need."""

    FITS = "fits"
    CLASHES = "clashes"
    UNKNOWN = "unknown"


class Hand(StrEnum):
    """The first or the second part of a joint."""

    LEFT = "leftPart"
    RIGHT = "rightPart"


class Severity(StrEnum):
    """How bad it is when a rule is overlooked (`ontology/core.ttl` defines each)."""

    STOPS_ASSEMBLY = "stopsAssembly"
    HURTS_SOMEONE = "hurtsSomeone"
    COSTS_DEARLY = "costsDearly"
    WARNS = "warns"
    INFORMS = "informs"

    @property
    def constrains(self) -> bool:
        """Whether a plan is held to the rule; what warns or informs is reported and never buys a part."""
        return self not in (Severity.WARNS, Severity.INFORMS)


class Dimension(Term):
    """A measured or coded quantity of a feature kind.

    `unit` is the local name of the QUDT unit in which values are kept, None for counts and codes.
    `codes` lists the admitted codes of a closed coded dimension; an open one has a `pattern`.
    """

    feature_kind: str
    datatype: Datatype
    unit: str | None = None
    how_to_measure: str
    many: bool = False
    more_is_better: bool = False
    least: Decimal | None = None
    most: Decimal | None = None
    codes: tuple[str, ...] = ()
    pattern: str | None = None
    formula: str | None = None
    derived_from: tuple[str, ...] = ()


class FeatureKind(Term):
    """A sort of mating place, with its dimensions in alphabetical order."""

    dimensions: tuple[str, ...]


class Feature(Term):
    """A mating place on parts of some kind."""

    feature_kind: str


class Kind(Term):
    """A class of parts.  `ancestors` holds the kind itself and every kind above it;
    `features` and `functions` include those of the kinds above.

    `under` names the roles and kinds of what is off before such a part comes off or goes on.  The operations that take
    it off (or out, where nothing comes in its place), put it back and fit a new one are those of the narrowest kind
    that has any.
    """

    parents: tuple[str, ...]
    ancestors: tuple[str, ...]
    features: tuple[str, ...]
    functions: tuple[str, ...] = ()
    under: tuple[str, ...] = ()
    comes_off_by: tuple[str, ...] = ()
    goes_back_by: tuple[str, ...] = ()
    goes_on_by: tuple[str, ...] = ()
    goes_for_good_by: tuple[str, ...] = ()


class Function(Term):
    """What a part lets the customer do.  It counts at one axle and, where a sided part gives it, on one side
    (`scope` sameAxle), or once for the vehicle (wholeVehicle).

    `says` is why something is changed so that it is kept.
    """

    scope: Scope
    says: str
    says_lost: str
    says_gained: str
    evidence: tuple[str, ...] = ()


class Purpose(Term):
    """What a vehicle must be able to do before it may be driven; `says_unfit` is said where it cannot any more."""

    says_unfit: str


class Role(Term):
    """What a part does in a vehicle; `code` is the last word of the position's path.

    `within` is the role of what it is carried by, `under` names the roles and kinds of what is off before any part in
    this role comes off or goes on; one that is `loose` is fixed to nothing.
    `needed_to` are the purposes that the vehicle cannot serve without it.
    """

    code: str
    kind: str
    stations: tuple[str, ...]
    sided: bool = False
    may_be_empty: bool = False
    within: str | None = None
    under: tuple[str, ...] = ()
    loose: bool = False
    needed_to: tuple[str, ...] = ()


class Evidence(Term):
    """What stands behind a value or a rule; `from_memory` where a source was quoted without its text at hand."""

    from_memory: bool = False

    @property
    def source(self) -> str:
        """What a person is told: the label, and beside it that it is from memory."""
        return f"{self.label}, from memory" if self.from_memory else self.label


class Criterion(Frozen):
    """One test at a joint.  Exactly one of `right` and `constant` is set."""

    id: str
    left: str
    comparator: Comparator
    right: str | None = None
    right_high: str | None = None
    right_factor: Decimal = Decimal(1)
    constant: Decimal | str | None = None
    lower: Decimal | None = None
    upper: Decimal | None = None
    says_clash: str
    says_fit: str | None = None
    safety_critical: bool = False
    severity: Severity = Severity.STOPS_ASSEMBLY
    remedies: tuple[str, ...] = ()
    evidence: tuple[str, ...] = ()


class Remedy(Term):
    """Work, or an adapter part, that makes a failing criterion acceptable.

    A remedy of a joint works on one of its two parts, one of a figure on the parts `at_role`.
    `lower`, `upper` bound left - factor x right of the failing criterion; `left_code` its left code.
    """

    operation: str | None = None
    adapter_kind: str | None = None
    adapter_left_feature: str | None = None
    adapter_right_feature: str | None = None
    adapter_left_criterion: Criterion | None = None
    adapter_right_criterion: Criterion | None = None
    works_on: Hand = Hand.LEFT
    at_role: str | None = None
    lower: Decimal | None = None
    upper: Decimal | None = None
    left_code: str | None = None


class JointKind(Term):
    """Which features of which roles meet, and the criteria that judge them.

    `left_kind`, `right_kind`: the joint exists only between parts of these kinds
    (the kind that the role takes, where nothing narrower is said).  `only_at`, `only_on`: only where one of the
    two positions is at a station of that class, or on that side.
    """

    left_role: str
    right_role: str
    left_kind: str
    right_kind: str
    left_feature: str
    right_feature: str
    scope: Scope
    only_at: str | None = None
    only_on: str | None = None
    criteria: tuple[Criterion, ...]
    evidence: tuple[str, ...] = ()

    @property
    def constraining(self) -> tuple[Criterion, ...]:
        """The criteria that a plan is held to."""
        return tuple(criterion for criterion in self.criteria if criterion.severity.constrains)


class Condition(Frozen):
    """A test on one part: of a kind and, where `dimension` is set, with a reading that is one of
    `codes` or lies between `lower` and `upper`."""

    kind: str
    feature: str | None = None
    dimension: str | None = None
    codes: tuple[str, ...] = ()
    lower: Decimal | None = None
    upper: Decimal | None = None


class Need(Term):
    """A part that meets `when` in `when_role` requires the paired positions of `then_role` to be
    filled by a part that meets `then`, or to be empty where `then` is None."""

    when_role: str
    when: Condition
    when_fresh: bool = False
    then_role: str
    then: Condition | None
    scope: Scope
    only_at: str | None = None
    only_on: str | None = None
    says: str
    severity: Severity
    evidence: tuple[str, ...] = ()


class FigureNeed(Term):
    """A `figure` between `lower` and `upper`, as it is told, requires every position of `then_role` at its station (on
    its side where both are sided), or in the whole vehicle, to be filled by a part that meets `then`, or to be empty
    where `then` is None.

    Units of `lower` and `upper`: that of the figure.  `says` has the placeholders {value} and {place}.
    """

    figure: str
    lower: Decimal | None = None
    upper: Decimal | None = None
    then_role: str
    then: Condition | None
    scope: Scope
    says: str
    severity: Severity
    evidence: tuple[str, ...] = ()

    def covers(self, value: Decimal) -> bool:
        """Whether a value, as it is told, calls for what is needed."""
        return (self.lower is None or value >= self.lower) and (self.upper is None or value <= self.upper)


class Renewal(Term):
    """A fresh part of `when_kind` in `when_role` forbids the received part of `then_kind` to stay in
    the paired positions of `then_role`; with `when_disturbed`, a part in `when_role` that has to come off does,
    whatever is changed that it has to come off for."""

    when_role: str
    when_kind: str
    then_role: str
    then_kind: str
    scope: Scope
    only_at: str | None = None
    only_on: str | None = None
    when_disturbed: bool = False
    says: str
    severity: Severity
    evidence: tuple[str, ...] = ()


class Resource(Term):
    """Something supplied and drawn, summed over the vehicle."""

    draw_feature: str
    draw_dimension: str
    supply_feature: str
    supply_dimension: str
    says: str
    severity: Severity
    evidence: tuple[str, ...] = ()


class Consequence(Term):
    """A part that meets `when` in `role` brings operations, checks or cautions; where `when_fresh`,
    only a part that was not there before; where `when_taken_out`, one that goes and gives way to none such."""

    role: str
    when: Condition
    when_fresh: bool = True
    when_taken_out: bool = False
    only_at: str | None = None
    brings: tuple[str, ...]
    severity: str
    evidence: tuple[str, ...] = ()


class Position(Frozen):
    """A slot of a layout for one part."""

    path: str
    role: str
    station: str
    side: str | None = None


class Joint(Frozen):
    """A joint kind between two positions, given by path."""

    id: str
    joint_kind: str
    left: str
    right: str


class Disturbance(Frozen):
    """A renewal that follows from a change at `change` because what is at `through` comes off for it, of `then`."""

    id: str
    rule: str
    change: str
    through: str
    then: str


class Pairing(Frozen):
    """A need or renewal between two positions, given by path."""

    id: str
    rule: str
    when: str
    then: str


class Layout(Term):
    """The arrangement of a vehicle, with the joints and pairings that its positions make.

    `stations` gives the classes of each station by its code, `station_labels` what it is called.
    """

    stations: dict[str, tuple[str, ...]] = Field(default_factory=dict)
    station_labels: dict[str, str] = Field(default_factory=dict)
    positions: tuple[Position, ...]
    joints: tuple[Joint, ...]
    pairings: tuple[Pairing, ...]


class Unit(Frozen):
    """A unit that values are published in: kept values are published ones times `factor`, in `kept_in`."""

    id: str
    symbol: str
    kept_in: str
    factor: Decimal = Decimal(1)


class Shop(Frozen):
    """Where the work is done: ISO 4217 currency of every price, and the price of an hour."""

    currency: str
    hourly_rate: Decimal


class Model(Frozen):
    """The whole ontology, each table keyed by identifier and sorted by it.

    `deprecated` names, by term that should not be written any more, the one in its place.
    `told_in` names, by the unit that values are kept in, another one that they are told in; empty: as kept.
    """

    version: str
    shop: Shop
    kinds: dict[str, Kind]
    feature_kinds: dict[str, FeatureKind]
    features: dict[str, Feature]
    dimensions: dict[str, Dimension]
    roles: dict[str, Role]
    joint_kinds: dict[str, JointKind]
    needs: dict[str, Need]
    figure_needs: dict[str, FigureNeed] = Field(default_factory=dict)
    renewals: dict[str, Renewal]
    resources: dict[str, Resource]
    remedies: dict[str, Remedy]
    consequences: dict[str, Consequence]
    operations: dict[str, Operation]
    consumables: dict[str, Term]
    checks: dict[str, Check]
    cautions: dict[str, Note]
    evidence: dict[str, Evidence]
    layouts: dict[str, Layout]
    units: dict[str, Unit] = Field(default_factory=dict)
    phases: dict[str, Phase] = Field(default_factory=dict)
    tools: dict[str, Term] = Field(default_factory=dict)
    formulas: dict[str, Formula] = Field(default_factory=dict)
    states: dict[str, State] = Field(default_factory=dict)
    figures: dict[str, Figure] = Field(default_factory=dict)
    speed_tables: dict[str, SpeedTable] = Field(default_factory=dict)
    functions: dict[str, Function] = Field(default_factory=dict)
    purposes: dict[str, Purpose] = Field(default_factory=dict)
    marks: dict[str, Mark] = Field(default_factory=dict)
    other_words: dict[str, tuple[str, ...]] = Field(default_factory=dict)
    plotted: tuple[str, ...] = ()
    wiring: Wiring = Field(default_factory=Wiring)
    rules: dict[str, WrittenRule] = Field(default_factory=dict)
    deprecated: dict[str, str] = Field(default_factory=dict)
    told_in: dict[str, str] = Field(default_factory=dict)

    @cached_property
    def many(self) -> frozenset[str]:
        """The dimensions of which several values together are one reading."""
        return frozenset(d.id for d in self.dimensions.values() if d.many)

    @cached_property
    def called_for(self) -> dict[str, tuple[FigureNeed, ...]]:
        """By figure, the needs that it may trigger."""
        needs = self.figure_needs.values()
        return {name: tuple(n for n in needs if n.figure == name) for name in sorted({n.figure for n in needs})}

    @cached_property
    def kinds_below(self) -> dict[str, tuple[str, ...]]:
        """By kind, it and all kinds below it, in the order of their ids."""
        names = {*self.kinds, *(above for kind in self.kinds.values() for above in kind.ancestors)}
        return {name: tuple(k.id for k in self.kinds.values() if name in k.ancestors) for name in sorted(names)}


Value = Decimal | str


class Spec(Frozen):
    """The interned readings of one feature: per dimension, the values in canonical units.
    More than one value of a dimension that does not take many is a disagreement of sources."""

    id: str
    feature_kind: str
    values: dict[str, tuple[Value, ...]]


class Part(Frozen):
    """Something that can be ordered (it has a price) or removed.

    `specs` leads from feature to spec id; `lacks` names features that it is known to be without;
    `functions` what it gives beyond what its kind gives.
    `published` keeps, by "feature.dimension", a value as it was published where its unit is another one.
    `unidentified` marks the stand-in for a part of a received vehicle that nobody has looked at.
    """

    id: str
    kind: str
    label: str
    price: Decimal | None = None
    stock: int | None = None
    specs: dict[str, str] = Field(default_factory=dict)
    lacks: tuple[str, ...] = ()
    functions: tuple[str, ...] = ()
    published: dict[str, str] = Field(default_factory=dict)
    unidentified: bool = False


class KitLine(Frozen):
    """A part of a kit and how many of it."""

    part: str
    quantity: int


class Kit(Frozen):
    """Several parts sold together at one price."""

    id: str
    label: str
    price: Decimal
    stock: int | None = None
    lines: tuple[KitLine, ...]


class Vehicle(Frozen):
    """A vehicle as received: part id by position path; `unseen` lists the paths nobody looked at."""

    id: str
    label: str
    layout: str
    parts: dict[str, str]
    unseen: tuple[str, ...] = ()
