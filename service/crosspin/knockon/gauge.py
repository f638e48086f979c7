"""Figures whose limits decide, as functions of what may stand at the positions they read.

A `Gauge` is one figure at one place.  Its limits are judged as `ontology/rules` judge them: beyond a limit is
forbidden, unless a remedy applies or it was beyond it as received and is no worse; unknown counts, unless it was
unknown as received; a fresh part without a reading that a safety-critical figure waits for is unsafe.
"""

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from itertools import product
from math import prod

import numpy as np
import numpy.typing as npt

from crosspin.catalog.catalog import Catalog
from crosspin.knockon.figure_nodes import AsReceived, Element, Elements, Flat, Leaf, Missing, Node
from crosspin.knockon.limits import FIGURE_LIMIT, FLAT_LIMIT, INFINITE, SearchLimit
from crosspin.knockon.mating import operation_money
from crosspin.knockon.weights import Weights
from crosspin.model.figure import Figure, Limit
from crosspin.model.schema import Model, Part
from crosspin.vehicle.figuring import kept
from crosspin.vehicle.reach import Place, instance

Numbers = npt.NDArray[np.int64]

_MOST_KEPT = 4096
"""How many combinations of lists one gauge remembers."""


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
            waiting.extend((*node.below, node.root) if isinstance(node, Flat) else node.below)
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
                step = self.step(node)
                known = step.combine(tuple(self.of(one) for one in step.below)).elements
            self._known[node] = known
        return known

    def step(self, node: Node) -> Node:
        """The node by which another is worked out: itself, or what a flat one stands for where that has too many
        combinations in one step.  Raises SearchLimit where it has too many either way."""
        if isinstance(node, Flat) and prod(len(self.of(one)) for one in node.below) > FLAT_LIMIT:
            with suppress(SearchLimit):
                self.of(node.root)
                return node.root
        return node

    def reading(self, gauge: Gauge) -> Reading:
        """What a gauge shows where each position brings one element only."""
        (value,) = self.of(gauge.value)
        return Reading(value, tuple(self.of(bound)[0] for bound in gauge.bounds))

    def costs(self, gauge: Gauge, before: Reading) -> Numbers:
        """The packed costs of all that a gauge can show.  Raises SearchLimit."""
        return gauge.costs(self.of(gauge.value), tuple(self.of(bound) for bound in gauge.bounds), before)


def as_it_came(model: Model, catalog: Catalog, received: Mapping[str, Part | None]) -> View:
    """The vehicle as it was received."""
    return View(lambda leaf: (leaf.probe.read(model, catalog, received[leaf.path], fresh=False),))
