"""The drawing: every position has its place, new roles too, and states show without colour."""

import xml.etree.ElementTree as ElementTree
from decimal import Decimal
from itertools import combinations

import pytest

from crosspin.model.schema import Layout, Model, Position
from crosspin.page.drawing import HEIGHT, LEFT, LETTERS, TOP, WIDTH, Drawing, Seen, State, draw
from page_client import address_of, get, hill_patrol
from seed import seed_desk

ANSWER = address_of(hill_patrol())


def model() -> Model:
    return seed_desk().holdings.model


def everything(layout: Layout, of: Model) -> Drawing:
    return draw(of, layout, {p.path: Seen(State.KEPT, "part") for p in layout.positions})


@pytest.fixture(scope="module", params=list(seed_desk().holdings.model.layouts))
def layout(request: pytest.FixtureRequest) -> Layout:
    return model().layouts[str(request.param)]


def drawing_in(text: str) -> ElementTree.Element:
    """The drawing of a page, read as XML."""
    start = text.index('<svg class="drawing"')
    return ElementTree.fromstring(text[start : text.index("</svg>", start) + len("</svg>")])


def test_every_position_is_on_the_sheet(layout: Layout) -> None:
    drawing = everything(layout, model())
    assert {mark.path for mark in drawing.marks} == {position.path for position in layout.positions}
    for mark in drawing.marks:
        assert mark.x >= LEFT, mark.path
        assert mark.x + mark.wide <= LEFT + WIDTH, mark.path
        assert mark.y >= TOP, mark.path
        assert mark.y + mark.long <= TOP + HEIGHT, mark.path


def test_no_mark_hides_another(layout: Layout) -> None:
    # what is drawn later lies upon what is drawn before: it must leave at least a third of that to be seen
    for under, upon in combinations(everything(layout, model()).marks, 2):
        wide = min(under.x + under.wide, upon.x + upon.wide) - max(under.x, upon.x)
        long = min(under.y + under.long, upon.y + upon.long) - max(under.y, upon.y)
        if wide > 0 and long > 0:
            assert wide * long <= under.wide * under.long * Decimal(2) / 3, (under.path, upon.path)


def test_left_is_left_and_front_is_up(layout: Layout) -> None:
    at = {mark.path: mark.middle for mark in everything(layout, model()).marks}
    for path, (x, y) in at.items():
        if path.startswith("front/left/"):
            assert x < 0
            assert y < 0
            assert at[path.replace("left", "right")] == (-x, y)


def test_a_role_that_nobody_placed_is_drawn_in_the_strip_of_its_station(layout: Layout) -> None:
    unplaced = model().model_copy(update={"marks": {k: m for k, m in model().marks.items() if "/" in k}})
    drawing = everything(layout, unplaced)
    assert len(drawing.marks) == len(layout.positions)
    for one, other in combinations(drawing.marks, 2):
        assert (one.x, one.y) != (other.x, other.y)


def test_even_a_station_that_nobody_placed_is_drawn() -> None:
    bare = model().model_copy(update={"marks": {}})
    positions = (Position(path="nose/winch", role="WinchRole", station="nose"),)
    layout = next(iter(bare.layouts.values())).model_copy(update={"positions": positions})
    assert [mark.path for mark in everything(layout, bare).marks] == ["nose/winch"]


def test_states_differ_in_letter_and_in_outline_or_hatch() -> None:
    # WCAG 2.2, 1.4.1: colour is not the only means
    assert len(set(LETTERS.values())) == len(LETTERS)
    layout = next(iter(model().layouts.values()))
    path = layout.positions[0].path
    drawn = {state: draw(model(), layout, {path: Seen(state, "")}).marks[0] for state in State}
    looks = {(mark.outline, mark.hatch) for mark in drawn.values()}
    assert len(looks) >= 4


def test_what_must_be_measured_shows_beside_what_is_done() -> None:
    layout = next(iter(model().layouts.values()))
    path = layout.positions[0].path
    (mark,) = draw(model(), layout, {path: Seen(State.CHANGED, "", doubt=True)}).marks
    assert mark.letter == "C?"


def test_the_chain_goes_from_the_line_back_to_what_was_asked() -> None:
    text = get(ANSWER + "&line=front/left/outer-shaft").text
    svg = drawing_in(text)
    chain = next(group for group in svg.iter("g") if group.get("id") == "chain")
    line = chain.find("polyline")
    assert line is not None
    points = [tuple(map(float, point.split(","))) for point in str(line.get("points")).split()]
    marks = {group.get("data-path"): group.find("path") for group in svg.iter("g") if group.get("data-path")}
    wanted = ["front/left/outer-shaft", "front/left/axle-joint", "front/left/inner-shaft", "front/carrier"]
    assert len(points) == len(wanted)
    layout = model().layouts["two-beam-axles"]
    at = {mark.path: mark.middle for mark in everything(layout, model()).marks}
    assert set(wanted) <= set(marks)
    assert points == [(float(at[path][0]), float(at[path][1])) for path in wanted]


def test_the_drawing_says_in_words_what_it_shows() -> None:
    text = get(ANSWER).text
    svg = drawing_in(text)
    assert svg.get("role") == "img"
    assert "changed" in str(svg.get("aria-label"))
    titles = [title.text for title in svg.iter("title")]
    assert "front gear set: Ring and pinion set 8.95 in, 41/11, reverse cut" in titles
