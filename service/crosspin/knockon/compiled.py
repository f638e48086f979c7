"""Model, catalog and layout, made ready for search once and shared by every ask about that layout.

Everything here depends on the ontology and the catalog only, never on a vehicle or an ask.  What is filled
in later (a table on its first use) comes out the same whoever fills it, so threads may share it.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from functools import partial

import numpy as np
import numpy.typing as npt

from crosspin.catalog.catalog import Catalog, Offer, PartClass
from crosspin.knockon.figure_nodes import Element, Probe
from crosspin.knockon.functions import givers
from crosspin.knockon.gauges import Gauges
from crosspin.knockon.mating import Costs, Mating
from crosspin.knockon.pairing import STATES, condition_code, disturbance_matrix, kind_code, pairing_matrix
from crosspin.knockon.proposal import State
from crosspin.knockon.room import classes_of, weigh
from crosspin.knockon.tally import Tally
from crosspin.model.judge import Judged, functions_of
from crosspin.model.schema import Hand, Layout, Model, Need, Part, Renewal
from crosspin.vehicle.access import Places
from crosspin.vehicle.reach import Reach

Codes = npt.NDArray[np.int64]


class Facet:
    """All that one side of one rule can see of a part; `states` is how many states it tells apart.

    Joint kinds ask only whether a part is fresh, needs and renewals also whether a position was emptied.
    """

    def __init__(self, name: str, read: Callable[[Judged | None], int], states: int) -> None:
        self.name = name
        self.states = states
        self.read = read
        self._codes: dict[str | None, int] = {}

    def code(self, part: Part | None) -> int:
        """What the rule sees of a part, whatever its state."""
        name = None if part is None else part.id
        known = self._codes.get(name)
        if known is None:
            known = self._codes[name] = self.read(part)
        return known

    def index(self, part: Part | None, state: State) -> int:
        """Row or column of the rule's matrix."""
        return self.states * self.code(part) + self._offset(state)

    def fresh(self, classes: Iterable[PartClass]) -> Codes:
        """Rows or columns of the rule's matrix for fresh parts of some classes."""
        codes = np.array([self.read(alike) for alike in classes], dtype=np.int64)
        return np.asarray(self.states * codes + self._offset(State.FRESH), dtype=np.int64)

    def _offset(self, state: State) -> int:
        return STATES[state] if self.states == len(STATES) else int(state is State.FRESH)


@dataclass(frozen=True, eq=False)
class Ruling:
    """One joint kind, need or renewal that a plan is held to: the facets of its two sides and the packed cost of every
    pair."""

    id: str
    first: Facet
    second: Facet
    mating: Mating | None
    pairing: Need | Renewal | None
    table: Costs | None

    @property
    def matrix(self) -> Costs:
        """Packed costs by the first and second facet's index."""
        if self.mating is not None:
            return self.mating.matrix
        assert self.table is not None
        return self.table


@dataclass(frozen=True, slots=True, eq=False)
class Link:
    """A joint or pairing of the layout between the positions `first` and `second`; one that has `through` holds where
    that comes off for a change at `first`."""

    id: str
    ruling: Ruling
    first: str
    second: str
    through: str | None = None

    def facet_at(self, path: str) -> Facet:
        """The facet that looks at that end."""
        return self.ruling.first if path == self.first else self.ruling.second

    def costs(self, path: str, here: Codes | int, there: Codes | int) -> Costs:
        """Packed costs of indices at `path` (rows) against indices at the other end."""
        matrix = self.ruling.matrix
        if path != self.first:
            matrix = matrix.T
        if isinstance(here, int) or isinstance(there, int):
            return np.asarray(matrix[here, there], dtype=np.int64)
        return np.asarray(matrix[here[:, None], there], dtype=np.int64)

    def other(self, path: str) -> str:
        """The position at the other end."""
        return self.second if path == self.first else self.first


@dataclass(frozen=True, slots=True, eq=False)
class Batch:
    """Orderable parts that no rule tells apart: all of some classes (by number; with `stocked` those on the shelf)
    and some `named` one by one.  `best` is the cheapest, then the lowest id; `place` is that of its class in the
    candidates.  There are `count` of them at least, none dearer than `dearest`."""

    place: int
    best: Offer
    classes: tuple[int, ...]
    named: tuple[Offer, ...]
    stocked: bool
    count: int
    dearest: int


