"""Tells a proved proposal: the one place where a plan becomes lines and sentences."""

from collections.abc import Iterable, Sequence
from decimal import Decimal
from graphlib import CycleError, TopologicalSorter
from hashlib import sha256

from crosspin.answer.fit import line, missing
from crosspin.answer.order import cheapest_order
from crosspin.answer.plan import (
    Action,
    Advice,
    AlternativeLine,
    Cost,
    Discrepancy,
    Measurement,
    Modification,
    PartLine,
    Plan,
    RuledOutLine,
    Step,
    Totals,
    Work,
)
from crosspin.answer.reasons import Reasons, Scene
from crosspin.figures.exact import spell
from crosspin.knockon import proposal as proposed
from crosspin.knockon.ask import Ask
from crosspin.knockon.proposal import Proposal, State
from crosspin.model.judge import Finding
from crosspin.model.schema import Condition, Hand, Joint, Operation, Part, Verdict
from crosspin.rules.prover import Proof

PROVISO = (
    "This list says what follows from the readings on record; it does not approve the vehicle. "
    "The part maker's figures, local law and licensed practice rule."
)


def told_cost(cost: proposed.Cost) -> Cost:
    """A cost as it is told."""
    return Cost(
        unsafe_unknowns=cost.unsafe, extra_positions=cost.extra, unknowns=cost.unknown, money=cost.money
    )


def tell_plan(scene: Scene, ask: Ask, proposal: Proposal, proof: Proof) -> Plan:
    """The whole plan as lines: steps with reasons, what stays, what to measure, order, work, cautions."""
    teller = _Teller(scene, proposal)
    steps = [teller.step(path) for path in proposal.choices]
    changed = tuple(s for s in steps if s is not None and s.action is not Action.KEEP)
    stays = tuple(s for s in steps if s is not None and s.action is Action.KEEP)
    modifications = teller.modifications()
    work = teller.work(proof)
    needed: dict[str, list[str]] = {}
    for path, choice in proposal.choices.items():
        if choice.state is State.FRESH and choice.part is not None:
            needed.setdefault(choice.part, []).append(path)
    for mending in proposal.mendings:
        if mending.adapter is not None:
            needed.setdefault(mending.adapter, []).append(mending.joint)
    order = cheapest_order(needed, scene.catalog)
    shop = scene.model.shop
    parts = sum((o.total for o in order), Decimal(0))
    hours = sum((w.hours for w in work), Decimal(0)) + sum((m.hours for m in modifications), Decimal(0))
    labour = round(hours * shop.hourly_rate, 2)
    digest = sha256(f"{scene.model.version}|{ask.model_dump_json()}".encode()).hexdigest()[:16]
    return Plan(
        id=f"{scene.vehicle.id}-{digest}",
        version=scene.model.version,
        vehicle=scene.vehicle.id,
        vehicle_label=scene.vehicle.label,
        ask=ask,
        cost=told_cost(proposal.cost),
        steps=changed,
        stays=stays,
        measurements=teller.measurements(),
        modifications=modifications,
        order=order,
        work=work,
        checks=teller.advice(proof, scene.model.checks.keys()),
        cautions=teller.advice(proof, scene.model.cautions.keys(), work),
        discrepancies=teller.discrepancies(proof),
        totals=Totals(currency=shop.currency, parts=parts, hours=hours, labour=labour, all=parts + labour),
        proviso=PROVISO,
    )


