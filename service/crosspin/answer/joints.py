"""What the joints of a plan say beside their verdicts: what the bench must know, measure and modify."""

from collections.abc import Iterable
from decimal import Decimal

from crosspin.answer.fit import line, missing
from crosspin.answer.plan import Discrepancy, Measurement, Modification
from crosspin.answer.reasons import Reasons, Scene
from crosspin.answer.work import WorkList
from crosspin.knockon.proposal import Proposal, State
from crosspin.model.judge import Finding
from crosspin.model.schema import Condition, Hand, Joint, Part, Verdict
from crosspin.rules.prover import Proof


class Joints:
    """Tells the joints of one plan."""

    def __init__(self, scene: Scene, proposal: Proposal, reasons: Reasons) -> None:
        self.scene = scene
        self.model = scene.model
        self.proposal = proposal
        self.reasons = reasons
        self.words = reasons.words
        self.joints = {j.id: j for j in scene.layout.joints}

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

    def notes(self) -> dict[str, list[str]]:
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
                    critical = finding.criterion.safety_critical
                    found[position, feature, dimension] = Measurement(
                        position=position,
                        part=part.label,
                        feature=self.model.features[feature].label,
                        dimension=self.model.dimensions[dimension].label,
                        how=self.model.dimensions[dimension].how_to_measure,
                        why=before.why if before else f"{kind.label} at {self.words.place(joint.right)} waits for it.",
                        recorded=tuple(self.words.value(dimension, v) for v in recorded),
                        safety_critical=critical or (before is not None and before.safety_critical),
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

    def modifications(self, work: WorkList) -> tuple[Modification, ...]:
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
                    operation=remedy.operation,
                    sentence=operation.text if operation else remedy.definition,
                    because=self.words.clash(kind, finding, left, right),
                    adapter=line(self.scene.catalog.parts[mending.adapter]) if mending.adapter else None,
                    hours=operation.hours if operation else Decimal(0),
                    cautions=work.cautions_of(operation) if operation else (),
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
