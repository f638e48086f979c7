"""A proposal as RDF: what stands where, what was taken out, what is mended, and how resources add up.

A filled position becomes a `cp:Placement`, an emptied one a `cp:Vacancy`, which says whether a wish to
remove asked for it.  Rules do not add up, so the sum
of each resource is written down as tally lines, which the rules check.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

from pyoxigraph import Literal, NamedNode, Triple

from crosspin.catalog.catalog import Catalog
from crosspin.knockon.proposal import Proposal, State
from crosspin.knockon.received import received_part
from crosspin.model.records import INTEGER, TYPE, cp, number, spec_triples
from crosspin.model.schema import Layout, Model, Part, Position, Vehicle
from crosspin.model.terms import term, thing

PLAN = NamedNode(thing("plan", "proposed"))
TRUE = Literal(True)
_CACHED_PARTS = 4096


@dataclass(frozen=True, slots=True)
class Written:
    """A build as RDF: what is true of it alone, and by part id what is true of each part wherever it stands.

    `standing` is what stands at each position, by part id.
    """

    build: list[Triple]
    parts: dict[str, tuple[Triple, ...]]
    standing: dict[str, str | None]


class PlanGraph:
    """Writes proposals down.  Safe to share between threads."""

    def __init__(self, model: Model, catalog: Catalog) -> None:
        self._model = model
        self._catalog = catalog
        self._below: dict[str, tuple[str, ...]] = {
            name: tuple(sorted(k.id for k in model.kinds.values() if name in k.ancestors and k.id != name))
            for name in model.kinds
        }
        self._facts = lru_cache(maxsize=_CACHED_PARTS)(self._part_facts)

    def received(self, vehicle: Vehicle) -> Written:
        """The vehicle as it was received, with contacts shown though nothing is judged."""
        layout = self._model.layouts[vehicle.layout]
        standing = {p.path: received_part(self._model, self._catalog, vehicle, p) for p in layout.positions}
        triples = [Triple(PLAN, TYPE, cp("Build")), Triple(PLAN, cp("showsAll"), TRUE)]
        for path, part in standing.items():
            triples += _place(layout, path, State.RECEIVED, part, part)
        return Written(triples, self._facts_of(part for part in standing.values() if part is not None), _ids(standing))

    def proposed(self, vehicle: Vehicle, proposal: Proposal) -> Written:
        """The plan; raises ValueError where the proposal leaves a position of the layout out, and KeyError
        where it names something that is not on record."""
        layout = self._model.layouts[vehicle.layout]
        missing = [p.path for p in layout.positions if p.path not in proposal.choices]
        if missing:
            raise ValueError(f"the proposal says nothing of {', '.join(missing)}; it must name every position")
        received = {p.path: received_part(self._model, self._catalog, vehicle, p) for p in layout.positions}
        standing = {p.path: self._standing(proposal, p, received[p.path]) for p in layout.positions}
        triples = [Triple(PLAN, TYPE, cp("Build")), Triple(PLAN, cp("hasLayout"), _layout_node(layout))]
        parts: dict[str, Part] = {}
        for position in layout.positions:
            state = proposal.choices[position.path].state
            old, part = received[position.path], standing[position.path]
            triples += _place(layout, position.path, state, old, part)
            if state is State.EMPTIED and any(w.startswith("remove/") for w in proposal.asked.get(position.path, ())):
                triples.append(Triple(_vacancy_node(position.path), cp("wasAsked"), TRUE))
            for one in (old if state is not State.RECEIVED else None, part):
                if one is not None:
                    parts[one.id] = one
        for index, mending in enumerate(proposal.mendings):
            node = NamedNode(f"{PLAN.value}/mending/{index}")
            triples += [
                Triple(node, TYPE, cp("Mending")),
                Triple(node, cp("inBuild"), PLAN),
                Triple(node, cp("ofJoint"), NamedNode(f"{_layout_node(layout).value}/{mending.joint}")),
                Triple(node, cp("byCriterion"), cp(mending.criterion)),
                Triple(node, cp("byRemedy"), cp(mending.remedy)),
            ]
            if mending.adapter is not None:
                triples.append(Triple(node, cp("withAdapter"), NamedNode(thing("part", mending.adapter))))
                parts[mending.adapter] = self._catalog.parts[mending.adapter]
        triples += self._tally_lines(standing)
        return Written(triples, self._facts_of(parts.values()), _ids(standing))

    def _facts_of(self, parts: Iterable[Part]) -> dict[str, tuple[Triple, ...]]:
        return {part.id: self._part_facts(part) if part.unidentified else self._facts(part.id) for part in parts}

    def standing(self, vehicle: Vehicle, proposal: Proposal) -> dict[str, Part | None]:
        """What stands at each position of the plan."""
        return {
            p.path: self._standing(proposal, p, received_part(self._model, self._catalog, vehicle, p))
            for p in self._model.layouts[vehicle.layout].positions
        }

    def _standing(self, proposal: Proposal, position: Position, received: Part | None) -> Part | None:
        choice = proposal.choices[position.path]
        if choice.state is State.RECEIVED:
            return received
        return None if choice.part is None else self._catalog.parts[choice.part]

    def _part_facts(self, part: Part | str) -> tuple[Triple, ...]:
        if isinstance(part, str):
            part = self._catalog.parts[part]
        node = NamedNode(thing("part", part.id))
        triples = [Triple(node, TYPE, cp(kind)) for kind in sorted(self._model.kinds[part.kind].ancestors)]
        if part.unidentified:
            triples += [Triple(node, cp("mayBe"), cp(kind)) for kind in self._below[part.kind]]
        if part.price is not None:
            triples.append(Triple(node, cp("price"), number(part.price)))
        triples += [Triple(node, cp("lacks"), cp(feature)) for feature in part.lacks]
        for feature, spec in part.specs.items():
            triples.append(Triple(node, cp(feature), NamedNode(thing("spec", spec))))
            triples += spec_triples(self._catalog.specs[spec], self._model)
        return tuple(triples)

    def _tally_lines(self, standing: Mapping[str, Part | None]) -> Iterator[Triple]:
        for resource in self._model.resources.values():
            sides = (
                ("draw", resource.draw_feature, resource.draw_dimension, -1),
                ("supply", resource.supply_feature, resource.supply_dimension, 1),
            )
            balance, previous, ordinal = Decimal(0), None, 0
            for path, part in standing.items():
                for side, feature, dimension, sign in sides:
                    amount = self._amount(part, feature, dimension)
                    if amount is None:
                        continue
                    ordinal += 1
                    balance += sign * amount
                    line = NamedNode(f"{PLAN.value}/line/{resource.id}/{ordinal}")
                    yield Triple(line, TYPE, cp("TallyLine"))
                    yield Triple(line, cp("inBuild"), PLAN)
                    yield Triple(line, cp("ofRule"), cp(resource.id))
                    yield Triple(line, cp("ofPlacement"), placement_node(path))
                    yield Triple(line, cp("ofSide"), NamedNode(f"{term(resource.id)}/{side}"))
                    yield Triple(line, cp("ordinal"), Literal(str(ordinal), datatype=INTEGER))
                    yield Triple(line, cp("balance"), number(balance))
                    if previous is not None:
                        yield Triple(line, cp("follows"), previous)
                    previous = line

    def _amount(self, part: Part | None, feature: str, dimension: str) -> Decimal | None:
        """What the part draws or supplies, where that is known; the rules see to what is not."""
        if part is None or feature in part.lacks or feature not in part.specs:
            return None
        values = self._catalog.specs[part.specs[feature]].values.get(dimension, ())
        return values[0] if len(values) == 1 and isinstance(values[0], Decimal) else None


def _ids(standing: Mapping[str, Part | None]) -> dict[str, str | None]:
    return {path: None if part is None else part.id for path, part in standing.items()}


def _layout_node(layout: Layout) -> NamedNode:
    return NamedNode(thing("layout", layout.id))


def placement_node(path: str) -> NamedNode:
    """The placement at a position of the plan."""
    return NamedNode(f"{PLAN.value}/at/{path}")


def _vacancy_node(path: str) -> NamedNode:
    return NamedNode(f"{PLAN.value}/vacancy/{path}")


def _place(layout: Layout, path: str, state: State, old: Part | None, part: Part | None) -> Iterator[Triple]:
    if part is not None:
        node = placement_node(path)
        yield Triple(node, TYPE, cp("Placement"))
        yield Triple(node, cp("holds"), NamedNode(thing("part", part.id)))
        if state is State.FRESH:
            yield Triple(node, cp("isFresh"), TRUE)
    elif state is State.EMPTIED:
        node = _vacancy_node(path)
        yield Triple(node, TYPE, cp("Vacancy"))
    else:
        return
    yield Triple(node, cp("inBuild"), PLAN)
    yield Triple(node, cp("atPosition"), NamedNode(f"{_layout_node(layout).value}/{path}"))
    if old is not None and state is not State.RECEIVED:
        yield Triple(node, cp("takesOut"), NamedNode(thing("part", old.id)))
