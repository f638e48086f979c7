"""Do two parts go together; what mates with a part; which parts are equal to it."""

from collections.abc import Iterator
from dataclasses import dataclass

from crosspin.answer.plan import CriterionLine, Fit, Mate, PartLine
from crosspin.catalog.catalog import Catalog
from crosspin.model.judge import Finding, Judged, joint_verdict, judge_joint, overall
from crosspin.model.schema import JointKind, Model, Part, Value, Vehicle, Verdict
from crosspin.vehicle.words import Words

MOST_MATES = 1000
"""Most parts told that mate with a part at one joint kind."""

MOST_EQUALS = 1000
"""Most parts told that are equal to a part."""


def fitting(model: Model, catalog: Catalog, kind: JointKind, part: Part, is_left: bool) -> tuple[int, ...]:
    """The classes of orderable parts, by number, that fit a part at a joint of this kind, the left or the right of
    which the part is."""
    there, feature = (kind.right_kind, kind.right_feature) if is_left else (kind.left_kind, kind.left_feature)
    judged: dict[tuple[bool, str | None], bool] = {}  # a joint sees nothing else of a part of its kind
    found = []
    for alike in catalog.classes(model, there):
        seen = feature in alike.lacks, alike.specs.get(feature)
        if seen not in judged:
            left, right = (part, alike) if is_left else (alike, part)
            findings = judge_joint(kind, left, right, catalog.specs, model.many)
            judged[seen] = joint_verdict(findings) is Verdict.FITS
        if judged[seen]:
            found.append(alike.number)
    return tuple(found)


def line(part: Part) -> PartLine:
    """A part as it stands in a line."""
    return PartLine(id=part.id, label=part.label, price=part.price, stock=part.stock)


