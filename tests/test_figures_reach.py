"""A figure that no change can reach is the one of the vehicle as received."""

from random import Random

import pytest

from crosspin.answer.as_received import AsReceived
from crosspin.answer.sayings import Sayings
from crosspin.answer.speeds import speed_table
from crosspin.vehicle.figuring import Figuring
from seed import seed_library

VEHICLES = ("farm-hauler", "hill-patrol", "orchard-runabout", "trail-wagon")


def received(vehicle: str) -> AsReceived:
    holdings = seed_library().holdings
    return Sayings(holdings.model, holdings.catalog).as_received(vehicle)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("vehicle", VEHICLES)
def test_figures_come_out_as_if_all_were_worked_out_anew(vehicle: str, seed: int) -> None:
    random = Random(f"{vehicle} {seed}")
    holdings = seed_library().holdings
    model, catalog, came = holdings.model, holdings.catalog, received(vehicle)
    parts = dict(came.parts)
    for position in random.sample(came.arrangement.layout.positions, 12):
        offered = [alike.cheapest.part for alike in catalog.classes(model, model.roles[position.role].kind)]
        parts[position.path] = catalog.parts[random.choice(offered)] if offered and random.random() < 0.9 else None
    changed = {path for path in parts if parts[path] is not came.parts[path]}
    quick = Figuring(came.reach, catalog, parts, came.figuring, changed)
    anew = Figuring(came.reach, catalog, parts, came.figuring, parts.keys())
    places = [(figure, place) for figure in model.figures.values() for place in came.reach.places(figure)]
    assert [quick.result(*one) for one in places] == [anew.result(*one) for one in places]
    stays = [one for one in places if quick.stays(came.reach.of_figure(*one))]
    assert 0 < len(stays) < len(places), "some figures are reached, and some are not"
    for figure, place in stays:
        result, line = anew.result(figure, place), came.figure(figure, place)
        assert line == (None if result is None else came.teller.line(figure, place, result, moved=False))
        assert result is None or result.paths <= came.reach.of_figure(figure, place)
    for table in model.speed_tables.values():
        if quick.stays(came.reach.of_table(table)):
            assert came.table(table) == speed_table(table, came.figuring, anew)
