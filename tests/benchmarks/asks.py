"""The asks that are put: those shipped with the seed data, and typical ones, one part at one position."""

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from random import Random

from crosspin.answer.desk import Desk
from crosspin.home import data_folder
from crosspin.knockon.ask import Ask, Fit
from crosspin.knockon.proposal import Proposal, State
from crosspin.knockon.search import Searcher

TYPICAL_CHANGES = 12
"""Most positions that the plan for a typical ask changes."""

SECONDS = 0.5
"""Asks that are searched longer for over the seed data are not typical."""


def shipped() -> dict[str, Ask]:
    """The asks of the seed data, by the name of the vehicle."""
    return {path.stem: _read(path) for path in sorted((data_folder("seed_data") / "asks").glob("*.json"))}


def _read(path: Path) -> Ask:
    return Ask.model_validate_json(path.read_text())


@contextmanager
def _alarm(after: float) -> Iterator[None]:
    """Stop the work of the context after some seconds, by TimeoutError; what it keeps meanwhile stays."""

    def ring(*_: object) -> None:
        raise TimeoutError

    before = signal.signal(signal.SIGALRM, ring)
    signal.setitimer(signal.ITIMER_REAL, after)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def _suits(searcher: Searcher, ask: Ask) -> bool:
    """Whether there is a plan, found soon, that changes a few positions."""
    try:
        with _alarm(SECONDS):
            found = searcher.propose(ask)
    except TimeoutError:
        return False
    if not isinstance(found, Proposal):
        return False
    changed = sum(choice.state is not State.RECEIVED for choice in found.choices.values())
    return 0 < changed <= TYPICAL_CHANGES


def typical(desk: Desk, count: int, seed: int = 20_264) -> list[Ask]:
    """Different asks with a plan that changes a few positions, over the seed data."""
    random = Random(seed)
    model, catalog = desk.holdings.model, desk.holdings.catalog
    slots = [
        (vehicle.id, position.path, alike.cheapest.part)
        for vehicle in catalog.vehicles.values()
        for position in model.layouts[vehicle.layout].positions
        for alike in catalog.classes(model, model.roles[position.role].kind)
    ]
    searcher = Searcher(model, catalog)
    found: list[Ask] = []
    for vehicle, path, part in random.sample(slots, len(slots)):
        ask = Ask(vehicle=vehicle, fit=(Fit(at=path, part=part),))
        if _suits(searcher, ask):
            found.append(ask)
            if len(found) == count:
                return found
    raise ValueError(f"the seed data have only {len(found)} such asks")
