"""A speed table as a plot: what a vehicle does along the axis, as received dashed, as planned drawn through."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal

from crosspin.answer.figure_lines import SpeedTableLine
from crosspin.figures.exact import spell

WIDTH, HEIGHT = 640, 360
_LEFT, _TOP, _RIGHT, _BOTTOM = 62, 14, 150, 46  # room for the words at the axes


@dataclass(frozen=True, slots=True)
class Tick:
    """A mark on an axis: where, and the number beside it."""

    at: Decimal
    text: str


@dataclass(frozen=True, slots=True)
class Curve:
    """One line of the plot: its points as SVG writes them, whether it is the plan's, its name and where that stands."""

    label: str
    points: str
    planned: bool
    end: tuple[Decimal, Decimal]


@dataclass(frozen=True)
class Plot:
    """A speed table drawn."""

    table: SpeedTableLine
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    curves: tuple[Curve, ...]

    @property
    def summary(self) -> str:
        """The plot in a sentence."""
        return f"{self.table.result_label} against {self.table.along_label}, as received and as planned."


def plot(table: SpeedTableLine) -> Plot | None:
    """The plot of a table; None where it has no line with two points."""
    rows = [row for series in table.series for row in series.rows]
    results = [value for row in rows for value in (row.before, row.after) if value is not None]
    alongs = [row.along for row in rows]
    if not results or len(set(alongs)) < 2:
        return None
    across, up = _ticks(max(alongs)), _ticks(max(results))
    most_x, most_y = Decimal(across[-1]), Decimal(up[-1])

    def place(along: Decimal, result: Decimal) -> tuple[Decimal, Decimal]:
        x = _LEFT + (WIDTH - _LEFT - _RIGHT) * along / most_x
        y = HEIGHT - _BOTTOM - (HEIGHT - _TOP - _BOTTOM) * result / most_y
        return round(x, 1), round(y, 1)

    curves = []
    for planned in (False, True):
        for series in table.series:
            values = [(row.along, row.after if planned else row.before) for row in series.rows]
            points = [place(along, value) for along, value in values if value is not None]
            if len(points) > 1:
                drawn = " ".join(f"{x},{y}" for x, y in points)
                curves.append(Curve(series.label, drawn, planned, points[-1]))
    return Plot(
        table=table,
        across=tuple(Tick(place(value, Decimal(0))[0], spell(value)) for value in across),
        up=tuple(Tick(place(Decimal(0), value)[1], spell(value)) for value in up),
        curves=tuple(_apart(curves)),
    )


def _ticks(most: Decimal) -> Sequence[Decimal]:
    """Round numbers from nought to at least `most`, four to eight of them."""
    size = Decimal(10) ** (most.adjusted())
    for share in (Decimal("0.2"), Decimal("0.25"), Decimal("0.5"), Decimal(1), Decimal(2)):
        step = size * share
        steps = int((most / step).to_integral_value(ROUND_CEILING))
        if steps <= 8:
            return [step * n for n in range(steps + 1)]
    return [Decimal(0), size * 10]


def _apart(curves: Iterable[Curve]) -> Iterable[Curve]:
    """The curves with their names so far apart that they can be read; only the plan's are named."""
    taken: list[Decimal] = []
    for curve in sorted(curves, key=lambda c: (c.planned, c.end[1])):
        x, y = curve.end
        if curve.planned:
            while any(abs(y - other) < 13 for other in taken):
                y += 1
            taken.append(y)
        yield Curve(curve.label, curve.points, curve.planned, (x, y))
