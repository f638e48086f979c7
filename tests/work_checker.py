"""Goes through the work of a plan step by step, with what is on the vehicle at each, and says what cannot be done.

It reads the ontology's statements of what lies under what, and which work takes off and puts on, and shares no code
with what orders the work.
"""

from collections.abc import Mapping

from crosspin.answer.plan import Plan
from crosspin.model.schema import Kind, Layout, Model, Part, Position

Parts = Mapping[str, Part | None]


class Walk:
    """One plan's work on one vehicle: what it had as received, and has in the plan."""

    def __init__(self, model: Model, layout: Layout, came: Parts, goes: Parts) -> None:
        self.model = model
        self.spots = {p.path: p for p in layout.positions}
        self.vehicle = {name for name, classes in layout.stations.items() if "WholeVehicle" in classes}
        self.came, self.goes = came, goes

    def wrong(self, plan: Plan) -> list[str]:
        """All that cannot be done when it is its turn, or is left undone at the end."""
        changed = {step.position for step in plan.steps if step.action != "carry over"}
        on = {path: part for path in self.spots if (part := self.came[path]) is not None}
        renewed: set[str] = set()
        taken = {path for job in plan.work for path in job.takes_off}
        found: list[str] = []
        for job in plan.work:
            name = f"{job.number}. {job.label}"
            for path in job.takes_off:
                if path not in on:
                    found.append(f"{name}: {path} is off already")
                    continue
                above = self.over(path, on[path], on) - set(job.takes_off)
                found += [f"{name}: {path} lies under {other}, which is on" for other in sorted(above)]
            for path in job.takes_off:
                on.pop(path, None)
                if path in changed:  # what is changed inside leaves with it
                    for inner in (self.inside(path) & changed) - taken:
                        on.pop(inner, None)
            for role in self.model.operations[job.operation].wants_off:
                places = {there for path in job.places for there in self.near(path, role)}
                places |= {path for path in job.places if self.spots[path].role == role}
                found += [f"{name}: {path} is on" for path in sorted(places & on.keys() - set(job.puts_on))]
            for path in job.puts_on:
                if path in on and path not in renewed and self.comes_off_alone(path, on[path]):
                    found.append(f"{name}: {path} is on already")
                above = self.over(path, self.goes[path], on) - set(job.puts_on)
                found += [f"{name}: {path} goes under {other}, which is on" for other in sorted(above)]
            on.update({path: part for path in job.puts_on if (part := self.goes[path]) is not None})
            renewed |= set(job.puts_on)
        for path, part in self.goes.items():
            if part is not None and path not in on and self.has_work(path, part, fresh=path in changed):
                found.append(f"at the end: {path} is not on")
        for path in changed:
            was = self.came[path]
            if was is not None and path in on and path not in renewed and self.comes_off_alone(path, was):
                found.append(f"at the end: the old part is on at {path}")
        return found

    def comes_off_alone(self, path: str, part: Part) -> bool:
        """Whether any work takes the part off; what none does comes off with what it is pressed in or bolted to."""
        kind = self.kind(path, part)
        return kind is not None and bool(kind.comes_off_by)

    def kind(self, path: str, part: Part) -> Kind | None:
        """The kind of a part, where it is fixed to anything."""
        return None if self.model.roles[self.spots[path].role].loose else self.model.kinds[part.kind]

    def has_work(self, path: str, part: Part, fresh: bool) -> bool:
        """Whether any work puts the part on."""
        kind = self.kind(path, part)
        return kind is not None and bool(kind.goes_on_by if fresh else kind.goes_back_by)

    def inside(self, path: str) -> set[str]:
        """The positions of all that a part carries, at any depth."""
        home = self.spots[path].role
        carried = {
            other
            for other, spot in self.spots.items()
            if self.model.roles[spot.role].within == home and self.beside(path, spot)
        }
        return carried.union(*(self.inside(other) for other in carried))

    def near(self, path: str, role: str) -> set[str]:
        """The positions of a role beside one."""
        return {other for other, spot in self.spots.items() if spot.role == role and self.beside(path, spot)}

    def beside(self, path: str, there: Position) -> bool:
        """Whether a position is at the same station, or belongs to the whole vehicle where its role is at no other, and
        on the same side where both have one."""
        here = self.spots[path]
        at_home = any(p.station == here.station for p in self.spots.values() if p.role == there.role)
        same = there.station == here.station if at_home else bool({here.station, there.station} & self.vehicle)
        return there.path != path and same and (not here.side or not there.side or here.side == there.side)

    def over(self, path: str, part: Part | None, on: Parts) -> set[str]:
        """What is on and lies directly over a part at a position."""
        names = set(self.model.roles[self.spots[path].role].under)
        if part is not None and not part.unidentified:
            names |= {name for above in self.model.kinds[part.kind].ancestors for name in self.model.kinds[above].under}
        found = set()
        for other, there in on.items():
            if there is None or not self.comes_off_alone(other, there):
                continue
            spot = self.spots[other]
            called = {spot.role}
            if not there.unidentified:
                called |= set(self.model.kinds[there.kind].ancestors)
            if called & names and self.beside(path, spot):
                found.add(other)
        return found
