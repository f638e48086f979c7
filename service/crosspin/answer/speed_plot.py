"""Draws a speed table as an SVG line plot, readable without colour and by a screen reader.

The picture carries no style of its own: lines and words have classes (`before`, `after`, `axis`, `grid`, `label`,
`series-1` ...), received lines are dashed by attribute, and every line has a number at its end.
"""

from collections.abc import Iterator, Sequence
from decimal import Decimal
from xml.sax.saxutils import escape

from crosspin.answer.figure_lines import SpeedRow, SpeedSeries, SpeedTableLine
from crosspin.figures.exact import rounded, spell

WIDTH, HEIGHT = 720, 440
LEFT, RIGHT, TOP, BOTTOM = 64, 200, 24, 52
_STEPS = (Decimal(1), Decimal(2), Decimal("2.5"), Decimal(5), Decimal(10))
_TICKS = 6
_LINE_HEIGHT = 13


def plot_speeds(table: SpeedTableLine) -> str:
    """The plot as an `<svg>` element; a sentence in its place where a reading is missing."""
    rows = [row for series in table.series for row in series.rows]
    values = [v for row in rows for v in (row.before, row.after) if v is not None]
    name = f"plot-{table.id}"
    opening = (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="speed-plot" viewBox="0 0 {WIDTH} {HEIGHT}" role="img"'
        f' aria-labelledby="{name}-title {name}-desc">'
        f'<title id="{name}-title">{escape(table.label)}</title>'
        f'<desc id="{name}-desc">{escape(_description(table))}</desc>'
    )
    if not values:
        sentence = escape(table.why_not or "There is nothing to draw.")
        return f'{opening}<text class="label" x="{LEFT}" y="{HEIGHT // 2}">{sentence}</text></svg>'
    across = _Scale(Decimal(0), max(row.along for row in rows), LEFT, WIDTH - RIGHT)
    upwards = _Scale(Decimal(0), max(values), HEIGHT - BOTTOM, TOP)
    parts = [opening, *_grid(table, across, upwards)]
    parts += [line for number, s in enumerate(table.series, 1) for line in _lines(s, number, across, upwards)]
    parts += _names(table.series, across, upwards)
    return "".join([*parts, "</svg>"])


def _description(table: SpeedTableLine) -> str:
    """What a reader who cannot see the picture is told."""
    if not table.series:
        return table.why_not or table.definition
    moved = [s.label for s in table.series if any(row.before != row.after for row in s.rows)]
    told = f"{table.definition} {len(table.series)} lines over {table.along_label}; solid as planned"
    return f"{told}, dashed as received for {len(moved)} of them." if moved else f"{told}, the same as received."


class _Scale:
    """From values to places on the paper, with round marks."""

    def __init__(self, least: Decimal, most: Decimal, start: int, end: int) -> None:
        rough = (most - least) / _TICKS or Decimal(1)
        power = Decimal(1).scaleb(rough.adjusted())
        step = next(s * power for s in _STEPS if s * power >= rough)
        self.marks = [least + step * n for n in range(_TICKS + 2) if least + step * (n - 1) < most]
        self.span = self.marks[-1] - least
        self.least, self.start, self.end = least, start, end

    def at(self, value: Decimal) -> str:
        """The place of a value, to a tenth."""
        return spell(rounded(self.start + (value - self.least) / self.span * (self.end - self.start), 1))


def _grid(table: SpeedTableLine, across: _Scale, upwards: _Scale) -> Iterator[str]:
    for mark in across.marks:
        x = across.at(mark)
        yield f'<line class="grid" x1="{x}" y1="{TOP}" x2="{x}" y2="{HEIGHT - BOTTOM}"/>'
        yield f'<text class="axis" x="{x}" y="{HEIGHT - BOTTOM + 18}" text-anchor="middle">{spell(mark)}</text>'
    for mark in upwards.marks:
        y = upwards.at(mark)
        yield f'<line class="grid" x1="{LEFT}" y1="{y}" x2="{WIDTH - RIGHT}" y2="{y}"/>'
        yield f'<text class="axis" x="{LEFT - 8}" y="{y}" text-anchor="end">{spell(mark)}</text>'
    middle = (LEFT + WIDTH - RIGHT) // 2
    bottom = _with_unit(table.along_label, table.along_unit)
    side = _with_unit(table.result_label, table.result_unit)
    yield f'<text class="label" x="{middle}" y="{HEIGHT - 10}" text-anchor="middle">{bottom}</text>'
    yield f'<text class="label" x="{LEFT - 8}" y="{TOP - 10}" text-anchor="start">{side}</text>'


def _with_unit(label: str, unit: str) -> str:
    return escape(f"{label}, {unit}" if unit else label)


def _lines(series: SpeedSeries, number: int, across: _Scale, upwards: _Scale) -> Iterator[str]:
    """The received line, dashed, where it differs, and the planned one."""
    planned = [(row.along, row.after) for row in series.rows if row.after is not None]
    received = [(row.along, row.before) for row in series.rows if row.before is not None]
    for kind, points, dashes in (("before", received, ' stroke-dasharray="5 4"'), ("after", planned, "")):
        if points and (kind == "after" or received != planned):
            path = " ".join(f"{across.at(x)},{upwards.at(y)}" for x, y in points)
            named = escape(f"{series.label}, {'as planned' if kind == 'after' else 'as received'}")
            yield (
                f'<polyline class="{kind} series-{number}" points="{path}" fill="none" stroke="currentColor"'
                f"{dashes}><title>{named}</title></polyline>"
            )


def _names(series: Sequence[SpeedSeries], across: _Scale, upwards: _Scale) -> Iterator[str]:
    """A number at the end of each line, moved up where two would lie on each other, and what each number means."""
    ends = [(number, end) for number, s in enumerate(series, 1) if (end := _end(s.rows)) is not None]
    placed: list[tuple[Decimal, Decimal]] = []
    for number, (along, value) in sorted(ends, key=lambda one: (one[1][0], one[1][1])):
        x, y = Decimal(across.at(along)) + 5, Decimal(upwards.at(value)) + 4
        while any(abs(x - other) < _LINE_HEIGHT and abs(y - height) < _LINE_HEIGHT for other, height in placed):
            y -= 1
        placed.append((x, y))
        yield f'<text class="key" x="{spell(x)}" y="{spell(y)}">{number}</text>'
    for number, one in enumerate(series, 1):
        row = TOP + _LINE_HEIGHT + 2 * (_LINE_HEIGHT - 4) * (number - 1)
        yield f'<text class="label" x="{WIDTH - RIGHT + 32}" y="{row}">{number}: {escape(one.label)}</text>'


def _end(rows: Sequence[SpeedRow]) -> tuple[Decimal, Decimal] | None:
    """Where a line ends: the last value along it that has a result."""
    drawn = [(row.along, row.after if row.after is not None else row.before) for row in rows]
    known = [(along, value) for along, value in drawn if value is not None]
    return known[-1] if known else None
