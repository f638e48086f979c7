"""One ask as a plain optimisation problem that any solver can be given: positions, values, tables, sums.

It is worked out from the published JSON by `search.reference`, which shares no code with the search, so that
what a peer answers is a check on ours.  Three sizes of the same problem:

collapsed  one value for all parts of equal kind and specs, the cheapest (`build`)
raw        one value for each part; what a rule sees of them is still looked up by spec (`raw`)
reduced    collapsed, then without what cannot matter: values that find no partner, positions that need not be
           touched, values that every rule sees alike (`reduced`)
"""

from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from crosspin.catalog.catalog import Catalog, Offer
from crosspin.knockon.ask import Ask
from crosspin.model.schema import Model
from search.reference import Held, Rank, Reference

Numbers = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

NEVER = 1 << 60
EVERY = 1 << 30
BITS = (5, 4, 9, 10, 24)
"""Of unsafe, lost, extra, unknown and money in cents: 52 in all, so that a double holds a cost exactly."""

MONEY = 1 << BITS[4]
UNKNOWN = MONEY
EXTRA = UNKNOWN << BITS[3]
LOST = EXTRA << BITS[2]
UNSAFE = LOST << BITS[1]


def packed(rank: Rank | None) -> int:
    """A cost as one number; NEVER for what is forbidden."""
    if rank is None:
        return NEVER
    cents = rank[4] * 100
    assert cents.denominator == 1, f"{rank} is not in whole cents"
    return rank[0] * UNSAFE + rank[1] * LOST + rank[2] * EXTRA + rank[3] * UNKNOWN + int(cents)


def levels(cost: int) -> tuple[int, int, int, int, int]:
    """A packed cost by level: unsafe, lost, extra, unknown, cents."""
    return cost // UNSAFE, cost % UNSAFE // LOST, cost % LOST // EXTRA, cost % EXTRA // UNKNOWN, cost % UNKNOWN


@dataclass(frozen=True)
class View:
    """All that one rule sees of a position: a code for each of its values, from 0 to `size` - 1."""

    position: int
    codes: Numbers
    size: int


@dataclass(frozen=True)
class Table:
    """What a rule costs by the codes of two views."""

    first: int
    second: int
    costs: Numbers


@dataclass(frozen=True)
class Sum:
    """A resource: for every position, by value, the draw less supply, whether that is not known, and whether the
    value is a change to somebody who takes part."""

    net: list[Numbers]
    missing: list[Flags]
    changes: list[Flags]

    def only(self, places: list[Numbers]) -> "Sum":
        """The same for some of the values of every position."""
        return Sum(
            [column[some] for column, some in zip(self.net, places, strict=True)],
            [column[some] for column, some in zip(self.missing, places, strict=True)],
            [column[some] for column, some in zip(self.changes, places, strict=True)],
        )

    @property
    def most(self) -> int:
        """The greatest draw less supply of any plan."""
        return int(sum(net.max() for net in self.net))

    @property
    def idle(self) -> bool:
        """Whether it can never cost anything."""
        if not any(changes.any() for changes in self.changes):
            return True
        return self.most <= 0 and not any(missing.any() for missing in self.missing)


