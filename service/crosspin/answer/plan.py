"""What an answer is made of: the same for JSON, for the text that people read and for the order list."""

from decimal import Decimal
from enum import StrEnum
from typing import Literal

from crosspin.answer.circuit_lines import CircuitPlan
from crosspin.answer.figure_lines import FigureLine, SpeedTableLine
from crosspin.answer.told import Told as Told
from crosspin.knockon.ask import Ask
from crosspin.model.schema import Severity, Verdict


class Action(StrEnum):
    """What is done at a position."""

    KEEP = "keep"
    CARRY_OVER = "carry over"
    REPLACE = "replace"
    ADD = "add"
    REMOVE = "remove"


class PartLine(Told):
    """A part as it stands in a line: price in the shop's currency, None where it is not sold."""

    id: str
    label: str
    price: Decimal | None
    stock: int | None


class Cost(Told):
    """What a whole plan is ranked by, in this order."""

    unsafe_unknowns: int
    lost_functions: int
    extra_positions: int
    unknowns: int
    money: Decimal


class Reason(Told):
    """One link of a chain: `position` cannot stay as it was because of `source`.

    `rule` is the joint kind, need, renewal or resource that says so, `criterion` the failing test of a
    joint.  The last link of every chain has no rule: its `position` was asked for.
    """

    position: str
    source: str | None
    rule: str | None
    criterion: str | None
    sentence: str
    evidence: tuple[str, ...] = ()


class AlternativeLine(Told):
    """Another choice and what the best whole plan with it costs, beside this plan.

    `part` is None where the position would be left empty; `stays` marks the received part.
    """

    part: PartLine | None
    stays: bool
    cost: Cost
    more_lost: int
    more_positions: int
    more_unknowns: int
    more_money: Decimal


class RuledOutLine(Told):
    """A part that would not serve in this plan, and why."""

    part: PartLine
    because: tuple[str, ...]


class Measurement(Told):
    """A reading that must be taken first: what, where, and how."""

    position: str
    part: str
    feature: str
    dimension: str
    how: str
    why: str
    recorded: tuple[str, ...] = ()
    safety_critical: bool = False


class Modification(Told):
    """Work on a part that makes it go together: the remedy, and the adapter part where it takes one.

    The work list has its operation in its place; `hours` are counted there.
    """

    position: str
    remedy: str
    operation: str | None
    sentence: str
    because: str
    adapter: PartLine | None
    hours: Decimal
    cautions: tuple[str, ...]


class Step(Told):
    """One line of a plan.

    `forced`: no plan under this ask leaves the position as it was; otherwise the change follows from a
    choice made elsewhere.  `notes` is what the bench must know ("Build it to ...").
    """

    position: str
    action: Action
    part: PartLine | None
    instead_of: PartLine | None
    asked: bool
    forced: bool
    reasons: tuple[Reason, ...]
    also_because: tuple[Reason, ...] = ()
    notes: tuple[str, ...] = ()
    alternatives: tuple[AlternativeLine, ...] = ()
    ruled_out: tuple[RuledOutLine, ...] = ()


class Work(Told):
    """A job of the work list: an operation, when and where it is done, and why.

    `number` is its place in the list, which can be followed from top to bottom; `after` names the jobs
    that must be done before it is begun.  `group` is the station, or the phase where that spans the vehicle.
    `hours` are those of all its places together.  `takes_off` and `puts_on` are the positions whose part comes off by
    it, and goes back or on.
    """

    number: int
    group: str
    phase: str
    operation: str
    label: str
    text: str
    places: tuple[str, ...]
    hours: Decimal
    after: tuple[int, ...]
    tools: tuple[str, ...]
    cautions: tuple[str, ...]
    uses: tuple[str, ...]
    because: tuple[str, ...]
    takes_off: tuple[str, ...] = ()
    puts_on: tuple[str, ...] = ()


class Advice(Told):
    """A caution, or other note, that the plan carries, and where it applies."""

    id: str
    label: str
    text: str
    places: tuple[str, ...]


class Check(Advice):
    """Something to verify, by the end of a phase of the work."""

    phase: str


class OrderLine(Told):
    """What to order: a part or a kit, how many, and the positions or parts that it serves."""

    id: str
    label: str
    is_kit: bool
    quantity: int
    each: Decimal
    total: Decimal
    stock: int | None
    short: bool
    serves: tuple[str, ...]


class Discrepancy(Told):
    """Two received parts that go together on the vehicle although the record says that they cannot."""

    joint: str
    sentence: str