class Candidates:
    """The orderable parts of one role by class of parts alike, and what every rule sees of them."""

    def __init__(
        self,
        catalog: Catalog,
        classes: Sequence[PartClass],
        facets: Iterable[Facet],
        tallies: Sequence[Tally],
        seen: Mapping[Probe, Sequence[Element]],
    ) -> None:
        self._catalog = catalog
        self.seen = seen
        self._alike = classes
        self._places = {alike.number: place for place, alike in enumerate(classes)}
        self.columns = {facet.name: facet.fresh(classes) for facet in facets}
        self.shares = {tally.resource.id: [tally.share(alike) for alike in classes] for tally in tallies}
        self._taking_part = {name for name, shares in self.shares.items() if any(s is not None for s in shares)}
        rows = zip(
            *(column.tolist() for column in self.columns.values()),
            *self.shares.values(),
            *self.seen.values(),
            strict=True,
        )
        numbered: dict[object, int] = {}
        unseen: Iterable[object] = rows if self.columns or self.shares or self.seen else [()] * len(classes)
        self._groups = [numbered.setdefault(row, len(numbered)) for row in unseen]
        self._all: dict[bool, list[Batch]] = {}

    def on(self, catalog: Catalog) -> "Candidates":
        """The same in a later catalog, in which nothing of this role has changed."""
        other = copy(self)
        other._catalog = catalog
        return other

    def takes_part(self, tally: Tally) -> bool:
        """Whether any part takes part in a resource."""
        return tally.resource.id in self._taking_part

    def all(self, stocked: bool, spared: Sequence[str] = ()) -> list[Batch]:
        """Every part; with `stocked`, every part that is known to lie on the shelf, and those spared."""
        if stocked and spared:
            return self._batches(range(len(self._alike)), stocked, spared)
        if stocked not in self._all:
            self._all[stocked] = self._batches(range(len(self._alike)), stocked, ())
        return self._all[stocked]

    def select(self, classes: Iterable[int], named: Iterable[str], stocked: bool) -> list[Batch]:
        """The parts of some classes (by number) and some parts by id."""
        return self._batches([self._places[number] for number in classes], stocked, named)

    def _batches(self, places: Iterable[int], stocked: bool, named: Iterable[str]) -> list[Batch]:
        """Parts in batches, by the id of the best of each."""
        groups: dict[int, list[tuple[int, str, int, bool]]] = {}
        for place in places:
            alike = self._alike[place]
            offer = alike.on_shelf if stocked else alike.cheapest
            if offer is not None:
                groups.setdefault(self._groups[place], []).append((offer.price, offer.part, place, True))
        for part in named:
            place = self._places[self._catalog.class_of(part)]
            offer = self._catalog.offer_of(part)
            groups.setdefault(self._groups[place], []).append((offer.price, offer.part, place, False))
        found = []
        for members in groups.values():
            price, part, place, _ = min(members)
            whole = tuple(sorted(self._alike[p].number for *_, p, all_of_it in members if all_of_it))
            single = tuple(Offer(cents, name) for cents, name, _, all_of_it in members if not all_of_it)
            classes = [self._alike[p] for *_, p, all_of_it in members if all_of_it]
            count = len(members) if stocked else len(single) + sum(some.count for some in classes)
            dearest = max((*(offer.price for offer in single), *(some.dearest for some in classes)))
            found.append(Batch(place, Offer(price, part), whole, single, stocked, count, dearest))
        return sorted(found, key=lambda batch: batch.best.part)

    def offers(self, batch: Batch, most: int) -> list[Offer]:
        """The parts of a batch, cheapest first, then by id; at most so many."""
        found = self._catalog.offers(batch.classes, most, batch.stocked)
        return sorted({*found, *batch.named}, key=lambda offer: (offer.price, offer.part))[:most]