@dataclass(frozen=True)
class Instance:
    """The problem.  `own` is what each value of each position costs by itself; position i is `paths[i]`."""

    paths: list[str]
    named: frozenset[int]
    kept: frozenset[int]
    values: list[list[Held]]
    own: list[Numbers]
    views: list[View]
    tables: list[Table]
    sums: list[Sum]

    @property
    def size(self) -> int:
        """How many values all positions have."""
        return sum(costs.size for costs in self.own)

    def cost(self, chosen: Mapping[int, int] | list[int]) -> int:
        """What a plan costs, given the place of the value of every position."""
        total = sum(int(own[chosen[place]]) for place, own in enumerate(self.own))
        for table in self.tables:
            first, second = self.views[table.first], self.views[table.second]
            total += int(table.costs[first.codes[chosen[first.position]], second.codes[chosen[second.position]]])
        for one in self.sums:
            at = [
                (net[chosen[i]], one.missing[i][chosen[i]], one.changes[i][chosen[i]]) for i, net in enumerate(one.net)
            ]
            if any(change for _, _, change in at):
                if any(missing for _, missing, _ in at):
                    total += UNKNOWN
                elif sum(net for net, _, _ in at) > 0:
                    total += NEVER
        return total

    def only(self, places: list[Numbers]) -> "Instance":
        """The problem with some of the values of every position, tables cut down to what these show."""
        codes = [np.unique(view.codes[places[view.position]], return_inverse=True) for view in self.views]
        return Instance(
            self.paths,
            self.named,
            self.kept,
            [[held[i] for i in some.tolist()] for held, some in zip(self.values, places, strict=True)],
            [own[some] for own, some in zip(self.own, places, strict=True)],
            [View(v.position, inverse, len(seen)) for v, (seen, inverse) in zip(self.views, codes, strict=True)],
            [Table(t.first, t.second, t.costs[np.ix_(codes[t.first][0], codes[t.second][0])]) for t in self.tables],
            [one.only(places) for one in self.sums],
        )

    def folded(self) -> "Instance":
        """The problem without tables that look at one code only on a side, without sums that cost nothing, and
        without views that nobody has then."""
        own, tables = list(self.own), []
        for table in self.tables:
            first, second = self.views[table.first], self.views[table.second]
            if first.size == 1:
                own[second.position] = np.minimum(own[second.position] + table.costs[0][second.codes], NEVER)
            elif second.size == 1:
                own[first.position] = np.minimum(own[first.position] + table.costs[:, 0][first.codes], NEVER)
            elif table.costs.any():
                tables.append(table)
        used = sorted({number for table in tables for number in (table.first, table.second)})
        number = {old: new for new, old in enumerate(used)}
        views = [self.views[old] for old in used]
        tables = [Table(number[table.first], number[table.second], table.costs) for table in tables]
        sums = [one for one in self.sums if not one.idle]
        return Instance(self.paths, self.named, self.kept, self.values, own, views, tables, sums)


# ---------------------------------------------------------------------- building


def _dump(records: Iterable[Any]) -> dict[str, Any]:
    return {record.id: record.model_dump(mode="json") for record in records}


class Asked:
    """One ask about one catalog, with the parts that are alike, cheapest first."""

    def __init__(self, model: Model, catalog: Catalog, ask: Ask) -> None:
        self._catalog = catalog
        roots = [kind.id for kind in model.kinds.values() if not kind.parents]
        alike = [found for root in roots for found in catalog.classes(model, root)]
        self._classes = {found.cheapest.part: found.number for found in alike}
        kits = [line.part for fit in ask.fit if fit.kit for line in catalog.kits[fit.kit].lines]
        wanted = {*self._classes, *catalog.vehicles[ask.vehicle].parts.values(), *kits}
        wanted |= {fit.part for fit in ask.fit if fit.part is not None}
        specs = {spec for name in wanted for spec in catalog.parts[name].specs.values()}
        self._reference = Reference(
            model.model_dump(mode="json"),
            {
                "parts": _dump(catalog.parts[name] for name in sorted(wanted)),
                "specs": _dump(catalog.specs[name] for name in sorted(specs)),
                "kits": _dump(catalog.kits.values()),
                "vehicles": _dump([catalog.vehicles[ask.vehicle]]),
            },
            ask.model_dump(mode="json"),
        )

    def collapsed(self) -> Instance:
        """One value for all parts of one signature."""
        return _Builder(self._reference, self._classes).build()

    def raw(self, collapsed: Instance) -> Instance:
        """One value for each part."""
        places: list[Numbers] = []
        values: list[list[Held]] = []
        prices: list[Numbers] = []
        for path, held in zip(collapsed.paths, collapsed.values, strict=True):
            free = not any(path in at and at[path] and at[path].get("part") for at in self._reference.wishes.values())
            place: list[int] = []
            value: list[Held] = []
            price: list[int] = []
            for number, one in enumerate(held):
                members: tuple[Offer, ...] = ()
                if free and one[0] == "fresh":
                    members = self._catalog.offers((self._classes[str(one[1])],), EVERY)
                place += [number] * max(len(members), 1)
                value += [("fresh", offer.part) for offer in members] or [one]
                price += [offer.price - members[0].price for offer in members] or [0]
            places.append(np.array(place, dtype=np.int64))
            values.append(value)
            prices.append(np.array(price, dtype=np.int64))
        every = collapsed.only(places)
        own = [costs + more for costs, more in zip(every.own, prices, strict=True)]
        return Instance(every.paths, every.named, every.kept, values, own, every.views, every.tables, every.sums)


