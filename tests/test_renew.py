"""What is to be renewed gets a fresh part as good as the old one, with all that this brings; asked over HTTP.

What goes in new with a seal or a nut that was undone is common practice, no published source.
"""

import csv
import io
from decimal import Decimal
from random import Random
from typing import Any

import pytest

from api_client import seed_client
from crosspin import cli
from crosspin.answer.desk import Desk
from crosspin.answer.plan import Plan
from crosspin.knockon.ask import Ask
from page_client import get
from seed import own_desk, seed_library
from told_plan import Answer, Told, answer


def renewing(vehicle: str, *positions: str) -> Answer:
    return {"vehicle": vehicle, "renew": list(positions)}


@pytest.mark.parametrize(
    ("vehicle", "seal"), [("hill-patrol", "ps-815"), ("farm-hauler", "ps-815"), ("orchard-runabout", "ps-74")]
)
def test_a_pinion_seal_is_renewed_with_what_is_used_once(vehicle: str, seal: str) -> None:
    told = Told(renewing(vehicle, "front/pinion-seal"))
    step = told.steps["front/pinion-seal"]
    assert (step["action"], step["part"]["id"], step["instead_of"]["id"]) == ("replace", seal, seal)
    assert "was asked for (renew/0)" in told.why("front/pinion-seal")
    assert "The pinion nut is undone for " in told.why("front/pinion-nut")
    assert {line["id"] for line in told.plan["order"]} >= {seal}
    assert told.plan["work"], "a seal does not change by itself"


def test_nothing_that_was_asked_for_counts_as_one_change_more() -> None:
    told = answer(renewing("hill-patrol", "front/*/wheel-nuts"))
    assert told["cost"]["extra_positions"] == 0
    assert {step["position"] for step in told["steps"]} == {"front/left/wheel-nuts", "front/right/wheel-nuts"}


def readings(part: str) -> dict[str, list[str]]:
    """All that is on record of a part."""
    record: dict[str, Any] = seed_client().get(f"/v1/parts/{part}").json()
    return {
        f"{feature['feature']}.{line['dimension']}": line["values"]
        for feature in record["features"]
        for line in feature["readings"]
        if line["values"]
    }


def test_what_comes_is_in_every_reading_as_good_as_what_was_there() -> None:
    """Ten positions drawn at random, each compared by what the service publishes of both parts."""
    vehicle = seed_library().holdings.catalog.vehicles["hill-patrol"]
    model = seed_library().model
    plans = 0
    for position in Random(13).sample(sorted(vehicle.parts), 10):
        told = answer(renewing("hill-patrol", position))
        if told["verdict"] != "plan":
            continue
        plans += 1
        (step,) = [step for step in told["steps"] if step["position"] == position]
        new = readings(step["part"]["id"])
        for place, values in readings(vehicle.parts[position]).items():
            dimension = model.dimensions[place.partition(".")[2]]
            if dimension.more_is_better:
                assert Decimal(new[place][0]) >= Decimal(values[0]), (position, place)
            else:
                assert new[place] == values, (position, place)
    assert plans > 6


def test_more_is_better_of_a_strength_and_of_nothing_else() -> None:
    """The received shaft is not sold here: a stronger one alike in all else does, a weaker or longer one does not."""
    catalog, model = seed_library().holdings.catalog, seed_library().model
    received = catalog.parts[catalog.vehicles["hill-patrol"].parts["front/left/inner-shaft"]]
    values = {
        f"{feature}.{name}": found[0]
        for feature, spec in received.specs.items()
        for name, found in catalog.specs[spec].values.items()
    }
    units = {place: model.dimensions[place.partition(".")[2]].unit for place in values}
    symbols = [model.units[unit].symbol if unit else "" for unit in units.values()]
    strength, length = "shaftMetal.shaftYield", "shaftSpan.shaftLength"

    def sheet(**parts: dict[str, Decimal]) -> bytes:
        text = io.StringIO()
        rows = csv.writer(text)
        rows.writerow(["id", "label", "price", "stock", "lacks", *values])
        rows.writerow(["", "", "EUR", "", "", *symbols])
        for name, other in parts.items():
            rows.writerow([name, f"Shaft {name}", "50", "1", "", *{**values, **other}.values()])
        return text.getvalue().encode()

    yields, spans = Decimal(str(values[strength])), Decimal(str(values[length]))
    weaker, longer, stronger = {strength: yields - 100}, {length: spans + 1}, {strength: yields + 100}
    ask = Ask(vehicle="hill-patrol", renew=("front/left/inner-shaft",))
    with own_desk() as desk:
        desk.import_text("InnerShaft", sheet(weaker=weaker, longer=longer), "text/csv", "InnerShaft")
        offered = {part for part in ("weaker", "longer") if part in told_at(desk, ask)}
        assert offered == set()
        desk.import_text("InnerShaft", sheet(weaker=weaker, stronger=stronger), "text/csv", "InnerShaft")
        assert "stronger" in told_at(desk, ask)
        assert "weaker" not in told_at(desk, ask)


