"""Circuits as plain immutable objects: who draws current, how it is fed, and where that is read."""

from decimal import Decimal
from enum import StrEnum

from crosspin.model.base import Frozen, Term


class Supply(StrEnum):
    """Where a circuit gets its current (`ontology/circuits.ttl` defines each)."""

    MODULE = "fromModule"
    BATTERY = "fromBattery"
    OWN_FUSE = "fromOwnFuse"
    VEHICLE = "fromVehicle"


class Reads(Frozen):
    """One reading of the part that stands in a role."""

    role: str
    feature: str
    dimension: str


class Circuit(Term):
    """What a part draws and how it is fed and guarded.

    `wire_draws` is another dimension of the same feature: what one pair of wires carries.  `drop_allowed` is in
    percent.  `switch_role` and `legend` are None where the circuit has no switch.  `shed_rank` says in which
    order it may be locked out while something stronger runs; None: it may not.
    """

    rank: int
    supply: Supply
    draws: Reads
    wire_draws: str | None = None
    wire_role: str | None = None
    fuse: Reads | None = None
    relay: Reads | None = None
    legend: str | None = None
    switch_role: str | None = None
    drop_allowed: Decimal | None = None
    shed_rank: int | None = None
    loads_alternator: bool = False
    is_motor: bool = False
    wants_fast_idle: bool = False
    evidence: tuple[str, ...] = ()


class CircuitPractice(Term):
    """Where the module, the wires and the alternator are read, and by which shares they are judged.

    Currents in A, `voltage` in V, `temperature` of the copper in degrees Celsius; `share` is what part of a
    fuse or trip may be drawn all the time.  `banks` are the features that describe the module's outputs.
    """

    banks: tuple[str, ...]
    bank_count: str
    bank_current: str
    total: Reads
    trips: Reads
    guard: Reads
    tries_again: str
    fuse: Reads
    share: Decimal
    voltage: Decimal
    temperature: Decimal
    wire_feature: str
    wire_section: str
    wire_way: str
    wire_carries: str
    idle: Reads
    fast_idle: Reads
    fast_idle_speed: Reads
    rated: Reads
    evidence: tuple[str, ...] = ()


class Interlock(Term):
    """What must keep a part of `kind` in `role` from working at the wrong time: `text` says how."""

    role: str
    kind: str
    text: str
    severity: str
    evidence: tuple[str, ...] = ()


class Wiring(Frozen):
    """All that the ontology says of circuits; without a practice there is no plan of them."""

    circuits: tuple[Circuit, ...] = ()
    practice: CircuitPractice | None = None
    interlocks: tuple[Interlock, ...] = ()