class _Teller:
    def __init__(self, scene: Scene, proposal: Proposal) -> None:
        self.scene = scene
        self.model = scene.model
        self.proposal = proposal
        self.reasons = Reasons(scene, proposal)
        self.words = self.reasons.words
        self.roles = {p.path: self.model.roles[p.role] for p in scene.layout.positions}
        self.stations = {p.path: p.station for p in scene.layout.positions}
        self.joints = {j.id: j for j in scene.layout.joints}
        self.notes = self._notes()

    # ------------------------------------------------------------------ steps

    def step(self, path: str) -> Step | None:
        """The line for one position; None where nothing was and nothing comes."""
        choice = self.proposal.choices[path]
        received, planned = self.scene.received(path), self.scene.planned(path)
        if received is None and planned is None:
            return None
        action = self._action(path, received)
        changed = choice.state is not State.RECEIVED
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
            notes=tuple(self.notes.get(path, ())),
            alternatives=self._alternatives(path) if changed else (),
            ruled_out=self._ruled_out(path) if changed else (),
        )

    def _action(self, path: str, received: Part | None) -> Action:
        match self.proposal.choices[path].state:
            case State.FRESH:
                return Action.REPLACE if received is not None else Action.ADD
            case State.EMPTIED:
                return Action.REMOVE
        return Action.CARRY_OVER if self._loses_its_home(path) else Action.KEEP

    def _loses_its_home(self, path: str) -> bool:
        """Whether the part that this one sits in is changed, so that this one moves over to the new one."""
        outer = self.roles[path].within
        return outer is not None and any(
            role.id == outer and self.stations[other] == self.stations[path] and self.scene.is_fresh(other)
            for other, role in self.roles.items()
        )

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

    # ------------------------------------------------------------------ joints

    def _judged(self) -> Iterable[tuple[Joint, Part, Part, tuple[Finding, ...]]]:
        """Every joint with a fresh part at it, with its two parts and their findings."""
        for joint in self.scene.layout.joints:
            if not (self.scene.is_fresh(joint.left) or self.scene.is_fresh(joint.right)):
                continue
            left, right = self.scene.planned(joint.left), self.scene.planned(joint.right)
            kind = self.model.joint_kinds[joint.joint_kind]
            if left is None or right is None:
                continue
            if self._could_be(left, kind.left_kind) and self._could_be(right, kind.right_kind):
                yield joint, left, right, self.reasons.findings(joint.id, left, right)

    def _could_be(self, part: Part, kind: str) -> bool:
        ancestors = self.model.kinds[part.kind].ancestors
        return kind in ancestors or (part.unidentified and part.kind in self.model.kinds[kind].ancestors)

    def _notes(self) -> dict[str, list[str]]:
        """What the bench must know, at the position of the joint's second part."""
        notes: dict[str, list[str]] = {}
        for joint, left, right, findings in self._judged():
            kind = self.model.joint_kinds[joint.joint_kind]
            for finding in findings:
                if finding.verdict is Verdict.FITS and finding.criterion.says_fit:
                    sentence = self.words.fill(finding.criterion.says_fit, kind, finding, left, right)
                    known = notes.setdefault(joint.right, [])
                    if sentence not in known:
                        known.append(sentence)
        return notes

    def measurements(self) -> tuple[Measurement, ...]:
        """Every reading that an unknown joint or need of the plan waits for, each once."""
        found: dict[tuple[str, str, str], Measurement] = {}
        for joint, left, right, findings in self._judged():
            if any(f.verdict is Verdict.CLASHES for f in findings) and not self._mended(joint):
                continue
            kind = self.model.joint_kinds[joint.joint_kind]
            for finding in findings:
                if finding.verdict is not Verdict.UNKNOWN:
                    continue
                for part, feature, dimension, recorded in missing(self.model, kind, finding, left, right):
                    position = joint.left if part is left else joint.right
                    before = found.get((position, feature, dimension))
                    found[position, feature, dimension] = Measurement(
                        position=position,
                        part=part.label,
                        feature=self.model.features[feature].label,
                        dimension=self.model.dimensions[dimension].label,
                        how=self.model.dimensions[dimension].how_to_measure,
                        why=before.why if before else f"{kind.label} at {self.words.place(joint.right)} waits for it.",
                        recorded=tuple(self.words.value(dimension, v) for v in recorded),
                        safety_critical=finding.criterion.safety_critical or (before.safety_critical if before else False),
                    )
        for key, measurement in self._need_measurements():
            found.setdefault(key, measurement)
        return tuple(found[key] for key in sorted(found))

    def _mended(self, joint: Joint) -> bool:
        return any(m.joint == joint.id for m in self.proposal.mendings)

    def _need_measurements(self) -> Iterable[tuple[tuple[str, str, str], Measurement]]:
        for pairing in self.scene.layout.pairings:
            need = self.model.needs.get(pairing.rule)
            if need is None:
                continue
            moved = self.proposal.choices[pairing.then].state is not State.RECEIVED
            if not (self.scene.is_fresh(pairing.when) or (moved and not need.when_fresh)):
                continue
            for path, condition in ((pairing.when, need.when), (pairing.then, need.then)):
                part = self.scene.planned(path)
                if part is None or condition is None or condition.dimension is None or condition.feature is None:
                    continue
                if not self._could_be(part, condition.kind) or self._recorded(part, condition):
                    continue
                dimension = self.model.dimensions[condition.dimension]
                yield (
                    (path, condition.feature, condition.dimension),
                    Measurement(
                        position=path,
                        part=part.label,
                        feature=self.model.features[condition.feature].label,
                        dimension=dimension.label,
                        how=dimension.how_to_measure,
                        why=f"{need.label} waits for it.",
                    ),
                )

    def _recorded(self, part: Part, condition: Condition) -> bool:
        if condition.feature in part.lacks:
            return True
        spec = part.specs.get(condition.feature or "")
        return spec is not None and bool(self.scene.catalog.specs[spec].values.get(condition.dimension or ""))

    def modifications(self) -> tuple[Modification, ...]:
        """The remedies that the plan applies."""
        told = []
        for mending in self.proposal.mendings:
            joint = self.joints[mending.joint]
            remedy = self.model.remedies[mending.remedy]
            left, right = self.scene.planned(joint.left), self.scene.planned(joint.right)
            assert left is not None and right is not None, f"{joint.id} is mended, yet a side is empty"
            kind = self.model.joint_kinds[joint.joint_kind]
            finding = next(
                f for f in self.reasons.findings(joint.id, left, right) if f.criterion.id == mending.criterion
            )
            operation = self.model.operations[remedy.operation] if remedy.operation else None
            told.append(
                Modification(
                    position=joint.left if remedy.works_on is Hand.LEFT else joint.right,
                    remedy=remedy.id,
                    sentence=operation.text if operation else remedy.definition,
                    because=self.words.clash(kind, finding, left, right),
                    adapter=self._line(self.scene.catalog.parts[mending.adapter]) if mending.adapter else None,
                    hours=operation.hours if operation else Decimal(0),
                    cautions=self._cautions(operation) if operation else (),
                )
            )
        return tuple(sorted(told, key=lambda m: (m.position, m.remedy)))

    def discrepancies(self, proof: Proof) -> tuple[Discrepancy, ...]:
        """Received pairs that the record says cannot go together."""
        told = []
        for joint_id in proof.discrepancies:
            joint = self.joints[joint_id]
            kind = self.model.joint_kinds[joint.joint_kind]
            left, right = self.scene.planned(joint.left), self.scene.planned(joint.right)
            assert left is not None and right is not None
            for finding in self.reasons.findings(joint_id, left, right):
                if finding.verdict is Verdict.CLASHES:
                    told.append(Discrepancy(joint=joint_id, sentence=self.words.clash(kind, finding, left, right)))
        return tuple(told)

    # ------------------------------------------------------------------ work and advice

    def work(self, proof: Proof) -> tuple[Work, ...]:
        """Operations in an order that can be followed; one line an operation and station."""
        places: dict[tuple[str, str], dict[str, set[str]]] = {}
        for outcome in proof.outcomes:
            if outcome.brings in self.model.operations:
                key = (self.stations[outcome.position], outcome.brings)
                entry = places.setdefault(key, {"places": set(), "because": set()})
                entry["places"].add(outcome.position)
                entry["because"].add(self.model.consequences[outcome.consequence].definition)
        rank = self._sequence({operation for _, operation in places})
        told = []
        for (station, name), entry in sorted(places.items(), key=lambda item: (item[0][0], rank[item[0][1]])):
            operation = self.model.operations[name]
            sided = {self._side(path) for path in entry["places"]} - {None}
            times = max(1, len(sided))
            told.append(
                Work(
                    operation=name,
                    label=f"{operation.label}, {station}",
                    text=operation.text,
                    places=tuple(sorted(entry["places"])),
                    hours=operation.hours * times,
                    cautions=self._cautions(operation),
                    uses=tuple(self._use(u.consumable, u.quantity * times, u.unit) for u in operation.uses),
                    because=tuple(sorted(entry["because"])),
                )
            )
        return tuple(told)

    def _side(self, path: str) -> str | None:
        return next(p.side for p in self.scene.layout.positions if p.path == path)

    def _use(self, consumable: str, quantity: Decimal, unit: str | None) -> str:
        symbol = f" {self.model.units[unit].symbol}" if unit in self.model.units else ""
        return f"{self.model.consumables[consumable].label}, {spell(quantity)}{symbol}"

    def _cautions(self, operation: Operation) -> tuple[str, ...]:
        return tuple(self.model.cautions[c].text for c in operation.cautions)

    def _sequence(self, operations: set[str]) -> dict[str, int]:
        """Rank of each operation such that what comes before others has the lower rank; ties by id."""
        sorter: TopologicalSorter[str] = TopologicalSorter()
        for name in sorted(operations):
            sorter.add(name)
            for later in self.model.operations[name].before:
                if later in operations:
                    sorter.add(later, name)
        rank: dict[str, int] = {}
        try:
            sorter.prepare()
        except CycleError as error:
            raise ValueError(f"operations wait for each other in a circle: {' -> '.join(error.args[1])}") from None
        while sorter.is_active():
            ready = sorted(sorter.get_ready())
            for name in ready:
                rank[name] = len(rank)
            sorter.done(*ready)
        return rank

    def advice(self, proof: Proof, ids: Iterable[str], work: Sequence[Work] = ()) -> tuple[Advice, ...]:
        """Checks, or cautions (those of the work included), each once with every place it applies to."""
        wanted = set(ids)
        places: dict[str, set[str]] = {}
        for outcome in proof.outcomes:
            if outcome.brings in wanted:
                places.setdefault(outcome.brings, set()).add(outcome.position)
        for job in work:
            for caution in self.model.operations[job.operation].cautions:
                places.setdefault(caution, set()).update(job.places)
        notes = {**self.model.checks, **self.model.cautions}
        return tuple(
            Advice(id=name, label=notes[name].label, text=notes[name].text, places=tuple(sorted(found)))
            for name, found in sorted(places.items())
        )
