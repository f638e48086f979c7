"""What one criterion, one joint kind or one condition says of two parts' readings.

This is the compiled reading of `ontology/comparators.ttl`; the rules in `ontology/rules` derive the
same verdicts on the graph, and a test holds the two together on every pair of seed parts.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Protocol

from crosspin.model.schema import (
    Comparator,
    Condition,
    Criterion,
    JointKind,
    Model,
    Spec,
    Value,
    Verdict,
)

Readings = Mapping[str, tuple[Value, ...]]
NO_READINGS: Readings = {}


class Judged(Protocol):
    """All that can be seen of a part, or of all parts that are alike, where it is judged."""

    @property
    def kind(self) -> str:
        """The id of its kind."""
        ...

    @property
    def specs(self) -> Mapping[str, str]:
        """From feature to spec id."""
        ...

    @property
    def lacks(self) -> tuple[str, ...]:
        """The features that it is known to be without."""
        ...

    @property
    def functions(self) -> tuple[str, ...]:
        """What it gives beyond what its kind gives."""
        ...

    @property
    def unidentified(self) -> bool:
        """Whether nobody has looked at it."""
        ...


@dataclass(frozen=True, slots=True)
class Finding:
    """What one criterion says: the verdict and the readings it saw (empty where none is recorded).

    `disputed` is true where sources disagree on a reading.  `lacking` is true where a part is known to
    be without the feature, which clashes whatever the criterion.
    """

    criterion: Criterion
    verdict: Verdict
    left: tuple[Value, ...]
    right: tuple[Value, ...]
    right_high: tuple[Value, ...] = ()
    disputed: bool = False
    lacking: bool = False


def _number(value: Value) -> Decimal:
    if isinstance(value, str):
        raise TypeError(f"a code, {value!r}, is compared as a number; the criterion needs a numeric dimension")
    return value


def _inside(value: Decimal, lower: Decimal | None, upper: Decimal | None) -> bool:
    return (lower is None or value >= lower) and (upper is None or value <= upper)


def _passes(c: Criterion, left: Value, right: tuple[Value, ...], high: tuple[Value, ...]) -> bool:
    """Whether known, undisputed readings pass; `ontology/comparators.ttl` defines each comparator."""
    match c.comparator:
        case Comparator.EQUALS:
            return left == right[0]
        case Comparator.DIFFERENCE_WITHIN:
            return _inside(_number(left) - c.right_factor * _number(right[0]), c.lower, c.upper)
        case Comparator.PERCENT_WITHIN:
            base = _number(right[0])
            hundredfold = 100 * (_number(left) - base)
            lower, upper = (None if limit is None else limit * base for limit in (c.lower, c.upper))
            return _inside(hundredfold, lower, upper)
        case Comparator.WITHIN_RANGE:
            return _number(right[0]) <= _number(left) <= _number(high[0])
        case Comparator.IS_ONE_OF:
            return left in right


def judge_criterion(criterion: Criterion, left: Readings, right: Readings, many: frozenset[str]) -> Finding:
    """Judge one criterion on the readings of two specs; `many` names the dimensions that take many."""
    left_values = left.get(criterion.left, ())
    high: tuple[Value, ...] = ()
    if criterion.right is None:
        assert criterion.constant is not None
        right_values: tuple[Value, ...] = (criterion.constant,)
    else:
        right_values = right.get(criterion.right, ())
        if criterion.right_high is not None:
            high = right.get(criterion.right_high, ())
    disputed = len(left_values) > 1 or (len(right_values) > 1 and criterion.right not in many) or len(high) > 1
    missing = not left_values or not right_values or (criterion.right_high is not None and not high)
    if disputed or missing:
        verdict = Verdict.UNKNOWN
    elif _passes(criterion, left_values[0], right_values, high):
        verdict = Verdict.FITS
    else:
        verdict = Verdict.CLASHES
    return Finding(criterion, verdict, left_values, right_values, high, disputed)


def joint_verdict(findings: Iterable[Finding]) -> Verdict:
    """What criteria that a plan is held to say together; what only warns or informs leaves the joint as it is."""
    return overall([finding.verdict for finding in findings if finding.criterion.severity.constrains])


def overall(verdicts: list[Verdict]) -> Verdict:
    """A clash outweighs an unknown, an unknown outweighs a fit."""
    if Verdict.CLASHES in verdicts:
        return Verdict.CLASHES
    return Verdict.UNKNOWN if Verdict.UNKNOWN in verdicts else Verdict.FITS


def judge_joint(
    kind: JointKind, left: Judged, right: Judged, specs: Mapping[str, Spec], many: frozenset[str]
) -> tuple[Finding, ...]:
    """Every criterion's finding on two parts that meet at a joint of this kind."""
    lacking = kind.left_feature in left.lacks or kind.right_feature in right.lacks
    left_values = specs[left.specs[kind.left_feature]].values if kind.left_feature in left.specs else NO_READINGS
    right_values = specs[right.specs[kind.right_feature]].values if kind.right_feature in right.specs else NO_READINGS
    if lacking:
        return tuple(
            Finding(c, Verdict.CLASHES, left_values.get(c.left, ()), right_values.get(c.right or "", ()), lacking=True)
            for c in kind.criteria
        )
    return tuple(judge_criterion(c, left_values, right_values, many) for c in kind.criteria)


def is_of_kind(model: Model, part: Judged, kind: str) -> bool | None:
    """Whether the part is of the kind; None where nobody has looked and it could be."""
    if kind in model.kinds[part.kind].ancestors:
        return True
    if part.unidentified and part.kind in model.kinds[kind].ancestors:
        return None
    return False


def functions_of(model: Model, part: Judged | None) -> frozenset[str]:
    """The functions that the part surely gives, by its kind or by itself."""
    return frozenset() if part is None else frozenset((*model.kinds[part.kind].functions, *part.functions))


def may_have(model: Model, part: Judged, feature: str) -> bool:
    """Whether the part has the feature, or could have it where nobody has looked: a narrower kind does."""
    if feature in part.lacks:
        return False
    if feature in model.kinds[part.kind].features:
        return True
    return part.unidentified and any(feature in k.features and part.kind in k.ancestors for k in model.kinds.values())


def meets(model: Model, condition: Condition, part: Judged, specs: Mapping[str, Spec]) -> bool | None:
    """Whether the part meets the condition; None where a reading that decides it is missing or disputed."""
    of_kind = is_of_kind(model, part, condition.kind)
    if of_kind is False or condition.dimension is None or condition.feature is None:
        return of_kind
    if condition.feature in part.lacks:
        return False
    spec = part.specs.get(condition.feature)
    values = specs[spec].values.get(condition.dimension, ()) if spec is not None else ()
    if not values:
        return None
    if model.dimensions[condition.dimension].many:
        holds = any(value in condition.codes for value in values)
    elif len(values) > 1:
        return None
    elif condition.codes:
        holds = values[0] in condition.codes
    else:
        holds = _inside(_number(values[0]), condition.lower, condition.upper)
    return holds if not holds else of_kind