def told_at(desk: Desk, ask: Ask) -> set[str]:
    """All parts that a plan names for what it was asked to renew: taken, or instead."""
    told = desk.ask(ask)
    assert isinstance(told, Plan)
    (step,) = [step for step in told.steps if step.position == ask.renew[0]]
    others = [line.part.id for line in step.alternatives if line.part is not None]
    return {step.part.id, *others} if step.part is not None else {*others}


def test_where_nobody_has_looked_any_part_of_the_kind_is_as_good() -> None:
    told = Told(renewing("orchard-runabout", "front/carrier"))
    step = told.steps["front/carrier"]
    kind = seed_library().holdings.catalog.parts[step["part"]["id"]].kind
    assert seed_library().model.roles["CarrierRole"].kind in seed_library().model.kinds[kind].ancestors
    assert "front/left/carrier-bearing" in told.steps


@pytest.mark.parametrize(
    ("ask", "place", "wrong"),
    [
        (renewing("hill-patrol", "front/no-such-place"), "renew/0", "no position matches"),
        (renewing("hill-patrol", "front/left/wheel-spacer"), "renew/0", "nothing stands at front/left/wheel-spacer"),
        ({**renewing("hill-patrol", "front/pinion-seal"), "keep": ["front/pinion-seal"]}, "renew/0", "named by keep/0"),
        ({**renewing("hill-patrol", "front/cover"), "remove": ["front/cover"]}, "renew/0", "named by remove/0"),
        ({"vehicle": "hill-patrol", "renew": []}, "fit", "nothing is asked for"),
    ],
)
def test_what_cannot_be_renewed_is_refused_with_the_place(ask: Answer, place: str, wrong: str) -> None:
    response = seed_client().post("/v1/knock-on", json=ask)
    assert response.status_code == 422
    (problem,) = response.json()["problems"]
    assert problem["place"] == place
    assert wrong in problem["wrong"]
    assert problem["mend"]


def test_the_page_renews_by_a_link_and_gives_it_up_by_another() -> None:
    came = get("/?vehicle=hill-patrol").text
    assert 'href="/?vehicle=hill-patrol&amp;renew=front/pinion-seal" aria-label="Renew the front pinion seal"' in came
    page = get("/?vehicle=hill-patrol&renew=front/pinion-seal&keep=front/gear-set").text
    assert 'id="line-front-pinion-seal"' in page
    assert 'aria-label="Renew the front pinion seal"' not in page, "it is asked for already"
    assert 'href="/?vehicle=hill-patrol&amp;keep=front/gear-set"' in page, "the ask without it"


def test_the_command_line_renews(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["ask", "--vehicle", "hill-patrol", "--renew", "front/pinion-seal"]) == 0
    assert "replace Pinion seal 44.45 x 69.85 mm by Pinion seal 44.45 x 69.85 mm [ps-815]" in capsys.readouterr().out


def test_wishes_that_exclude_each_other_name_the_renewal() -> None:
    told = answer({**renewing("hill-patrol", "engine"), "keep": []})
    assert told["verdict"] == "contradiction"
    assert [wish["sentence"] for wish in told["wishes"]] == ["Renew what stands at engine."]
