"""What a joint kind says of two parts, decided once for each pair of specs and then reused.

A part's code at one side of a joint kind is all that the joint can see of it: out of contact, known to
be without the feature, nothing recorded, or one of the interned specs.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

import numpy as np
import numpy.typing as npt

from crosspin.catalog.catalog import Catalog
from crosspin.knockon.limits import INFINITE
from crosspin.knockon.pairwise import Pairwise
from crosspin.knockon.weights import Weights
from crosspin.model.judge import NO_READINGS, Finding, Judged, Readings, is_of_kind, judge_criterion, judge_joint
from crosspin.model.schema import Criterion, Hand, JointKind, Model, Part, Remedy, Value, Verdict

Costs = npt.NDArray[np.int64]

APART: Final = 0
LACKING: Final = 1
BLANK: Final = 2
_FIRST_SPEC: Final = 3


@dataclass(frozen=True, slots=True)
class Repair:
    """A remedy for one clashing criterion, the adapter it takes and what both cost."""

    criterion: str
    remedy: str
    adapter: str | None
    money: Decimal


@dataclass(frozen=True, slots=True)
class Outcome:
    """What is left to say of two parts at a joint once all that can be mended is mended.

    `blocked` lists criteria that clash for good.  `unsafe_left` lists safety-critical criteria that are
    unknown because of a reading of the left part, `unsafe_right` of the right part.
    """

    blocked: tuple[str, ...]
    unknown: bool
    unsafe_left: tuple[str, ...]
    unsafe_right: tuple[str, ...]
    repairs: tuple[Repair, ...]

    @property
    def money(self) -> Decimal:
        """What the repairs cost."""
        return sum((repair.money for repair in self.repairs), Decimal(0))

    def unsafe(self, left_fresh: bool, right_fresh: bool) -> tuple[str, ...]:
        """Safety-critical criteria that a fresh part leaves unknown."""
        if self.blocked:
            return ()
        named = (self.unsafe_left if left_fresh else ()) + (self.unsafe_right if right_fresh else ())
        return tuple(dict.fromkeys(named))


def operation_money(model: Model, remedy: Remedy) -> Decimal:
    """What the hours of a remedy cost at the shop's rate."""
    if remedy.operation is None:
        return Decimal(0)
    return model.operations[remedy.operation].hours * model.shop.hourly_rate


