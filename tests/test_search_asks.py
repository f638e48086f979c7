"""What an ask means, and what is said of one that means nothing: on a world small enough to check by eye."""

from decimal import Decimal
from typing import Any

import pytest

from crosspin.catalog.snapshot import in_memory
from crosspin.knockon.ask import Ask, AskError
from crosspin.knockon.proposal import Cause, Choice, Conflict, Cost, Proposal, State
from crosspin.knockon.search import Searcher
from crosspin.model.schema import Function, Scope
from search.small import small_catalog, small_model, with_vehicle


def ask_of(**words: Any) -> Ask:
    return Ask.model_validate_json(Ask.model_construct(vehicle="v", **words).model_dump_json(warnings=False))


def asked(**words: Any) -> Proposal:
    found = Searcher(small_model(), small_catalog()).propose(ask_of(**words))
    assert isinstance(found, Proposal)
    return found


def refused(**words: Any) -> list[tuple[str, str, str]]:
    with pytest.raises(AskError) as caught:
        Searcher(small_model(), small_catalog()).propose(ask_of(**words))
    return [(p.place, p.wrong, p.mend) for p in caught.value.problems]


FRESH_33 = Choice(State.FRESH, "shaft-33")


def test_a_new_carrier_drags_both_shafts_along() -> None:
    found = asked(fit=[{"at": "carrier", "part": "carrier-33"}])
    assert found.choices["front/left/shaft"] == FRESH_33
    assert found.choices["front/right/shaft"] == FRESH_33
    assert found.choices["hose"] == Choice(State.RECEIVED, "hose")
    assert found.cost == Cost(0, 0, 2, 0, Decimal("700.00"))
    link = Cause("carrier", "shaftInGear/front/left/shaft--carrier", "teeth")
    assert found.causes["front/left/shaft"] == (link,)
    assert found.forced == {"carrier", "front/left/shaft", "front/right/shaft"}
    dearer, unknown = found.alternatives["front/left/shaft"]
    assert dearer.choice.part == "shaft-33b"
    assert dearer.cost == Cost(0, 0, 2, 0, Decimal("720.00"))
    assert unknown.choice.part == "shaft-blank"
    assert unknown.cost == Cost(0, 0, 2, 1, Decimal("560.00"))
    assert [out.part for out in found.ruled_out["front/left/shaft"]] == ["shaft-27"]


def test_what_is_there_already_is_not_bought_again() -> None:
    found = asked(fit=[{"at": "*/shaft", "part": "shaft-27"}])
    assert set(found.choices.values()) >= {Choice(State.RECEIVED, "shaft-27")}
    assert found.cost == Cost(0, 0, 0, 0, Decimal("0.00"))


def test_a_function_that_nothing_on_sale_gives_counts_as_lost() -> None:
    locks = Function(
        id="locks", label="locks", definition=".", scope=Scope.WHOLE_VEHICLE, says="{part}", says_lost="{place}",
        says_gained="{place}",
    )  # fmt: skip
    model = small_model().model_copy(update={"functions": {"locks": locks}})
    catalog = small_catalog()
    giver = catalog.parts["carrier-old"].model_copy(update={"functions": ("locks",)})
    parts = {**{name: catalog.parts[name] for name in catalog.parts}, giver.id: giver}
    given = in_memory(parts.values(), catalog.specs.values(), catalog.kits.values(), catalog.vehicles.values())
    found = Searcher(model, given).propose(ask_of(fit=[{"at": "carrier", "part": "carrier-27"}]))
    assert isinstance(found, Proposal)
    assert found.cost == Cost(0, 1, 0, 0, Decimal("300.00"))


def test_a_load_needs_a_larger_box() -> None:
    found = asked(fit=[{"at": "lamp", "part": "lamp-2"}])
    assert found.choices["box"] == Choice(State.FRESH, "box-3")
    assert found.causes["box"] == (Cause("lamp", "circuits"),)


def test_what_nobody_has_looked_at_could_draw_and_leaves_the_sum_unknown() -> None:
    model, catalog = small_model(), small_catalog()
    lit = model.kinds["Hose"].model_copy(
        update={"id": "LitHose", "ancestors": ("Part", "Hose", "LitHose"), "features": ("draw",)}
    )
    model = model.model_copy(update={"kinds": {**model.kinds, "LitHose": lit}})
    parts = {path: part for path, part in catalog.vehicles["v"].parts.items() if path != "hose"}
    vehicle = catalog.vehicles["v"].model_copy(update={"parts": parts, "unseen": ("hose",)})
    searcher = Searcher(model, with_vehicle(catalog, vehicle))
    lamp = searcher.propose(ask_of(fit=[{"at": "lamp", "part": "lamp-2"}]))
    assert isinstance(lamp, Proposal)
    assert lamp.choices["box"] == Choice(State.RECEIVED, "box-1")
    assert lamp.cost == Cost(0, 0, 0, 1, Decimal("30.00"))
    unmoved = searcher.propose(ask_of(fit=[{"at": "front/left/shaft", "part": "shaft-27"}]))
    assert isinstance(unmoved, Proposal)
    assert unmoved.cost.unknown == 0


