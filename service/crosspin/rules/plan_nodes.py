"""The names of what a plan as RDF is made of."""

from pyoxigraph import NamedNode

from crosspin.model.terms import thing

PLAN = NamedNode(thing("plan", "proposed"))
PLACEMENT, VACANCY, FIGURE, NEED = (f"{PLAN.value}/{sort}/" for sort in ("at", "vacancy", "figure", "need"))
"""What the names of its placements, vacancies, figures and triggered needs begin with."""


def placement_node(path: str) -> NamedNode:
    """The placement at a position of the plan."""
    return NamedNode(PLACEMENT + path)


def vacancy_node(path: str) -> NamedNode:
    """What a position of the plan is that is emptied."""
    return NamedNode(VACANCY + path)


def figure_node(name: str) -> NamedNode:
    """A figure of the plan, by its name and place (`reach.instance`)."""
    return NamedNode(FIGURE + name)
