"""The names of what a plan as RDF is made of."""

from pyoxigraph import NamedNode

from crosspin.model.terms import thing

PLAN = NamedNode(thing("plan", "proposed"))


def placement_node(path: str) -> NamedNode:
    """The placement at a position of the plan."""
    return NamedNode(f"{PLAN.value}/at/{path}")


def vacancy_node(path: str) -> NamedNode:
    """What a position of the plan is that is emptied."""
    return NamedNode(f"{PLAN.value}/vacancy/{path}")


def figure_node(name: str) -> NamedNode:
    """A figure of the plan, by its name and place (`reach.instance`)."""
    return NamedNode(f"{PLAN.value}/figure/{name}")
