"""Figures whose limits decide, as functions of what may stand at the positions they read.

A `Gauge` is one figure at one place.  It rests on nodes: a leaf is what is read off the part at one position, every
other node is worked out from those below it.  What a node can come to is an `Element`: its values, or why it has none.
Positions that bring the same element are the same to every node above, so that few combinations remain; a node that
has more than FIGURE_LIMIT of them says so (SearchLimit).

The limits are judged as `ontology/rules` judge them: beyond a limit is forbidden, unless a remedy applies or it was
beyond it as received and is no worse; unknown counts, unless it was unknown as received; a fresh part without a
reading that a safety-critical figure waits for is unsafe.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import Enum
from functools import cached_property
from itertools import product
from math import prod
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from crosspin.catalog.catalog import Catalog
from crosspin.knockon.limits import FIGURE_LIMIT, INFINITE, SearchLimit
from crosspin.knockon.mating import operation_money
from crosspin.knockon.weights import Weights
from crosspin.model.figure import Figure, Gathering, Limit, Source
from crosspin.model.judge import Judged, is_of_kind, may_have
from crosspin.model.schema import Model, Part, Value
from crosspin.vehicle.figuring import calculate, kept
from crosspin.vehicle.reach import Place, Reach, instance

Numbers = npt.NDArray[np.int64]
Places = npt.NDArray[np.intp]

_MOST_KEPT = 4096
"""How many combinations of lists one node remembers."""


class Missing(Enum):
    """Why there is no value: no part could have it; it is not known; not known of a fresh part."""

    NOT_THERE = "not there"
    NOT_KNOWN = "not known"
    NOT_KNOWN_OF_FRESH = "not known of a fresh part"


@dataclass(frozen=True, slots=True)
class Several:
    """What several probes find on the same part."""

    elements: "Elements"


Element: TypeAlias = tuple[Value, ...] | Missing | Several
Elements: TypeAlias = tuple[Element, ...]


@dataclass(frozen=True, slots=True)
class Probe:
    """What is read off one part: one dimension of a feature, whether it is, or could be, of a kind, or several of
    these."""

    feature: str = ""
    dimension: str = ""
    kind: str = ""
    several: tuple["Probe", ...] = ()

    @property
    def key(self) -> tuple[str, ...]:
        """What probes are put in order by."""
        return (self.feature, self.dimension, self.kind, *(word for probe in self.several for word in probe.key))

    def read(self, model: Model, catalog: Catalog, part: Judged | None, fresh: bool) -> Element:
        """What it finds on a part, or where there is none."""
        if self.several:
            return Several(tuple(probe.read(model, catalog, part, fresh) for probe in self.several))
        if part is None:
            return Missing.NOT_THERE
        if self.kind:
            return Missing.NOT_THERE if is_of_kind(model, part, self.kind) is False else (Decimal(1),)
        if not may_have(model, part, self.feature):
            return Missing.NOT_THERE
        spec = part.specs.get(self.feature)
        values = catalog.specs[spec].values.get(self.dimension, ()) if spec is not None else ()
        if len(values) == 1 or (values and self.dimension in model.many):
            return tuple(values)
        return Missing.NOT_KNOWN_OF_FRESH if fresh else Missing.NOT_KNOWN


@dataclass(frozen=True, slots=True, eq=False)
class Combined:
    """What a node comes to: its distinct elements, and which of them each combination of those below gives."""

    elements: Elements
    table: Places


class Node:
    """One step on the way to a figure; `parties` are the positions whose parts can bear on it."""

    parties: frozenset[str]

    def __init__(self, below: Sequence["Node"]) -> None:
        self.below = tuple(below)
        self.parties = frozenset(path for node in self.below for path in node.parties)
        self._combined: dict[tuple[Elements, ...], Combined] = {}
        self._applied: dict[Elements, Element] = {}

    def apply(self, elements: Elements) -> Element:
        """What it comes to for one element of each node below."""
        raise NotImplementedError

    def combine(self, lists: tuple[Elements, ...]) -> Combined:
        """What it comes to for all combinations of these elements of the nodes below.  Raises SearchLimit."""
        known = self._combined.get(lists)
        if known is None:
            if len(self._combined) > _MOST_KEPT:
                self._combined, self._applied = {}, {}
            known = self._combined[lists] = self._combine(lists)
        return known

    def _combine(self, lists: tuple[Elements, ...]) -> Combined:
        shape = tuple(map(len, lists))
        if prod(shape) > FIGURE_LIMIT:
            raise SearchLimit("FIGURE_LIMIT", prod(shape), FIGURE_LIMIT, "combinations of readings of one figure")
        numbered: dict[Element, int] = {}
        table = np.fromiter(
            (numbered.setdefault(self._known(one), len(numbered)) for one in product(*lists)), np.intp, prod(shape)
        )
        return Combined(tuple(numbered), table.reshape(shape))

    def _known(self, elements: Elements) -> Element:
        known = self._applied.get(elements)
        if known is None:
            known = self._applied[elements] = self.apply(elements)
        return known


class Leaf(Node):
    """What a probe finds at a position."""

    def __init__(self, path: str, probe: Probe) -> None:
        super().__init__(())
        self.path = path
        self.probe = probe
        self.parties = frozenset((path,))


class Constant(Node):
    """An element that is always the same: a value that the ontology gives, or nothing."""

    def __init__(self, element: Element) -> None:
        super().__init__(())
        self._element = element

    def apply(self, _: Elements) -> Element:
        """See Node."""
        return self._element


class AsReceived(Node):
    """A node as it was when the vehicle was received, whatever the plan does."""

    def __init__(self, node: Node) -> None:
        super().__init__(())
        self.node = node


class _Pair(Node):
    """Two findings of one input made one; gathering is associative, so that many are gathered pair by pair."""

    def __init__(self, how: Gathering, first: Node, second: Node) -> None:
        super().__init__((first, second))
        self._how = how

    def apply(self, elements: Elements) -> Element:
        """See Node."""
        first, second = elements
        if Missing.NOT_THERE in elements:
            return second if first is Missing.NOT_THERE else first
        if not (isinstance(first, tuple) and isinstance(second, tuple)):
            return _missing(elements)
        if self._how is Gathering.ALIKE:
            return first if first == second else Missing.NOT_KNOWN
        return _single(self._how, (*first, *second))


class _Whole(Node):
    """All findings of one input: several values of one part made one, and what there is where nothing was found."""

    def __init__(self, how: Gathering, node: Node, where_none: Element) -> None:
        super().__init__((node,))
        self._how = how
        self._where_none = where_none

    def apply(self, elements: Elements) -> Element:
        """See Node."""
        found = elements[0]
        if found is Missing.NOT_THERE:
            return self._where_none
        return _single(self._how, found) if isinstance(found, tuple) and self._how is not Gathering.ALIKE else found


class _Computed(Node):
    """A figure that stands on its way to another, or is the gauge's own: its formula over its inputs.

    The nodes behind the inputs say whether there is a part for which the figure is meant.
    """

    def __init__(self, figure: Figure, inputs: Mapping[str, Node], meant_for: Sequence[Node]) -> None:
        super().__init__((*inputs.values(), *meant_for))
        self._formula = figure.formula
        self._names = tuple(inputs)
        self._limited = bool(meant_for)

    def apply(self, elements: Elements) -> Element:
        """See Node."""
        taken, meant_for = elements[: len(self._names)], elements[len(self._names) :]
        if self._limited and all(one is Missing.NOT_THERE for one in meant_for):
            return Missing.NOT_THERE
        if Missing.NOT_THERE in taken:
            return Missing.NOT_THERE
        if any(isinstance(one, Missing) for one in taken):
            return _missing(taken)
        values = {name: one[0] for name, one in zip(self._names, taken, strict=True) if isinstance(one, tuple)}
        value, _ = calculate(self._formula, values)
        return Missing.NOT_KNOWN if value is None else (value,)


class _Flat(Node):
    """A node whose nodes below rest on the same positions, worked out in one step over what they rest on.

    `taken` says of each node that is not looked into where its element is among those below, and where within it if
    several probes on one part are read together.
    """

    def __init__(self, root: Node, below: Sequence[Node], taken: Mapping[Node, tuple[int, int | None]]) -> None:
        super().__init__(below)
        self._root = root
        self._taken = taken
        self._rests_on: dict[Node, tuple[int, ...]] = {}
        self._evaluated: dict[tuple[Node, Elements], Element] = {}

    def apply(self, elements: Elements) -> Element:
        """See Node."""
        return self._evaluate(self._root, elements)

    def _evaluate(self, node: Node, elements: Elements) -> Element:
        if node in self._taken:
            place, part = self._taken[node]
            element = elements[place]
            return element.elements[part] if isinstance(element, Several) and part is not None else element
        key = (node, tuple(elements[place] for place in self._places(node)))
        known = self._evaluated.get(key)
        if known is None:
            known = node.apply(tuple(self._evaluate(one, elements) for one in node.below))
            self._evaluated[key] = known
        return known

    def _places(self, node: Node) -> tuple[int, ...]:
        """Which of the elements below bear on a node."""
        if node not in self._rests_on:
            found = {self._taken[one][0] for one in node.below if one in self._taken}
            found.update(place for one in node.below if one not in self._taken for place in self._places(one))
            self._rests_on[node] = tuple(sorted(found))
        return self._rests_on[node]


def _missing(elements: Elements) -> Missing:
    return Missing.NOT_KNOWN_OF_FRESH if Missing.NOT_KNOWN_OF_FRESH in elements else Missing.NOT_KNOWN


def _single(how: Gathering, values: tuple[Value, ...]) -> Element:
    numbers = [value for value in values if isinstance(value, Decimal)]
    match how:
        case Gathering.SUM:
            return (sum(numbers, Decimal(0)),)
        case Gathering.LEAST:
            return (min(numbers),)
        case Gathering.MOST:
            return (max(numbers),)
    return values


@dataclass(frozen=True, slots=True)
class Reading:
    """A figure and the bounds of its deciding limits, in the order of the figure; what a plan is judged by."""

    value: Element
    bounds: Elements

    @property
    def open(self) -> bool:
        """Whether it is not known if the figure is within its limits."""
        if self.value is Missing.NOT_THERE:
            return False
        known = [bound for bound in self.bounds if bound is not Missing.NOT_THERE]
        return any(isinstance(one, Missing) for one in (self.value, *known)) and bool(known)


@dataclass(frozen=True, slots=True)
class Cure:
    """A remedy that makes a value beyond a limit acceptable, and what its work costs."""

    limit: str
    remedy: str
    money: Decimal


@dataclass(frozen=True, slots=True)
class Judgement:
    """What the limits say: those that forbid the plan, whether something new is open or unsafe, and the cures."""

    barred: tuple[str, ...] = ()
    open: bool = False
    unsafe: bool = False
    cures: tuple[Cure, ...] = ()


class Gauge:
    """One figure at one place whose limits decide."""

    def __init__(
        self, model: Model, figure: Figure, place: Place, value: Node, bounds: Sequence[Node], weights: Weights
    ) -> None:
        self.id = instance(figure, place)
        self.figure = figure
        self.place = place
        self.value = value
        self.bounds = tuple(bounds)
        self.parties = value.parties.union(*(bound.parties for bound in bounds))
        self._model = model
        self._weights = weights
        self._costs: dict[tuple[Elements, tuple[Elements, ...], Reading], Numbers] = {}

    @cached_property
    def leaves(self) -> tuple[Leaf, ...]:
        """Everything that it reads off parts, whether as planned or as received."""
        found: dict[Leaf, None] = {}
        waiting: list[Node] = [self.value, *self.bounds]
        while waiting:
            node = waiting.pop()
            if isinstance(node, Leaf):
                found[node] = None
            waiting.extend(node.below)
        return tuple(found)

    def judge(self, now: Reading, before: Reading) -> Judgement:
        """What the limits say of a plan, beside the vehicle as it was received."""
        if now.value is Missing.NOT_THERE:
            return Judgement()
        barred, cures, stays = [], [], False
        for limit, bound, bound_before in zip(self.figure.deciding, now.bounds, before.bounds, strict=True):
            excess = self._excess(limit, now.value, bound)
            if excess is None or excess <= 0:
                continue
            was = self._excess(limit, before.value, bound_before)
            if was is not None and was >= excess:
                stays = True
                continue
            cure = self._cure(limit, excess)
            if cure is None:
                barred.append(limit.id)
            else:
                cures.append(cure)
        if barred:
            return Judgement(barred=tuple(barred))
        unsafe = now.open and Missing.NOT_KNOWN_OF_FRESH in (now.value, *now.bounds) and self.figure.safety_critical
        return Judgement((), now.open and not stays and not before.open, unsafe, tuple(cures))

    def _excess(self, limit: Limit, value: Element, bound: Element) -> Decimal | None:
        """By how much a value as it is reported is beyond a limit; None where either is not known."""
        if not (isinstance(value, tuple) and isinstance(bound, tuple)):
            return None
        mine, most = value[0], bound[0]
        if not (isinstance(mine, Decimal) and isinstance(most, Decimal)):
            return None
        decimals = self.figure.decimals
        return limit.excess(kept(mine, decimals), kept(limit.factor * most, decimals))

    def _cure(self, limit: Limit, excess: Decimal) -> Cure | None:
        """The cheapest remedy that reaches so far, then the one with the lowest id."""
        gap = limit.excess(excess, Decimal(0))  # the value less the bound, whichever side is the wrong one
        found = []
        for remedy in (self._model.remedies[name] for name in limit.remedies):
            low = remedy.lower is None or gap >= remedy.lower
            high = remedy.upper is None or gap <= remedy.upper
            if low and high:
                found.append((operation_money(self._model, remedy), remedy.id))
        if not found:
            return None
        money, name = min(found)
        return Cure(limit.id, name, money)

    def cost(self, now: Reading, before: Reading) -> int:
        """The packed cost of what the limits say."""
        judged = self.judge(now, before)
        if judged.barred:
            return INFINITE
        cost = self._weights.money(sum((cure.money for cure in judged.cures), Decimal(0)))
        if judged.open:
            cost += self._weights.unknown
        return cost + (self._weights.unsafe if judged.unsafe else 0)

    def costs(self, values: Elements, bounds: tuple[Elements, ...], before: Reading) -> Numbers:
        """The packed costs of all combinations; one axis for the value, one for each bound.  Raises SearchLimit."""
        key = (values, bounds, before)
        known = self._costs.get(key)
        if known is None:
            shape = (len(values), *map(len, bounds))
            if prod(shape) > FIGURE_LIMIT:
                raise SearchLimit(
                    "FIGURE_LIMIT", prod(shape), FIGURE_LIMIT, "combinations of one figure and its limits"
                )
            found = (
                self.cost(Reading(value, rest), before)
                for value, *rest_ in product(values, *bounds)
                for rest in (tuple(rest_),)
            )
            known = np.fromiter(found, np.int64, prod(shape)).reshape(shape)
            if len(self._costs) > _MOST_KEPT:
                self._costs = {}
            self._costs[key] = known
        return known


class View:
    """What every node comes to where each position can bring several elements: what `leaf` says of it.

    Where it differs from another view (`beside`) at some positions only, the rest is taken from that.
    """

    def __init__(
        self,
        leaf: Callable[[Leaf], Elements],
        received: "View | None" = None,
        beside: "tuple[View, frozenset[str]] | None" = None,
    ) -> None:
        self._leaf = leaf
        self._received = received or self
        self._beside = beside
        self._known: dict[Node, Elements] = {}

    def of(self, node: Node) -> Elements:
        """The distinct elements of a node.  Raises SearchLimit."""
        known = self._known.get(node)
        if known is None:
            if self._beside is not None and node.parties.isdisjoint(self._beside[1]):
                known = self._beside[0].of(node)
            elif isinstance(node, Leaf):
                known = self._leaf(node)
            elif isinstance(node, AsReceived):
                known = self._received.of(node.node)
            else:
                known = node.combine(tuple(self.of(one) for one in node.below)).elements
            self._known[node] = known
        return known

    def reading(self, gauge: Gauge) -> Reading:
        """What a gauge shows where each position brings one element only."""
        (value,) = self.of(gauge.value)
        return Reading(value, tuple(self.of(bound)[0] for bound in gauge.bounds))

    def costs(self, gauge: Gauge, before: Reading) -> Numbers:
        """The packed costs of all that a gauge can show.  Raises SearchLimit."""
        return gauge.costs(self.of(gauge.value), tuple(self.of(bound) for bound in gauge.bounds), before)


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
                    value = self._flattened(self._figure(figure, place))
                    yield Gauge(self._model, figure, place, value, bounds, weights)

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
        return _Flat(root, below, taken)

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
                meant_for = [self._leaf(position.path, Probe(kind=figure.when_kind)) for position in those] or [
                    _NOTHING
                ]
            self._computed[key] = _Computed(figure, inputs, meant_for)
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
            return _Whole(source.gathers, _NOTHING, nothing)
        node = found[0]
        for other in found[1:]:
            node = _Pair(source.gathers, node, other)
        return _Whole(source.gathers, node, nothing)

    def _could_have(self, role: str, feature: str) -> bool:
        below = self._model.kinds_below[self._model.roles[role].kind]
        return any(feature in self._model.kinds[name].features for name in below)

    def _leaf(self, path: str, probe: Probe) -> Leaf:
        return self._leaves.setdefault((path, probe), Leaf(path, probe))


_NOTHING = Constant(Missing.NOT_THERE)


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


def as_it_came(model: Model, catalog: Catalog, received: Mapping[str, Part | None]) -> View:
    """The vehicle as it was received."""
    return View(lambda leaf: (leaf.probe.read(model, catalog, received[leaf.path], fresh=False),))