class WarningLine(Told):
    """What is worth knowing and holds no plan up: a criterion, need, renewal or resource that only warns or informs.

    `id` is the joint or pairing that it was found at, or the resource; `rule` is the criterion, need, renewal or
    resource that says so.  `was_so_already`: both parts were received and stay, so the plan has no part in it.
    """

    id: str
    rule: str
    sentence: str
    severity: Severity
    safety_critical: bool
    was_so_already: bool
    evidence: tuple[str, ...] = ()


class Keeping(Told):
    """What it would take to keep a function that a plan loses.

    `more_money` is by how much the whole plan that keeps it costs more, all in; None where no plan keeps it.  `relaxed`
    are the wishes that give way to any part that gives it (or, where they only led to the loss, to any part there),
    `parts` what that plan has at the positions that gave it.  `sentence` says it, or why it cannot be kept.
    """

    more_money: Decimal | None
    relaxed: tuple[str, ...]
    parts: tuple[PartLine, ...]
    sentence: str


class UnfitLine(Told):
    """Why the vehicle is not fit to drive: what is taken out, and for what it is needed."""

    position: str
    part: PartLine
    purpose: str
    sentence: str


class FunctionLine(Told):
    """A function that is lost or gained at one place: the positions and the parts there that gave it, or give it.

    `keeping` is None where it is gained.
    """

    function: str
    label: str
    positions: tuple[str, ...]
    parts: tuple[PartLine, ...]
    sentence: str
    keeping: Keeping | None = None


class FunctionChanges(Told):
    """What the customer loses and gains, as against the vehicle as it was received."""

    lost: tuple[FunctionLine, ...] = ()
    gained: tuple[FunctionLine, ...] = ()


class Totals(Told):
    """Money in the shop's currency: parts as ordered, hours of all work and remedies at the shop's rate."""

    currency: str
    parts: Decimal
    hours: Decimal
    labour: Decimal
    all: Decimal


class Plan(Told):
    """A whole plan, proved."""

    verdict: Literal["plan"] = "plan"
    id: str
    version: str
    vehicle: str
    vehicle_label: str
    ask: Ask
    cost: Cost
    functions: FunctionChanges
    unfit: tuple[UnfitLine, ...] = ()
    steps: tuple[Step, ...]
    stays: tuple[Step, ...]
    measurements: tuple[Measurement, ...]
    modifications: tuple[Modification, ...]
    order: tuple[OrderLine, ...]
    work: tuple[Work, ...]
    checks: tuple[Check, ...]
    cautions: tuple[Advice, ...]
    discrepancies: tuple[Discrepancy, ...]
    warnings: tuple[WarningLine, ...]
    figures: tuple[FigureLine, ...]
    speeds: tuple[SpeedTableLine, ...]
    circuits: CircuitPlan | None
    totals: Totals
    proviso: str


class WishLine(Told):
    """A wish of the ask, by its place in it, in words."""

    id: str
    sentence: str


class WayOutLine(Told):
    """Wishes to give up, and what the best plan without them costs."""

    give_up: tuple[WishLine, ...]
    cost: Cost


class Contradiction(Told):
    """No plan: wishes that cannot all be had, and the ways out, cheapest first."""

    verdict: Literal["contradiction"] = "contradiction"
    version: str
    vehicle: str
    vehicle_label: str
    ask: Ask
    wishes: tuple[WishLine, ...]
    why: tuple[str, ...]
    ways_out: tuple[WayOutLine, ...]


class CriterionLine(Told):
    """One criterion on two parts: both readings, the verdict, and what to measure where it is unknown.

    Where `severity` is only to warn or to inform, the parts go together whatever the verdict.
    """

    joint_kind: str
    criterion: str
    left: str
    right: str
    verdict: Verdict
    severity: Severity
    sentence: str
    remedies: tuple[str, ...]
    evidence: tuple[str, ...]


class Fit(Told):
    """Do these two parts go together: over every joint kind at which they can meet."""

    left: PartLine
    right: PartLine
    verdict: Verdict
    joints: tuple[str, ...]
    criteria: tuple[CriterionLine, ...]


class Mate(Told):
    """A part that meets this one at a joint, with the verdict there."""

    part: PartLine
    position: str | None
    joint_kind: str
    verdict: Verdict
    because: tuple[str, ...]


class Taker(Told):
    """A vehicle on record that could take a part at a position, and the positions that it would then change.

    `possible` is None where the search reached a stated limit and so cannot say.
    """

    vehicle: str
    vehicle_label: str
    position: str
    possible: bool | None
    cost: Cost | None
    also: tuple[str, ...]
    why_not: tuple[str, ...]
