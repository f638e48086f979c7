"""An ask in an address: read back as it was written, and changed one wish at a time."""

from decimal import Decimal
from urllib.parse import parse_qsl, urlsplit

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crosspin.knockon.ask import AskError
from crosspin.page.address import AskAddress, describing, matching, read_address

LAYOUT = ["front/carrier", "front/left/hub", "front/right/hub", "rear/carrier", "rear/left/hub", "rear/right/hub"]
WORDS = st.text(min_size=1, max_size=30).map(str.strip).filter(bool)
ADDRESSES = st.builds(
    AskAddress,
    vehicle=WORDS,
    fits=st.lists(WORDS, max_size=4, unique=True).map(tuple),
    swaps=st.lists(WORDS, max_size=3, unique=True).map(tuple),
    keep=st.lists(WORDS, max_size=3, unique=True).map(tuple),
    remove=st.lists(WORDS, max_size=3, unique=True).map(tuple),
    in_stock_only=st.booleans(),
)


@given(ADDRESSES)
def test_a_link_reopens_the_same_ask(address: AskAddress) -> None:
    # the address is taken apart by Python's own parser of query strings
    assert read_address(parse_qsl(urlsplit(address.href()).query)) == address


def test_every_sort_of_wish_is_read() -> None:
    address = AskAddress(
        vehicle="v",
        fits=(
            "front/carrier:p-1",
            "front/*:kit:k-1",
            "rear/carrier:kind:AirLocker;s.toothCount=33;s.x=1 1/2..3;s.y=..4",
        ),
        swaps=("front/*/hub:h-1",),
        keep=("rear/*",),
        remove=("front/left/hub",),
        in_stock_only=True,
    )
    ask = address.ask()
    assert [(fit.at, fit.part, fit.kit, fit.kind) for fit in ask.fit] == [
        ("front/carrier", "p-1", None, None),
        ("front/*", None, "k-1", None),
        ("rear/carrier", None, None, "AirLocker"),
        ("front/*/hub", "h-1", None, None),
    ]
    told = [(r.feature, r.dimension, r.equals, r.least, r.most) for r in ask.fit[2].readings]
    assert told == [
        ("s", "toothCount", "33", None, None),
        ("s", "x", None, Decimal("1.5"), Decimal(3)),
        ("s", "y", None, None, Decimal(4)),
    ]
    assert (ask.vehicle, ask.keep, ask.remove, ask.in_stock_only) == ("v", ("rear/*",), ("front/left/hub",), True)


@pytest.mark.parametrize(
    "text", ["nonsense", ":p", "at:", "a:kind:K;x", "a:kind:K;x=1", "a:kind:K;x.y=", "a:kind:K;x.y=1..b"]
)
def test_what_cannot_be_read_is_told_by_its_place(text: str) -> None:
    with pytest.raises(AskError) as caught:
        AskAddress(vehicle="v", fits=("front/carrier:p", text)).ask()
    assert [problem.place for problem in caught.value.problems] == ["fit/1"]


def test_a_swap_takes_the_place_of_a_description_and_leaves_the_rest_of_it() -> None:
    wish = describing("*/carrier", "AirLocker")
    swapped = AskAddress(vehicle="v", fits=(wish,)).with_swap("front/carrier", "p-1", LAYOUT)
    assert swapped.fits == ("rear/carrier:kind:AirLocker",)
    assert swapped.swaps == ("front/carrier:p-1",)


def test_a_later_swap_takes_the_place_of_an_earlier_one() -> None:
    both = AskAddress(vehicle="v").with_swap("front/*/hub", "h-1", LAYOUT)
    left = both.with_swap("front/left/hub", "h-2", LAYOUT)
    assert left.swaps == ("front/right/hub:h-1", "front/left/hub:h-2")
    again = left.with_swap("front/*/hub", "h-3", LAYOUT)
    assert again.swaps == ("front/*/hub:h-3",)


def test_giving_up_counts_the_wishes_as_the_ask_does() -> None:
    address = AskAddress(vehicle="v", fits=("a:1", "b:2"), swaps=("c:3", "d:4"), keep=("e", "f"), remove=("g",))
    assert address.giving_up(["fit/1", "fit/2", "keep/0"]) == AskAddress(
        vehicle="v", fits=("a:1",), swaps=("d:4",), keep=("f",), remove=("g",)
    )


def test_a_wish_is_never_there_twice() -> None:
    address = AskAddress(vehicle="v").with_wish("keep", "front/carrier")
    assert address.with_wish("keep", "front/carrier") == address
    assert address.without("keep", ["front/carrier"]) == AskAddress(vehicle="v")


def test_a_star_stands_for_any_run_of_characters() -> None:
    assert matching("*/carrier", LAYOUT) == ["front/carrier", "rear/carrier"]
    assert matching("front/*", LAYOUT) == ["front/carrier", "front/left/hub", "front/right/hub"]
    assert matching("front.carrier", LAYOUT) == []
