"""What a plan is not held to and a person should know: rules that only warn or inform."""

from collections.abc import Iterator

from crosspin.answer.figures import Figures
from crosspin.answer.joints import Joints
from crosspin.answer.plan import WarningLine
from crosspin.answer.reasons import Scene
from crosspin.model.judge import may_have
from crosspin.model.schema import Need, Renewal, Resource, Verdict
from crosspin.rules.proof import Proof


class Warnings:
    """Finds what the rules say against one proved plan without holding it up."""

    def __init__(self, scene: Scene, joints: Joints, proof: Proof, figures: Figures) -> None:
        self.figures = figures
        self.scene = scene
        self.model = scene.model
        self.joints = joints
        self.proof = proof
        self.words = scene.sayings.words

    def lines(self) -> tuple[WarningLine, ...]:
        """Safety first, then what the plan brings about before what was so already."""
        found = (*self._of_joints(), *self._of_pairings(), *self._of_calls(), *self._of_resources())
        return tuple(sorted(found, key=lambda w: (not w.safety_critical, w.was_so_already, w.id, w.rule)))

    def _of_joints(self) -> Iterator[WarningLine]:
        for proved in self.proof.joints.values():
            for finding in proved.findings:
                if proved.judged and finding.only_warns and finding.verdict is Verdict.CLASHES:
                    yield self._of_joint(proved.joint, finding.criterion, False)
        for joint, criterion in self.proof.came_with:
            yield self._of_joint(joint, criterion, True)

    def _of_joint(self, name: str, criterion: str, was_so_already: bool) -> WarningLine:
        joint = self.joints.joints[name]
        kind = self.model.joint_kinds[joint.joint_kind]
        left, right = self.scene.planned(joint.left), self.scene.planned(joint.right)
        assert left is not None and right is not None, f"{name} is judged, yet a side is empty"
        findings = self.joints.reasons.findings(name, left, right)
        (finding,) = (f for f in findings if f.criterion.id == criterion)
        return WarningLine(
            id=name,
            rule=criterion,
            sentence=self.words.clash(kind, finding, left, right),
            severity=finding.criterion.severity,
            safety_critical=finding.criterion.safety_critical,
            was_so_already=was_so_already,
            evidence=self.words.evidence((*kind.evidence, *finding.criterion.evidence)),
        )

    def _of_pairings(self) -> Iterator[WarningLine]:
        for proved in self.proof.needs.values():
            if proved.figure is None and proved.only_warns and proved.verdict is Verdict.CLASHES:
                rule: Need | Renewal = (
                    self.model.needs[proved.rule]
                    if proved.rule in self.model.needs
                    else self.model.renewals[proved.rule]
                )
                assert proved.source is not None, f"{proved.rule} speaks for a part"
                yield self._of_rule(rule, proved.pairing, proved.source)

    def _of_calls(self) -> Iterator[WarningLine]:
        """The needs that figures trigger."""
        for proved in self.proof.needs.values():
            if proved.figure is not None and proved.only_warns and proved.verdict is Verdict.CLASHES:
                need = self.model.figure_needs[proved.rule]
                yield WarningLine(
                    id=proved.pairing,
                    rule=need.id,
                    sentence=self.figures.need(proved.pairing),
                    severity=need.severity,
                    safety_critical=False,
                    was_so_already=False,
                    evidence=self.words.evidence(need.evidence),
                )

    def _of_resources(self) -> Iterator[WarningLine]:
        for proved in self.proof.resources.values():
            if proved.judged and proved.only_warns and proved.verdict is Verdict.CLASHES:
                rule = self.model.resources[proved.resource]
                drawing = (
                    path
                    for path in self.scene.choices
                    if (part := self.scene.planned(path)) is not None and may_have(self.model, part, rule.draw_feature)
                )
                yield self._of_rule(rule, rule.id, min(drawing, key=lambda path: path not in self.scene.changed))

    def _of_rule(self, rule: Need | Renewal | Resource, name: str, source: str) -> WarningLine:
        part = self.scene.planned(source)
        return WarningLine(
            id=name,
            rule=rule.id,
            sentence=self.words.rule(rule.says, part.label if part is not None else "nothing", source),
            severity=rule.severity,
            safety_critical=False,
            was_so_already=False,
            evidence=self.words.evidence(rule.evidence),
        )
