"""Figures as plain immutable objects: what is worked out from the readings of a whole build.

A figure is a formula whose inputs are readings at positions, constants or other figures.  A limit that decides
is a criterion: no plan takes the figure beyond it.
"""

from decimal import Decimal
from enum import StrEnum
from functools import cached_property

from crosspin.model.base import Frozen, Term


class Gathering(StrEnum):
    """What becomes of several readings that one input finds (`ontology/core.ttl` defines each)."""

    ALIKE = "alike"
    SUM = "sumOfAll"
    LEAST = "leastOfAll"
    MOST = "mostOfAll"


class Sense(StrEnum):
    """Which side of a limit is the wrong one."""

    MOST = "most"
    LEAST = "least"


class State(Term):
    """A condition of the vehicle in which figures are worked out.

    The label follows what is said of the vehicle: "at ride height", "laden".
    """


class Formula(Term):
    """A named calculation; `expression` is how it is written down, with the units its symbols are in."""

    expression: str
    evidence: tuple[str, ...] = ()


class Source(Frozen):
    """Where one input comes from: `constants`, a reading of the parts in `roles`, or other `figures`.

    Without roles, `feature` is read on every part of the station that has it; of several figures those that
    apply there.  `only_at`, `only_on` narrow to
    stations of a class and to a side; without them the figure's own station and side are read.  `as_received`
    reads the vehicle as it came, also when a plan is figured.  `in_state` takes other figures in that state,
    where the one of the reading figure is meant without it.  `where_none` is the value where no part there could
    have the reading and no figure has a meaning.  More than one constant or dimension is for
    tables, which go through every value.
    """

    label: str
    constants: tuple[Decimal | str, ...] = ()
    unit: str | None = None
    roles: tuple[str, ...] = ()
    feature: str | None = None
    dimensions: tuple[str, ...] = ()
    figures: tuple[str, ...] = ()
    only_at: str | None = None
    only_on: str | None = None
    gathers: Gathering = Gathering.ALIKE
    as_received: bool = False
    in_state: str | None = None
    where_none: Decimal | None = None

    @property
    def nothing(self) -> Decimal | None:
        """The value where nothing is found: what is said, nought for a sum, else there is none."""
        return Decimal(0) if self.where_none is None and self.gathers is Gathering.SUM else self.where_none


class FigureInput(Frozen):
    """A parameter of the formula and where it comes from."""

    name: str
    source: Source


class Limit(Frozen):
    """What a figure may at most or at least be: a source's value times `factor`; `id` names it as a criterion.

    `decides`: no plan may take the figure beyond it, unless one of the `remedies` is applied or it was beyond it
    already and becomes no worse.  A limit that is met in a later `phase` is set or measured there and does not decide.
    """

    id: str
    sense: Sense
    source: Source
    factor: Decimal = Decimal(1)
    says: str
    phase: str | None = None
    decides: bool = False
    remedies: tuple[str, ...] = ()

    def excess(self, value: Decimal, bound: Decimal) -> Decimal:
        """By how much a value is beyond a bound; negative where it is within."""
        return value - bound if self.sense is Sense.MOST else bound - value


class Worked(Term):
    """What figures and tables have in common: a formula, its inputs, how the result is kept, its limits."""

    formula: str
    inputs: tuple[FigureInput, ...]
    unit: str | None = None
    decimals: int
    limits: tuple[Limit, ...] = ()
    evidence: tuple[str, ...] = ()

    @cached_property
    def deciding(self) -> tuple[Limit, ...]:
        """The limits that decide which plans there are."""
        return tuple(limit for limit in self.limits if limit.decides)


class Figure(Worked):
    """A number worked out at every station of the classes `stations`, or there on each side, in each of `states`.

    `when_role`, `when_kind`: only where the part in that role is of that kind.
    `planned_only`: it says nothing of the vehicle as received.  `is_step`: left out where an answer is told in short.
     `brings` names the operations, checks and cautions
    that come with a figure beyond its limit.  `says_fit` is what the bench is told of a figure that moves and is
    within its limits, at the parts in the role `noted_at`.
    """

    stations: tuple[str, ...]
    sided: bool = False
    states: tuple[str, ...] = ()
    when_role: str | None = None
    when_kind: str | None = None
    planned_only: bool = False
    is_step: bool = False
    brings: tuple[str, ...] = ()
    safety_critical: bool = False
    severity: str
    says_fit: str | None = None
    noted_at: str | None = None

    @property
    def conditions(self) -> tuple[str | None, ...]:
        """The states in which it is worked out; None alone where it has none."""
        return self.states or (None,)

    def taken_in(self, state: str | None, source: Source) -> str | None:
        """The state in which a source of a figure worked out in `state` takes this one: that which the source
        names, else the same; None where this one has no states.  It need not be worked out in it."""
        return source.in_state or (state if self.states else None)


class SpeedTable(Worked):
    """A formula gone through for every value of those of its inputs that have several, for the whole vehicle.

    The last of these inputs runs along the table's rows; the others name its lines.  Results beyond a limit are
    left out.
    """
