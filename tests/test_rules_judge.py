"""The compiled judge and the rules say the same of random readings, for every comparator.

The two were written apart: `model.judge` compares in Python's decimals, the rules in SPARQL.
"""

from collections.abc import Sequence
from decimal import Decimal
from functools import cache

from hypothesis import given, settings
from hypothesis import strategies as st
from pyoxigraph import Literal, NamedNode, Triple

from crosspin.model.judge import judge_criterion
from crosspin.model.records import DECIMAL, INTEGER, TYPE, cp, value_node
from crosspin.model.schema import Comparator, Criterion, Datatype, Value
from crosspin.rules.cases import Bench
from rules.support import rule_bench

CONTACT, LEFT, RIGHT = (NamedNode(f"https://crosspin.example/case/{name}") for name in ("contact", "left", "right"))
KIND, CRITERION = cp("tryKind"), cp("tryCriterion")

numbers = st.decimals(min_value=-20, max_value=20, places=1)
codes = st.sampled_from(["red", "green", "blue"])
factors = st.sampled_from([Decimal(1), Decimal(2), Decimal("0.5")])


@cache
def bench() -> Bench:
    return rule_bench()


def readings(values: st.SearchStrategy[Value]) -> st.SearchStrategy[tuple[Value, ...]]:
    return st.lists(values, max_size=2, unique=True).map(lambda found: tuple(found))


@st.composite
def tried(draw: st.DrawFn) -> tuple[Criterion, bool, tuple[tuple[Value, ...], ...]]:
    """A criterion, whether its right dimension takes many, and the left, right and high readings."""
    comparator = draw(st.sampled_from(sorted(Comparator)))
    coded = comparator in (Comparator.EQUALS, Comparator.IS_ONE_OF) and draw(st.booleans())
    values: st.SearchStrategy[Value] = codes if coded else numbers
    ranged = comparator is Comparator.WITHIN_RANGE
    constant = None if ranged or draw(st.booleans()) else draw(values)
    limited = comparator in (Comparator.DIFFERENCE_WITHIN, Comparator.PERCENT_WITHIN)
    # Where each may come close to the others, so that limits are often just met.
    lower = draw(st.none() | numbers) if limited else None
    upper = draw(st.none() | numbers) if limited else None
    criterion = Criterion(
        id="tryCriterion",
        left="tryLeft",
        comparator=comparator,
        right=None if constant is not None else "tryRight",
        right_high="tryHigh" if ranged else None,
        right_factor=draw(factors) if comparator is Comparator.DIFFERENCE_WITHIN else Decimal(1),
        constant=constant,
        lower=lower,
        upper=upper,
        says_clash="{left} {right}",
    )
    many = comparator is Comparator.IS_ONE_OF and draw(st.booleans())
    return criterion, many, (draw(readings(values)), draw(readings(values)), draw(readings(values)))


def written(value: Value, whole_as_integer: bool) -> Literal:
    """A number as a decimal or, where it is whole, as an integer: the rules compare by value."""
    if isinstance(value, Decimal) and whole_as_integer and value == value.to_integral_value():
        return Literal(str(int(value)), datatype=INTEGER)
    if isinstance(value, Decimal):
        return Literal(f"{value:f}", datatype=DECIMAL)  # 5.0 stays 5.0
    return value_node(value, Datatype.CODE)


def on_graph(
    criterion: Criterion, many: bool, sides: tuple[tuple[Value, ...], ...], integers: bool
) -> Sequence[Triple]:
    left, right, high = sides
    facts = [
        Triple(KIND, TYPE, cp("JointKind")),
        Triple(KIND, cp("hasCriterion"), CRITERION),
        Triple(CRITERION, TYPE, cp("Criterion")),
        Triple(CRITERION, cp("leftDimension"), cp("tryLeft")),
        Triple(CRITERION, cp("comparesBy"), cp(criterion.comparator.value)),
        Triple(CONTACT, TYPE, cp("Contact")),
        Triple(CONTACT, cp("ofJointKind"), KIND),
        Triple(CONTACT, cp("leftSpec"), LEFT),
        Triple(CONTACT, cp("rightSpec"), RIGHT),
    ]
    if criterion.right is not None:
        facts.append(Triple(CRITERION, cp("rightDimension"), cp("tryRight")))
    if criterion.right_high is not None:
        facts.append(Triple(CRITERION, cp("rightDimensionHigh"), cp("tryHigh")))
    if criterion.right_factor != 1:
        facts.append(Triple(CRITERION, cp("rightFactor"), written(criterion.right_factor, integers)))
    for name, value in (("constant", criterion.constant), ("lower", criterion.lower), ("upper", criterion.upper)):
        if value is not None:
            facts.append(Triple(CRITERION, cp(name), written(value, integers)))
    if many:
        facts.append(Triple(cp("tryRight"), cp("takesMany"), Literal(True)))
    for spec, name, values in ((LEFT, "tryLeft", left), (RIGHT, "tryRight", right), (RIGHT, "tryHigh", high)):
        facts += [Triple(spec, cp(name), written(value, integers)) for value in values]
    return facts


@settings(max_examples=400, deadline=None)
@given(tried(), st.booleans())
def test_judge_and_rules_agree(case: tuple[Criterion, bool, tuple[tuple[Value, ...], ...]], integers: bool) -> None:
    criterion, many, (left, right, high) = case
    told = judge_criterion(
        criterion, {"tryLeft": left}, {"tryRight": right, "tryHigh": high}, frozenset({"tryRight"} if many else ())
    )
    derived = [t for found in bench().derive(on_graph(criterion, many, case[2], integers)).values() for t in found]
    finding = NamedNode(f"{CONTACT.value}/{CRITERION.value.partition('://')[2]}")
    verdicts = [t.object for t in derived if t.subject == finding and t.predicate == cp("hasVerdict")]
    assert verdicts == [cp(told.verdict.value)]
    assert any(t.subject == finding and t.predicate == cp("isDisputed") for t in derived) == told.disputed