@dataclass(frozen=True, slots=True)
class Fitter:
    """Answers about pairs of parts, without a plan."""

    model: Model
    catalog: Catalog

    def _is(self, part: Part, kind: str) -> bool:
        return kind in self.model.kinds[part.kind].ancestors

    def meetings(self, one: Part, other: Part) -> Iterator[tuple[JointKind, Part, Part]]:
        """Every joint kind at which two parts can meet, with the parts in its order."""
        for kind in self.model.joint_kinds.values():
            if self._is(one, kind.left_kind) and self._is(other, kind.right_kind):
                yield kind, one, other
            if one.kind != other.kind and self._is(other, kind.left_kind) and self._is(one, kind.right_kind):
                yield kind, other, one

    def fit(self, one: str, other: str) -> Fit:
        """Judge two parts at every joint kind at which they can meet.

        Parts that meet nowhere get the verdict unknown, with no joint: nothing is known to speak for them.
        """
        left, right = self.catalog.parts[one], self.catalog.parts[other]
        words = Words(self.model)
        lines: list[CriterionLine] = []
        joints: list[str] = []
        verdicts: list[Verdict] = []
        for kind, first, second in self.meetings(left, right):
            findings = judge_joint(kind, first, second, self.catalog.specs, self.model.many)
            joints.append(kind.id)
            verdicts.append(joint_verdict(findings))
            lines.extend(self._criterion(words, kind, f, first, second) for f in findings)
        return Fit(
            left=line(left),
            right=line(right),
            verdict=overall(verdicts) if joints else Verdict.UNKNOWN,
            joints=tuple(joints),
            criteria=tuple(lines),
        )

    def _sentence(self, words: Words, kind: JointKind, finding: Finding, left: Part, right: Part) -> str:
        criterion = finding.criterion
        if finding.verdict is Verdict.CLASHES:
            return words.clash(kind, finding, left, right)
        if finding.verdict is Verdict.UNKNOWN:
            return " ".join(self.to_measure(words, kind, finding, left, right))
        return words.fill(criterion.says_fit, kind, finding, left, right) if criterion.says_fit else ""

    def _criterion(self, words: Words, kind: JointKind, finding: Finding, left: Part, right: Part) -> CriterionLine:
        criterion = finding.criterion
        shown_right = words.fill("{right}", kind, finding, left, right)
        return CriterionLine(
            joint_kind=kind.id,
            criterion=criterion.id,
            left=words.fill("{left}", kind, finding, left, right),
            right=shown_right,
            verdict=finding.verdict,
            severity=criterion.severity,
            sentence=self._sentence(words, kind, finding, left, right),
            remedies=tuple(self.model.remedies[r].label for r in criterion.remedies)
            if finding.verdict is Verdict.CLASHES
            else (),
            evidence=words.evidence((*kind.evidence, *criterion.evidence)),
        )

    def to_measure(self, words: Words, kind: JointKind, finding: Finding, left: Part, right: Part) -> list[str]:
        """What to measure before an unknown criterion can be judged, one sentence a reading."""
        return [
            f"{'Sources disagree on' if recorded else 'Measure'} the "
            f"{self.model.dimensions[d].label} of {part.label}"
            f"{': ' + words.reading(part, feature, d, recorded) if recorded else ''}. "
            f"{self.model.dimensions[d].how_to_measure}"
            for part, feature, d, recorded in missing(self.model, kind, finding, left, right)
        ]

    def mates(self, part_id: str, vehicle: Vehicle | None = None) -> list[Mate]:
        """What mates with a part: catalog parts that fit it at some joint kind, or, given a vehicle, each
        of the vehicle's parts that it would meet, with the verdict there."""
        part = self.catalog.parts[part_id]
        if vehicle is not None:
            return self._mates_in(part, vehicle)
        found = []
        for kind in self.model.joint_kinds.values():
            for mine, is_left in ((kind.left_kind, True), (kind.right_kind, False)):
                if not self._is(part, mine):
                    continue
                classes = fitting(self.model, self.catalog, kind, part, is_left)
                for other in self.catalog.listing(classes=classes, orderable=True, limit=MOST_MATES).parts:
                    found.append(
                        Mate(part=line(other), position=None, joint_kind=kind.id, verdict=Verdict.FITS, because=())
                    )
                if kind.left_kind == kind.right_kind:
                    break
        return sorted(found, key=lambda m: (m.joint_kind, m.part.id))

    def _judge(self, kind: JointKind, left: Judged, right: Judged) -> tuple[Finding, ...]:
        return judge_joint(kind, left, right, self.catalog.specs, self.model.many)

    def _mates_in(self, part: Part, vehicle: Vehicle) -> list[Mate]:
        words = Words(self.model)
        layout = self.model.layouts[vehicle.layout]
        places = {p.path for p in layout.positions if self._is(part, self.model.roles[p.role].kind)}
        found = []
        for joint in layout.joints:
            for here, there, mine in ((joint.left, joint.right, True), (joint.right, joint.left, False)):
                if here not in places:
                    continue
                kind = self.model.joint_kinds[joint.joint_kind]
                own_kind, other_kind = (kind.left_kind, kind.right_kind) if mine else (kind.right_kind, kind.left_kind)
                other_id = vehicle.parts.get(there)
                if other_id is None or not self._is(part, own_kind):
                    continue
                other = self.catalog.parts[other_id]
                if not self._is(other, other_kind):
                    continue
                left, right = (part, other) if mine else (other, part)
                findings = self._judge(kind, left, right)
                found.append(
                    Mate(
                        part=line(other),
                        position=there,
                        joint_kind=kind.id,
                        verdict=joint_verdict(findings),
                        because=tuple(
                            self._sentence(words, kind, f, left, right)
                            for f in findings
                            if f.verdict is not Verdict.FITS
                        ),
                    )
                )
        return sorted(found, key=lambda m: (m.position or "", m.joint_kind, m.verdict, m.because))

    def equals(self, part_id: str) -> list[PartLine]:
        """Parts of the same kind with the same readings at every feature, cheapest first."""
        part = self.catalog.parts[part_id]
        return [line(twin) for twin in self.catalog.alike(part.id, MOST_EQUALS)]


def missing(
    model: Model, kind: JointKind, finding: Finding, left: Part, right: Part
) -> list[tuple[Part, str, str, tuple[Value, ...]]]:
    """The readings that an unknown finding lacks or disputes: part, feature, dimension, what is recorded."""
    criterion = finding.criterion
    sides: list[tuple[Part, str, str | None, tuple[Value, ...]]] = [
        (left, kind.left_feature, criterion.left, finding.left),
        (right, kind.right_feature, criterion.right, finding.right),
        (right, kind.right_feature, criterion.right_high, finding.right_high),
    ]
    found = []
    for part, feature, dimension, values in sides:
        if dimension is None:
            continue
        disputed = len(values) > 1 and not (model.dimensions[dimension].many and part is right)
        if not values or disputed:
            found.append((part, feature, dimension, values))
    return found
