"""Figures in the states of a vehicle: what each takes from which other, and what cannot be read."""

import re
from decimal import Decimal

import pytest

from crosspin.answer.figure_teller import FigureTeller
from crosspin.answer.figure_text import worth_telling
from crosspin.model.figure import Figure
from crosspin.model.reader import BrokenOntology
from crosspin.model.schema import Model
from crosspin.vehicle.figuring import Figuring, Result
from crosspin.vehicle.reach import Place, Reach
from crosspin.vehicle.received import received_part
from seed import seed_library
from test_figures_ontology import model_with

D = Decimal


def figure(name: str, takes: str, more: str = "", formula: str = "asRead") -> str:
    """A figure in millimetres at every axle."""
    return f"""cp:{name} a cp:Figure ; rdfs:label "{name}"@en ; skos:definition "Planted."@en ; cp:severity cp:informs ;
      cp:figuredAt cp:BeamAxle ; cp:computedBy cp:{formula} ; cp:decimals 1 ; cp:unit unit:MilliM ; {more}
      cp:takes ( {takes} ) . """


def constant(number: int, name: str = "value") -> str:
    return f'[ cp:asInput "{name}" ; cp:constant {number} ; cp:unit unit:MilliM ]'


def reads(figures: str, more: str = "", name: str = "value") -> str:
    return f'[ cp:asInput "{name}" ; cp:readsFigure {figures} ; {more} ]'


HEIGHTS = (
    figure("pegRide", constant(10), "cp:inState cp:atRide ;")
    + figure("pegBump", constant(90), "cp:inState cp:atBump ;")
    + figure("pegShape", constant(4))
)


def figuring(model: Model, vehicle_id: str = "farm-hauler") -> Figuring:
    """The received vehicle, as a model with something planted in it sees it."""
    catalog = seed_library().holdings.catalog
    vehicle = catalog.vehicles[vehicle_id]
    layout = model.layouts[vehicle.layout]
    parts = {p.path: received_part(model, catalog, vehicle, p) for p in layout.positions}
    return Figuring(Reach(model, layout), catalog, parts)


def worked(text: str, name: str, state: str | None = None, station: str = "front") -> Result | None:
    found = figuring(model_with(text))
    return found.result(found.model.figures[name], Place(station, None, state))


def value(text: str, name: str, state: str | None = None) -> Decimal | None:
    result = worked(text, name, state)
    return result.value if result is not None else None


def test_a_figure_is_worked_out_once_in_each_of_its_states() -> None:
    model = model_with(HEIGHTS + figure("pegBoth", constant(1), "cp:inState cp:atRide , cp:atDroop ;"))
    reach = Reach(model, model.layouts[seed_library().holdings.catalog.vehicles["farm-hauler"].layout])

    def states(name: str) -> list[str | None]:
        return [place.state for place in reach.places(model.figures[name]) if place.station == "front"]

    assert (states("pegShape"), states("pegRide"), states("pegBoth")) == ([None], ["atRide"], ["atDroop", "atRide"])


def test_an_input_takes_that_figure_which_is_worked_out_in_the_same_state() -> None:
    text = HEIGHTS + figure("pegHeight", reads("cp:pegRide , cp:pegBump"), "cp:inState cp:atRide , cp:atBump ;")
    assert [value(text, "pegHeight", state) for state in ("atRide", "atBump")] == [D(10), D(90)]


def test_an_input_may_name_another_state() -> None:
    text = HEIGHTS + figure(
        "pegTravel",
        reads("cp:pegBump", name="first") + reads("cp:pegRide", "cp:readInState cp:atRide", "second"),
        "cp:inState cp:atBump ;",
        "difference",
    )
    assert value(text, "pegTravel", "atBump") == D(80)


def test_a_figure_without_states_is_the_same_in_each_and_takes_one_where_it_names_it() -> None:
    text = HEIGHTS + figure("pegSame", reads("cp:pegShape"), "cp:inState cp:atRide , cp:atFullLock ;")
    assert [value(text, "pegSame", state) for state in ("atRide", "atFullLock")] == [D(4), D(4)]
    named = HEIGHTS + figure("pegOnce", reads("cp:pegBump", "cp:readInState cp:atBump"))
    assert value(named, "pegOnce") == D(90)


