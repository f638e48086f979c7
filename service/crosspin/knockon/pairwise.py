"""One criterion on every pair of specs at once, exact: decimals are compared as whole numbers of one small step.

The same as `judge.judge_criterion` on each pair; a test holds the two together.
"""

from collections.abc import Iterable, Sequence
from decimal import Decimal

import numpy as np
import numpy.typing as npt

from crosspin.model.judge import Readings
from crosspin.model.schema import Comparator, Criterion, Value

Flags = npt.NDArray[np.bool_]
Whole = npt.NDArray[np.int64] | npt.NDArray[np.object_]

_WORD = 1 << 62


class Pairwise:
    """What one criterion says of the readings of some specs (rows) against those of others (columns).

    `left_open` and `right_open` tell the specs of which a reading is missing or disputed, which leaves every
    pair with them unknown; `clash` tells the pairs, unknown ones left out, that fail.
    """

    def __init__(
        self, criterion: Criterion, left: Sequence[Readings], right: Sequence[Readings], many: frozenset[str]
    ) -> None:
        lefts = [readings.get(criterion.left, ()) for readings in left]
        rights: list[tuple[Value, ...]]
        if criterion.right is None:
            assert criterion.constant is not None
            rights = [(criterion.constant,)] * len(right)
        else:
            rights = [readings.get(criterion.right, ()) for readings in right]
        self.left_open = np.array([len(values) != 1 for values in lefts], dtype=bool)
        accepts = criterion.right in many
        self.right_open = np.array([not v if accepts else len(v) != 1 for v in rights], dtype=bool)
        highs: list[tuple[Value, ...]] = [()] * len(right)
        if criterion.right_high is not None:
            highs = [readings.get(criterion.right_high, ()) for readings in right]
            self.right_open |= np.array([len(values) != 1 for values in highs], dtype=bool)
        rows, columns = np.flatnonzero(~self.left_open), np.flatnonzero(~self.right_open)
        self.clash = np.zeros((len(left), len(right)), dtype=bool)
        if rows.size and columns.size:
            passes = _passes(
                criterion,
                [lefts[row][0] for row in rows],
                [rights[column] for column in columns],
                [highs[column] for column in columns],
            )
            self.clash[np.ix_(rows, columns)] = ~passes


def _passes(
    c: Criterion, left: Sequence[Value], right: Sequence[tuple[Value, ...]], high: Sequence[tuple[Value, ...]]
) -> Flags:
    """Which pairs of known readings pass; `ontology/comparators.ttl` defines each comparator."""
    match c.comparator:
        case Comparator.EQUALS:
            return _accepted(left, [values[:1] for values in right])
        case Comparator.IS_ONE_OF:
            return _accepted(left, right)
        case Comparator.WITHIN_RANGE:
            mine, least, most = _whole(_numbers(left), _firsts(right), _firsts(high))
            return _between(mine[:, None], [least], [most])
        case Comparator.DIFFERENCE_WITHIN:
            theirs = [c.right_factor * value for value in _firsts(right)]
            limits = [[] if limit is None else [limit] for limit in (c.lower, c.upper)]
        case Comparator.PERCENT_WITHIN:
            bases = _firsts(right)
            theirs = bases
            # Limits in hundredths of the base: the difference itself is compared, so nothing is divided.
            limits = [[] if limit is None else [limit * base / 100 for base in bases] for limit in (c.lower, c.upper)]
    mine, other, lower, upper = _whole(_numbers(left), theirs, *limits)
    return _between(mine[:, None] - other, [lower] if lower.size else [], [upper] if upper.size else [])


def _accepted(left: Sequence[Value], right: Sequence[tuple[Value, ...]]) -> Flags:
    """Which left values are among the right ones."""
    numbered: dict[Value, int] = {}
    rows = [numbered.setdefault(value, len(numbered)) for value in left]
    accepts = np.zeros((len(numbered), len(right)), dtype=bool)
    for column, values in enumerate(right):
        for value in values:
            if value in numbered:
                accepts[numbered[value], column] = True
    return accepts[rows]


def _between(values: Whole, lower: Sequence[Whole], upper: Sequence[Whole]) -> Flags:
    """Which values are neither under a lower nor over an upper limit."""
    inside = np.ones(values.shape, dtype=bool)
    for limit in lower:
        inside = inside & np.asarray(values >= limit, dtype=bool)
    for limit in upper:
        inside = inside & np.asarray(values <= limit, dtype=bool)
    return inside


def _numbers(values: Iterable[Value]) -> list[Decimal]:
    found = []
    for value in values:
        if isinstance(value, str):
            raise TypeError(f"a code, {value!r}, is compared as a number; the criterion needs a numeric dimension")
        found.append(value)
    return found


def _firsts(readings: Iterable[tuple[Value, ...]]) -> list[Decimal]:
    return _numbers(values[0] for values in readings)


def _whole(*lists: Sequence[Decimal]) -> list[Whole]:
    """Decimals as whole multiples of the smallest step among them; beyond 64 bits as Python's own numbers."""
    places = max((-int(value.as_tuple().exponent) for values in lists for value in values), default=0)
    scaled = [[int(value.scaleb(max(places, 0))) for value in values] for values in lists]
    largest = max((abs(value) for values in scaled for value in values), default=0)
    kind = np.int64 if largest < _WORD else object
    return [np.array(values, dtype=kind) for values in scaled]
