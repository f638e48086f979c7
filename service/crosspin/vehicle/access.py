"""What has to come off before what: which parts lie over others, and what a change therefore disturbs."""

from collections.abc import Iterator, Mapping
from functools import cached_property

from crosspin.model.schema import Disturbance, Layout, Model, Pairing, Part, Position
from crosspin.vehicle.reach import WHOLE_VEHICLE


class Places:
    """The positions of a layout by role, and which of them are near one another."""

    def __init__(self, model: Model, layout: Layout) -> None:
        self.model = model
        self.positions = {position.path: position for position in layout.positions}
        self._of_role: dict[str, list[Position]] = {}
        for position in layout.positions:
            self._of_role.setdefault(position.role, []).append(position)
        self._vehicle = {station for station, classes in layout.stations.items() if WHOLE_VEHICLE in classes}
        self._near: dict[tuple[str, str], tuple[str, ...]] = {}

    def near(self, path: str, role: str) -> tuple[str, ...]:
        """The positions of a role at the station of a position and, where both are sided, on its side; where one of the
        two belongs to the whole vehicle, all of the role."""
        key = path, role
        known = self._near.get(key)
        if known is None:
            here, found = self.positions[path], self._of_role.get(role, [])
            beside = [there for there in found if there.station == here.station]
            known = self._near[key] = tuple(
                there.path
                for there in beside or (there for there in found if self._vehicle & {here.station, there.station})
                if there.path != path and (here.side is None or there.side is None or here.side == there.side)
            )
        return known

    @cached_property
    def roles_taking(self) -> Mapping[str, tuple[str, ...]]:
        """The roles in which a part of each kind may be."""
        kinds, roles = self.model.kinds, self.model.roles
        return {
            kind: tuple(name for name, role in roles.items() if role.kind in found.ancestors)
            for kind, found in kinds.items()
        }

    def at(self, path: str, name: str) -> tuple[tuple[str, str | None], ...]:
        """The positions near one that a role, or a kind, names; with the kind that is wanted there, if any."""
        if name in self.model.roles:
            return tuple((there, None) for there in self.near(path, name))
        return tuple((there, name) for role in self.roles_taking[name] for there in self.near(path, role))

    @cached_property
    def held(self) -> Mapping[str, tuple[str, ...]]:
        """The positions of what each position's part carries, directly."""
        found: dict[str, list[str]] = {}
        for path, position in self.positions.items():
            carrier = self.model.roles[position.role].within
            for there in self.near(path, carrier) if carrier is not None else ():
                found.setdefault(there, []).append(path)
        return {path: tuple(sorted(carried)) for path, carried in found.items()}

    def inside(self, path: str) -> tuple[str, ...]:
        """The positions of all that a position's part carries, at any depth."""
        found: dict[str, None] = {}
        waiting = [path]
        while waiting:
            carried = self.held.get(waiting.pop(), ())
            waiting.extend(carried)
            found.update(dict.fromkeys(carried))
        return tuple(found)

    @cached_property
    def whatever(self) -> "Access":
        """The layout with everything at every position, whatever it is."""
        anything = {
            path: Part(id=path, kind=self.model.roles[position.role].kind, label=path, unidentified=True)
            for path, position in self.positions.items()
        }
        return Access(self, anything, whatever=True)

    def disturbances(self, layout: Layout) -> Iterator[Disturbance]:
        """Every renewal that may follow from a change because something comes off for it, in any vehicle."""
        pairings: dict[str, list[Pairing]] = {}
        for pairing in layout.pairings:
            if pairing.rule in self.model.renewals and self.model.renewals[pairing.rule].when_disturbed:
                pairings.setdefault(pairing.when, []).append(pairing)
        for path in sorted(self.positions):
            for through in sorted(self.whatever.disturbed(path)):
                for pairing in pairings.get(through, ()):
                    if pairing.then != path:
                        yield Disturbance(
                            id=f"{pairing.id}/for/{path}",
                            rule=pairing.rule,
                            change=path,
                            through=through,
                            then=pairing.then,
                        )


class Access:
    """A vehicle, by what is at each position, seen as what comes off first.

    A part whose kind nobody knows waits for what every part in its role waits for.
    """

    def __init__(self, places: Places, parts: Mapping[str, Part | None], whatever: bool = False) -> None:
        """`whatever` takes every part for one of any kind that its role takes."""
        self.places = places
        self._whatever = whatever
        self.parts = parts
        self._over: dict[str, frozenset[str]] = {}
        self._disturbed: dict[str, frozenset[str]] = {}

    def directly_over(self, path: str, part: Part | None = None) -> frozenset[str]:
        """What is to come off right before the part at a position does, and before `part` goes on there."""
        model = self.places.model
        names = set(model.roles[self.places.positions[path].role].under)
        for here in (self.parts[path], part):
            if here is not None and self._whatever:
                below = (kind for kind in model.kinds.values() if here.kind in kind.ancestors)
                names.update(name for kind in below for name in kind.under)
            elif here is not None and not here.unidentified:
                names.update(model.kinds[here.kind].under)
        return frozenset(
            there for name in names for there, kind in self.places.at(path, name) if self._is_there(there, kind)
        )

    def _is_there(self, path: str, kind: str | None) -> bool:
        part = self.parts[path]
        if part is None or kind is None or self._whatever:
            return part is not None
        return not part.unidentified and kind in self.places.model.kinds[part.kind].ancestors

    def over_with(self, path: str, part: Part | None) -> frozenset[str]:
        """All that is to come off before what is at a position does, and before a part goes on there."""
        first = self.directly_over(path, part)
        return first.union(*(self.over(there) for there in first)) - {path}

    def over(self, path: str) -> frozenset[str]:
        """All that is to come off before the part at a position does."""
        known = self._over.get(path)
        if known is None:
            found: set[str] = set()
            waiting = [path]
            while waiting:
                more = self.directly_over(waiting.pop()) - found
                found |= more
                waiting.extend(more)
            known = self._over[path] = frozenset(found - {path})
        return known

    def disturbed(self, path: str) -> frozenset[str]:
        """What comes off, and goes back if it stays, where the part at a position is changed: what lies over it, what
        it carries, and what lies over that."""
        known = self._disturbed.get(path)
        if known is None:
            found = {*self.over(path)}
            for carried in self.places.inside(path):
                if self.parts[carried] is not None:
                    found |= {carried, *self.over(carried)}
            known = self._disturbed[path] = frozenset(found - {path})
        return known
