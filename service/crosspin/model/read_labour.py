"""Reads operations, phases, tools and notes from the graph."""

from decimal import Decimal

from crosspin.figures.exact import canonical
from crosspin.model.labour import Check, ConsumableUse, Note, Operation, Phase, Repeat
from crosspin.model.reader import BrokenOntology, Reader
from crosspin.model.terms import DEF, UNIT
from crosspin.store.graph import Term as Node


def read_phases(r: Reader) -> dict[str, Phase]:
    """The phases of the work; raises BrokenOntology where two have one number."""
    phases = r.table("Phase", lambda n: _phase(r, n))
    numbers = [phase.number for phase in phases.values()]
    for phase in phases.values():
        if numbers.count(phase.number) > 1:
            raise BrokenOntology(f"cp:{phase.id} shares cp:phaseNumber {phase.number} with another phase; keep one")
    return phases


def _phase(r: Reader, node: Node) -> Phase:
    return Phase(**r.named(node), number=int(r.text(node, "phaseNumber")), spans_vehicle=r.flag(node, "spansVehicle"))


def read_operation(r: Reader, node: Node) -> Operation:
    """One operation."""
    uses = [_use(r, use) for use in r.facts.all(node, DEF + "uses")]
    return Operation(
        **r.named(node),
        text=r.text(node, "text"),
        hours=canonical(Decimal(r.text(node, "hours"))),
        phase=r.id(node, "inPhase"),
        repeat=Repeat(r.id(node, "isDone")),
        cautions=r.ids(node, "carriesCaution"),
        hurts_nobody=r.flag(node, "hurtsNobody"),
        tools=r.ids(node, "needsTool"),
        uses=tuple(sorted(uses, key=lambda use: use.consumable)),
        before=r.ids(node, "comesBefore"),
        entails=r.ids(node, "entails"),
        spared_by=r.ids(node, "isSparedBy"),
        wants_off=r.ids(node, "wantsOff"),
    )


def _use(r: Reader, node: Node) -> ConsumableUse:
    return ConsumableUse(
        consumable=r.id(node, "ofConsumable"),
        quantity=canonical(Decimal(r.text(node, "quantity"))),
        unit=next((u.value.removeprefix(UNIT) for u in r.facts.all(node, DEF + "unit")), None),
        role=r.maybe_id(node, "readsRole"),
        feature=r.maybe_id(node, "readsFeature"),
        dimension=r.maybe_id(node, "readsDimension"),
    )


def read_caution(r: Reader, node: Node) -> Note:
    """One caution."""
    return Note(**r.named(node), text=r.text(node, "text"))


def read_check(r: Reader, node: Node) -> Check:
    """One check."""
    return Check(**r.named(node), text=r.text(node, "text"), phase=r.id(node, "inPhase"))
