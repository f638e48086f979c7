"""Shared by the tests of the search: answers, references and costs in one spelling."""

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from hypothesis import assume

from crosspin.catalog.catalog import Catalog
from crosspin.knockon.ask import AskError
from crosspin.knockon.proposal import Choice, Conflict, Cost, Proposal
from crosspin.knockon.search import propose
from crosspin.model.schema import Model, Part
from search.reference import Held, Plan, Rank, Reference
from search.worlds import World


def answer(world: World) -> Proposal | Conflict:
    """The search's answer; a world whose ask is refused does not count."""
    try:
        return propose(world.model, world.catalog, world.ask)
    except AskError:
        assume(False)
        raise


def plan_of(world: World) -> Proposal:
    """The search's plan; a world that has none does not count."""
    found = answer(world)
    assume(isinstance(found, Proposal))
    assert isinstance(found, Proposal)
    return found


def conflict_of(world: World) -> Conflict:
    """The search's conflict; a world that has a plan does not count."""
    found = answer(world)
    assume(isinstance(found, Conflict))
    assert isinstance(found, Conflict)
    return found


def catalog_json(catalog: Catalog) -> dict[str, Any]:
    """The catalog as it is published."""

    def dump(table: Mapping[str, Any]) -> dict[str, Any]:
        return {name: record.model_dump(mode="json") for name, record in table.items()}

    return {
        "parts": dump(catalog.parts),
        "specs": dump(catalog.specs),
        "kits": dump(catalog.kits),
        "vehicles": dump(catalog.vehicles),
    }


def reference(world: World) -> Reference:
    """The reference, which is given nothing but JSON."""
    return Reference(
        world.model.model_dump(mode="json"), catalog_json(world.catalog), world.ask.model_dump(mode="json")
    )


def without_figures(model: Model) -> Model:
    """The same ontology without figures that decide, for what is held to a solver that does not work them out; figures
    are held to solvers on random worlds (test_search_figures.py)."""
    return model.model_copy(update={"figures": {}, "figure_needs": {}})


def rank(cost: Cost) -> Rank:
    """A cost as the reference spells it."""
    return cost.unsafe, cost.lost, cost.extra, cost.unknown, Fraction(cost.money)


def held(ref: Reference, path: str, choice: Choice) -> Held:
    """A choice as the reference spells it."""
    return (str(choice.state), ref.was[path] if choice.state == "received" else choice.part)


def plan(ref: Reference, proposal: Proposal) -> Plan:
    """The plan of a proposal as the reference spells it."""
    return {path: held(ref, path, choice) for path, choice in proposal.choices.items()}


def cheaper_copy(part: Part) -> Part:
    """A part like this one, for nothing."""
    return part.model_copy(update={"id": f"{part.id}-copy", "price": part.price and round(part.price / 2, 2)})
