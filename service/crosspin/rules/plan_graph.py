"""A proposal as RDF: what stands where, what was taken out, what is mended, and how resources add up.

A filled position becomes a `cp:Placement`, an emptied one a `cp:Vacancy`, which says whether a wish to
remove asked for it.  Rules do not add up, so the sum
of each resource is written down as tally lines, which the rules check.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import lru_cache
from itertools import chain
from typing import TypeAlias

from pyoxigraph import Literal, NamedNode, Quad, Triple

from crosspin.catalog.catalog import Catalog
from crosspin.knockon.proposal import Mending, Proposal, State
from crosspin.model.records import INTEGER, TYPE, cp, number, spec_triples
from crosspin.model.schema import Layout, Model, Part, Resource, Vehicle
from crosspin.model.terms import term, thing
from crosspin.rules.figure_facts import figure_facts
from crosspin.rules.plan_nodes import PLAN, figure_node, placement_node, vacancy_node
from crosspin.store.infer import as_quads
from crosspin.vehicle.access import Access, Places
from crosspin.vehicle.figuring import Figuring
from crosspin.vehicle.reach import Reach, instance
from crosspin.vehicle.received import received_part

TRUE = Literal(True)
_CACHED_PARTS = 4096
_CACHED_VEHICLES = 32
_AT, _TALLY, _FIGURE = "at/", "tally/", "figure/"

Amounts: TypeAlias = tuple[tuple[str, Decimal], ...]
"""What a part draws and supplies of one resource: the side, and the amount, negative where it draws."""


@dataclass(frozen=True)
class Written:
    """A build as RDF: what is true of it alone, and by part id what is true of each part wherever it stands.

    `pieces` has what is true of it by what it is about: the build itself, a position, a mending, a tally.
    `standing` is what stands at each position, by part id.
    """

    pieces: dict[str, tuple[Triple, ...]]
    parts: dict[str, tuple[Triple, ...]]
    standing: dict[str, str | None]

    @property
    def build(self) -> list[Triple]:
        """All that is true of the build alone."""
        return list(chain.from_iterable(self.pieces.values()))

    def pieces_beside(self, other: "Written") -> list[str]:
        """The names of the pieces that are not those of another build."""
        names = {**other.pieces, **self.pieces}
        both = ((name, self.pieces.get(name), other.pieces.get(name)) for name in names)
        return [name for name, mine, others in both if mine is not others and mine != others]

    def beside(self, other: "Written") -> tuple[list[Quad], list[Quad]]:
        """What is true of this build and not of another, and the reverse; no triple is in two pieces."""
        names = self.pieces_beside(other)
        mine, others = (
            dict.fromkeys(as_quads(triple for name in names for triple in one.pieces.get(name, ())))
            for one in (self, other)
        )
        return [quad for quad in mine if quad not in others], [quad for quad in others if quad not in mine]


@dataclass(frozen=True, slots=True)
class _Vehicle:
    """A vehicle as a plan that leaves it as it came is written, and by resource and position who has a share."""

    parts: dict[str, Part | None]
    written: Written
    amounts: dict[str, dict[str, Amounts]]
    figuring: Figuring
    access: Access


class PlanGraph:
    """Writes proposals down.  Safe to share between threads.

    How the vehicles are written that were asked about last is kept; a plan writes anew what it changes.
    """

    def __init__(self, model: Model, catalog: Catalog) -> None:
        self._model = model
        self._catalog = catalog
        self._below: dict[str, tuple[str, ...]] = {
            name: tuple(sorted(k.id for k in model.kinds.values() if name in k.ancestors and k.id != name))
            for name in model.kinds
        }
        self._places = {layout.id: Places(model, layout) for layout in model.layouts.values()}
        self._renewing = {renewal.when_role for renewal in model.renewals.values() if renewal.when_disturbed}
        self._reach = {layout.id: Reach(model, layout) for layout in model.layouts.values()}
        self._facts = lru_cache(maxsize=_CACHED_PARTS)(self._part_facts)
        self._vehicle = lru_cache(maxsize=_CACHED_VEHICLES)(self._as_it_came)

    def received(self, vehicle: Vehicle) -> Written:
        """The vehicle as it was received, with contacts shown though nothing is judged."""
        came = self._vehicle(vehicle.id)
        places = {name: piece for name, piece in came.written.pieces.items() if name.startswith(_AT)}
        shown = (Triple(PLAN, TYPE, cp("Build")), Triple(PLAN, cp("showsAll"), TRUE))
        return replace(came.written, pieces={PLAN.value: shown, **places})

    def unchanged(self, vehicle: Vehicle) -> Written:
        """The plan that leaves the vehicle as it was received."""
        return self._vehicle(vehicle.id).written

    def parts_received(self, vehicle: Vehicle) -> Mapping[str, Part | None]:
        """What stood at each position of the vehicle as it came."""
        return self._vehicle(vehicle.id).parts

    def _as_it_came(self, name: str) -> _Vehicle:
        vehicle = self._catalog.vehicles[name]
        layout = self._model.layouts[vehicle.layout]
        parts = {p.path: received_part(self._model, self._catalog, vehicle, p) for p in layout.positions}
        amounts = {
            resource.id: {path: shares for path, part in parts.items() if (shares := self._amounts(resource, part))}
            for resource in self._model.resources.values()
        }
        pieces = {
            PLAN.value: (Triple(PLAN, TYPE, cp("Build")), Triple(PLAN, cp("hasLayout"), _layout_node(layout))),
            **{_AT + path: tuple(_place(layout, path, State.RECEIVED, part, part)) for path, part in parts.items()},
            **{_TALLY + name: tuple(_tally_lines(name, layout, shares)) for name, shares in amounts.items()},
        }
        facts = self._facts_of(part for part in parts.values() if part is not None)
        figuring = Figuring(self._reach[layout.id], self._catalog, parts)
        access = Access(self._places[layout.id], parts)
        return _Vehicle(parts, Written(pieces, facts, _ids(parts)), amounts, figuring, access)

    def proposed(self, vehicle: Vehicle, proposal: Proposal) -> Written:
        """The plan; raises ValueError where the proposal leaves a position of the layout out, and KeyError
        where it names something that is not on record."""
        layout = self._model.layouts[vehicle.layout]
        missing = [p.path for p in layout.positions if p.path not in proposal.choices]
        if missing:
            raise ValueError(f"the proposal says nothing of {', '.join(missing)}; it must name every position")
        came = self._vehicle(vehicle.id)
        changed = [p for p in came.parts if proposal.choices[p].state is not State.RECEIVED]
        standing = {path: self._chosen(proposal, path) for path in changed}
        places: dict[str, tuple[Triple, ...]] = {}
        for path, part in standing.items():
            state = proposal.choices[path].state
            places[_AT + path] = (
                *_place(layout, path, state, came.parts[path], part),
                *self._disturbed(layout, came, path, state),
            )
            if state is State.EMPTIED and any(w.startswith("remove/") for w in proposal.asked.get(path, ())):
                places[_AT + path] += (Triple(vacancy_node(path), cp("wasAsked"), TRUE),)
        joints = {joint.id for joint in layout.joints}
        mendings = {
            f"mending/{index}": _mended(layout, index, one, of_figure=one.joint not in joints)
            for index, one in enumerate(proposal.mendings)
        }
        adapters = [self._catalog.parts[m.adapter] for m in proposal.mendings if m.adapter is not None]
        facts = self._facts_of([*adapters, *(part for part in standing.values() if part is not None)])
        return Written(
            {
                **came.written.pieces,
                **places,
                **self._tallies(layout, came, standing),
                **self._figures(layout, came, standing),
                **mendings,
            },
            {**came.written.parts, **facts},
            {**came.written.standing, **_ids(standing)},
        )

    def _disturbed(self, layout: Layout, came: _Vehicle, path: str, state: State) -> Iterator[Triple]:
        """What a change disturbs, of that which a renewal looks at."""
        node = placement_node(path) if state is State.FRESH else vacancy_node(path)
        roles = came.access.places.positions
        for there in sorted(came.access.disturbed(path)):
            if roles[there].role in self._renewing:
                yield Triple(node, cp("disturbs"), NamedNode(f"{_layout_node(layout).value}/{there}"))

    def _tallies(
        self, layout: Layout, came: _Vehicle, standing: Mapping[str, Part | None]
    ) -> dict[str, tuple[Triple, ...]]:
        """The tallies in which something that was changed has, or had, a share."""
        tallies = {}
        for resource in self._model.resources.values():
            before = came.amounts[resource.id]
            changes = {path: self._amounts(resource, part) for path, part in standing.items()}
            if any(shares or path in before for path, shares in changes.items()):
                tallies[_TALLY + resource.id] = tuple(_tally_lines(resource.id, layout, {**before, **changes}))
        return tallies

    def _figures(
        self, layout: Layout, came: _Vehicle, standing: Mapping[str, Part | None]
    ) -> dict[str, tuple[Triple, ...]]:
        """The figures with limits that decide on which something that was changed bears, and those that trigger a need
        where that, or what the need asks something of, was changed."""
        reach, changed = self._reach[layout.id], frozenset(standing)
        planned = _planned(came, standing, self._catalog)
        figures = {}
        for figure in self._model.figures.values():
            for place in reach.places(figure):
                moved = not changed.isdisjoint(reach.of_figure(figure, place))
                calls = reach.called(figure, place)
                asked = any(call.then in changed for call in calls)
                if not ((moved and (figure.deciding or calls)) or asked):
                    continue
                result = planned.result(figure, place)
                if result is not None:
                    before = came.figuring.result(figure, place)
                    facts = tuple(figure_facts(layout, figure, place, result, before, moved))
                    figures[_FIGURE + instance(figure, place)] = facts
        return figures

    def _facts_of(self, parts: Iterable[Part]) -> dict[str, tuple[Triple, ...]]:
        return {part.id: self._part_facts(part) if part.unidentified else self._facts(part.id) for part in parts}

    def figuring(self, vehicle: Vehicle, proposal: Proposal) -> Figuring:
        """The figures of the plan, beside those of the vehicle as it came."""
        came = self._vehicle(vehicle.id)
        changed = [p for p in came.parts if proposal.choices[p].state is not State.RECEIVED]
        return _planned(came, {path: self._chosen(proposal, path) for path in changed}, self._catalog)

    def standing(self, vehicle: Vehicle, proposal: Proposal) -> dict[str, Part | None]:
        """What stands at each position of the plan."""
        received = self._vehicle(vehicle.id).parts
        stays = {path: proposal.choices[path].state is State.RECEIVED for path in received}
        return {path: received[path] if stays[path] else self._chosen(proposal, path) for path in received}

    def _chosen(self, proposal: Proposal, path: str) -> Part | None:
        part = proposal.choices[path].part
        return None if part is None else self._catalog.parts[part]

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
        triples += [Triple(node, cp("givesFunction"), cp(function)) for function in part.functions]
        for feature, spec in part.specs.items():
            triples.append(Triple(node, cp(feature), NamedNode(thing("spec", spec))))
            triples += spec_triples(self._catalog.specs[spec], self._model)
        return tuple(triples)

    def _amounts(self, resource: Resource, part: Part | None) -> Amounts:
        sides = (
            ("draw", resource.draw_feature, resource.draw_dimension, -1),
            ("supply", resource.supply_feature, resource.supply_dimension, 1),
        )
        found = ((side, sign, self._amount(part, feature, dimension)) for side, feature, dimension, sign in sides)
        return tuple((side, sign * amount) for side, sign, amount in found if amount is not None)

    def _amount(self, part: Part | None, feature: str, dimension: str) -> Decimal | None:
        """What the part draws or supplies, where that is known; the rules see to what is not."""
        if part is None or feature in part.lacks or feature not in part.specs:
            return None
        values = self._catalog.specs[part.specs[feature]].values.get(dimension, ())
        return values[0] if len(values) == 1 and isinstance(values[0], Decimal) else None


def _planned(came: _Vehicle, standing: Mapping[str, Part | None], catalog: Catalog) -> Figuring:
    parts = {**came.parts, **standing}
    return Figuring(came.figuring.reach, catalog, parts, came.figuring, frozenset(standing))


def _tally_lines(resource: str, layout: Layout, amounts: Mapping[str, Amounts]) -> Iterator[Triple]:
    balance, previous, ordinal = Decimal(0), None, 0
    for position in layout.positions:
        for side, amount in amounts.get(position.path, ()):
            ordinal += 1
            balance += amount
            line = NamedNode(f"{PLAN.value}/line/{resource}/{ordinal}")
            yield Triple(line, TYPE, cp("TallyLine"))
            yield Triple(line, cp("inBuild"), PLAN)
            yield Triple(line, cp("ofRule"), cp(resource))
            yield Triple(line, cp("ofPlacement"), placement_node(position.path))
            yield Triple(line, cp("ofSide"), NamedNode(f"{term(resource)}/{side}"))
            yield Triple(line, cp("ordinal"), Literal(str(ordinal), datatype=INTEGER))
            yield Triple(line, cp("balance"), number(balance))
            if previous is not None:
                yield Triple(line, cp("follows"), previous)
            previous = line


def _mended(layout: Layout, index: int, mending: Mending, of_figure: bool) -> tuple[Triple, ...]:
    node = NamedNode(f"{PLAN.value}/mending/{index}")
    triples = (
        Triple(node, TYPE, cp("Mending")),
        Triple(node, cp("inBuild"), PLAN),
        Triple(node, cp("ofFigureValue"), figure_node(mending.joint))
        if of_figure
        else Triple(node, cp("ofJoint"), NamedNode(f"{_layout_node(layout).value}/{mending.joint}")),
        Triple(node, cp("byCriterion"), cp(mending.criterion)),
        Triple(node, cp("byRemedy"), cp(mending.remedy)),
    )
    if mending.adapter is None:
        return triples
    return (*triples, Triple(node, cp("withAdapter"), NamedNode(thing("part", mending.adapter))))


def _ids(standing: Mapping[str, Part | None]) -> dict[str, str | None]:
    return {path: None if part is None else part.id for path, part in standing.items()}


def _layout_node(layout: Layout) -> NamedNode:
    return NamedNode(thing("layout", layout.id))


def _place(layout: Layout, path: str, state: State, old: Part | None, part: Part | None) -> Iterator[Triple]:
    if part is not None:
        node = placement_node(path)
        yield Triple(node, TYPE, cp("Placement"))
        yield Triple(node, cp("holds"), NamedNode(thing("part", part.id)))
        if state is State.FRESH:
            yield Triple(node, cp("isFresh"), TRUE)
    elif state is State.EMPTIED:
        node = vacancy_node(path)
        yield Triple(node, TYPE, cp("Vacancy"))
    else:
        return
    yield Triple(node, cp("inBuild"), PLAN)
    yield Triple(node, cp("atPosition"), NamedNode(f"{_layout_node(layout).value}/{path}"))
    if old is not None and state is not State.RECEIVED:
        yield Triple(node, cp("takesOut"), NamedNode(thing("part", old.id)))