class _Builder:
    """Asks the reference what every rule says, once for each pair of what it can see."""

    def __init__(self, reference: Reference, sold: Iterable[str]) -> None:
        self._reference = reference
        self._sold = set(sold)
        self._number = {path: place for place, path in enumerate(reference.paths)}
        self._values = [self._domain(path) for path in reference.paths]
        self._views: list[View] = []
        self._shown: list[list[Held]] = []
        self._keys: list[tuple[Hashable, ...]] = []
        self._numbered: dict[Hashable, int] = {}
        self._tables: dict[Hashable, Numbers] = {}

    def _domain(self, path: str) -> list[Held]:
        reference = self._reference
        found = reference.domain(path, reference.every_wish())
        named = {at[path].get("part") for at in reference.wishes.values() if at.get(path)}
        return [held for held in found if held[0] != "fresh" or held[1] in named or held[1] in self._sold]

    def build(self) -> Instance:
        reference = self._reference
        tables = [self._joint(joint) for joint in reference.layout["joints"]]
        tables += [self._pairing(pairing) for pairing in reference.layout["pairings"]]
        tables += [self._disturbing(*one) for one in reference.disturbing()]
        paths = reference.paths
        every = reference.every_wish()
        named = [i for i, path in enumerate(paths) if not reference.counts_extra(path, every)]
        keeps = {path for wish, at in reference.wishes.items() if wish.startswith("keep/") for path in at}
        own = [[self._own(path, held) for held in values] for path, values in zip(paths, self._values, strict=True)]
        return Instance(
            paths,
            frozenset(named),
            frozenset(i for i, path in enumerate(paths) if path in keeps),
            self._values,
            [np.array(costs, dtype=np.int64) for costs in own],
            self._views,
            tables,
            [self._sum(resource) for resource in reference.held_to()],
        )

    def _own(self, path: str, held: Held) -> int:
        reference = self._reference
        if held[0] == "received":
            return 0
        price = Fraction(reference.parts[str(held[1])]["price"]) if held[0] == "fresh" else Fraction(0)
        lost = sum(not reference.gives(function, held[1]) for function in self._given_by(path))
        return packed((0, lost, int(reference.counts_extra(path, reference.every_wish())), 0, price))

    def _given_by(self, path: str) -> list[str]:
        """The functions that the vehicle had and that nothing but a part at this position can give."""
        return [function for function, only in self._only_givers if only == path]

    @cached_property
    def _only_givers(self) -> list[tuple[str, str]]:
        """Every function that the vehicle had, with the one position that can give it there; in the data that the
        benchmark asks about no other does."""
        reference, found = self._reference, []
        kinds = reference.model["kinds"]
        for function, paths in reference.had():
            givers = [
                path
                for path in paths
                if reference.gives(function, reference.was[path])
                or any(
                    function in k["functions"] and reference.role[path]["kind"] in k["ancestors"]
                    for k in kinds.values()
                )
            ]
            assert len(givers) == 1, f"{function} can be given at {givers}"
            found.append((function, givers[0]))
        return found

    def _view(self, path: str, rule: Hashable, see: Callable[[Held], Hashable]) -> int:
        """The number of the view that a rule has of a position."""
        if (path, rule) not in self._numbered:
            keys: dict[Hashable, int] = {}
            shown: list[Held] = []
            codes = []
            for held in self._values[self._number[path]]:
                key = see(held)
                if key not in keys:
                    keys[key] = len(keys)
                    shown.append(held)
                codes.append(keys[key])
            self._numbered[path, rule] = len(self._views)
            self._views.append(View(self._number[path], np.array(codes, dtype=np.int64), len(keys)))
            self._shown.append(shown)
            self._keys.append(tuple(keys))
        return self._numbered[path, rule]

    def _table(self, rule: str, first: int, second: int, cost: Callable[[Held, Held], Rank | None]) -> Table:
        key = rule, self._keys[first], self._keys[second]
        if key not in self._tables:
            rows = [[packed(cost(a, b)) for b in self._shown[second]] for a in self._shown[first]]
            self._tables[key] = np.array(rows, dtype=np.int64)
        return Table(first, second, self._tables[key])

    def _joint(self, joint: Any) -> Table:
        reference = self._reference
        kind = reference.model["joint_kinds"][joint["joint_kind"]]

        def seen(hand: str) -> Callable[[Held], Hashable]:
            def see(held: Held) -> Hashable:
                if held[1] is None or not reference.could_be(reference.parts[held[1]], kind[f"{hand}_kind"]):
                    return None
                part, feature = reference.parts[held[1]], kind[f"{hand}_feature"]
                return held[0] == "fresh", feature in part["lacks"], part["specs"].get(feature)

            return see

        first = self._view(joint["left"], (kind["id"], "left"), seen("left"))
        second = self._view(joint["right"], (kind["id"], "right"), seen("right"))
        return self._table(kind["id"], first, second, lambda a, b: reference.joint_cost(joint, a, b))

    def _pairing(self, pairing: Any) -> Table:
        reference = self._reference
        need = reference.model["needs"].get(pairing["rule"])
        renewal = reference.model["renewals"].get(pairing["rule"])

        def seen(end: str) -> Callable[[Held], Hashable]:
            def see(held: Held) -> Hashable:
                if held[1] is None:
                    return held[0], None
                if need is None:
                    part, kind = reference.parts[held[1]], renewal[f"{end}_kind"]
                    return held[0], reference.is_a(part["kind"], kind), reference.could_be(part, kind)
                return held[0], True if need[end] is None else reference.ask_condition(need[end], held[1])

            return see

        first = self._view(pairing["when"], (pairing["rule"], "when"), seen("when"))
        second = self._view(pairing["then"], (pairing["rule"], "then"), seen("then"))
        return self._table(pairing["rule"], first, second, lambda a, b: reference.pairing_cost(pairing, a, b))

    def _disturbing(self, change: str, then: str, renewal: Any) -> Table:
        reference = self._reference

        def old(held: Held) -> Hashable:
            return (
                held[0] == "received" and held[1] and reference.could_be(reference.parts[held[1]], renewal["then_kind"])
            )

        first = self._view(change, ("changed",), lambda held: held[0] != "received")
        second = self._view(then, (renewal["id"], "old"), old)
        name = f"{renewal['id']}/for"
        return self._table(name, first, second, lambda a, b: reference.disturbed_cost(renewal, a, b))

    def _sum(self, resource: Any) -> Sum:
        reference = self._reference
        found = Sum([], [], [])
        for path, values in zip(reference.paths, self._values, strict=True):
            was = reference.takes_part(resource, reference.was[path])[0]
            shares = [reference.takes_part(resource, held[1]) for held in values]
            changes = [held[0] != "received" and (share[0] or was) for held, share in zip(values, shares, strict=True)]
            found.net.append(np.array([int(share[2] * 1000) for share in shares], dtype=np.int64))
            found.missing.append(np.array([share[1] for share in shares], dtype=bool))
            found.changes.append(np.array(changes, dtype=bool))
        return found
