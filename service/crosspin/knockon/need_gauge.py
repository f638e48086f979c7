"""Needs that figures trigger, judged as `ontology/rules` judge them.

A figure in the range of a need asks something of a position.  What was asked when the vehicle was received, and no
less surely, is not asked again of a position that is left as it was: the two were received together.
"""

from decimal import Decimal

from crosspin.knockon.figure_nodes import Answer, Element, Missing, Node
from crosspin.knockon.gauge import Gauge, Judgement, Reading
from crosspin.knockon.pairing import NO, UNSURE, YES, answered
from crosspin.knockon.weights import Weights
from crosspin.model.schema import Verdict
from crosspin.vehicle.reach import Call


class NeedGauge(Gauge):
    """One figure at one place that may trigger a need, beside what stands at the position that is asked."""

    def __init__(self, call: Call, value: Node, then: Node, weights: Weights) -> None:
        super().__init__(call.id, value, (then,), (None,), weights)
        self._call = call

    def judge(self, now: Reading, before: Reading) -> Judgement:
        """See Gauge."""
        when, was = self._asks(now.value), self._asks(before.value)
        if when == NO or (now.bounds == before.bounds and was in (YES, when)):
            return Judgement()
        (then,) = now.bounds
        assert isinstance(then, Answer), "it is what stands at a position"
        verdict = answered(when, then.code, self._call.need.then is None)
        return Judgement((None,) if verdict is Verdict.CLASHES else (), verdict is Verdict.UNKNOWN)

    def _asks(self, value: Element) -> int:
        """Whether a figure calls for what is needed: YES, NO, or UNSURE where it is not known."""
        if value is Missing.NOT_THERE:
            return NO
        if isinstance(value, tuple) and isinstance(value[0], Decimal):
            return YES if self._call.need.covers(value[0]) else NO
        return UNSURE
