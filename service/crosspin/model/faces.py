"""Reads what the ontology says of how its things are shown and looked up, beside what they mean."""

from crosspin.model.mark import Mark
from crosspin.model.reader import SKOS, Reader
from crosspin.model.terms import DEF, ID, identifier


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
