"""A small version of the benchmark: how times grow with the catalog, whatever the machine.

Catalogs of three sizes have the same specs and the same signatures, so that nothing grows but the number of parts.
Held is the exponent e of time = c x parts^e between the smallest and the largest, not any number of seconds.
"""

from collections.abc import Callable
from functools import cache
from math import log
from pathlib import Path
from shutil import copytree
from tempfile import TemporaryDirectory
from time import process_time

import pytest

from benchmarks.generate import Generator
from benchmarks.one_hop import hops, ours
from crosspin.answer.desk import Desk
from crosspin.catalog.library import Library
from crosspin.home import data_folder
from crosspin.knockon.ask import Ask, Fit
from crosspin.knockon.proposal import Proposal
from crosspin.knockon.search import Searcher
from seed import seed_library, seed_store

SIZES = (250, 1_000, 4_000)
FLAT = 0.3
"""An exponent below this is noise: at 16 times the parts, 2.3 times the time."""

LINEAR = 1.25
ASKS = (
    Ask(vehicle="hill-patrol", fit=(Fit(at="light-bar-wire", part="lw-14-12"),)),
    Ask(vehicle="farm-hauler", fit=(Fit(at="front/air-fitting", part="af-npt18-6-s"),)),
    Ask(vehicle="hill-patrol", fit=(Fit(at="brake-booster", part="bb-82-55"),)),
)


def exponent(seconds: dict[int, float]) -> float:
    """How fast times grow with sizes: 0 not at all, 1 in proportion."""
    least, most = min(seconds), max(seconds)
    return log(seconds[most] / seconds[least]) / log(most / least)


class Sized:
    """A catalog of one size, loaded once."""

    def __init__(self, size: int) -> None:
        self._folder = TemporaryDirectory()
        place = Path(self._folder.name)
        holdings = seed_library().holdings
        generator = Generator(holdings.model, holdings.catalog, designs=SIZES[0], signatures=SIZES[0])
        generator.write(size, place / "parts")
        self.store = copytree(seed_store(), place / "store")
        library = Library(data_folder("ontology"), self.store)
        started = process_time()
        library.import_folder(place / "parts")
        self.imported = process_time() - started
        self.desk = Desk(library)
        self.searcher = Searcher(self.desk.holdings.model, self.desk.holdings.catalog)


@cache
def sized(size: int) -> Sized:
    return Sized(size)


def grown(question: Callable[[Sized], object], runs: int = 9) -> float:
    """The exponent of the least of several times; the first run, which prepares what is kept, does not count.

    Times are of the processor, and sizes take turns: what else a machine does falls on all of them alike.
    """
    took: dict[int, list[float]] = {size: [] for size in SIZES}
    for size in SIZES:
        question(sized(size))
    for _ in range(runs):
        for size in SIZES:
            started = process_time()
            question(sized(size))
            took[size].append(process_time() - started)
    return exponent({size: min(seconds) for size, seconds in took.items()})


def search(place: Sized) -> None:
    for ask in ASKS:
        assert isinstance(place.searcher.propose(ask), Proposal)


def one_hop(place: Sized) -> None:
    holdings = place.desk.holdings
    for hop in hops(holdings.model, holdings.catalog, ASKS):
        ours(place.desk, hop)


def open_again(place: Sized) -> None:
    Library(data_folder("ontology"), place.store)


def find(place: Sized) -> None:
    for text in ("inner sha", "ring 4.10", "33 spline"):
        place.desk.find(text)


def test_exponents_are_told_apart() -> None:
    assert exponent({250: 0.1, 4_000: 0.1}) == pytest.approx(0)
    assert exponent({250: 0.1, 1_000: 9.9, 4_000: 1.6}) == pytest.approx(1)
    assert exponent({250: 0.1, 4_000: 25.6}) == pytest.approx(2)


def test_time_does_not_grow_with_the_catalog() -> None:
    # One test, so that the catalogs are made once however many processes run tests.
    found = {question.__name__: grown(question) for question in (search, one_hop, open_again, find)}
    assert {name: round(e, 2) for name, e in found.items() if e >= FLAT} == {}
    assert exponent({size: sized(size).imported for size in SIZES}) < LINEAR
    catalogs = [sized(size).desk.holdings.catalog for size in SIZES]
    assert [len(catalog.parts) - len(catalogs[0].parts) for catalog in catalogs] == [s - SIZES[0] for s in SIZES]
    assert len({tuple(catalog.specs) for catalog in catalogs}) == 1, "more than the number of parts differs"
