"""The figures of a plan as a short block of text."""

from collections.abc import Iterator, Sequence

from crosspin.answer.figure_lines import FigureLine, LimitLine
from crosspin.figures.exact import spell
from crosspin.model.schema import Verdict

_ORDER = (Verdict.CLASHES, Verdict.UNKNOWN, Verdict.FITS, None)


def worth_telling(figures: Sequence[FigureLine]) -> list[tuple[FigureLine, str]]:
    """The figures that a change moves, each with what it is called, where and in which state; both sides alike are one.

    Clashes come first, then what is not known.  A figure that comes out as before and within its limits, or is only
    a step on the way to others, is left out.
    """
    found: dict[tuple[str, str, str | None, str], list[FigureLine]] = {}
    for line in sorted(figures, key=lambda one: _ORDER.index(one.verdict)):
        wrong = line.verdict in (Verdict.CLASHES, Verdict.UNKNOWN)
        if line.moved and (wrong or (line.before != line.after and not line.is_step)):
            found.setdefault((line.label, line.station, line.state, _values(line)), []).append(line)
    told = []
    for (label, station, state, _), lines in found.items():
        name = label if station == "vehicle" else f"{label}, {station}"
        side = lines[0].side if len(lines) == 1 else None
        told.append((lines[0], " ".join(word for word in (name, side, state) if word)))
    return told


def verdict_word(line: FigureLine) -> str:
    """The verdict as people are told it: a figure beyond a limit is mended by a remedy, or was so already, or no plan
    is held to that limit and it only warns."""
    if line.verdict is not Verdict.CLASHES:
        return line.verdict or ""
    if line.mended:
        return "mended"
    if line.so_already:
        return "was so already"
    return "clashes" if line.decides else "warns"


def figure_rows(figures: Sequence[FigureLine]) -> Iterator[str]:
    """One row a figure worth telling: label, before -> after, verdict."""
    for line, name in worth_telling(figures):
        yield f"{name}: {_values(line)}"


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
    return f"{text}: {verdict_word(line)}{f' ({limits})' if limits else ''}"


def _limit(limit: LimitLine, unit: str) -> str:
    return f"at {limit.sense} {'not known' if limit.value is None else spell(limit.value) + unit}"
