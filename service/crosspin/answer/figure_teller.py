"""Tells one figure: its values before and after, its inputs, its limits, its verdict in one sentence."""

from decimal import Decimal

from crosspin.answer.figure_lines import FigureInputLine, FigureLine, LimitLine
from crosspin.answer.figure_words import FigureWords
from crosspin.model.figure import Figure, FigureInput, Limit
from crosspin.model.schema import Verdict
from crosspin.vehicle.figuring import Figuring, Found, Result, kept
from crosspin.vehicle.reach import Call, Place, instance
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
            LimitLine(sense=limit.sense, value=_limit_value(figure, found)) for limit, found in _applied(figure, result)
        )
        verdict, sentence = self._verdict(figure, place, result, was)
        return FigureLine(
            id=instance(figure, place),
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
            decides=bool(figure.deciding),
            so_already=verdict is Verdict.CLASHES and self._so_already(figure, place, result),
            sentence=sentence,
            formula=self.model.formulas[figure.formula].expression,
            inputs=tuple(self._input(one, was, result) for one in figure.inputs),
            severity=figure.severity,
            safety_critical=figure.safety_critical,
            evidence=self._evidence(figure),
        )

    def need(self, call: Call, result: Result) -> str:
        """The sentence of a need that a figure triggers, with the figure's value in it."""
        at = self.say.place(call.place, self.received.reach.spans_vehicle(call.place.station))
        value = f"something that is not known ({result.why_not})"
        if result.value is not None:
            value = self.say.told(call.figure, result.value)
        return fill_in(call.need.says, {"value": value, "place": at, "state": self.say.state(call.place)})

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
        applied = _applied(figure, result)
        for limit, found in applied:
            bound, excess = _limit_value(figure, found), _excess(figure, limit, result, found)
            if bound is not None and excess is not None and excess > 0:
                told = {"value": value, "limit": self.say.told(figure, bound), "place": at, "state": state}
                return Verdict.CLASHES, fill_in(limit.says, told)
        missing = next((found.why_not for _, found in applied if not found.values), None)
        if missing is not None:
            return Verdict.UNKNOWN, f"Whether {value} is right{where} is not known: {missing}."
        bounds = [
            f"at {limit.sense} {self.say.told(figure, found.values[0])}"
            for limit, found in applied
            if isinstance(found.values[0], Decimal)
        ]
        sentence = f"{_capital(figure.label)}{where}: {value}"
        if was is not None and was.value is not None:
            old = self.say.told(figure, was.value)
            sentence += ", as before" if old == value else f", {old} before"
        sentence += f"; {' and '.join(bounds)}." if bounds else "."
        return (Verdict.FITS if bounds else None), sentence

    def _so_already(self, figure: Figure, place: Place, result: Result) -> bool:
        """Whether every limit that the figure is beyond was passed already, and by no less."""
        was = self.received.result(figure, place)
        if was is None:
            return False
        for limit, now, before in zip(figure.limits, result.limits, was.limits, strict=True):
            excess, old = _excess(figure, limit, result, now), _excess(figure, limit, was, before)
            if excess is not None and excess > 0 and (old is None or old < excess):
                return False
        return True

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


def _applied(figure: Figure, result: Result) -> list[tuple[Limit, Found]]:
    """The limits that apply, with what they give."""
    both = zip(figure.limits, result.limits, strict=True)
    return [(limit, found) for limit, found in both if found is not None]


def _limit_value(figure: Figure, found: Found) -> Decimal | None:
    value = found.values[0] if found.values else None
    return _kept(figure, value if isinstance(value, Decimal) else None)


def _excess(figure: Figure, limit: Limit, result: Result, found: Found | None) -> Decimal | None:
    value, bound = _kept(figure, result.value), None if found is None else _limit_value(figure, found)
    return None if value is None or bound is None else limit.excess(value, bound)


def _kept(figure: Figure, value: Decimal | None) -> Decimal | None:
    return None if value is None else kept(value, figure.decimals)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
