"""Figures that decide, as functions of what may stand at the positions they read.

A `Gauge` is one figure at one place beside what it is held to; `limit_gauge` and `need_gauge` say what a plan is told
by it.  A `View` says what every node of a gauge comes to.
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
from crosspin.knockon.figure_nodes import AsReceived, Element, Elements, Flat, Leaf, Node
from crosspin.knockon.limits import FIGURE_LIMIT, FLAT_LIMIT, INFINITE, SearchLimit
from crosspin.knockon.weights import Weights
from crosspin.model.schema import Model, Part

Numbers = npt.NDArray[np.int64]

_MOST_KEPT = 4096
"""How many combinations of lists one gauge remembers."""


@dataclass(frozen=True, slots=True)
class Reading:
    """A figure and what it is held to: the bounds of its deciding limits, in the order of the figure, or what stands
    where it asks for something.  A plan is judged by it."""

    value: Element
    bounds: Elements


@dataclass(frozen=True, slots=True)
class Cure:
    """A remedy that makes a value beyond a limit acceptable, and what its work costs."""

    limit: str
    remedy: str
    money: Decimal


@dataclass(frozen=True, slots=True)
class Judgement:
    """What is said: the criteria that forbid the plan (None: the gauge as a whole), whether something new is open or
    unsafe, and the cures."""

    barred: tuple[str | None, ...] = ()
    open: bool = False
    unsafe: bool = False
    cures: tuple[Cure, ...] = ()


class Gauge:
    """One figure at one place, beside what it is held to: bounds, or what stands at a position."""

    def __init__(
        self, name: str, value: Node, beside: Sequence[Node], criteria: Sequence[str | None], weights: Weights
    ) -> None:
        self.id = name
        self._weights = weights
        self.value = value
        self.bounds = tuple(beside)
        self.parties = value.parties.union(*(node.parties for node in beside))
        self.criteria = tuple(criteria)
        """The criteria that may forbid a plan here; None where the gauge as a whole does."""
        self._costs: dict[tuple[Elements, tuple[Elements, ...], Reading], Numbers] = {}

    @cached_property
    def leaves(self) -> tuple[Leaf, ...]:
        """Everything that it reads off parts, whether as planned or as received."""
        seen: dict[Node, None] = {}
        waiting: list[Node] = [self.value, *self.bounds]
        while waiting:
            node = waiting.pop()
            if node not in seen:
                seen[node] = None
                waiting.extend((*node.below, node.by_steps) if isinstance(node, Flat) else node.below)
        return tuple(node for node in seen if isinstance(node, Leaf))

    def judge(self, now: Reading, before: Reading) -> Judgement:
        """What is said of a plan, beside the vehicle as it was received."""
        raise NotImplementedError

    def cost(self, now: Reading, before: Reading) -> int:
        """The packed cost of what is said."""
        judged = self.judge(now, before)
        if judged.barred:
            return INFINITE
        cost = self._weights.money(sum((cure.money for cure in judged.cures), Decimal(0)))
        if judged.open:
            cost += self._weights.unknown
        return cost + (self._weights.unsafe if judged.unsafe else 0)

    def costs(self, values: Elements, bounds: tuple[Elements, ...], before: Reading) -> Numbers:
        """The packed costs of all combinations; one axis for the value, one for each node beside it.

        Raises SearchLimit.
        """
        key = (values, bounds, before)
        known = self._costs.get(key)
        if known is None:
            shape = (len(values), *map(len, bounds))
            if prod(shape) > FIGURE_LIMIT:
                raise SearchLimit(
                    "FIGURE_LIMIT", prod(shape), FIGURE_LIMIT, "combinations of one figure and what it is held to"
                )
            found = (self.cost(Reading(value, beside), before) for value in values for beside in product(*bounds))
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
                self.of(node.by_steps)
                return node.by_steps
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
