"""What a plan of circuits is made of: told alike in JSON and in text.  Currents in A, voltages in V."""

from decimal import Decimal

from crosspin.answer.told import Told
from crosspin.model.circuit import Supply
from crosspin.model.schema import Verdict


class CircuitLine(Told):
    """One load: what it draws, what feeds and guards it, and what is written beside its switch.

    `output` numbers the module's outputs from 1 in the order of its banks; `output_limit` is what that one
    carries, `trip` at what it is set to cut off.  `fuse` and `relay` are ratings.  `drop` is lost in the wire at
    running current, `drop_percent` of the system voltage.  None where there is none, or a reading is missing:
    then the verdict is unknown and `notes` say why.
    """

    position: str
    circuit: str
    label: str
    part: str
    supply: Supply
    current: Decimal | None
    output: int | None = None
    output_limit: Decimal | None = None
    trip: Decimal | None = None
    fuse: Decimal | None = None
    relay: Decimal | None = None
    wire: str | None = None
    wire_carries: Decimal | None = None
    drop: Decimal | None = None
    drop_percent: Decimal | None = None
    drop_allowed: Decimal | None = None
    switch: int | None = None
    legend: str | None = None
    verdict: Verdict
    notes: tuple[str, ...] = ()
    evidence: tuple[str, ...] = ()


class ModuleLine(Told):
    """The distribution module: the sum of its circuits against what it and its fuse carry.

    `free` are the outputs left over.
    """

    part: str
    total: Decimal | None
    limit: Decimal | None
    fuse: Decimal | None
    free: tuple[int, ...]
    verdict: Verdict
    notes: tuple[str, ...] = ()


class AlternatorLine(Told):
    """What the alternator gives against what runs together.

    `all_on` is the sum of everything; `at_rest` the same without what wants fast idle; `together` what is left
    with those in `locked_out` off.  Verdict: clashes where even that is more than the alternator gives.
    """

    idle: Decimal | None
    fast_idle: Decimal | None
    fast_idle_speed: Decimal | None
    rated: Decimal | None
    all_on: Decimal | None
    at_rest: Decimal | None
    together: Decimal | None
    locked_out: tuple[str, ...]
    verdict: Verdict
    sentences: tuple[str, ...]


class CircuitPlan(Told):
    """Every load of the planned vehicle with its output, guard, wire and switch, and what must not run together."""

    lines: tuple[CircuitLine, ...]
    module: ModuleLine | None
    alternator: AlternatorLine | None
    interlocks: tuple[str, ...]
    verdict: Verdict
