"""Tells the figures of a plan: before and after, with inputs, limits, verdicts and what to measure.

Every figure that applies to the vehicle is told.  Only those that rest on a changed position (`moved`) are judged:
their clashes become checks and their missing readings are asked for.  What stays as it was received is told as it is.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from crosspin.answer.figure_lines import FigureInputLine, FigureLine, LimitLine
from crosspin.answer.figure_words import FigureWords
from crosspin.answer.figuring import Figuring, Found, Gap, Place, Result, kept
from crosspin.answer.plan import Check
from crosspin.answer.reasons import Scene
from crosspin.answer.words import Words, fill_in
from crosspin.knockon.proposal import State
from crosspin.model.figure import Figure, FigureInput, Sense
from crosspin.model.schema import Verdict


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
    """The figures of one plan."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self.model = scene.model
        self.words = Words(scene.model)
        self.say = FigureWords(scene.model)
        self.before = Figuring(scene.model, scene.catalog, scene.layout, scene.received)
        self.after = Figuring(scene.model, scene.catalog, scene.layout, scene.planned, self.before)
        self._changed = {path for path, choice in scene.choices.items() if choice.state is not State.RECEIVED}

    def lines(self) -> tuple[FigureLine, ...]:
        """Every figure that applies to the planned vehicle, by identifier and place."""
        return tuple(self._line(*one) for one in self._applying())

    def _applying(self) -> Iterator[tuple[Figure, Place, Result]]:
        for figure in self.model.figures.values():
            for place in self.after.places(figure):
                result = self.after.result(figure, place)
                if result is not None:
                    yield figure, place, result

    def _moved(self, result: Result) -> bool:
        return bool(result.paths & self._changed)

    def _line(self, figure: Figure, place: Place, result: Result) -> FigureLine:
        was = None if figure.planned_only else self.before.result(figure, place)
        limits = tuple(
            LimitLine(sense=limit.sense, value=_limit_value(figure, found))
            for limit, found in zip(figure.limits, result.limits, strict=True)
        )
        verdict, sentence = self._verdict(figure, place, result, was)
        return FigureLine(
            id=_key(figure, place),
            figure=figure.id,
            label=figure.label,
            station=place.station,
            side=place.side,
            moved=self._moved(result),
            is_step=figure.is_step,
            before=_kept(figure, was.value if was is not None else None),
            after=_kept(figure, result.value),
            unit=self.say.symbol(figure.unit),
            limits=limits,
            verdict=verdict,
            sentence=sentence,
            formula=self.model.formulas[figure.formula].expression,
            inputs=tuple(self._input(one, was, result) for one in figure.inputs),
            severity=figure.severity,
            safety_critical=figure.safety_critical,
            evidence=self._evidence(figure),
        )

    def _evidence(self, figure: Figure) -> tuple[str, ...]:
        of_formula = self.model.formulas[figure.formula].evidence
        return self.words.evidence(tuple(dict.fromkeys((*figure.evidence, *of_formula))))

    def _verdict(self, figure: Figure, place: Place, result: Result, was: Result | None) -> tuple[Verdict | None, str]:
        """Within its limits or not, in one sentence with the values in it."""
        where = self.say.where(place.station, place.side, self.after.spans_vehicle(place.station))
        if result.value is None:
            return Verdict.UNKNOWN, f"{_capital(figure.label)}{where} is not known: {result.why_not}."
        value = self.say.told(figure, result.value)
        for limit, found in zip(figure.limits, result.limits, strict=True):
            if not found.values:
                return Verdict.UNKNOWN, f"Whether {value} is right{where} is not known: {found.why_not}."
            bound, mine = _limit_value(figure, found), _kept(figure, result.value)
            assert bound is not None and mine is not None, "both are known here"
            if (mine > bound) if limit.sense is Sense.MOST else (mine < bound):
                told = {"value": value, "limit": self.say.told(figure, bound), "place": where.removeprefix(" at the ")}
                return Verdict.CLASHES, fill_in(limit.says, told)
        bounds = [
            f"at {limit.sense} {self.say.told(figure, found.values[0])}"
            for limit, found in zip(figure.limits, result.limits, strict=True)
            if isinstance(found.values[0], Decimal)
        ]
        sentence = f"{_capital(figure.label)}{where}: {value}"
        if was is not None and was.value is not None:
            old = self.say.told(figure, was.value)
            sentence += ", as before" if old == value else f", {old} before"
        sentence += f"; {' and '.join(bounds)}." if bounds else "."
        return (Verdict.FITS if figure.limits else None), sentence

    # ------------------------------------------------------------------ inputs

    def _input(self, one: FigureInput, was: Result | None, result: Result) -> FigureInputLine:
        source, after = one.source, result.inputs[one.name]
        before = was.inputs.get(one.name) if was is not None else None
        return FigureInputLine(
            name=one.name,
            label=self.say.label(one.name, source),
            before=self.say.taken(source, before),
            after=self.say.taken(source, after),
            places=() if source.figures else after.paths,
            figures=source.figures,
        )

    # ------------------------------------------------------------------ what follows

    def checks(self, lines: Sequence[FigureLine]) -> tuple[Check, ...]:
        """A check, by the end of the work, for every figure that a change takes beyond its limit."""
        last = max(self.model.phases.values(), key=lambda phase: phase.number)
        return tuple(
            Check(id=line.id, label=line.label, text=line.sentence, phase=last.label, places=())
            for line in lines
            if _is_beyond(line)
        )

    def brought(self, lines: Sequence[FigureLine]) -> tuple[Brought, ...]:
        """What the figures bring that a change takes beyond their limits, at the positions that were changed."""
        beyond = {line.id: line for line in lines if _is_beyond(line)}
        return tuple(
            Brought(name, path, beyond[key].sentence)
            for figure, place, result in self._applying()
            if (key := _key(figure, place)) in beyond
            for name in figure.brings
            for path in sorted(result.paths & self._changed)
        )

    def wanted(self) -> tuple[Wanted, ...]:
        """The readings that figures which rest on a change wait for."""
        return tuple(
            Wanted(gap, f"The figure {figure.label} waits for it.", figure.safety_critical)
            for figure, _, result in self._applying()
            if self._moved(result)
            for gap in result.gaps
        )


def _key(figure: Figure, place: Place) -> str:
    return "/".join(word for word in (figure.id, place.station, place.side) if word)


def _is_beyond(line: FigureLine) -> bool:
    return line.moved and line.verdict is Verdict.CLASHES


def _limit_value(figure: Figure, found: Found) -> Decimal | None:
    value = found.values[0] if found.values else None
    return _kept(figure, value if isinstance(value, Decimal) else None)


def _kept(figure: Figure, value: Decimal | None) -> Decimal | None:
    return None if value is None else kept(value, figure.decimals)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
