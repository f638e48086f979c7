"""Readings, positions and rules put into words."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from crosspin.figures.exact import rounded, spell
from crosspin.model.judge import Finding
from crosspin.model.schema import Criterion, Dimension, JointKind, Model, Part, Unit, Value


@dataclass(frozen=True, slots=True)
class Words:
    """Puts things of one model into words."""

    model: Model

    def unit(self, dimension: Dimension) -> str:
        """The symbol behind a value of this dimension, empty for codes, counts and teeth per inch."""
        if dimension.unit is None or dimension.unit not in self.model.units:
            return ""
        return self.model.units[dimension.unit].symbol

    def value(self, dimension_id: str, value: Value) -> str:
        """One value with its unit."""
        dimension = self.model.dimensions[dimension_id]
        unit = self.unit(dimension)
        if not isinstance(value, Decimal):
            return value
        text = f"{spell(value)} {unit}" if unit and not unit.startswith("per") else spell(value)
        other = self._other_unit(dimension)
        return text if other is None else f"{spell(rounded(value / other.factor, 4))} {other.symbol} ({text})"

    def _other_unit(self, dimension: Dimension) -> Unit | None:
        """The unit that the reader wants this dimension told in, where it is not the one it is kept in."""
        wanted = self.model.told_in.get(dimension.unit or "")
        return self.model.units.get(wanted) if wanted is not None else None

    def reading(self, part: Part | None, feature: str, dimension_id: str, values: Sequence[Value]) -> str:
        """What is recorded, as kept and, in brackets, as published in another unit; "not recorded" if nothing is."""
        if not values:
            return "not recorded"
        dimension = self.model.dimensions[dimension_id]
        joined = (" or " if dimension.many else " against ").join(self.value(dimension_id, v) for v in values)
        published = part.published.get(f"{feature}.{dimension_id}") if part is not None else None
        other = self._other_unit(dimension)
        if published and other is not None and published.endswith(f" {other.symbol}"):
            return joined  # which says it in that unit already
        return f"{joined} ({published})" if published else joined

    def place(self, path: str) -> str:
        """A position as people say it: "front left inner shaft"."""
        return path.replace("/", " ").replace("-", " ")

    def clash(self, kind: JointKind, finding: Finding, left: Part, right: Part) -> str:
        """The sentence of a criterion that fails, with both values in it."""
        if finding.lacking:
            lacking, feature = (
                (left, kind.left_feature) if kind.left_feature in left.lacks else (right, kind.right_feature)
            )
            return f"{lacking.label} has no {self.model.features[feature].label}."
        return self.fill(finding.criterion.says_clash, kind, finding, left, right)

    def fill(self, template: str, kind: JointKind, finding: Finding, left: Part, right: Part) -> str:
        """A sentence of the ontology with its placeholders filled."""
        criterion = finding.criterion
        return fill_in(
            template,
            {
                "left": self.reading(left, kind.left_feature, criterion.left, finding.left),
                "right": self._right(criterion, kind, finding, right),
                "leftPart": left.label,
                "rightPart": right.label,
            },
        )

    def _right(self, criterion: Criterion, kind: JointKind, finding: Finding, right: Part) -> str:
        if criterion.right is None:
            constant = finding.right[0]
            return self.value(criterion.left, constant)
        text = self.reading(right, kind.right_feature, criterion.right, finding.right)
        if criterion.right_high is not None:
            text += f" to {self.reading(right, kind.right_feature, criterion.right_high, finding.right_high)}"
        return text

    def rule(self, template: str, part: str, place: str) -> str:
        """The sentence of a need, renewal or resource."""
        return fill_in(template, {"part": part, "place": self.place(place)})

    def evidence(self, ids: Sequence[str]) -> tuple[str, ...]:
        """What stands behind a rule, each with whether it is from memory."""
        return tuple(self.model.evidence[e].source for e in ids if e in self.model.evidence)


def fill_in(template: str, values: Mapping[str, str]) -> str:
    """Replace {name} by its value; the values themselves are never read as templates."""
    pieces = []
    rest = template
    while rest:
        before, brace, after = rest.partition("{")
        pieces.append(before)
        if not brace:
            break
        name, closing, rest = after.partition("}")
        if not closing or name not in values:
            raise ValueError(f"the sentence {template!r} has a placeholder {{{name}}} that is not known")
        pieces.append(values[name])
    return "".join(pieces)
