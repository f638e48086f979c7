"""Tells one figure: its values before and after, its inputs, its limits, its verdict in one sentence."""

from decimal import Decimal

from crosspin.answer.figure_lines import FigureInputLine, FigureLine, LimitLine
from crosspin.answer.figure_words import FigureWords
from crosspin.model.figure import Figure, FigureInput, Sense
from crosspin.model.schema import Verdict
from crosspin.vehicle.figuring import Figuring, Found, Result, kept
from crosspin.vehicle.reach import Place
from crosspin.vehicle.words import Words, fill_in


class FigureTeller:
    """Puts the figures of plans for one vehicle into lines."""

    def __init__(self, received: Figuring) -> None:
        self.received = received
        self.model = received.model
        self.words = Words(received.model)
        self.say = FigureWords(received.model)

    def line(self, figure: Figure, place: Place, result: Result, moved: bool) -> FigureLine:
        """The line of a figure, worked out for the planned vehicle; `moved` where it rests on a changed position."""
        was = None if figure.planned_only else self.received.result(figure, place)
        limits = tuple(
            LimitLine(sense=limit.sense, value=_limit_value(figure, found))
            for limit, found in zip(figure.limits, result.limits, strict=True)
        )
        verdict, sentence = self._verdict(figure, place, result, was)
        return FigureLine(
            id=self._key(figure, place),
            figure=figure.id,
            label=figure.label,
            station=place.station,
            side=place.side,
            state=self.say.state(place) or None,
            moved=moved,
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

    def _key(self, figure: Figure, place: Place) -> str:
        state = self.model.states[place.state].code if place.state is not None else None
        return "/".join(word for word in (figure.id, place.station, place.side, state) if word)

    def _evidence(self, figure: Figure) -> tuple[str, ...]:
        of_formula = self.model.formulas[figure.formula].evidence
        return self.words.evidence(tuple(dict.fromkeys((*figure.evidence, *of_formula))))

    def _verdict(self, figure: Figure, place: Place, result: Result, was: Result | None) -> tuple[Verdict | None, str]:
        """Within its limits or not, in one sentence with the values in it."""
        at = self.say.place(place, self.received.reach.spans_vehicle(place.station))
        state = self.say.state(place)
        where = (f" at the {at}" if at else "") + (f" {state}" if state else "")
        if result.value is None:
            return Verdict.UNKNOWN, f"{_capital(figure.label)}{where} is not known: {result.why_not}."
        value = self.say.told(figure, result.value)
        for limit, found in zip(figure.limits, result.limits, strict=True):
            if not found.values:
                return Verdict.UNKNOWN, f"Whether {value} is right{where} is not known: {found.why_not}."
            bound, mine = _limit_value(figure, found), _kept(figure, result.value)
            assert bound is not None and mine is not None, "both are known here"
            if (mine > bound) if limit.sense is Sense.MOST else (mine < bound):
                told = {"value": value, "limit": self.say.told(figure, bound), "place": at, "state": state}
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


def _limit_value(figure: Figure, found: Found) -> Decimal | None:
    value = found.values[0] if found.values else None
    return _kept(figure, value if isinstance(value, Decimal) else None)


def _kept(figure: Figure, value: Decimal | None) -> Decimal | None:
    return None if value is None else kept(value, figure.decimals)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
