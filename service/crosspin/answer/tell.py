"""Tells a proved proposal: the one place where a plan becomes lines and sentences."""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from hashlib import sha256

from crosspin.answer.circuits import Circuits
from crosspin.answer.figures import Figures
from crosspin.answer.fit import line
from crosspin.answer.functions import function_changes, unfit_lines
from crosspin.answer.joints import Joints
from crosspin.answer.measure import Measuring
from crosspin.answer.order import cheapest_order
from crosspin.answer.places import places_by_side
from crosspin.answer.plan import (
    Action,
    AlternativeLine,
    Check,
    Cost,
    PartLine,
    Plan,
    RuledOutLine,
    Step,
    Totals,
)
from crosspin.answer.reasons import Reasons, Scene
from crosspin.answer.warnings import Warnings
from crosspin.answer.work import WorkList
from crosspin.knockon import proposal as proposed
from crosspin.knockon.ask import Ask
from crosspin.knockon.proposal import Proposal, State
from crosspin.model.schema import Model, Part
from crosspin.rules.prover import Proof

PROVISO = (
    "This list says what follows from the readings on record; it does not approve the vehicle. "
    "The part maker's figures, local law and licensed practice rule."
)


def told_cost(cost: proposed.Cost) -> Cost:
    """A cost as it is told."""
    return Cost(
        unsafe_unknowns=cost.unsafe,
        lost_functions=cost.lost,
        extra_positions=cost.extra,
        unknowns=cost.unknown,
        money=cost.money,
    )


def tell_plan(scene: Scene, ask: Ask, proposal: Proposal, proof: Proof) -> Plan:
    """The whole plan as lines: steps with reasons, what stays, what to measure, order, work, cautions."""
    reasons = Reasons(scene, proposal)
    joints = Joints(scene, proposal, reasons)
    figures = Figures(scene, {mending.joint for mending in proposal.mendings})
    circuits = Circuits(scene)
    fed = circuits.plan()
    jobs = WorkList(scene, proof, figures.brought(), proposal.asked)
    notes = joints.notes()
    for path, told in figures.notes():
        notes.setdefault(path, []).append(told)
    work = jobs.work()
    needed: dict[str, list[str]] = {}
    for path, part, why in jobs.opened_by_work():
        if part.price is not None:
            needed.setdefault(part.id, []).append(path)
        bought = "A new one like it is in the order." if part.price is not None else "Add a new one to the order."
        notes.setdefault(path, []).append(f"{why} {bought}")
    teller = _Teller(scene, proposal, reasons, notes)
    steps = [teller.step(path) for path in proposal.choices]
    changed = tuple(s for s in steps if s is not None and s.action is not Action.KEEP)
    stays = tuple(s for s in steps if s is not None and s.action is Action.KEEP)
    modifications = joints.modifications(jobs, figures)
    for path, choice in proposal.choices.items():
        if choice.state is State.FRESH and choice.part is not None:
            needed.setdefault(choice.part, []).append(path)
    for mending in proposal.mendings:
        if mending.adapter is not None:
            needed.setdefault(mending.adapter, []).append(mending.joint)
    order = cheapest_order(needed, scene.catalog)
    shop = scene.model.shop
    parts = sum((o.total for o in order), Decimal(0))
    hours = sum((w.hours for w in work), Decimal(0))
    labour = round(hours * shop.hourly_rate, 2)
    digest = sha256(f"{scene.model.version}|{ask.model_dump_json()}".encode()).hexdigest()[:16]
    return Plan(
        id=f"{scene.vehicle.id}-{digest}",
        version=scene.model.version,
        vehicle=scene.vehicle.id,
        vehicle_label=scene.vehicle.label,
        ask=ask,
        cost=told_cost(proposal.cost),
        functions=function_changes(scene, proof),
        unfit=unfit_lines(scene, proof),
        steps=changed,
        stays=stays,
        measurements=Measuring(scene, joints, proof, figures, circuits.wanted()).lines(),
        modifications=modifications,
        order=order,
        work=work,
        checks=_in_order(scene.model, (*figures.checks(), *jobs.checks())),
        cautions=jobs.cautions(work),
        discrepancies=joints.discrepancies(proof),
        warnings=Warnings(scene, joints, proof, figures).lines(),
        figures=figures.lines,
        speeds=figures.tables(),
        circuits=fed,
        totals=Totals(currency=shop.currency, parts=parts, hours=hours, labour=labour, all=parts + labour),
        proviso=PROVISO,
    )


