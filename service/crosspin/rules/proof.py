"""What the rules say of a proposal, as plain data."""

from dataclasses import dataclass

from crosspin.model.schema import Hand, Value, Verdict


@dataclass(frozen=True, slots=True)
class ProvedFinding:
    """What one criterion says of one joint, or one limit of a figure: the readings it saw, the parts whose reading is
    wanting, and the remedy that mends it.  `only_warns`: the plan is not held to it.  `so_already`: the figure was
    beyond the limit already, and is no worse."""

    criterion: str
    verdict: Verdict
    left: tuple[Value, ...]
    right: tuple[Value, ...]
    right_high: tuple[Value, ...]
    wants: tuple[Hand, ...]
    disputed: bool
    remedy: str | None
    only_warns: bool
    so_already: bool


@dataclass(frozen=True, slots=True)
class ProvedJoint:
    """A joint in contact.  `judged`: a fresh part is on one side; `unsafe`: a safety-critical reading of a
    fresh part is wanting; `lacking`: a part is known to be without the feature."""

    joint: str
    verdict: Verdict
    judged: bool
    unsafe: bool
    lacking: bool
    findings: tuple[ProvedFinding, ...]


@dataclass(frozen=True, slots=True)
class ProvedFigure:
    """A figure on which a change bears, judged by the limits that decide, by name and place (`reach.instance`).

    `barred`: it is beyond a limit by what the plan does; `was_open`: its verdict was not known as received either;
    `unsafe`: it is safety-critical and waits for a reading of a fresh part.
    """

    figure: str
    verdict: Verdict
    barred: bool
    was_open: bool
    unsafe: bool
    findings: tuple[ProvedFinding, ...]


@dataclass(frozen=True, slots=True)
class ProvedNeed:
    """A need or renewal: the pairing (with the change that something comes off for), or the figure's call
    (`reach.Call`); what spoke (`rule`, for the part at `source`
    or for the `figure` at its place), and of which `position`.  `only_warns`: the plan is not held to it."""

    pairing: str
    rule: str
    source: str | None
    figure: str | None
    position: str
    verdict: Verdict
    only_warns: bool


@dataclass(frozen=True, slots=True)
class ProvedResource:
    """A resource in which some part has a share; judged where one of them is changed.  `only_warns`: the plan is not
    held to it."""

    resource: str
    verdict: Verdict
    judged: bool
    only_warns: bool


@dataclass(frozen=True, slots=True)
class ProvedFunction:
    """A function that is lost, or gained, at one place, and the positions there whose part gave it, or gives it."""

    function: str
    paths: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Unfitness:
    """What was asked out at `position` and is needed for a purpose."""

    position: str
    purpose: str


@dataclass(frozen=True, slots=True)
class Outcome:
    """An operation, check or caution that a consequence brings for the part at `position`.

    Not `sure` where a reading that decides whether the part calls for it is missing.
    """

    brings: str
    position: str
    consequence: str
    sure: bool


@dataclass(frozen=True, slots=True)
class MendingWork:
    """The operation of a remedy, and the position of the part that is worked on."""

    operation: str
    position: str
    remedy: str


@dataclass(frozen=True, slots=True)
class Proof:
    """Everything that the rules derive from a plan that they agree with.

    joints          joints in contact, by joint id
    figures         figures on which a change bears and whose limits decide, by name and place
    needs           needs and renewals that speak, by pairing or by the call of the figure that triggers them
    resources       resources, by id
    outcomes        what consequences bring, the cautions of their operations included
    mended          the operations of the remedies
    discrepancies   ids of joints between received parts that clash on record and are not judged
    came_with       what only warns or informs of two received parts that stay: joint and criterion
    unfit           why the vehicle is not fit to drive
    lost, gained    functions that the vehicle had and the plan does not give, and the reverse, by place
    """

    joints: dict[str, ProvedJoint]
    figures: dict[str, ProvedFigure]
    needs: dict[str, ProvedNeed]
    resources: dict[str, ProvedResource]
    outcomes: tuple[Outcome, ...]
    mended: tuple[MendingWork, ...]
    discrepancies: tuple[str, ...]
    came_with: tuple[tuple[str, str], ...]
    unfit: tuple[Unfitness, ...]
    lost: tuple[ProvedFunction, ...]
    gained: tuple[ProvedFunction, ...]


class Disproved(Exception):
    """The rules do not agree with the search; `disagreements` says where, one sentence each."""

    def __init__(self, disagreements: tuple[str, ...]) -> None:
        super().__init__("The rules do not agree with the search: " + " ".join(disagreements))
        self.disagreements = disagreements
