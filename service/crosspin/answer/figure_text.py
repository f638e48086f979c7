"""The figures of a plan as a short block of text."""

from collections.abc import Iterator, Sequence

from crosspin.answer.figure_lines import FigureLine, LimitLine
from crosspin.figures.exact import spell
from crosspin.model.schema import Verdict

_ORDER = (Verdict.CLASHES, Verdict.UNKNOWN, Verdict.FITS, None)


def figure_rows(figures: Sequence[FigureLine]) -> Iterator[str]:
    """One row a figure that a change moves: label, before -> after, verdict; both sides alike in one row.

    Clashes come first, then what is not known.  A figure that comes out as before and within its limits, or is only
    a step on the way to others, is left out.
    """
    rows: dict[tuple[str, str], list[str]] = {}
    for line in sorted(figures, key=lambda one: _ORDER.index(one.verdict)):
        wrong = line.verdict in (Verdict.CLASHES, Verdict.UNKNOWN)
        if line.moved and (wrong or (line.before != line.after and not line.is_step)):
            rows.setdefault((f"{line.label}, {line.station}", _values(line)), []).append(line.side or "")
    for (label, values), sides in rows.items():
        name = label.removesuffix(", vehicle")
        side = f" {sides[0]}" if len(sides) == 1 and sides[0] else ""
        yield f"{name + side}: {values}"


def _values(line: FigureLine) -> str:
    unit = f" {line.unit}" if line.unit else ""
    if line.after is None:
        return f"not known; {line.sentence.partition(' is not known: ')[2]}"
    text = f"{spell(line.after)}{unit}"
    if line.before is not None:
        text = f"{spell(line.before)} -> {text}"
    if line.verdict is None:
        return text
    limits = " and ".join(_limit(limit, unit) for limit in line.limits)
    return f"{text}: {line.verdict}{f' ({limits})' if limits else ''}"


def _limit(limit: LimitLine, unit: str) -> str:
    return f"at {limit.sense} {'not known' if limit.value is None else spell(limit.value) + unit}"
