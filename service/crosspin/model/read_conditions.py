"""Reads conditions on parts, and the needs that a figure triggers."""

from crosspin.model.reader import BrokenOntology, Reader
from crosspin.model.schema import Condition, FigureNeed, Scope, Severity
from crosspin.model.terms import DEF
from crosspin.store.graph import Term as Node

_SCOPES = (Scope.SAME_AXLE, Scope.WHOLE_VEHICLE)
_OF_PARTS = ("whenRole", "whenKind", "whenFeature", "whenDimension", "whenCode", "whenFresh", "onlyAt", "onlyOn")


def read_condition(r: Reader, node: Node, word: str, kind: str) -> Condition:
    """The condition that a rule names by "when" or "then"; of any part of `kind` where none narrower is named."""
    return Condition(
        kind=r.maybe_id(node, word + "Kind") or kind,
        feature=r.maybe_id(node, word + "Feature"),
        dimension=r.maybe_id(node, word + "Dimension"),
        codes=r.texts(node, word + "Code"),
        lower=r.maybe_number(node, word + "Lower"),
        upper=r.maybe_number(node, word + "Upper"),
    )


def read_figure_need(r: Reader, node: Node) -> FigureNeed:
    """A need with cp:whenFigure; raises BrokenOntology where it is mixed with what speaks of a part."""
    for name in _OF_PARTS:
        if r.facts.all(node, DEF + name):
            raise BrokenOntology(f"{node} has cp:whenFigure and cp:{name}; a figure is looked at by itself")
    need = FigureNeed(
        **r.named(node),
        figure=r.id(node, "whenFigure"),
        lower=r.maybe_number(node, "whenLower"),
        upper=r.maybe_number(node, "whenUpper"),
        then_role=r.id(node, "thenRole"),
        then=None if r.flag(node, "thenEmpty") else read_condition(r, node, "then", "Part"),
        scope=r.choice(node, "hasScope", Scope),
        says=r.text(node, "says"),
        severity=r.choice(node, "severity", Severity),
        evidence=r.ids(node, "hasEvidence"),
    )
    if need.lower is None and need.upper is None:
        raise BrokenOntology(f"{node} has cp:whenFigure without cp:whenLower or cp:whenUpper")
    if need.scope not in _SCOPES:
        raise BrokenOntology(f"{node} has cp:whenFigure, so its cp:hasScope is cp:sameAxle or cp:wholeVehicle")
    return need
