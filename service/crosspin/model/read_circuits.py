"""Reads circuits, the practice that judges them and interlocks from the graph, and whether they hang together."""

from collections.abc import Iterator, Mapping

from crosspin.model.circuit import Circuit, CircuitPractice, Interlock, Reads, Supply, Wiring
from crosspin.model.reader import BrokenOntology, Reader
from crosspin.model.schema import Dimension, Feature, Kind, Role
from crosspin.model.terms import DEF, identifier
from crosspin.store.graph import Term as Node


def read_wiring(r: Reader) -> Wiring:
    """Every circuit by rank, the practice, every interlock.

    Raises BrokenOntology where a term lacks what it must have, or there is more than one practice.
    """
    practices = tuple(r.table("CircuitPractice", lambda n: _practice(r, n)).values())
    if len(practices) > 1:
        raise BrokenOntology(f"there is one cp:CircuitPractice at most, found {', '.join(p.id for p in practices)}")
    circuits = r.table("Circuit", lambda n: _circuit(r, n)).values()
    return Wiring(
        circuits=tuple(sorted(circuits, key=lambda circuit: (circuit.rank, circuit.id))),
        practice=practices[0] if practices else None,
        interlocks=tuple(r.table("Interlock", lambda n: _interlock(r, n)).values()),
    )


def _reads(r: Reader, node: Node) -> Reads:
    role, feature, dimension = (r.id(node, name) for name in ("readsRole", "readsFeature", "readsDimension"))
    return Reads(role=role, feature=feature, dimension=dimension)


def _maybe_reads(r: Reader, node: Node, name: str) -> Reads | None:
    nodes = r.facts.all(node, DEF + name)
    if len(nodes) > 1:
        raise BrokenOntology(f"{node} has more than one cp:{name}; keep one")
    return _reads(r, nodes[0]) if nodes else None


def _must_read(r: Reader, node: Node, name: str) -> Reads:
    found = _maybe_reads(r, node, name)
    if found is None:
        raise BrokenOntology(f"{node} has no cp:{name}; say where it is read")
    return found


def _circuit(r: Reader, node: Node) -> Circuit:
    shed = r.maybe_text(node, "shedRank")
    return Circuit(
        **r.named(node),
        rank=int(r.text(node, "rank")),
        supply=Supply(r.id(node, "suppliedBy")),
        draws=_must_read(r, node, "draws"),
        wire_draws=r.maybe_id(node, "wireDraws"),
        wire_role=r.maybe_id(node, "throughWire"),
        fuse=_maybe_reads(r, node, "throughFuse"),
        relay=_maybe_reads(r, node, "throughRelay"),
        legend=r.maybe_text(node, "legend"),
        switch_role=r.maybe_id(node, "switchedAt"),
        drop_allowed=r.maybe_number(node, "dropAllowed"),
        shed_rank=None if shed is None else int(shed),
        loads_alternator=r.flag(node, "loadsAlternator"),
        is_motor=r.flag(node, "isMotor"),
        wants_fast_idle=r.flag(node, "wantsFastIdle"),
        evidence=r.ids(node, "hasEvidence"),
    )


def _practice(r: Reader, node: Node) -> CircuitPractice:
    banks = [identifier(i.value) for head in r.facts.all(node, DEF + "outputBanks") for i in r.facts.list_items(head)]
    return CircuitPractice.model_validate(
        {
            **r.named(node),
            "banks": tuple(banks),
            "bank_count": r.id(node, "bankCount"),
            "bank_current": r.id(node, "bankCurrent"),
            "total": _must_read(r, node, "moduleTotal"),
            "trips": _must_read(r, node, "moduleTrips"),
            "guard": _must_read(r, node, "moduleGuard"),
            "tries_again": r.text(node, "triesAgain"),
            "fuse": _must_read(r, node, "throughFuse"),
            "share": r.text(node, "steadyShare"),
            "voltage": r.text(node, "systemVoltage"),
            "temperature": r.text(node, "wireTemperature"),
            "wire_feature": r.id(node, "wireFeature"),
            "wire_section": r.id(node, "wireSection"),
            "wire_way": r.id(node, "wireWay"),
            "wire_carries": r.id(node, "wireCarries"),
            "idle": _must_read(r, node, "atIdle"),
            "fast_idle": _must_read(r, node, "atFastIdle"),
            "fast_idle_speed": _must_read(r, node, "fastIdleAt"),
            "rated": _must_read(r, node, "atRating"),
            "evidence": r.ids(node, "hasEvidence"),
        }
    )


def _interlock(r: Reader, node: Node) -> Interlock:
    return Interlock(
        **r.named(node),
        role=r.id(node, "whenRole"),
        kind=r.id(node, "whenKind"),
        text=r.text(node, "text"),
        severity=r.id(node, "severity"),
        evidence=r.ids(node, "hasEvidence"),
    )


def check_wiring(
    wiring: Wiring,
    roles: Mapping[str, Role],
    kinds: Mapping[str, Kind],
    features: Mapping[str, Feature],
    dimensions: Mapping[str, Dimension],
) -> None:
    """Every name used is one defined, and every reading is one that the feature has; raises BrokenOntology."""

    def reading(where: str, one: Reads) -> Iterator[str]:
        if one.role not in roles:
            yield f"cp:{where} reads at cp:{one.role}, which is no role"
        yield from measured(where, one.feature, one.dimension)

    def measured(where: str, feature: str, dimension: str) -> Iterator[str]:
        if feature not in features:
            yield f"cp:{where} reads cp:{feature}, which is no feature"
        elif dimension not in dimensions or dimensions[dimension].feature_kind != features[feature].feature_kind:
            yield f"cp:{where} reads cp:{dimension} at cp:{feature}, which has no such dimension"

    problems: list[str] = []
    for circuit in wiring.circuits:
        for one in (circuit.draws, circuit.fuse, circuit.relay):
            problems += reading(circuit.id, one) if one is not None else ()
        if circuit.wire_draws is not None:
            problems += measured(circuit.id, circuit.draws.feature, circuit.wire_draws)
        for role in (circuit.wire_role, circuit.switch_role):
            problems += [f"cp:{circuit.id} names cp:{role}, which is no role"] if role and role not in roles else []
    if (p := wiring.practice) is not None:
        for one in (p.total, p.trips, p.guard, p.fuse, p.idle, p.fast_idle, p.fast_idle_speed, p.rated):
            problems += reading(p.id, one)
        for bank in p.banks:
            problems += [*measured(p.id, bank, p.bank_count), *measured(p.id, bank, p.bank_current)]
        for dimension in (p.wire_section, p.wire_way, p.wire_carries):
            problems += measured(p.id, p.wire_feature, dimension)
    for interlock in wiring.interlocks:
        if interlock.role not in roles or interlock.kind not in kinds:
            problems.append(f"cp:{interlock.id} names cp:{interlock.role} and cp:{interlock.kind}; one is not defined")
    if problems:
        raise BrokenOntology("; ".join(problems))
