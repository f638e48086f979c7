"""What was measured, and the tables and goals that are printed of it."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Row:
    """One figure: the question, which case of it, whose it is, how many parts were there, and what came out.

    `value` is None where the engine was stopped or left out; `note` says why.
    """

    question: str
    case: str
    engine: str
    size: int
    value: float | None
    note: str = ""
    unit: str = "s"


def shown(row: Row) -> str:
    """The figure as it stands in a table."""
    if row.value is None:
        return row.note
    if row.unit == "s":
        return seconds(row.value)
    if row.unit == "bytes":
        return f"{row.value:,.0f} B" if row.value < 1e6 else f"{row.value / 1e6:,.1f} MB"
    return f"{row.value:,.0f}{' ' + row.unit if row.unit else ''}"


def seconds(value: float) -> str:
    """A time with three figures, in the unit that suits it."""
    for unit, factor in (("s", 1.0), ("ms", 1e3), ("µs", 1e6)):
        if value * factor >= 1 or unit == "µs":
            number = value * factor
            return f"{number:.0f} {unit}" if number >= 100 else f"{number:.3g} {unit}"
    raise AssertionError("one of the units always suits")


def table(rows: Sequence[Row]) -> list[str]:
    """One case: a line for each engine, a column for each size."""
    sizes = sorted({row.size for row in rows})
    lines = ["| | " + " | ".join(f"{size:,} parts" for size in sizes) + " |", "|---|" + "---:|" * len(sizes)]
    for engine in dict.fromkeys(row.engine for row in rows):
        cells = {row.size: shown(row) for row in rows if row.engine == engine}
        lines.append(f"| {engine} | " + " | ".join(cells.get(size, "–") for size in sizes) + " |")
    notes = dict.fromkeys(f"{r.engine}, {r.size:,} parts: {r.note}" for r in rows if r.note and r.value is not None)
    return [*lines, *(["", *(f"{note}.  " for note in notes)] if notes else [])]


@dataclass(frozen=True)
class Goal:
    """What was to be reached: `found` is a ratio or a figure, `wanted` its bound, from below or from above."""

    said: str
    found: float | None
    wanted: float
    at_least: bool = True
    spell: Callable[[float], str] = lambda value: f"{value:,.3g}"
    because: str = ""

    def line(self) -> str:
        """Met, or missed by how much."""
        if self.found is None:
            return f"- {self.said}: not measured{', ' + self.because if self.because else ''}."
        met = self.found >= self.wanted if self.at_least else self.found <= self.wanted
        by = self.wanted / self.found if self.at_least else self.found / self.wanted
        end = "**met**" if met else f"**missed** by a factor of {by:.3g}"
        return f"- {self.said}: {self.spell(self.found)}; {end}{' (' + self.because + ')' if self.because else ''}."


def of(rows: Iterable[Row], question: str, case: str | None = None) -> list[Row]:
    """The rows of one question, or of one case of it."""
    return [row for row in rows if row.question == question and case in (None, row.case)]


def value(rows: Iterable[Row], engine: str, size: int) -> float | None:
    """One engine's figure at one size, where there is one."""
    return next((row.value for row in rows if row.engine == engine and row.size == size), None)


def fastest(rows: Iterable[Row], size: int, admit: Callable[[str], bool], limit: float) -> tuple[float, str] | None:
    """The least figure of the admitted engines at a size, and whose; `limit` where all of them passed it."""
    there = [row for row in rows if row.size == size and admit(row.engine)]
    done = [(row.value, row.engine) for row in there if row.value is not None]
    if done:
        return min(done)
    return (limit, f"none within {limit:g} s") if there else None