def test_a_limit_is_taken_in_the_same_state_too() -> None:
    limit = 'cp:atMost [ cp:readsFigure cp:pegRide , cp:pegBump ; cp:says "{value} over {limit} {state}."@en ] ;'
    text = HEIGHTS + figure("pegLimited", constant(50), f"cp:inState cp:atRide , cp:atBump ; {limit}")
    found = figuring(model_with(text))
    teller, one = FigureTeller(found), found.model.figures["pegLimited"]

    def line(state: str) -> tuple[str, str, str | None, str]:
        place = Place("front", None, state)
        result = found.result(one, place)
        assert result is not None
        told = teller.line(one, place, result, moved=True)
        return told.id, str(told.verdict), told.state, told.sentence

    assert line("atRide") == (
        "pegLimited/front/atRide",
        "clashes",
        "at ride height",
        "50 mm over 10 mm at ride height.",
    )
    assert line("atBump") == (
        "pegLimited/front/atBump",
        "fits",
        "at full bump",
        "PegLimited at the front at full bump: 50 mm, as before; at most 90 mm.",
    )


def test_a_row_of_an_answer_says_the_state() -> None:
    found = figuring(
        model_with(HEIGHTS + figure("pegNew", constant(7), "cp:inState cp:atDroop ; cp:plannedOnly true ;"))
    )
    one, place = found.model.figures["pegNew"], Place("rear", None, "atDroop")
    result = found.result(one, place)
    assert result is not None
    line = FigureTeller(found).line(one, place, result, moved=True)
    assert [name for _, name in worth_telling([line])] == ["pegNew, rear at full droop"]


SPACER = (
    '[ cp:asInput "value" ; cp:readsRole cp:ROLE ; cp:readsFeature cp:FEATURE ; cp:readsDimension cp:DIMENSION MORE ]'
)


def reading(role: str, feature: str, dimension: str, more: str = "") -> str:
    return (
        SPACER.replace("ROLE", role).replace("FEATURE", feature).replace("DIMENSION", dimension).replace("MORE", more)
    )


def test_where_there_is_none_the_figure_has_no_meaning_or_the_number_that_is_said() -> None:
    # the farm hauler's front axle hangs on coils: it has no leaf pack, and what is not there is not unknown
    plain = figure("pegLeaf", reading("SpringRole", "leafPack", "packWidth"))
    said = figure("pegLeaf", reading("SpringRole", "leafPack", "packWidth", "; cp:whereNone 0"))
    assert worked(plain, "pegLeaf") is None
    assert value(said, "pegLeaf") == D(0)


def test_a_part_that_is_there_without_the_reading_leaves_it_unknown() -> None:
    # nobody took the runabout's front tube wall; a number for where there is none must not stand in for it
    model = model_with(figure("pegWall", reading("HousingRole", "axleTube", "tubeWall", "; cp:whereNone 0")))
    found = figuring(model, "orchard-runabout")
    result = found.result(model.figures["pegWall"], Place("front"))
    assert result is not None
    assert result.value is None
    assert [(gap.path, gap.dimension) for gap in result.gaps] == [("front/housing", "tubeWall")]


def test_where_none_reaches_a_figure_that_has_no_meaning_there() -> None:
    text = figure("pegLeaf", reading("SpringRole", "leafPack", "packWidth")) + figure(
        "pegOver", reads("cp:pegLeaf", "cp:whereNone 12")
    )
    assert value(text, "pegOver") == D(12)


def test_the_sum_of_nothing_is_what_is_said_or_nought() -> None:
    gathered = "cp:gathers cp:sumOfAll"
    text = HEIGHTS + figure("pegSum", reads("cp:pegBump", gathered), "cp:inState cp:atRide ;")
    assert value(text, "pegSum", "atRide") == D(0)
    assert value(text.replace(gathered, f"{gathered} ; cp:whereNone 3"), "pegSum", "atRide") == D(3)


