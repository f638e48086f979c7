"""The figures of a plan as rows: before, after, limits, verdict, in the units that the reader wants."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from crosspin.answer.figure_lines import FigureLine
from crosspin.answer.figure_text import verdict_word, worth_telling
from crosspin.figures.exact import rounded, spell
from crosspin.model.schema import Model, Unit, Verdict


@dataclass(frozen=True, slots=True)
class FigureRow:
    """One figure worth telling."""

    label: str
    before: str
    after: str
    limits: str
    verdict: str
    sentence: str
    formula: str
    evidence: tuple[str, ...]


class Figures:
    """Puts figures into rows for one reader."""

    def __init__(self, model: Model, told_in: Mapping[str, str]) -> None:
        self._other: dict[str, Unit] = {model.units[u].symbol: model.units[v] for u, v in told_in.items()}

    def rows(self, figures: Sequence[FigureLine]) -> list[FigureRow]:
        """Those that a change moves, clashes first."""
        return [self._row(line, name) for line, name in worth_telling(figures)]

    def _row(self, line: FigureLine, name: str) -> FigureRow:
        limits = (
            f"at {limit.sense} {'what is not known' if limit.value is None else self._value(limit.value, line.unit)}"
            for limit in line.limits
        )
        return FigureRow(
            label=name,
            before="" if line.before is None else self._value(line.before, line.unit),
            after="not known" if line.after is None else self._value(line.after, line.unit),
            limits=", ".join(limits),
            verdict=verdict_word(line),
            sentence=line.sentence if line.verdict in (Verdict.CLASHES, Verdict.UNKNOWN) else "",
            formula=line.formula,
            evidence=line.evidence,
        )

    def _value(self, value: Decimal, unit: str) -> str:
        other = self._other.get(unit)
        if other is not None:
            return f"{spell(rounded(value / other.factor, 4))} {other.symbol}"
        return f"{spell(value)} {unit}".rstrip()