class Mating:
    """One joint kind over every pair of specs in the catalog, by the criteria that a plan is held to.

    With `stocked`, only adapters that are known to lie on the shelf mend anything.
    """

    def __init__(self, model: Model, catalog: Catalog, kind: JointKind, weights: Weights, stocked: bool) -> None:
        self.kind = kind
        self._model = model
        self._catalog = catalog
        self._weights = weights
        self._stocked = stocked
        self._many = model.many
        self._specs = {
            Hand.LEFT: catalog.held(model, kind.left_kind, kind.left_feature),
            Hand.RIGHT: catalog.held(model, kind.right_kind, kind.right_feature),
        }
        self._codes = {
            hand: {spec: code for code, spec in enumerate(specs, _FIRST_SPEC)} for hand, specs in self._specs.items()
        }
        remedies = (model.remedies[name] for criterion in kind.constraining for name in criterion.remedies)
        kinds = {remedy.adapter_kind for remedy in remedies if remedy.adapter_kind is not None}
        self._adapters = {name: catalog.classes(model, name) for name in sorted(kinds)}
        self._outcomes: dict[tuple[int, int], Outcome] = {}
        self._chosen: dict[tuple[str, int, int], tuple[str, Decimal] | None] = {}
        self._matrix: Costs | None = None

    def has_codes_of(self, other: "Mating") -> bool:
        """Whether parts have the same codes as at another mating of the same joint kind."""
        return self._specs == other._specs

    def take_over(self, other: "Mating") -> None:
        """Keep what an earlier mating of the same joint kind has found out, where it holds still."""
        if (
            self.has_codes_of(other)
            and self._adapters == other._adapters
            and (self._weights, self._stocked) == (other._weights, other._stocked)
        ):
            self._outcomes, self._chosen, self._matrix = other._outcomes, other._chosen, other._matrix

    def _side(self, hand: Hand) -> tuple[str, str]:
        kind = self.kind
        return (kind.left_kind, kind.left_feature) if hand is Hand.LEFT else (kind.right_kind, kind.right_feature)

    def code(self, hand: Hand, part: Judged | None) -> int:
        """All that this joint kind can see of a part on that side."""
        kind, feature = self._side(hand)
        if part is None or is_of_kind(self._model, part, kind) is False:
            return APART
        if feature in part.lacks:
            return LACKING
        spec = part.specs.get(feature)
        return BLANK if spec is None else self._codes[hand][spec]

    def _sample(self, hand: Hand, code: int) -> Part:
        kind, feature = self._side(hand)
        return Part(
            id="",
            kind=kind,
            label="",
            specs={feature: self._specs[hand][code - _FIRST_SPEC]} if code >= _FIRST_SPEC else {},
            lacks=(feature,) if code == LACKING else (),
        )

    def outcome(self, left: int, right: int) -> Outcome:
        """What comes of two codes that are in contact."""
        known = self._outcomes.get((left, right))
        if known is None:
            known = self._judge(left, right)
            self._outcomes[left, right] = known
        return known

    def _judge(self, left: int, right: int) -> Outcome:
        findings = judge_joint(
            self.kind,
            self._sample(Hand.LEFT, left),
            self._sample(Hand.RIGHT, right),
            self._catalog.specs,
            self._many,
        )
        blocked, repairs, unsafe_left, unsafe_right = [], [], [], []
        unknown = False
        for finding in findings:
            if not finding.criterion.severity.constrains:
                continue
            if finding.verdict is Verdict.CLASHES:
                repair = self._repair(finding, left, right)
                if repair is None:
                    blocked.append(finding.criterion.id)
                else:
                    repairs.append(repair)
            elif finding.verdict is Verdict.UNKNOWN:
                unknown = True
                if finding.criterion.safety_critical:
                    left_at_fault, right_at_fault = self._at_fault(finding)
                    if left_at_fault:
                        unsafe_left.append(finding.criterion.id)
                    if right_at_fault:
                        unsafe_right.append(finding.criterion.id)
        return Outcome(tuple(blocked), unknown, tuple(unsafe_left), tuple(unsafe_right), tuple(repairs))

    def _at_fault(self, finding: Finding) -> tuple[bool, bool]:
        """Whether a reading of the left part, or of the right part, is missing or disputed."""
        criterion = finding.criterion
        right_disputed = len(finding.right) > 1 and criterion.right not in self._many
        right = criterion.right is not None and (not finding.right or right_disputed)
        high = criterion.right_high is not None and len(finding.right_high) != 1
        return len(finding.left) != 1, right or high

    def _repair(self, finding: Finding, left: int, right: int) -> Repair | None:
        """The cheapest remedy that applies, then the one with the lowest id."""
        if finding.lacking:
            return None
        best: Repair | None = None
        for name in sorted(finding.criterion.remedies):
            remedy = self._model.remedies[name]
            if not _allowed(remedy, finding):
                continue
            money = operation_money(self._model, remedy)
            adapter: str | None = None
            if remedy.adapter_kind is not None:
                found = self._adapter(remedy, left, right)
                if found is None:
                    continue
                adapter = found[0]
                money += found[1]
            if best is None or money < best.money:
                best = Repair(finding.criterion.id, name, adapter, money)
        return best

    def _adapter(self, remedy: Remedy, left: int, right: int) -> tuple[str, Decimal] | None:
        key = (remedy.id, left, right)
        if key not in self._chosen:
            self._chosen[key] = self._find_adapter(remedy, left, right)
        return self._chosen[key]

    def _find_adapter(self, remedy: Remedy, left: int, right: int) -> tuple[str, Decimal] | None:
        """Id and price of the cheapest adapter whose two faces fit the two parts."""
        assert remedy.adapter_kind is not None
        left_values = self._readings(Hand.LEFT, left)
        right_values = self._readings(Hand.RIGHT, right)
        fitting = []
        for adapters in self._adapters[remedy.adapter_kind]:
            offer = adapters.on_shelf if self._stocked else adapters.cheapest
            if offer is None:
                continue
            outer = self._face(adapters, remedy.adapter_left_feature)
            inner = self._face(adapters, remedy.adapter_right_feature)
            if self._fits(remedy.adapter_left_criterion, left_values, outer) and self._fits(
                remedy.adapter_right_criterion, inner, right_values
            ):
                fitting.append(offer)
        if not fitting:
            return None
        cheapest = min(fitting, key=lambda offer: (offer.price, offer.part))
        return cheapest.part, cheapest.money

    def _readings(self, hand: Hand, code: int) -> Readings:
        if code < _FIRST_SPEC:
            return NO_READINGS
        return self._catalog.specs[self._specs[hand][code - _FIRST_SPEC]].values

    def _face(self, part: Judged, feature: str | None) -> Readings:
        if feature is None or feature in part.lacks or feature not in part.specs:
            return NO_READINGS
        return self._catalog.specs[part.specs[feature]].values

    def _fits(self, criterion: Criterion | None, left: Readings, right: Readings) -> bool:
        return criterion is None or judge_criterion(criterion, left, right, self._many).verdict is Verdict.FITS

    @property
    def matrix(self) -> Costs:
        """Packed costs; row 2 x left code + (1 if fresh), column likewise for the right part."""
        if self._matrix is None:
            self._matrix = self._build()
        return self._matrix

    def _build(self) -> Costs:
        readings = {
            hand: [self._readings(hand, code) for code in range(BLANK, _FIRST_SPEC + len(specs))]
            for hand, specs in self._specs.items()
        }
        shape = len(readings[Hand.LEFT]), len(readings[Hand.RIGHT])
        barred, mendable, unknown = (np.zeros(shape, dtype=bool) for _ in range(3))
        unsafe_left, unsafe_right = (np.zeros(size, dtype=bool) for size in shape)
        for criterion in self.kind.constraining:
            judged = Pairwise(criterion, readings[Hand.LEFT], readings[Hand.RIGHT], self._many)
            clash = mendable if criterion.remedies else barred
            clash |= judged.clash
            unknown |= judged.left_open[:, None] | judged.right_open
            if criterion.safety_critical:
                unsafe_left |= judged.left_open
                unsafe_right |= judged.right_open
        weights = self._weights
        open_cost = np.where(unknown, weights.unknown, 0)
        for row, column in np.argwhere(mendable & ~barred).tolist():
            outcome = self.outcome(BLANK + row, BLANK + column)
            if outcome.blocked:
                barred[row, column] = True
            else:
                open_cost[row, column] += weights.money(outcome.money)
        matrix = np.zeros((2 * (BLANK + shape[0]), 2 * (BLANK + shape[1])), dtype=np.int64)
        lacking = INFINITE if self.kind.constraining else 0
        for left_fresh, right_fresh in ((0, 1), (1, 0), (1, 1)):
            face = matrix[left_fresh::2, right_fresh::2]
            unsafe = unsafe_left[:, None] & bool(left_fresh) | unsafe_right & bool(right_fresh)
            face[BLANK:, BLANK:] = np.where(barred, INFINITE, open_cost + np.where(unsafe, weights.unsafe, 0))
            face[LACKING, LACKING:] = lacking
            face[LACKING:, LACKING] = lacking
        matrix.setflags(write=False)
        return matrix


def _single_number(values: tuple[Value, ...]) -> Decimal | None:
    return values[0] if len(values) == 1 and isinstance(values[0], Decimal) else None


def _allowed(remedy: Remedy, finding: Finding) -> bool:
    """Whether the readings lie within the limits that the remedy sets itself."""
    if remedy.left_code is not None and finding.left != (remedy.left_code,):
        return False
    if remedy.lower is None and remedy.upper is None:
        return True
    left, right = _single_number(finding.left), _single_number(finding.right)
    if left is None or right is None:
        return False
    gap = left - finding.criterion.right_factor * right
    return (remedy.lower is None or gap >= remedy.lower) and (remedy.upper is None or gap <= remedy.upper)


def dearest_repairs(model: Model, kind: JointKind, dearest_part: Mapping[str, Decimal]) -> Decimal:
    """A bound on what mending one joint of this kind can cost; `dearest_part` by adapter kind."""
    total = Decimal(0)
    for criterion in kind.constraining:
        remedies = [model.remedies[name] for name in criterion.remedies]
        total += max(
            (operation_money(model, r) + dearest_part.get(r.adapter_kind or "", Decimal(0)) for r in remedies),
            default=Decimal(0),
        )
    return total
