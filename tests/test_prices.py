"""Prices in any currency: what is planned does not depend on the unit that money is counted in, and a price that was
mistyped does not get in the way of answers."""

import csv
import io
import re
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from shutil import copytree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchmarks.asks import shipped
from crosspin.answer.desk import Desk
from crosspin.answer.plan import Plan
from crosspin.catalog.library import Library
from crosspin.knockon.ask import Ask, Fit
from crosspin.knockon.proposal import Cost
from crosspin.knockon.weights import Weights
from seed import ROOT, own_desk, seed_desk

GASKET = "id,label,price,stock,lacks,gasketOutline.patternCode\n,,EUR,,,\nown-1,Own gasket,{price},1,,eleven-bolt-895\n"
MANY = 1_000_000
"""How many units of a weak currency make one of the demo shop's."""

PRICE_IN_A_GRAPH = re.compile(r"(cp:(?:price|hourlyRate) )([0-9.]+)")


def times(text: str, factor: int) -> str:
    return f"{Decimal(text) * factor:f}" if text else text


def dearer(text: str, suffix: str, factor: int) -> str:
    """A file with every price, or the hourly rate, so many times as high."""
    if suffix == ".ttl":
        return PRICE_IN_A_GRAPH.sub(lambda found: found[1] + times(found[2], factor), text)
    heading, units, *rows = csv.reader(io.StringIO(text))
    place = heading.index("price") if "price" in heading else None
    written = io.StringIO()
    out = csv.writer(written)
    for number, row in enumerate([heading, units, *rows]):
        if number > 1 and row and place is not None:
            row[place] = times(row[place], factor)
        out.writerow(row)
    return written.getvalue()


def desk_of_currency(folder: Path, factor: int) -> Desk:
    """The demo shop in a currency of which so many make one of the usual one."""
    ontology = copytree(ROOT / "ontology", folder / "ontology")
    shop = ontology / "shop.ttl"
    shop.write_text(dearer(shop.read_text(), ".ttl", factor))
    data = copytree(ROOT / "seed_data", folder / "seed_data")
    for path in (*data.rglob("*.csv"), *data.rglob("*.ttl")):
        path.write_text(dearer(path.read_text(), path.suffix, factor))
    desk = Desk(Library(ontology))
    desk.import_path(data)
    return desk


@pytest.fixture(scope="module")
def weak(tmp_path_factory: pytest.TempPathFactory) -> Desk:
    return desk_of_currency(tmp_path_factory.mktemp("currency"), MANY)


def planned(desk: Desk, ask: Ask) -> Plan:
    told = desk.ask(ask)
    assert isinstance(told, Plan)
    return told


@pytest.mark.parametrize("name", sorted(shipped()))
def test_the_same_is_planned_in_a_currency_of_a_millionth(weak: Desk, name: str) -> None:
    """Arithmetic: to multiply every amount of money by one factor changes no comparison between two sums."""
    usual, here = planned(seed_desk(), shipped()[name]), planned(weak, shipped()[name])
    assert [(line.id, line.quantity) for line in here.order] == [(line.id, line.quantity) for line in usual.order]
    assert here.cost.money == usual.cost.money * MANY
    assert here.cost.model_copy(update={"money": None}) == usual.cost.model_copy(update={"money": None})
    assert [step.position for step in here.steps] == [step.position for step in usual.steps]


def test_a_part_of_a_quarter_of_a_thousand_million_can_be_ordered(weak: Desk) -> None:
    text = GASKET.format(price="250000000.00").encode()
    weak.import_text("own.csv", text, "text/csv", "CoverGasket")
    assert weak.holdings.catalog.parts["own-1"].price == 250_000_000
    ask = Ask(vehicle="hill-patrol", fit=(Fit(at="front/cover-gasket", part="own-1"),))
    assert any(line.id == "own-1" and line.each == 250_000_000 for line in planned(weak, ask).order)


@pytest.fixture(scope="module")
def slipped() -> Iterator[Desk]:
    """A shop in which one gasket costs fifty thousand, by mistake."""
    with own_desk() as desk:
        desk.import_text("own.csv", GASKET.format(price="49999.00").encode(), "text/csv", "CoverGasket")
        yield desk


@pytest.mark.parametrize("name", sorted(shipped()))
def test_one_price_that_is_far_too_high_changes_no_other_plan(slipped: Desk, name: str) -> None:
    usual, here = planned(seed_desk(), shipped()[name]), planned(slipped, shipped()[name])
    assert here.order == usual.order
    assert here.cost == usual.cost


@given(st.integers(-9, 4), *(st.integers(0, 50) for _ in range(4)), st.integers(0, 10**6))
def test_packing_a_cost_loses_nothing_whatever_money_is_counted_in(
    decimals: int, unsafe: int, lost: int, extra: int, unknown: int, units: int
) -> None:
    weights = Weights.for_bounds(decimals, money=10**6, unknown=50, extra=50, lost=50, unsafe=50)
    amount = Decimal(units).scaleb(-decimals)
    packed = unsafe * weights.unsafe + lost * weights.lost + extra * weights.extra + unknown * weights.unknown
    packed += weights.money(amount)
    assert weights.cost(packed) == Cost(unsafe=unsafe, lost=lost, extra=extra, unknown=unknown, money=amount)
    if decimals <= 2:
        assert weights.cents(int(amount.scaleb(2))) == units
        assert not re.search("E", str(weights.cost(packed).money))
