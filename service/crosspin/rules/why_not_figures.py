"""Why a limit of a figure, a need that a figure triggers, or a remedy of a limit did not speak in a plan."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from crosspin.figures.exact import spell
from crosspin.model.figure import Figure, Limit
from crosspin.model.schema import FigureNeed, Remedy, Verdict
from crosspin.rules.trial import VEHICLE, Conditions, Place, Trial, bounds
from crosspin.vehicle.figuring import Found, Result, kept
from crosspin.vehicle.reach import Call, instance
from crosspin.vehicle.reach import Place as Where


@dataclass(frozen=True, slots=True)
class _Judged:
    """A figure beside one of its limits, both as they are compared; None where either is not known."""

    limit: Limit
    value: Decimal | None
    bound: Decimal | None

    @property
    def excess(self) -> Decimal | None:
        """By how much the figure is beyond the limit; negative where it is within."""
        return None if self.value is None or self.bound is None else self.limit.excess(self.value, self.bound)


class FigureAsker(Conditions):
    """Tries the conditions of what rests on figures.

    A limit speaks where the plan is judged by it, as a criterion speaks at a joint: also where the figure is within.
    """

    def limited(self, figure: Figure, limits: Sequence[Limit]) -> Iterator[Place]:
        """What became of limits of a figure, each at every place and in every state of the figure."""
        for where in self.standing.figuring.reach.places(figure):
            for limit in limits:
                trial = Trial(_at(figure, where))
                judged = self._judged(trial, figure, limit, where)
                if judged is not None:
                    self._told(trial, figure, judged, where)
                yield trial.done(judged is not None)

    def remedied(self, remedy: Remedy) -> Iterator[Place]:
        """What became of a remedy at every limit that names it."""
        for figure in self.model.figures.values():
            for limit in figure.limits:
                if remedy.id in limit.remedies:
                    for where in self.standing.figuring.reach.places(figure):
                        trial = Trial(_at(figure, where))
                        yield trial.done(self._is_taken(trial, remedy, figure, limit, where))

    def called(self, need: FigureNeed) -> Iterator[Place]:
        """What became of a need at every place of its figure and position that it asks something of."""
        for call in self.standing.figuring.reach.calls.values():
            if call.need.id == need.id:
                trial = Trial(f"{_at(call.figure, call.place)}--{call.then}")
                spoke = self._calls(trial, call)
                if spoke:
                    self.answered(trial, need.then, call.then)
                yield trial.done(spoke)

    # ------------------------------------------------------------------ limits

    def _judged(self, trial: Trial, figure: Figure, limit: Limit, where: Where) -> _Judged | None:
        """The figure beside its limit where a plan is judged by it."""
        if not self._moved(trial, figure, where):
            return None
        result = self._meant(trial, figure, where)
        if result is None:
            return None
        found = result.limits[figure.limits.index(limit)]
        told = "no part there could have what it is read from" if found is None else self._bound(figure, limit, found)
        if not trial.note(f"{limit.id} applies", told, found is not None):
            return None
        judged = _Judged(limit, _kept(figure, result.value), _value(figure, found))
        return judged if trial.note("a plan is held to it", self._held(judged), limit.decides) else None

    def _moved(self, trial: Trial, figure: Figure, where: Where) -> bool:
        touched = sorted(self.standing.figuring.reach.of_figure(figure, where) & self.standing.changed)
        return trial.note(f"something that the {figure.label} rests on is changed", _listed(touched), bool(touched))

    def _meant(self, trial: Trial, figure: Figure, where: Where) -> Result | None:
        """The figure there, noted with its value or what is missing; None where it has no meaning there."""
        figuring = self.standing.figuring
        if figure.when_role is not None and figure.when_kind is not None:
            for position in figuring.reach.in_role(figure.when_role, where):
                if not self.stands(trial, position.path) or not self.of_kind(trial, position.path, figure.when_kind):
                    return None
        result = figuring.result(figure, where)
        words = f"the {figure.label} has a meaning there"
        if result is None:
            trial.note(words, "no part there could have what it is worked out from", False)
        else:
            trial.note(words, self._amount(figure, result), True)
        return result

    def _held(self, judged: _Judged) -> str:
        if judged.limit.decides:
            return "it decides"
        phase = judged.limit.phase
        why = "it only warns" if phase is None else f"it is met in the phase {self.model.phases[phase].label}"
        return f"{why}: {self._verdict(judged)}"

    def _told(self, trial: Trial, figure: Figure, judged: _Judged, where: Where) -> None:
        """What the limit says: whether the figure is within, was beyond it already, or is brought back by a remedy."""
        both = (
            f"{self._number(figure, judged.value)} against at {judged.limit.sense} {self._number(figure, judged.bound)}"
        )
        trial.note(f"judged by {judged.limit.id}", f"{both}: {self._verdict(judged)}", True)
        if judged.excess is None or judged.excess <= 0:
            return
        before = self._before(figure, judged.limit, where)
        was = before.excess if before is not None else None
        old = "not known" if before is None or was is None else self._number(figure, before.value)
        if trial.note(
            "it was beyond it already, and no less", f"{old} as received", was is not None and was >= judged.excess
        ):
            return
        name = instance(figure, where)
        taken = [m.remedy for m in self.standing.mendings if (m.joint, m.criterion) == (name, judged.limit.id)]
        trial.note("a remedy brings it back", _listed(taken), bool(taken))

    def _before(self, figure: Figure, limit: Limit, where: Where) -> _Judged | None:
        """The figure beside its limit as the vehicle was received; None where it had no meaning."""
        result = self.standing.figuring.received.result(figure, where)
        if result is None:
            return None
        found = result.limits[figure.limits.index(limit)]
        return _Judged(limit, _kept(figure, result.value), _value(figure, found))

    def _is_taken(self, trial: Trial, remedy: Remedy, figure: Figure, limit: Limit, where: Where) -> bool:
        judged = self._judged(trial, figure, limit, where)
        if judged is None:
            return False
        beyond = judged.excess is not None and judged.excess > 0
        words = f"{self._number(figure, judged.value)} against at {limit.sense} {self._number(figure, judged.bound)}"
        if not trial.note(f"the figure is beyond {limit.id}", f"{words}: {self._verdict(judged)}", beyond):
            return False
        assert judged.value is not None and judged.bound is not None, "it is beyond its limit"
        gap = judged.value - judged.bound
        inside = (remedy.lower is None or gap >= remedy.lower) and (remedy.upper is None or gap <= remedy.upper)
        if not trial.note(f"the difference is {bounds(remedy.lower, remedy.upper)}", spell(gap), inside):
            return False
        name = instance(figure, where)
        taken = [m.remedy for m in self.standing.mendings if (m.joint, m.criterion) == (name, limit.id)]
        took = f"the plan takes {_listed(taken)}" if taken else "the plan mends nothing here"
        return trial.note("it is the cheapest that does", took, remedy.id in taken)

    # ------------------------------------------------------------------ needs

    def _calls(self, trial: Trial, call: Call) -> bool:
        """Whether a figure calls for something new, or for something of a position that is changed."""
        figuring, figure, need = self.standing.figuring, call.figure, call.need
        asked = call.then in self.standing.changed
        touched = figuring.reach.of_figure(figure, call.place) & self.standing.changed
        words = f"something that the {figure.label} rests on, or {call.then}, is changed"
        if not trial.note(words, _listed(sorted({*touched, *([call.then] if asked else [])})), asked or bool(touched)):
            return False
        result = self._meant(trial, figure, call.place)
        if result is None:
            return False
        value = _kept(figure, result.value)
        calls = None if value is None else need.covers(value)
        words = f"the {figure.label} is {bounds(need.lower, need.upper)}"
        if not trial.note(words, self._number(figure, value), calls):
            return False
        before = figuring.received.result(figure, call.place)
        was = _kept(figure, before.value) if before is not None else None
        already = before is not None and ((was is None and value is None) or (was is not None and need.covers(was)))
        told = "it had no meaning" if before is None else self._number(figure, was)
        words = f"it did not call for that as received, or {call.then} is changed"
        return trial.note(
            words, f"{told} as received, {call.then} {'is changed' if asked else 'stays'}", asked or not already
        )

    # ------------------------------------------------------------------ words

    def _amount(self, figure: Figure, result: Result) -> str:
        value = _kept(figure, result.value)
        return self._number(figure, value) if value is not None else f"not known: {result.why_not}"

    def _bound(self, figure: Figure, limit: Limit, found: Found) -> str:
        bound = _value(figure, found)
        return f"at {limit.sense} {self._number(figure, bound)}" if bound is not None else f"not known: {found.why_not}"

    def _verdict(self, judged: _Judged) -> Verdict:
        if judged.excess is None:
            return Verdict.UNKNOWN
        return Verdict.CLASHES if judged.excess > 0 else Verdict.FITS

    def _number(self, figure: Figure, value: Decimal | None) -> str:
        unit = self.model.units.get(figure.unit or "")
        return "not known" if value is None else f"{spell(value)} {unit.symbol if unit is not None else ''}".rstrip()


def _at(figure: Figure, where: Where) -> str:
    """Where a figure is worked out, as derivations name it."""
    return instance(figure, where).removeprefix(figure.id).lstrip("/") or VEHICLE


def _kept(figure: Figure, value: object) -> Decimal | None:
    return kept(value, figure.decimals) if isinstance(value, Decimal) else None


def _value(figure: Figure, found: Found | None) -> Decimal | None:
    return _kept(figure, found.values[0]) if found is not None and found.values else None


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names) or "nothing"
