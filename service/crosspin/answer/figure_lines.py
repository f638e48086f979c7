"""Figures and speed tables as they are told."""

from decimal import Decimal

from crosspin.answer.told import Told
from crosspin.model.figure import Sense
from crosspin.model.schema import Verdict


class FigureInputLine(Told):
    """One input of a figure: what was put in before and after, as text with its unit, and where it was read.

    `places` are positions; empty for a constant.  `figures` names the figures whose result was taken.
    """

    name: str
    label: str
    before: str | None
    after: str | None
    places: tuple[str, ...] = ()
    figures: tuple[str, ...] = ()


class LimitLine(Told):
    """What a figure may at most or at least be; None where the limit itself is not known."""

    sense: Sense
    value: Decimal | None


class FigureLine(Told):
    """A figure of the vehicle as received (`before`) and as planned (`after`), None where not known or not told.

    `state`: in which state of the vehicle it is worked out, in words that follow its name and place; None where it
    has none.  `moved`: an input stands at a position that the plan changes.  `is_step`: a step on the way to others.
    `decides`: whether a plan is held to its limits; one that a plan is not held to only warns, or is met in a later
    phase of the work.  `mended`: it is beyond its limit, and a remedy of the plan brings it back.  `so_already`: it was
    beyond its limit already, and is no worse.
    `verdict` is None where there is no limit and nothing is missing.  `formula` is its expression, `unit` a symbol.
    """

    id: str
    figure: str
    label: str
    station: str
    side: str | None
    state: str | None
    moved: bool
    is_step: bool
    before: Decimal | None
    after: Decimal | None
    unit: str
    limits: tuple[LimitLine, ...]
    verdict: Verdict | None
    decides: bool
    mended: bool = False
    so_already: bool
    sentence: str
    formula: str
    inputs: tuple[FigureInputLine, ...]
    severity: str
    safety_critical: bool
    evidence: tuple[str, ...]


class SpeedRow(Told):
    """One row of a speed table: the value along it, and the result before and after."""

    along: Decimal
    before: Decimal | None
    after: Decimal | None


class SpeedSeries(Told):
    """One line of a speed table: what it is taken at ("gear step 3.83, range step 2.72") and its rows.

    `received`, `planned`: whether the vehicle has this line as received and as planned.
    """

    label: str
    rows: tuple[SpeedRow, ...]


class SpeedTableLine(Told):
    """A formula gone through for several values of its inputs: every series has the same values along it."""

    id: str
    label: str
    definition: str
    along_label: str
    along_unit: str
    result_label: str
    result_unit: str
    formula: str
    series: tuple[SpeedSeries, ...]
    why_not: str = ""
