"""The asks that are put: those shipped with the seed data, and typical ones, one part at one position."""

from functools import partial
from pathlib import Path
from random import Random

from benchmarks.clock import limited
from crosspin.answer.desk import Desk
from crosspin.answer.plan import Plan
from crosspin.home import data_folder
from crosspin.knockon.ask import Ask, Fit

TYPICAL_CHANGES = 12
"""Most positions that the plan for a typical ask changes."""

SECONDS = 2.0
"""Asks that take longer over the seed data are not typical."""


def shipped() -> dict[str, Ask]:
    """The asks of the seed data, by the name of the vehicle."""
    return {path.stem: _read(path) for path in sorted((data_folder("seed_data") / "asks").glob("*.json"))}


def _read(path: Path) -> Ask:
    return Ask.model_validate_json(path.read_text())


def _suits(desk: Desk, ask: Ask) -> bool:
    told = desk.ask(ask)
    return isinstance(told, Plan) and 0 < len(told.steps) <= TYPICAL_CHANGES


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
    found: list[Ask] = []
    for vehicle, path, part in random.sample(slots, len(slots)):
        ask = Ask(vehicle=vehicle, fit=(Fit(at=path, part=part),))
        if limited(partial(_suits, desk, ask), SECONDS) is True:
            found.append(ask)
            if len(found) == count:
                return found
    raise ValueError(f"the seed data have only {len(found)} such asks")
