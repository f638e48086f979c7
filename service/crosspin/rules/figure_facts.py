"""Figures that face limits or trigger needs, as facts for the rules: formulas compute, rules judge."""

from collections.abc import Iterator
from decimal import Decimal

from pyoxigraph import Literal, NamedNode, Triple

from crosspin.model.figure import Figure, Sense
from crosspin.model.records import TYPE, cp, number
from crosspin.model.schema import Layout
from crosspin.model.terms import thing
from crosspin.rules.plan_nodes import PLAN, figure_node, placement_node
from crosspin.vehicle.figuring import Found, Result, kept
from crosspin.vehicle.reach import Place, instance

_TRUE = Literal(True)
_NOW = {Sense.MOST: "mostAllowed", Sense.LEAST: "leastAllowed"}
_BEFORE = {Sense.MOST: "mostAllowedBefore", Sense.LEAST: "leastAllowedBefore"}


def figure_facts(
    layout: Layout, figure: Figure, place: Place, result: Result, before: Result | None, moved: bool
) -> Iterator[Triple]:
    """What a figure comes to and came to, rounded as it is reported; where something that was changed bears on it
    (`moved`), with the bounds of the limits that decide, if they are read from a part or another figure."""
    node = figure_node(instance(figure, place))
    yield Triple(node, TYPE, cp("FigureValue"))
    yield Triple(node, cp("inBuild"), PLAN)
    yield Triple(node, cp("ofFigure"), cp(figure.id))
    yield Triple(node, cp("atStation"), NamedNode(f"{thing('layout', layout.id)}/station/{place.station}"))
    if place.side is not None:
        yield Triple(node, cp("onSide"), cp(place.side))
    yield from _amount(node, "comesTo", figure, result.value)
    yield from _amount(node, "cameTo", figure, before.value if before is not None else None)
    waits = {gap.path for gap in result.input_gaps}
    bounds_before = before.limits if before is not None else (None,) * len(figure.limits)
    for limit, bound, bound_before in zip(figure.limits, result.limits, bounds_before, strict=True):
        if not limit.decides or bound is None or not moved:
            continue
        yield Triple(node, cp("facesLimit"), cp(limit.id))
        if not limit.source.constants:  # a constant is the criterion's own, so that the rules judge by it
            yield from _amount(node, _NOW[limit.sense], figure, _value(bound))
        waits.update(gap.path for gap in bound.gaps)
        yield from _amount(node, _BEFORE[limit.sense], figure, _value(bound_before))
    if before is not None and before.value is None:
        yield Triple(node, cp("wasUnknown"), _TRUE)
    if before is not None and _was_open(figure, before):
        yield Triple(node, cp("wasOpen"), _TRUE)
    yield from (Triple(node, cp("waitsFor"), placement_node(path)) for path in sorted(waits))


def _was_open(figure: Figure, before: Result) -> bool:
    """Whether it was not known if the figure was within the limits that applied."""
    both = zip(figure.limits, before.limits, strict=True)
    bounds = [bound for limit, bound in both if limit.decides and bound is not None]
    return bool(bounds) and (before.value is None or any(_value(bound) is None for bound in bounds))


def _value(bound: Found | None) -> Decimal | None:
    value = bound.values[0] if bound is not None and bound.values else None
    return value if isinstance(value, Decimal) else None


def _amount(node: NamedNode, name: str, figure: Figure, value: Decimal | None) -> Iterator[Triple]:
    if value is not None:
        yield Triple(node, cp(name), number(kept(value, figure.decimals)))