def test_a_removed_part_leaves_its_place_empty() -> None:
    found = asked(remove=["hose"])
    assert found.choices["hose"] == Choice(State.EMPTIED, None)
    assert found.cost == Cost(0, 0, 0, 0, Decimal("0.00"))


def test_what_the_customer_removes_may_go_whatever_its_role() -> None:
    found = asked(remove=["carrier"])
    assert found.choices["carrier"] == Choice(State.EMPTIED, None)
    assert found.choices["front/left/shaft"] == Choice(State.RECEIVED, "shaft-27")
    assert found.cost == Cost(0, 0, 0, 0, Decimal("0.00"))
    assert found.alternatives["carrier"] == ()


def test_the_search_empties_no_such_position_of_its_own_accord() -> None:
    """Leaving out the carrier would spare the shafts; only whoever asks may do that."""
    conflict = Searcher(small_model(), small_catalog()).propose(
        ask_of(fit=[{"at": "front/left/shaft", "part": "shaft-33"}], keep=["front/right/shaft"])
    )
    assert isinstance(conflict, Conflict)
    found = asked(fit=[{"at": "front/left/shaft", "part": "shaft-33"}], keep=["front/right/shaft"], remove=["carrier"])
    assert found.choices["carrier"] == Choice(State.EMPTIED, None)


def test_a_removal_given_up_leaves_the_place_free_to_be_empty() -> None:
    """Else giving a wish up could forbid a plan that the ask as a whole has."""
    ask = ask_of(fit=[{"at": "front/left/shaft", "part": "shaft-33"}], keep=["front/right/shaft"], remove=["carrier"])
    found = Searcher(small_model(), small_catalog()).without(ask, ["remove/0"])
    assert found.choices["carrier"] == Choice(State.EMPTIED, None)
    assert found.cost == Cost(0, 0, 1, 0, Decimal("150.00"))
    assert found.asked == {"front/left/shaft": ("fit/0",), "front/right/shaft": ("keep/0",)}


def test_giving_up_too_little_is_an_error() -> None:
    ask = ask_of(fit=[{"at": "carrier", "part": "carrier-33"}], keep=["front/left/*", "front/right/*", "hose"])
    with pytest.raises(ValueError, match="contradict"):
        Searcher(small_model(), small_catalog()).without(ask, ["keep/2"])


def test_a_kit_goes_where_its_parts_are_taken() -> None:
    found = asked(fit=[{"at": "*", "kit": "pair"}])
    assert found.choices["front/left/shaft"] == FRESH_33
    assert found.choices["carrier"] == Choice(State.FRESH, "carrier-33")
    assert found.asked == {"front/left/shaft": ("fit/0",), "front/right/shaft": ("fit/0",)}


def test_a_description_admits_only_known_readings() -> None:
    reading = {"feature": "spline", "dimension": "teeth", "least": 30}
    found = asked(fit=[{"at": "front/left/shaft", "kind": "Shaft", "readings": [reading]}])
    assert found.choices["front/left/shaft"] == FRESH_33
    assert {a.choice.part for a in found.alternatives["front/left/shaft"]} == {"shaft-33b"}


def test_in_stock_only_spares_what_is_asked_for_by_id() -> None:
    by_id = asked(fit=[{"at": "carrier", "part": "carrier-33"}], in_stock_only=True)
    assert by_id.choices["carrier"].part == "carrier-33"
    conflict = Searcher(small_model(), small_catalog()).propose(
        ask_of(fit=[{"at": "*/shaft", "part": "shaft-33"}], in_stock_only=True)
    )
    assert isinstance(conflict, Conflict)
    assert conflict.wishes == ("fit/0",)


def test_keeping_the_shafts_contradicts_the_carrier() -> None:
    conflict = Searcher(small_model(), small_catalog()).propose(
        ask_of(fit=[{"at": "carrier", "part": "carrier-33"}], keep=["front/left/*", "hose"])
    )
    assert isinstance(conflict, Conflict)
    assert conflict.wishes == ("fit/0", "keep/0")
    give_up = {way.give_up: way.cost for way in conflict.ways_out}
    assert give_up == {("fit/0",): Cost(0, 0, 0, 0, Decimal("0.00")), ("keep/0",): Cost(0, 0, 2, 0, Decimal("700.00"))}


