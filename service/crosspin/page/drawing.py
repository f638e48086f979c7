"""The driveline in plan view: a mark for every position, its front up, and the chain of one line across it.

What state a mark is in shows by its outline, its hatch and its letter, so that nobody needs the colour.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from itertools import count

from crosspin.answer.places import place
from crosspin.answer.plan import Action, Plan
from crosspin.model.mark import Mark
from crosspin.model.schema import Layout, Model, Part, Position

LEFT, TOP, WIDTH, HEIGHT = -212, -338, 424, 696  # of the sheet, in the units of the marks
_CELL = Decimal(17)  # of the strip for roles that have no mark of their own
_SMALL = Decimal(14)


class State(StrEnum):
    """What becomes of a position."""

    KEPT = "kept"
    CHANGED = "changed"
    ADDED = "added"
    MOVED = "moved"
    OUT = "out"
    UNKNOWN = "unknown"


LETTERS = {
    State.KEPT: "",
    State.CHANGED: "C",
    State.ADDED: "A",
    State.MOVED: "M",
    State.OUT: "O",
    State.UNKNOWN: "?",
}
_WORDS = {
    State.KEPT: "stays",
    State.CHANGED: "changed",
    State.ADDED: "added",
    State.MOVED: "carried over",
    State.OUT: "taken out",
    State.UNKNOWN: "not known",
}
_KEY = (Decimal(2), Decimal(2), Decimal(14), Decimal(14))  # the mark of a legend, in a box of 18
_HATCHES = {State.CHANGED: "changed", State.ADDED: "added", State.MOVED: "added", State.UNKNOWN: "unknown"}
_STATES = {
    Action.KEEP: State.KEPT,
    Action.CARRY_OVER: State.MOVED,
    Action.REPLACE: State.CHANGED,
    Action.ADD: State.ADDED,
    Action.REMOVE: State.OUT,
}


Box = tuple[Decimal, Decimal, Decimal, Decimal]  # left, top, width, length


@dataclass(frozen=True, slots=True)
class Seen:
    """What becomes of one position, in words, and whether something there must be measured first."""

    state: State
    words: str
    doubt: bool = False


@dataclass(frozen=True, slots=True)
class Drawn:
    """One mark as it is drawn: its corner, its size, its state, what is said of it."""

    path: str
    x: Decimal
    y: Decimal
    wide: Decimal
    long: Decimal
    state: State
    doubt: bool
    title: str
    spot: tuple[Decimal, Decimal]

    @property
    def letter(self) -> str:
        """The letter of its state, with a question mark where something there must be measured first."""
        return LETTERS[self.state] + ("?" if self.doubt and self.state is not State.UNKNOWN else "")

    @property
    def middle(self) -> tuple[Decimal, Decimal]:
        """The middle of the mark."""
        return self.x + self.wide / 2, self.y + self.long / 2

    @property
    def hatch(self) -> str:
        """The name of its hatch, empty where it has none."""
        return _HATCHES.get(self.state, "")

    @property
    def outline(self) -> str:
        """The outline as an SVG path: corners square where it is kept, cut where it changes, round where it is new."""
        w, h = self.wide, self.long
        if self.state is State.CHANGED:
            c = min(w, h) / 4
            return f"M{self.x + c} {self.y}h{w - 2 * c}l{c} {c}v{h - 2 * c}l{-c} {c}h{2 * c - w}l{-c} {-c}v{2 * c - h}z"
        if self.state in (State.ADDED, State.MOVED):
            r = min(w, h) / 2
            arc = f"a{r} {r} 0 0 1"
            return (
                f"M{self.x + r} {self.y}h{w - 2 * r}{arc} {r} {r}v{h - 2 * r}{arc} {-r} {r}"
                f"h{2 * r - w}{arc} {-r} {-r}v{2 * r - h}{arc} {r} {-r}z"
            )
        return f"M{self.x} {self.y}h{w}v{h}h{-w}z"


@dataclass(frozen=True, slots=True)
class Drawing:
    """A whole drawing: marks in the order of drawing, how many are in each state, the chain drawn across."""

    marks: tuple[Drawn, ...]
    counts: Mapping[State, int]
    chain: tuple[Drawn, ...] = ()

    @property
    def view_box(self) -> str:
        """What SVG calls the view box."""
        return f"{LEFT} {TOP} {WIDTH} {HEIGHT}"

    @property
    def summary(self) -> str:
        """The drawing in a sentence."""
        told = [f"{number} {state}" for state, number in self.counts.items() if number]
        return f"Driveline seen from above, front up: {', '.join(told)}."

    @property
    def legend(self) -> list[tuple[Drawn, str, int]]:
        """A mark for each state that the drawing has, what it means, and how many there are."""
        return [
            (Drawn("", *_KEY, state, state is State.UNKNOWN, "", (Decimal(9), Decimal(9))), words, self.counts[state])
            for state, words in _WORDS.items()
            if self.counts[state]
        ]

    @property
    def chain_line(self) -> str:
        """The points of the chain, as SVG writes them."""
        return " ".join(f"{x},{y}" for x, y in (mark.middle for mark in self.chain))


def draw(model: Model, layout: Layout, states: Mapping[str, Seen], chain: Sequence[str] = ()) -> Drawing:
    """The drawing of a layout with the state and the words of each position that is not empty."""
    rectangles = dict(_rectangles(model, layout))
    # The larger are drawn first, so that the smaller lie upon them.
    paths = sorted(states.keys() & rectangles.keys(), key=lambda p: (-rectangles[p][2] * rectangles[p][3], p))
    marks = []
    for index, path in enumerate(paths):
        seen, box = states[path], rectangles[path]
        upon = [rectangles[other] for other in paths[index + 1 :]]
        words = f"{place(path)}: {seen.words}"
        marks.append(Drawn(path, *box, seen.state, seen.doubt, words, _free_spot(box, upon)))
    by_path = {mark.path: mark for mark in marks}
    return Drawing(
        marks=tuple(marks),
        counts={state: sum(m.state is state for m in marks) for state in State},
        chain=tuple(by_path[path] for path in chain if path in by_path),
    )


def _free_spot(box: Box, upon: Sequence[Box]) -> tuple[Decimal, Decimal]:
    """Where the letter of a mark goes: its middle, or beside what lies upon that; the middle where all is covered."""
    x, y, wide, long = box
    beside = [Decimal(n) / 20 for n in (10, 7, 13, 5, 15, 3, 17)]
    spots = [(x + wide * across, y + long * along) for along in beside for across in beside]
    room = Decimal(6)  # of a letter, to each side

    def is_free(spot: tuple[Decimal, Decimal]) -> bool:
        return not any(
            bx - room < spot[0] < bx + bw + room and by - room < spot[1] < by + bl + room for bx, by, bw, bl in upon
        )

    return next(filter(is_free, spots), spots[0])


def _rectangles(model: Model, layout: Layout) -> Iterator[tuple[str, Box]]:
    """Corner and size of the mark of every position; those without a mark of their own in their station's strip."""
    taken: list[Box] = []
    for position in layout.positions:
        mark = model.marks.get(position.role)
        if mark is not None:
            box = _box(_station(model, layout, position), mark, -1 if position.side == "left" else 1)
            taken.append(box)
            yield position.path, box
    strips: dict[Mark, Iterator[Mark]] = {}
    for position in layout.positions:
        if position.role not in model.marks:
            station = _station(model, layout, position)
            # A cell that something lies on stays taken, so that each strip is gone along once.
            cells = (_box(station, cell, 1) for cell in strips.setdefault(station, _strip(station)))
            box = next(cell for cell in cells if not any(_overlap(cell, other) for other in taken))
            taken.append(box)
            yield position.path, box