class Compiled:
    """One layout, ready for asks; with `stocked`, for asks that take adapters from the shelf only.

    What an earlier catalog under the same ontology was prepared `before`, and is still right, is taken over.
    """

    def __init__(
        self, model: Model, catalog: Catalog, layout: Layout, stocked: bool, before: "Compiled | None" = None
    ) -> None:
        self.model = model
        self.catalog = catalog
        self.layout = layout
        self.stocked = stocked
        self.positions = {p.path: p for p in sorted(layout.positions, key=lambda p: p.path)}
        self._classes = classes_of(model, catalog, layout)
        self.reach = Reach(model, layout)
        self.gives = {role: givers(model, catalog, role) for role in self._classes}
        self.function_facets = {
            name: Facet(f"{name}/gives", partial(_gives, model, name), 2) for name in sorted(model.functions)
        }
        self.weights = weigh(model, catalog, layout, self._classes)
        if before is not None and before.weights == self.weights:
            self.gauges: Gauges = before.gauges
        else:
            self.gauges = Gauges(model, self.reach, self.weights)
        self.tallies = [Tally(model, catalog, r) for _, r in sorted(model.resources.items()) if r.severity.constrains]
        self.places = Places(model, layout)
        self._ends = self._constraining_ends()
        self.rulings = self._rule(before)
        self.links, facets = self._link()
        same = self._same_as(before, facets) if before is not None else {}
        self.candidates = {
            role: same.get(role)
            or Candidates(catalog, classes, facets[role].values(), self.tallies, self._seen(role, classes))
            for role, classes in self._classes.items()
        }

    def _seen(self, role: str, classes: Sequence[PartClass]) -> dict[Probe, Sequence[Element]]:
        """What figures with limits that decide read off fresh parts of some classes."""
        return {
            probe: [probe.read(self.model, self.catalog, alike, fresh=True) for alike in classes]
            for probe in self.gauges.probes(role)
        }

    def _same_as(self, before: "Compiled", facets: dict[str, dict[str, Facet]]) -> dict[str, Candidates]:
        """The candidates of the roles at which neither the parts have changed nor what rules see of them."""
        tallied = [tally.decimals for tally in self.tallies] == [tally.decimals for tally in before.tallies]
        recoded = {
            facet.name
            for name, ruling in self.rulings.items()
            if ruling.mating is not None
            and (earlier := before.rulings[name].mating) is not None
            and not ruling.mating.has_codes_of(earlier)
            for facet in (ruling.first, ruling.second)
        }
        return {
            role: before.candidates[role].on(self.catalog)
            for role, classes in self._classes.items()
            if tallied and classes == before._classes[role] and recoded.isdisjoint(facets[role])
        }

    def _rule(self, before: "Compiled | None") -> dict[str, Ruling]:
        model, catalog = self.model, self.catalog
        rulings: dict[str, Ruling] = {}
        ruled = {rule for _, rule, _, _ in self._ends}
        for kind in sorted(ruled & model.joint_kinds.keys()):
            mating = Mating(model, catalog, model.joint_kinds[kind], self.weights, self.stocked)
            earlier = before.rulings[kind].mating if before is not None else None
            if earlier is not None:
                mating.take_over(earlier)
            first, second = (Facet(f"{kind}/{hand}", partial(mating.code, hand), 2) for hand in (Hand.LEFT, Hand.RIGHT))
            rulings[kind] = Ruling(kind, first, second, mating, None, None)
        for name in sorted(ruled - model.joint_kinds.keys()):
            rule: Need | Renewal
            if name in model.needs:
                rule = need = model.needs[name]
                when = partial(condition_code, model, catalog, need.when)
                then = partial(condition_code, model, catalog, need.then)
            else:
                rule = renewal = model.renewals[name]
                when = partial(kind_code, model, renewal.when_kind)
                then = partial(kind_code, model, renewal.then_kind)
            first, second = Facet(f"{name}/when", when, 3), Facet(f"{name}/then", then, 3)
            same = before is not None and before.weights == self.weights
            table = before.rulings[name].table if before and same else pairing_matrix(rule, self.weights)
            rulings[name] = Ruling(name, first, second, None, rule, table)
        return rulings

    def _constraining_ends(self) -> list[tuple[str, str, str, str]]:
        """Id, rule and both positions of the joints and pairings that a plan is held to, by id; what only warns or
        informs costs nothing and bars nothing, so the search need not see it."""
        model, layout = self.model, self.layout
        rules: dict[str, Need | Renewal] = {**model.needs, **model.renewals}
        ends = [
            (j.id, j.joint_kind, j.left, j.right) for j in layout.joints if model.joint_kinds[j.joint_kind].constraining
        ]
        ends += [(p.id, p.rule, p.when, p.then) for p in layout.pairings if rules[p.rule].severity.constrains]
        return sorted(ends)

    def _disturbing(self) -> Iterator[Link]:
        """What renewals say where something comes off for a change."""
        found: dict[str, Ruling] = {}
        for one in self.places.disturbances(self.layout):
            renewal = self.model.renewals[one.rule]
            if not renewal.severity.constrains:
                continue
            ruling = found.get(one.rule)
            if ruling is None:
                then = self.rulings[one.rule].second
                changed = Facet("changed", lambda _: 0, 3)
                ruling = found[one.rule] = Ruling(one.rule, changed, then, None, renewal, disturbance_matrix())
            yield Link(one.id, ruling, one.change, one.then, one.through)

    def _link(self) -> tuple[dict[str, dict[str, tuple[Link, ...]]], dict[str, dict[str, Facet]]]:
        """The links of every position by neighbour, and the facets that look at every role."""
        links: dict[str, dict[str, tuple[Link, ...]]] = {path: {} for path in self.positions}
        seen = {role: [self.function_facets[name] for name in sorted(found)] for role, found in self.gives.items()}
        facets = {role: {facet.name: facet for facet in found} for role, found in seen.items()}
        joined = (Link(name, self.rulings[rule], first, second) for name, rule, first, second in self._ends)
        for link in (*joined, *self._disturbing()):
            first, second = link.first, link.second
            for path, other in ((first, second), (second, first)):
                links[path][other] = (*links[path].get(other, ()), link)
                facet = link.facet_at(path)
                facets[self.positions[path].role][facet.name] = facet
        return links, facets


def _gives(model: Model, function: str, part: Judged | None) -> int:
    return int(function in functions_of(model, part))