@pytest.mark.parametrize(
    ("words", "place", "wrong"),
    [
        ({}, "fit", "nothing is asked for"),
        ({"keep": ["hose"]}, "fit", "nothing is asked for"),
        ({"fit": [{"at": "hose"}]}, "fit/0", "nothing is given to fit"),
        ({"fit": [{"at": "hose", "part": "hose", "kind": "Hose"}]}, "fit/0", "part and kind is given to fit"),
        ({"fit": [{"at": "horse", "part": "hose"}]}, "fit/0/at", "no position matches 'horse'"),
        ({"fit": [{"at": "hose", "part": "house"}]}, "fit/0/part", "no part 'house' is on record"),
        ({"fit": [{"at": "hose", "kit": "pear"}]}, "fit/0/kit", "no kit 'pear' is on record"),
        ({"fit": [{"at": "hose", "kit": "pair"}]}, "fit/0/kit", "no position named takes shaft-33, a Shaft"),
        (
            {"fit": [{"at": "*", "kit": "single"}]},
            "fit/0/kit",
            "the kit has 1 of shaft-33, but 2 positions named take it",
        ),
        ({"fit": [{"at": "hose", "kind": "Horse"}]}, "fit/0/kind", "there is no kind 'Horse'"),
        ({"fit": [{"at": "hose", "kind": "Shaft"}]}, "fit/0/kind", "hose takes a Hose, not a Shaft"),
        ({"fit": [{"at": "hose", "part": "shaft-27"}]}, "fit/0/part", "shaft-27 is a Shaft, but hose takes a Hose"),
        (
            {"fit": [{"at": "box", "part": "box-3"}, {"at": "b*", "part": "box-1"}]},
            "fit/1",
            "box is named by fit/0 already",
        ),
        ({"fit": [{"at": "hose", "part": "hose"}], "keep": ["hose"]}, "keep/0", "hose is named by fit/0 already"),
        ({"fit": [{"at": "hose", "part": "hose"}], "remove": ["hose"]}, "remove/0", "hose is named by fit/0 already"),
        ({"remove": ["horse"]}, "remove/0", "no position matches 'horse'"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_with_its_place_and_a_mend(words: dict[str, Any], place: str, wrong: str) -> None:
    problems = refused(**words)
    assert [(at, what) for at, what, _ in problems] == [(place, wrong)]
    assert all(mend for _, _, mend in problems)


@pytest.mark.parametrize(
    ("reading", "place", "wrong"),
    [
        ({"feature": "gear", "dimension": "teeth", "equals": "27"}, "/feature", "a Shaft has no feature 'gear'"),
        ({"feature": "spline", "dimension": "count", "equals": "1"}, "/dimension", "spline has no dimension 'count'"),
        ({"feature": "spline", "dimension": "teeth"}, "", "it must say what the reading is"),
        (
            {"feature": "spline", "dimension": "teeth", "equals": "27", "most": 30},
            "",
            "it must say what the reading is",
        ),
        ({"feature": "spline", "dimension": "teeth", "equals": "many"}, "/equals", "'many' is not a number"),
        (
            {"feature": "spline", "dimension": "teeth", "least": 3, "most": 2},
            "",
            "no number is at least 3 and at most 2",
        ),
        ({"feature": "spline", "dimension": "cut", "least": 3}, "", "cut is a code and has no least or most"),
        ({"feature": "spline", "dimension": "cut", "equals": "odd"}, "/equals", "'odd' is no cut"),
    ],
)
def test_a_wrong_reading_is_named_once(reading: dict[str, Any], place: str, wrong: str) -> None:
    problems = refused(fit=[{"at": "*/shaft", "kind": "Shaft", "readings": [reading]}])
    assert [(at, what) for at, what, _ in problems] == [(f"fit/0/readings/0{place}", wrong)]


def test_an_unknown_vehicle_is_said_with_those_there_are() -> None:
    with pytest.raises(AskError) as caught:
        Searcher(small_model(), small_catalog()).propose(Ask(vehicle="w", remove=("hose",)))
    (problem,) = caught.value.problems
    assert (problem.place, problem.wrong, problem.mend) == ("vehicle", "no vehicle 'w' is on record", "did you mean v?")


def test_a_part_that_is_not_sold_cannot_be_asked_for_elsewhere() -> None:
    there = asked(fit=[{"at": "carrier", "part": "carrier-old"}])
    assert there.choices["carrier"].state is State.RECEIVED
    catalog = small_catalog()
    vehicle = catalog.vehicles["v"].model_copy(
        update={"parts": {**catalog.vehicles["v"].parts, "carrier": "carrier-27"}}
    )
    searcher = Searcher(small_model(), with_vehicle(catalog, vehicle))
    with pytest.raises(AskError) as caught:
        searcher.propose(ask_of(fit=[{"at": "carrier", "part": "carrier-old"}]))
    assert caught.value.problems[0].wrong == "carrier-old is not sold"


def test_every_problem_is_told_at_once() -> None:
    problems = refused(fit=[{"at": "horse", "part": "hose"}, {"at": "hose", "part": "house"}], remove=["cart"])
    assert [place for place, _, _ in problems] == ["fit/0/at", "fit/1/part", "remove/0"]


def test_forcing_what_no_plan_has_is_an_error() -> None:
    searcher = Searcher(small_model(), small_catalog())
    ask = ask_of(fit=[{"at": "carrier", "part": "carrier-33"}])
    with pytest.raises(ValueError, match="no plan has the forced choices"):
        searcher.propose(ask, force={"front/left/shaft": Choice(State.FRESH, "shaft-27")})
