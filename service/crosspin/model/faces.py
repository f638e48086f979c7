"""Reads what the ontology says of how its things are shown and looked up, beside what they mean."""

from decimal import Decimal

from pyoxigraph import NamedNode

from crosspin.model.mark import Mark
from crosspin.model.reader import SKOS, Reader
from crosspin.model.terms import DEF, ID, identifier
from crosspin.model.written_rule import WrittenRule

SH = "http://www.w3.org/ns/shacl#"
DCTERMS = "http://purl.org/dc/terms/"


def read_marks(r: Reader) -> dict[str, Mark]:
    """The marks of roles by their id, of stations by "layout/station"."""
    marks = {}
    for node in (*r.facts.of_type(DEF + "Role"), *r.facts.of_type(DEF + "Station")):
        numbers = {name: r.maybe_number(node, "drawn" + name.capitalize()) for name in Mark.model_fields}
        given = {name: number for name, number in numbers.items() if number is not None}
        if len(given) == len(numbers):
            name = node.value.removeprefix(ID + "layout/").replace("/station/", "/")
            marks[identifier(name)] = Mark(**given)
    return marks


def read_other_words(r: Reader) -> dict[str, tuple[str, ...]]:
    """What kinds, features and dimensions are called besides their labels, by their id."""
    found = {}
    for sort in ("Kind", "Feature", "Dimension"):
        for node in r.facts.of_type(DEF + sort):
            words = tuple(word.value for word in r.facts.all(node, SKOS + "altLabel"))
            if words:
                found[identifier(node.value)] = words
    return found


def read_plotted(r: Reader) -> tuple[str, ...]:
    """The speed tables that are drawn as a plot."""
    return tuple(identifier(node.value) for node in r.facts.of_type(DEF + "SpeedTable") if r.flag(node, "isPlotted"))


def read_deprecated(r: Reader) -> dict[str, str]:
    """By term that should not be written any more, the one in its place."""
    replaced = {node: r.facts.all(node, DCTERMS + "isReplacedBy") for node in r.facts.subjects()}
    return {
        identifier(node.value): identifier(others[0].value)
        for node, others in replaced.items()
        if others and isinstance(node, NamedNode)
    }


def read_written_rules(r: Reader) -> dict[str, WrittenRule]:
    """All rules, by their id."""
    targets: dict[str, list[str]] = {}
    for shape in r.facts.of_type(SH + "NodeShape"):
        for rule in r.facts.all(shape, SH + "rule"):
            targets.setdefault(rule.value, []).extend(
                identifier(c.value) for c in r.facts.all(shape, SH + "targetClass")
            )
    rules = [
        WrittenRule(
            **r.named(node),
            layer=Decimal(min(o.value for o in r.facts.all(node, SH + "order"))),
            targets=tuple(sorted(targets.get(node.value, ()))),
            query=r.facts.all(node, SH + "construct")[0].value.strip(),
            evidence=r.ids(node, "hasEvidence"),
        )
        for node in r.facts.of_type(SH + "SPARQLRule")
        if isinstance(node, NamedNode)
    ]
    return {rule.id: rule for rule in sorted(rules, key=lambda rule: rule.id)}
