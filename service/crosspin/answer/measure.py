"""What must be measured or looked at first: a line for everything that a plan leaves unknown."""

from collections.abc import Iterator, Sequence

from crosspin.answer.figures import Figures, Wanted
from crosspin.answer.fit import missing
from crosspin.answer.joints import Joints
from crosspin.answer.plan import Measurement
from crosspin.answer.reasons import Scene
from crosspin.model.judge import is_of_kind, may_have, meets
from crosspin.model.schema import Condition, Part, Value, Verdict
from crosspin.rules.proof import Proof

_Key = tuple[str, str, str]


class Measuring:
    """Finds the readings that the unknown joints, needs, resources and figures of one proved plan wait for."""

    def __init__(self, scene: Scene, joints: Joints, proof: Proof, figures: Figures, fed: Sequence[Wanted]) -> None:
        self.figures = figures
        self.wanted = (*figures.wanted(), *fed)
        self.scene = scene
        self.model = scene.model
        self.joints = joints
        self.proof = proof
        self.words = scene.sayings.words

    def lines(self) -> tuple[Measurement, ...]:
        """Each reading once, by position; a reading that is safety-critical anywhere is so in its line."""
        found: dict[_Key, Measurement] = {}
        for key, line in (*self._of_joints(), *self._of_needs(), *self._of_resources(), *self._of_figures()):
            before = found.setdefault(key, line)
            if line.safety_critical and not before.safety_critical:
                found[key] = before.model_copy(update={"safety_critical": True})
        return tuple(found[key] for key in sorted(found))

    def _of_joints(self) -> Iterator[tuple[_Key, Measurement]]:
        for joint, left, right, findings in self.joints.judged():
            if self.proof.joints[joint.id].verdict is not Verdict.UNKNOWN:
                continue
            kind = self.model.joint_kinds[joint.joint_kind]
            why = f"{kind.label} at {self.words.place(joint.right)} waits for it."
            for finding in findings:
                if finding.verdict is not Verdict.UNKNOWN or not finding.criterion.severity.constrains:
                    continue
                critical = finding.criterion.safety_critical
                for part, feature, dimension, recorded in missing(self.model, kind, finding, left, right):
                    path = joint.left if part is left else joint.right
                    yield self._line(path, part, feature, dimension, recorded, why, critical)

    def _of_needs(self) -> Iterator[tuple[_Key, Measurement]]:
        pairings = {pairing.id: pairing for pairing in self.scene.layout.pairings}
        for proved in self.proof.needs.values():
            if proved.verdict is not Verdict.UNKNOWN or proved.only_warns:
                continue
            ends: tuple[tuple[str, Condition | None], ...]
            if proved.figure is not None:
                called = self.model.figure_needs[proved.rule]
                why = f"{called.label} waits for it."
                ends = ((proved.position, called.then),)
                for gap in self.figures.gaps(proved.figure):
                    yield self._line(gap.path, gap.part, gap.feature, gap.dimension, gap.recorded, why)
            else:
                need, pairing = self.model.needs[proved.rule], pairings[proved.pairing]
                why = f"{need.label} waits for it."
                ends = ((pairing.when, need.when), (pairing.then, need.then))
            for path, condition in ends:
                part = self.scene.planned(path)
                if part is not None and condition is not None:
                    yield from self._of_condition(path, part, condition, why)

    def _of_condition(
        self, path: str, part: Part, condition: Condition, why: str
    ) -> Iterator[tuple[_Key, Measurement]]:
        if meets(self.model, condition, part, self.scene.catalog.specs) is not None:
            return
        if condition.feature is not None and condition.dimension is not None:
            recorded = self._recorded(part, condition.feature, condition.dimension)
            yield self._line(path, part, condition.feature, condition.dimension, recorded, why)
        elif is_of_kind(self.model, part, condition.kind) is None:
            wanted = self.model.kinds[condition.kind].label
            how = f"{self._look(path)} Is it a kind of {wanted}?"
            line = Measurement(position=path, part=part.label, feature="part", dimension="kind", how=how, why=why)
            yield (path, "", condition.kind), line

    def _of_resources(self) -> Iterator[tuple[_Key, Measurement]]:
        for proved in self.proof.resources.values():
            if not proved.judged or proved.verdict is not Verdict.UNKNOWN or proved.only_warns:
                continue
            resource = self.model.resources[proved.resource]
            why = f"The sum of {resource.label} waits for it."
            ends = (
                (resource.draw_feature, resource.draw_dimension),
                (resource.supply_feature, resource.supply_dimension),
            )
            for position in self.scene.layout.positions:
                part = self.scene.planned(position.path)
                for feature, dimension in ends:
                    if part is None or not may_have(self.model, part, feature):
                        continue
                    recorded = self._recorded(part, feature, dimension)
                    if len(recorded) != 1:
                        yield self._line(position.path, part, feature, dimension, recorded, why)

    def _of_figures(self) -> Iterator[tuple[_Key, Measurement]]:
        for wanted in self.wanted:
            gap = wanted.gap
            yield self._line(
                gap.path, gap.part, gap.feature, gap.dimension, gap.recorded, wanted.why, wanted.safety_critical
            )

    def _recorded(self, part: Part, feature: str, dimension: str) -> tuple[Value, ...]:
        spec = part.specs.get(feature)
        return self.scene.catalog.specs[spec].values.get(dimension, ()) if spec is not None else ()

    def _line(
        self,
        path: str,
        part: Part,
        feature: str,
        dimension: str,
        recorded: tuple[Value, ...],
        why: str,
        critical: bool = False,
    ) -> tuple[_Key, Measurement]:
        how = self.model.dimensions[dimension].how_to_measure
        line = Measurement(
            position=path,
            part=part.label,
            feature=self.model.features[feature].label,
            dimension=self.model.dimensions[dimension].label,
            how=f"{self._look(path)} {how}" if part.unidentified else how,
            why=why,
            recorded=tuple(self.words.value(dimension, value) for value in recorded),
            safety_critical=critical,
        )
        return (path, feature, dimension), line

    def _look(self, path: str) -> str:
        """What comes before measuring a part that nobody has seen."""
        return f"Look at what stands at the {self.words.place(path)}."
