"""Figures as plain immutable objects: what is worked out from the readings of a whole build.

A figure is a formula whose inputs are readings at positions, constants or other figures.  It never decides
on a fit; a figure beyond its limit is told, with its sentence, as something to check.
"""

from decimal import Decimal
from enum import StrEnum

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


class Formula(Term):
    """A named calculation; `expression` is how it is written down, with the units its symbols are in."""

    expression: str
    evidence: tuple[str, ...] = ()


class Source(Frozen):
    """Where one input comes from: `constants`, a reading of the parts in `roles`, or other `figures`.

    Without roles, `feature` is read on every part of the station that has it; of several figures those that
    apply there.  `only_at`, `only_on` narrow to
    stations of a class and to a side; without them the figure's own station and side are read.  `as_received`
    reads the vehicle as it came, also when a plan is figured.  More than one constant or dimension is for
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


class FigureInput(Frozen):
    """A parameter of the formula and where it comes from."""

    name: str
    source: Source


class Limit(Frozen):
    """What a figure may at most or at least be: a source's value times `factor`."""

    sense: Sense
    source: Source
    factor: Decimal = Decimal(1)
    says: str


class Worked(Term):
    """What figures and tables have in common: a formula, its inputs, how the result is kept, its limits."""

    formula: str
    inputs: tuple[FigureInput, ...]
    unit: str | None = None
    decimals: int
    limits: tuple[Limit, ...] = ()
    evidence: tuple[str, ...] = ()


class Figure(Worked):
    """A number worked out at every station of the classes `stations`, or there on each side.

    `when_role`, `when_kind`: only where the part in that role is of that kind; `when_empty`: only where nothing is there.
    `planned_only`: it says nothing of the vehicle as received.  `is_step`: left out where an answer is told in short.
     `brings` names the operations, checks and cautions
    that come with a figure beyond its limit.
    """

    stations: tuple[str, ...]
    sided: bool = False
    when_role: str | None = None
    when_kind: str | None = None
    when_empty: bool = False
    planned_only: bool = False
    is_step: bool = False
    brings: tuple[str, ...] = ()
    safety_critical: bool = False
    severity: str


class SpeedTable(Worked):
    """A formula gone through for every value of those of its inputs that have several, for the whole vehicle.

    The last of these inputs runs along the table's rows; the others name its lines.  Results beyond a limit are
    left out.
    """