def _in_order(model: Model, checks: Sequence[Check]) -> tuple[Check, ...]:
    """Checks by phase: what is decided before ordering first."""
    numbers = {phase.label: phase.number for phase in model.phases.values()}
    return tuple(sorted(checks, key=lambda check: numbers.get(check.phase, 0)))


class _Teller:
    def __init__(self, scene: Scene, proposal: Proposal, reasons: Reasons, notes: Mapping[str, Sequence[str]]) -> None:
        self.scene = scene
        self.proposal = proposal
        self.reasons = reasons
        self.notes = notes
        self.outer = scene.as_received.arrangement.outer

    def step(self, path: str) -> Step | None:
        """The line for one position; None where nothing was and nothing comes."""
        choice = self.proposal.choices[path]
        received, planned = self.scene.received(path), self.scene.planned(path)
        if received is None and planned is None:
            return None
        action = self._action(path, received)
        changed = choice.state is not State.RECEIVED
        if action is Action.KEEP and path not in self.proposal.asked and path not in self.notes:
            return self.scene.as_received.step(path)
        causes = self.proposal.causes.get(path, ())
        return Step(
            position=path,
            action=action,
            part=self._line(planned),
            instead_of=self._line(received) if changed else None,
            asked=path in self.proposal.asked,
            forced=path in self.proposal.forced,
            reasons=self.reasons.chain(path) if changed else (),
            also_because=tuple(self.reasons.reason(path, cause) for cause in causes[1:]),
            notes=(*self.notes.get(path, ()), *self._left_alone(path, action)),
            alternatives=self._alternatives(path) if changed else (),
            ruled_out=self._ruled_out(path) if changed else (),
        )

    def _left_alone(self, path: str, action: Action) -> Iterator[str]:
        """What a part that goes leaves without a mate."""
        received = self.scene.received(path)
        if action is not Action.REMOVE or received is None:
            return
        alone = []
        for joint in self.scene.as_received.arrangement.joints_at([path]):
            other = joint.right if joint.left == path else joint.left
            stays = self.scene.planned(other)
            kind = self.scene.model.joint_kinds[joint.joint_kind]
            mine, theirs = (kind.left_kind, kind.right_kind)[:: 1 if joint.left == path else -1]
            kinds = self.scene.model.kinds
            if stays is not None and mine in kinds[received.kind].ancestors and theirs in kinds[stays.kind].ancestors:
                alone.append(other)
        if alone:
            yield f"Leaves without a mate: {'; '.join(places_by_side(dict.fromkeys(sorted(alone))))}."

    def _action(self, path: str, received: Part | None) -> Action:
        match self.proposal.choices[path].state:
            case State.FRESH:
                return Action.REPLACE if received is not None else Action.ADD
            case State.EMPTIED:
                return Action.REMOVE
        return Action.CARRY_OVER if self._loses_its_home(path) else Action.KEEP

    def _loses_its_home(self, path: str) -> bool:
        """Whether the part that this one sits in is changed, so that this one moves over to the new one."""
        return any(self.scene.is_fresh(other) for other in self.outer[path])

    def _line(self, part: Part | None) -> PartLine | None:
        return None if part is None else line(part)

    def _alternatives(self, path: str) -> tuple[AlternativeLine, ...]:
        base = self.proposal.cost
        return tuple(
            AlternativeLine(
                part=self._line(
                    self.scene.received(path)
                    if a.choice.state is State.RECEIVED
                    else self.scene.catalog.parts[a.choice.part]
                    if a.choice.part is not None
                    else None
                ),
                stays=a.choice.state is State.RECEIVED,
                cost=told_cost(a.cost),
                more_lost=a.cost.lost - base.lost,
                more_positions=a.cost.extra - base.extra,
                more_unknowns=a.cost.unknown - base.unknown + a.cost.unsafe - base.unsafe,
                more_money=a.cost.money - base.money,
            )
            for a in self.proposal.alternatives.get(path, ())
        )

    def _ruled_out(self, path: str) -> tuple[RuledOutLine, ...]:
        lines = []
        for out in self.proposal.ruled_out.get(path, ()):
            candidate = self.scene.catalog.parts[out.part]
            because = dict.fromkeys(self.reasons.against(candidate, path, cause) for cause in out.against)
            lines.append(RuledOutLine(part=line(candidate), because=tuple(because)))
        return tuple(lines)
