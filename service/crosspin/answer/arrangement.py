"""What a layout holds, looked up the way that an answer asks for it."""

from collections.abc import Iterable, Mapping, Sequence

from crosspin.answer.sequence import WorkOrder
from crosspin.model.schema import Disturbance, Joint, Layout, Model, Position
from crosspin.vehicle.access import Places
from crosspin.vehicle.reach import Reach


class Arrangement:
    """The positions and joints of one layout.  Threads may share it.

    positions  by path
    in_role    the positions of each role
    outer      for each position those that its own sits in: of the role that its role is within, near it
    order      which work comes first
    reach      where figures read
    places     what is near what, and what comes off for a change anywhere
    disturbances  the renewals that may follow from that, by id
    """

    def __init__(self, model: Model, layout: Layout) -> None:
        self.layout = layout
        self.positions: Mapping[str, Position] = {p.path: p for p in layout.positions}
        self.in_role: dict[str, list[Position]] = {role: [] for role in model.roles}
        for position in layout.positions:
            self.in_role[position.role].append(position)
        self.places = Places(model, layout)
        self.outer: Mapping[str, Sequence[str]] = {
            p.path: self.places.near(p.path, model.roles[p.role].within or "") for p in layout.positions
        }
        self.order = WorkOrder(model.operations, model.phases, sorted({p.station for p in layout.positions}))
        self.reach = Reach(model, layout)
        self.disturbances: Mapping[str, Disturbance] = {one.id: one for one in self.places.disturbances(layout)}
        self._joints: dict[str, list[tuple[int, Joint]]] = {}
        for number, joint in enumerate(layout.joints):
            for path in {joint.left, joint.right}:
                self._joints.setdefault(path, []).append((number, joint))

    def joints_at(self, paths: Iterable[str]) -> Sequence[Joint]:
        """The joints that a position of these is part of, in the order of the layout."""
        found = dict(pair for path in paths for pair in self._joints.get(path, ()))
        return [found[number] for number in sorted(found)]