def _station(model: Model, layout: Layout, position: Position) -> Mark:
    return model.marks.get(f"{layout.id}/{position.station}", _NOWHERE)


def _box(station: Mark, mark: Mark, side: int) -> Box:
    inward = -1 if station.along > 0 else 1
    across = station.across + side * mark.across
    along = station.along + inward * mark.along
    return across - mark.wide / 2, along - mark.long / 2, mark.wide, mark.long


def _overlap(one: Box, other: Box) -> bool:
    return all(one[i] < other[i] + other[i + 2] and other[i] < one[i] + one[i + 2] for i in (0, 1))


def _strip(station: Mark) -> Iterator[Mark]:
    """The cells of a station's strip, row after row towards the middle, without end."""
    columns = max(int(station.wide // _CELL), 1)
    for slot in count():
        row, column = divmod(slot, columns)
        across = _CELL * column - station.wide / 2 + _CELL / 2
        yield Mark(across=across, along=station.long + _CELL * row, wide=_SMALL, long=_SMALL)


_NOWHERE = Mark(across=Decimal(0), along=Decimal(0), wide=Decimal(200), long=Decimal(0))


def states_of_received(positions: Iterable[Position], received: Mapping[str, Part | None]) -> dict[str, Seen]:
    """The states of a vehicle as received: kept, or unknown where nobody looked."""
    found = {}
    for position in positions:
        part = received.get(position.path)
        if part is not None:
            unseen = part.unidentified
            words = "nobody has looked" if unseen else part.label
            found[position.path] = Seen(State.UNKNOWN if unseen else State.KEPT, words)
    return found


def states_of_plan(plan: Plan) -> dict[str, Seen]:
    """The states that a plan leads to; in doubt where something there must be measured first."""
    measured = {m.position for m in plan.measurements}
    found = {}
    for step in (*plan.steps, *plan.stays):
        doubt = step.position in measured
        state = _STATES[step.action]
        part = step.part or step.instead_of
        words = f"{part.label if part is not None else 'nothing'}{', something to measure first' if doubt else ''}"
        found[step.position] = Seen(State.UNKNOWN if doubt and state is State.KEPT else state, words, doubt)
    return found
