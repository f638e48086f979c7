"""The gauges of a layout, made from its figures: of limits that decide, and of needs that constrain."""

from collections.abc import Iterator, Sequence

from crosspin.knockon.figure_nodes import (
    NOTHING,
    AsReceived,
    Computed,
    Constant,
    Element,
    Flat,
    Kept,
    Leaf,
    Missing,
    Node,
    Pair,
    Probe,
    Whole,
)
from crosspin.knockon.gauge import Gauge
from crosspin.knockon.limit_gauge import LimitGauge
from crosspin.knockon.need_gauge import NeedGauge
from crosspin.knockon.weights import Weights
from crosspin.model.figure import Figure, Source
from crosspin.model.schema import Model
from crosspin.vehicle.reach import Place, Reach, instance


class Gauges:
    """The gauges of one layout; nodes that several of them rest on are shared."""

    def __init__(self, model: Model, reach: Reach, weights: Weights) -> None:
        self._model = model
        self._reach = reach
        self._computed: dict[tuple[str, Place], Node] = {}
        self._flat: dict[Node, Node] = {}
        self._shared = frozenset(p.path for p in reach.layout.positions if reach.spans_vehicle(p.station))
        self._leaves: dict[tuple[str, Probe], Leaf] = {}
        self.all = tuple(self._make(weights))
        self.at: dict[str, tuple[Gauge, ...]] = {}
        for gauge in self.all:
            for path in sorted(gauge.parties):
                self.at[path] = (*self.at.get(path, ()), gauge)

    def _make(self, weights: Weights) -> Iterator[Gauge]:
        for figure in self._model.figures.values():
            if figure.deciding:
                for place in self._reach.places(figure):
                    bounds = [self._flattened(self._source(limit.source, place)) for limit in figure.deciding]
                    value = self._kept(figure, place)
                    yield LimitGauge(self._model, figure, instance(figure, place), value, bounds, weights)
        for call in self._reach.calls.values():
            if call.need.severity.constrains:
                value = self._kept(call.figure, call.place)
                yield NeedGauge(call, value, self._leaf(call.then, Probe(need=call.need.id)), weights)

    def _kept(self, figure: Figure, place: Place) -> Node:
        return Kept(self._flattened(self._figure(figure, place)), figure.decimals)

    def probes(self, role: str) -> tuple[Probe, ...]:
        """Everything that is read off parts in a role, in a fixed order."""
        roles = {position.path: position.role for position in self._reach.layout.positions}
        found = {leaf.probe for gauge in self.all for leaf in gauge.leaves if roles[leaf.path] == role}
        return tuple(sorted(found, key=lambda probe: probe.key))

    def _flattened(self, root: Node) -> Node:
        """The same node, in one step where nodes below it read the same position: told apart, they would be combined
        as if one part could stand there for one of them and another part for the next, and there are too many of
        those combinations.  A branch that shares no position with the rest remains a step of its own; the few parts
        of the vehicle as a whole, which are seldom changed, do not count."""
        if root not in self._flat:
            self._flat[root] = self._flatten(root)
        return self._flat[root]

    def _flatten(self, root: Node) -> Node:
        if not _is_tangled(root):
            return root
        below: list[Node] = []
        taken: dict[Node, tuple[int, int | None]] = {}
        together: dict[str, list[Leaf]] = {}
        waiting, seen = list(root.below), set[Node]()
        while waiting:
            node = waiting.pop(0)
            if node in seen:
                continue
            seen.add(node)
            if isinstance(node, Leaf):
                together.setdefault(node.path, []).append(node)
            elif isinstance(node, AsReceived) or self._is_apart(node, root):
                taken[node] = len(below), None
                below.append(self._flattened(node))
            else:
                waiting.extend(node.below)
        for path, leaves in together.items():
            single = leaves[0] if len(leaves) == 1 else None
            taken.update((leaf, (len(below), None if single else place)) for place, leaf in enumerate(leaves))
            below.append(single or self._leaf(path, Probe(several=tuple(leaf.probe for leaf in leaves))))
        return Flat(root, root.over([self._flattened(one) for one in root.below]), below, taken)

    def _is_apart(self, node: Node, root: Node) -> bool:
        """Whether the positions that a branch rests on bear on the root by way of that branch only."""
        mine = node.parties - self._shared
        if not mine or mine == root.parties - self._shared:
            return False
        waiting, seen = [root], {node}
        while waiting:
            other = waiting.pop()
            if other in seen:
                continue
            seen.add(other)
            if isinstance(other, Leaf) and other.path in mine:
                return False
            waiting.extend(other.below)
        return True

    def _figure(self, figure: Figure, place: Place) -> Node:
        key = (figure.id, place)
        if key not in self._computed:
            inputs = {one.name: self._source(one.source, place) for one in figure.inputs}
            meant_for: list[Node] = []
            if figure.when_role is not None and figure.when_kind is not None:
                those = self._reach.in_role(figure.when_role, place)
                meant_for = [self._leaf(position.path, Probe(kind=figure.when_kind)) for position in those] or [NOTHING]
            self._computed[key] = Computed(figure, inputs, meant_for)
        return self._computed[key]

    def _source(self, source: Source, place: Place) -> Node:
        if source.constants:
            return Constant(source.constants)
        node = self._gathered(source, self._found(source, place))
        return AsReceived(node) if source.as_received else node

    def _found(self, source: Source, place: Place) -> list[Node]:
        if source.figures:
            figures = [self._model.figures[name] for name in source.figures]
            return [self._figure(figure, at) for figure in figures for at in self._reach.read_at(source, figure, place)]
        assert source.feature is not None, "checked when the ontology was read"
        probe = Probe(feature=source.feature, dimension=source.dimensions[0])
        return [
            self._leaf(position.path, probe)
            for position in self._reach.positions(source, place)
            if self._could_have(position.role, source.feature)
        ]

    def _gathered(self, source: Source, found: Sequence[Node]) -> Node:
        nothing: Element = Missing.NOT_THERE if source.nothing is None else (source.nothing,)
        if not found:
            return Whole(source.gathers, NOTHING, nothing)
        node = found[0]
        for other in found[1:]:
            node = Pair(source.gathers, node, other)
        return Whole(source.gathers, node, nothing)

    def _could_have(self, role: str, feature: str) -> bool:
        below = self._model.kinds_below[self._model.roles[role].kind]
        return any(feature in self._model.kinds[name].features for name in below)

    def _leaf(self, path: str, probe: Probe) -> Leaf:
        return self._leaves.setdefault((path, probe), Leaf(path, probe))


def _is_tangled(root: Node) -> bool:
    """Whether two leaves of a node are at one position, or one node is reached on two ways."""
    reached: dict[Node, None] = {}
    waiting = list(root.below)
    while waiting:
        node = waiting.pop()
        if not node.parties:
            continue
        if node in reached:
            return True
        reached[node] = None
        waiting.extend(node.below)
    paths = [node.path for node in reached if isinstance(node, Leaf)]
    return len(set(paths)) < len(paths)
