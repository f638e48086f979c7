"""All pairs at once say what each pair says by itself: the one is held against the other on drawn readings."""

from decimal import Decimal

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from crosspin.knockon.pairwise import Pairwise
from crosspin.model.judge import Readings, judge_criterion
from crosspin.model.schema import Comparator, Criterion, Value, Verdict

MANY = frozenset({"accepted"})

NUMBERS = st.one_of(
    st.decimals(min_value=-50, max_value=50, places=1),
    st.decimals(min_value=-2, max_value=2, places=6),
    st.sampled_from([Decimal("25.4"), Decimal("1e15") + Decimal("0.000001"), Decimal(3)]),
)
CODES = st.sampled_from(["left", "right", "none"])


def readings(values: st.SearchStrategy[Value]) -> st.SearchStrategy[list[Readings]]:
    """Specs with no reading, one, or several that disagree, at each of the dimensions compared."""
    found: st.SearchStrategy[tuple[Value, ...]] = st.lists(values, max_size=2, unique=True).map(tuple)
    accepted: st.SearchStrategy[tuple[Value, ...]] = st.lists(values, max_size=3, unique=True).map(tuple)
    return st.lists(
        st.fixed_dictionaries({"a": found, "b": found, "high": found, "accepted": accepted}), min_size=1, max_size=6
    )


@st.composite
def worlds(draw: st.DrawFn) -> tuple[Criterion, list[Readings], list[Readings]]:
    comparator = draw(st.sampled_from(Comparator))
    codes = comparator in (Comparator.EQUALS, Comparator.IS_ONE_OF) and draw(st.booleans())
    values: st.SearchStrategy[Value] = CODES if codes else NUMBERS
    right: str | None = "accepted" if comparator is Comparator.IS_ONE_OF else "b"
    constant: Value | None = None
    if comparator in (Comparator.EQUALS, Comparator.DIFFERENCE_WITHIN) and draw(st.booleans()):
        right, constant = None, draw(values)
    limits = draw(st.tuples(st.none() | NUMBERS, st.none() | NUMBERS))
    criterion = Criterion(
        id="drawn",
        left="a",
        comparator=comparator,
        right=right,
        right_high="high" if comparator is Comparator.WITHIN_RANGE else None,
        constant=constant,
        right_factor=draw(st.sampled_from([Decimal(1), Decimal(2), Decimal("0.125")])),
        lower=limits[0],
        upper=limits[1],
        says_clash="They differ.",
    )
    return criterion, draw(readings(values)), draw(readings(values))


@settings(max_examples=400, deadline=None)
@given(worlds())
def test_all_pairs_at_once_are_judged_as_one_by_one(world: tuple[Criterion, list[Readings], list[Readings]]) -> None:
    criterion, lefts, rights = world
    judged = Pairwise(criterion, lefts, rights, MANY)
    unknown = judged.left_open[:, None] | judged.right_open
    assert not (judged.clash & unknown).any()
    told = np.where(judged.clash, Verdict.CLASHES, np.where(unknown, Verdict.UNKNOWN, Verdict.FITS)).tolist()
    assert told == [[judge_criterion(criterion, a, b, MANY).verdict for b in rights] for a in lefts]
