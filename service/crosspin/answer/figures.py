"""Tells the figures of a plan: before and after, with inputs, limits, verdicts and what to measure.

Every figure that applies to the vehicle is told.  Only those that rest on a changed position (`moved`) are judged:
their clashes become checks and their missing readings are asked for.  What stays as it was received is told as it is.
"""

from collections.abc import Iterator, Set
from dataclasses import dataclass

from crosspin.answer.figure_lines import FigureLine, SpeedTableLine
from crosspin.answer.plan import Check
from crosspin.answer.reasons import Scene
from crosspin.answer.speeds import speed_table
from crosspin.model.figure import Figure
from crosspin.model.schema import Verdict
from crosspin.vehicle.figuring import Figuring, Gap, Result
from crosspin.vehicle.words import fill_in

BEFORE_ORDERING = "before ordering"
"""When a limit is decided on that is not met in a phase of the work."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """A reading that a figure waits for, and which figure."""

    gap: Gap
    why: str
    safety_critical: bool


@dataclass(frozen=True, slots=True)
class Brought:
    """An operation, check or caution that comes with a figure beyond its limit, and where."""

    brings: str
    position: str
    because: str


class Figures:
    """The figures of one plan; `mended` are those, by name and place, that it brings back by a remedy."""

    def __init__(self, scene: Scene, mended: Set[str]) -> None:
        self.model = scene.model
        self._received = received = scene.as_received
        self.after = Figuring(received.reach, scene.catalog, scene.parts, received.figuring, scene.changed)
        self._changed = scene.changed
        told: list[FigureLine] = []
        self._moved: list[tuple[Figure, Result, FigureLine]] = []
        for figure in self.model.figures.values():
            for place in received.reach.places(figure):
                if self.after.stays(received.reach.of_figure(figure, place)):
                    kept = received.figure(figure, place)
                    if kept is not None:
                        told.append(kept)
                    continue
                result = self.after.result(figure, place)
                if result is not None:
                    was = received.figuring.result(figure, place)
                    # What was read as received counts too: a limit strap that goes lets the axle hang lower.
                    moved = not self.after.stays({*result.paths, *(was.paths if was is not None else ())})
                    line = received.teller.line(figure, place, result, moved)
                    if line.id in mended:
                        line = line.model_copy(update={"mended": True})
                    told.append(line)
                    if moved:
                        self._moved.append((figure, result, line))
        self.lines = tuple(told)
        """Every figure that applies to the planned vehicle, by identifier and place."""

    def tables(self) -> tuple[SpeedTableLine, ...]:
        """Every speed table that the planned vehicle has the parts for."""
        told = (
            self._received.table(table)
            if self.after.stays(self._received.reach.of_table(table))
            else speed_table(table, self._received.figuring, self.after)
            for table in self.model.speed_tables.values()
        )
        return tuple(line for line in told if line is not None)

    def checks(self) -> tuple[Check, ...]:
        """A check for every figure that a change takes beyond its limit, in the phase in which that limit is met:
        before anything is ordered where none is named.  What was so already, or is mended, is no check."""
        return tuple(
            Check(id=line.id, label=line.label, text=line.sentence, phase=self._met(figure), places=())
            for figure, _, line in self._moved
            if line.verdict is Verdict.CLASHES and not line.so_already and not line.mended
        )

    def _met(self, figure: Figure) -> str:
        phase = next((limit.phase for limit in figure.limits if limit.phase is not None), None)
        return BEFORE_ORDERING if phase is None else self.model.phases[phase].label

    def notes(self) -> Iterator[tuple[str, str]]:
        """What the bench is told of figures that move and are within their limits: the position and a sentence."""
        reach = self._received.reach
        for figure, result, line in self._moved:
            if figure.says_fit is None or figure.noted_at is None or result.value is None:
                continue
            if line.verdict in (None, Verdict.FITS):
                _, place = reach.named(line.id)
                told = fill_in(figure.says_fit, {"value": self._received.teller.say.told(figure, result.value)})
                yield from ((position.path, told) for position in reach.in_role(figure.noted_at, place))

    def line(self, name: str) -> FigureLine:
        """The line of a figure by its name and place (`reach.instance`)."""
        return next(line for line in self.lines if line.id == name)

    def need(self, call: str) -> str:
        """The sentence of a need that a figure triggers (`reach.Call`)."""
        called = self._received.reach.calls[call]
        result = self.after.result(called.figure, called.place)
        assert result is not None, f"{call} speaks of a figure that has no meaning"
        return self._received.teller.need(called, result)

    def gaps(self, name: str) -> tuple[Gap, ...]:
        """The readings that a figure, by its name and place, waits for."""
        result = self.after.result(*self._received.reach.named(name))
        return () if result is None else result.input_gaps

    def brought(self) -> tuple[Brought, ...]:
        """What the figures bring that a change takes beyond their limits, at the positions that were changed."""
        return tuple(
            Brought(name, path, line.sentence)
            for figure, result, line in self._moved
            if line.verdict is Verdict.CLASHES
            for name in figure.brings
            for path in sorted(result.paths & self._changed)
        )

    def wanted(self) -> tuple[Wanted, ...]:
        """The readings that figures which rest on a change wait for."""
        return tuple(
            Wanted(gap, f"The figure {figure.label} waits for it.", figure.safety_critical)
            for figure, result, _ in self._moved
            for gap in result.gaps
        )
