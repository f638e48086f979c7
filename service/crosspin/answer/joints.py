"""What the joints of a plan say beside their verdicts: what the bench must know and modify."""

from collections.abc import Iterable, Iterator
from decimal import Decimal

from crosspin.answer.figures import Figures
from crosspin.answer.fit import line
from crosspin.answer.plan import Discrepancy, Modification
from crosspin.answer.reasons import Reasons, Scene
from crosspin.answer.work import WorkList
from crosspin.knockon.proposal import Mending, Proposal
from crosspin.model.judge import Finding, is_of_kind
from crosspin.model.schema import Hand, Joint, Part, Verdict
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

    def judged(self) -> Iterable[tuple[Joint, Part, Part, tuple[Finding, ...]]]:
        """Every joint with a fresh part at it, with its two parts and their findings."""
        for joint in self.scene.as_received.arrangement.joints_at(filter(self.scene.is_fresh, self.scene.changed)):
            left, right = self.scene.planned(joint.left), self.scene.planned(joint.right)
            kind = self.model.joint_kinds[joint.joint_kind]
            if left is None or right is None:
                continue
            sides = ((left, kind.left_kind), (right, kind.right_kind))
            if all(is_of_kind(self.model, part, wanted) is not False for part, wanted in sides):
                yield joint, left, right, self.reasons.findings(joint.id, left, right)

    def notes(self) -> dict[str, list[str]]:
        """What the bench must know, at the position of the joint's second part."""
        notes: dict[str, list[str]] = {}
        for joint, left, right, findings in self.judged():
            kind = self.model.joint_kinds[joint.joint_kind]
            for finding in findings:
                if finding.verdict is Verdict.FITS and finding.criterion.says_fit:
                    sentence = self.words.fill(finding.criterion.says_fit, kind, finding, left, right)
                    known = notes.setdefault(joint.right, [])
                    if sentence not in known:
                        known.append(sentence)
        return notes

    def modifications(self, work: WorkList, figures: Figures) -> tuple[Modification, ...]:
        """The remedies that the plan applies."""
        told: list[Modification] = []
        for mending in self.proposal.mendings:
            if mending.joint not in self.joints:
                told += self._of_figure(mending, work, figures)
                continue
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

    def _of_figure(self, mending: Mending, work: WorkList, figures: Figures) -> Iterator[Modification]:
        """The work that brings a figure within its limit, at each position that is worked on."""
        remedy = self.model.remedies[mending.remedy]
        assert remedy.operation is not None and remedy.at_role is not None, "checked when the ontology was read"
        operation = self.model.operations[remedy.operation]
        reach = self.scene.as_received.reach
        _, place = reach.named(mending.joint)
        for position in reach.in_role(remedy.at_role, place):
            yield Modification(
                position=position.path,
                remedy=remedy.id,
                operation=remedy.operation,
                sentence=operation.text,
                because=figures.line(mending.joint).sentence,
                adapter=None,
                hours=operation.hours,
                cautions=work.cautions_of(operation),
            )

    def discrepancies(self, proof: Proof) -> tuple[Discrepancy, ...]:
        """Received pairs that the record says cannot go together."""
        told = []
        for joint_id in proof.discrepancies:
            joint = self.joints[joint_id]
            kind = self.model.joint_kinds[joint.joint_kind]
            left, right = self.scene.planned(joint.left), self.scene.planned(joint.right)
            assert left is not None and right is not None
            for finding in self.reasons.findings(joint_id, left, right):
                if finding.verdict is Verdict.CLASHES and finding.criterion.severity.constrains:
                    told.append(Discrepancy(joint=joint_id, sentence=self.words.clash(kind, finding, left, right)))
        return tuple(told)
