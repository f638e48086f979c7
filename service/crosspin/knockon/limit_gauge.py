"""Limits of figures that decide, judged as `ontology/rules` judge them.

Beyond a limit is forbidden, unless a remedy applies or it was beyond it as received and is no worse; unknown counts,
unless it was unknown as received; a fresh part without a reading that a safety-critical figure waits for is unsafe.
"""

from collections.abc import Sequence
from decimal import Decimal

from crosspin.knockon.figure_nodes import Element, Missing, Node
from crosspin.knockon.gauge import Cure, Gauge, Judgement, Reading
from crosspin.knockon.mating import operation_money
from crosspin.knockon.weights import Weights
from crosspin.model.figure import Figure, Limit
from crosspin.model.schema import Model
from crosspin.vehicle.figuring import kept


class LimitGauge(Gauge):
    """One figure at one place whose limits decide."""

    def __init__(
        self, model: Model, figure: Figure, name: str, value: Node, bounds: Sequence[Node], weights: Weights
    ) -> None:
        super().__init__(name, value, bounds, [limit.id for limit in figure.deciding], weights)
        self._figure = figure
        self._model = model
        self._told: dict[tuple[str, Decimal], Decimal] = {}
        """Bounds as they are told and compared, by limit; few parts give one."""

    def judge(self, now: Reading, before: Reading) -> Judgement:
        """See Gauge."""
        if now.value is Missing.NOT_THERE:
            return Judgement()
        barred: list[str] = []
        cures: list[Cure] = []
        stays = False
        for limit, bound, bound_before in zip(self._figure.deciding, now.bounds, before.bounds, strict=True):
            excess = self._excess(limit, now.value, bound)
            if excess is None or excess <= 0:
                continue
            was = self._excess(limit, before.value, bound_before)
            if was is not None and was >= excess:
                stays = True
                continue
            cure = self._cure(limit, excess)
            if cure is None:
                barred.append(limit.id)
            else:
                cures.append(cure)
        if barred:
            return Judgement(barred=tuple(barred))
        is_open = _is_open(now)
        unsafe = is_open and Missing.NOT_KNOWN_OF_FRESH in (now.value, *now.bounds) and self._figure.safety_critical
        return Judgement((), is_open and not stays and not _is_open(before), unsafe, tuple(cures))

    def _excess(self, limit: Limit, value: Element, bound: Element) -> Decimal | None:
        """By how much a value, as it is told, is beyond a limit; None where either is not known."""
        if not (isinstance(value, tuple) and isinstance(bound, tuple)):
            return None
        mine, most = value[0], bound[0]
        if not (isinstance(mine, Decimal) and isinstance(most, Decimal)):
            return None
        told = self._told.get((limit.id, most))
        if told is None:
            told = self._told[limit.id, most] = kept(limit.factor * most, self._figure.decimals)
        return limit.excess(mine, told)

    def _cure(self, limit: Limit, excess: Decimal) -> Cure | None:
        """The cheapest remedy that reaches so far, then the one with the lowest id."""
        gap = limit.excess(excess, Decimal(0))  # the value less the bound, whichever side is the wrong one
        found = []
        for remedy in (self._model.remedies[name] for name in limit.remedies):
            low = remedy.lower is None or gap >= remedy.lower
            high = remedy.upper is None or gap <= remedy.upper
            if low and high:
                found.append((operation_money(self._model, remedy), remedy.id))
        if not found:
            return None
        money, name = min(found)
        return Cure(limit.id, name, money)


def _is_open(reading: Reading) -> bool:
    """Whether it is not known if the figure is within its limits."""
    if reading.value is Missing.NOT_THERE:
        return False
    known = [bound for bound in reading.bounds if bound is not Missing.NOT_THERE]
    return any(isinstance(one, Missing) for one in (reading.value, *known)) and bool(known)
