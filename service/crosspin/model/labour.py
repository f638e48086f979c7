"""Work as the ontology describes it: operations, when and how often they are done, and what they take."""

from collections.abc import Mapping
from decimal import Decimal
from enum import StrEnum

from crosspin.model.base import Frozen, Term


class Repeat(StrEnum):
    """How often an operation is done where several parts bring it (`ontology/core.ttl` defines each)."""

    EACH_PART = "forEachPart"
    EACH_SIDE = "forEachSide"
    EACH_STATION = "forEachStation"
    ONCE = "onceForAll"


class Phase(Term):
    """A stretch of the work.  Lower numbers come first; `spans_vehicle`: gone through once for the whole
    vehicle, not station by station."""

    number: int
    spans_vehicle: bool = False


class ConsumableUse(Frozen):
    """How much of a consumable an operation uses; `unit` is a QUDT local name or None for pieces.

    Where `role` is set, the reading of the part in that role at the same station says how much, and
    `quantity` is the usual amount where that reading is missing.
    """

    consumable: str
    quantity: Decimal
    unit: str | None = None
    role: str | None = None
    feature: str | None = None
    dimension: str | None = None


class Operation(Term):
    """Work to do: usual hours each time, cautions to read first, tools beyond the ordinary, what it uses up.

    `before` names operations that wait for this one, `entails` those that are done because of it, and
    `spared_by` those that include it where both are to be done at one place.  `wants_off` names the roles of the
    parts that are off while it is done.  An operation has cautions, or `hurts_nobody`.
    """

    text: str
    hours: Decimal
    phase: str
    repeat: Repeat
    cautions: tuple[str, ...] = ()
    hurts_nobody: bool = False
    tools: tuple[str, ...] = ()
    uses: tuple[ConsumableUse, ...] = ()
    before: tuple[str, ...] = ()
    entails: tuple[str, ...] = ()
    spared_by: tuple[str, ...] = ()
    wants_off: tuple[str, ...] = ()


def after(operations: Mapping[str, Operation], name: str) -> frozenset[str]:
    """Every operation that waits for this one, directly or not; itself among them where they wait in a circle."""
    found: set[str] = set()
    waiting = [name]
    while waiting:
        for later in operations[waiting.pop()].before:
            if later in operations and later not in found:
                found.add(later)
                waiting.append(later)
    return frozenset(found)


class Note(Term):
    """A caution: `text` is what is said to the person."""

    text: str


class Check(Note):
    """Something to verify, and the phase by whose end it is verified."""

    phase: str