@pytest.mark.parametrize(
    ("planted", "said"),
    [
        (figure("pegBad", constant(1), "cp:inState cp:atNoon ;"), "names cp:atNoon, which is no state; known: atBump"),
        (
            figure("pegBad", reads("cp:pegBump"), "cp:inState cp:atRide ;"),
            "reads cp:pegBump in cp:atRide, in which it is not worked out",
        ),
        (
            figure("pegBad", reads("cp:pegRide , cp:pegBump"), "cp:inState cp:atRide , cp:atDroop ;"),
            "reads cp:pegBump or cp:pegRide in cp:atDroop, in which it is not worked out",
        ),
        (figure("pegBad", reads("cp:pegBump")), "reads cp:pegBump and does not say in which state"),
        (
            figure("pegBad", reads("cp:pegRide", "cp:readInState cp:atDroop")),
            "reads cp:pegRide in cp:atDroop, in which it is not worked out",
        ),
        (
            figure("pegBad", reads("cp:pegShape", "cp:readInState cp:atRide")),
            "reads cp:pegShape in cp:atRide, in which it is not worked out",
        ),
        (
            figure("pegBad", reading("HousingRole", "mountFaces", "faceWidth", "; cp:readInState cp:atRide")),
            "names cp:atRide where it reads no figure; a reading has no state",
        ),
        (
            figure("pegBad", constant(1).replace(" ]", " ; cp:whereNone 0 ]")),
            "has cp:whereNone beside a cp:constant, which is always there",
        ),
        (
            figure(
                "pegBad",
                constant(1),
                'cp:atMost [ cp:readsFigure cp:pegBump ; cp:says "{value} over {limit}."@en ] ;',
            ),
            "reads cp:pegBump and does not say in which state",
        ),
    ],
)
def test_what_cannot_be_read_in_a_state_is_refused_by_name(planted: str, said: str) -> None:
    with pytest.raises(BrokenOntology, match=re.escape(f"cp:pegBad {said}")):
        model_with(HEIGHTS + planted)


def test_a_speed_table_says_in_which_state_it_reads_a_figure() -> None:
    table = figure("pegTable", reads("cp:pegRide")).replace("cp:Figure", "cp:SpeedTable")
    with pytest.raises(BrokenOntology, match="cp:pegTable reads cp:pegRide and does not say in which state"):
        model_with(HEIGHTS + table)


def test_states_may_wait_for_each_other_as_long_as_there_is_no_circle() -> None:
    onward = figure("pegOn", reads("cp:pegRide , cp:pegBump"), "cp:inState cp:atRide , cp:atBump ;") + figure(
        "pegBack", reads("cp:pegOn", "cp:readInState cp:atRide"), "cp:inState cp:atBump ;"
    )
    assert value(HEIGHTS + onward, "pegBack", "atBump") == D(10)
    own = figure("pegSelf", reads("cp:pegSelf", "cp:readInState cp:atRide"), "cp:inState cp:atRide , cp:atBump ;")
    with pytest.raises(BrokenOntology, match=re.escape("in a circle: pegSelf (atRide) -> pegSelf (atRide)")):
        model_with(own)


def test_figures_in_states_rest_on_every_position_that_they_reach() -> None:
    text = HEIGHTS + figure(
        "pegReach",
        reads("cp:pegRide", "cp:readInState cp:atRide", "first") + reads("cp:pegFace", name="second"),
        "cp:inState cp:atDroop ;",
        "difference",
    )
    text += figure("pegFace", reading("HousingRole", "mountFaces", "faceWidth"), "cp:inState cp:atDroop ;")
    found = figuring(model_with(text))
    one: Figure = found.model.figures["pegReach"]
    place = Place("front", None, "atDroop")
    result = found.result(one, place)
    assert result is not None
    assert result.value == D(10) - D(1540)
    assert result.paths == found.reach.of_figure(one, place) == {"front/housing"}
