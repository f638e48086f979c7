"""Figures that decide, as functions of what may stand at the positions they read.

A `Gauge` is one figure at one place beside what it is held to; `limit_gauge` and `need_gauge` say what a plan is told
by it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from itertools import product
from math import prod
from typing import TypeAlias, TypeVar

import numpy as np
import numpy.typing as npt

from crosspin.knockon.diagram import Diagram, told_apart
from crosspin.knockon.figure_nodes import AsReceived, Element, Elements, Flat, Leaf, Node
from crosspin.knockon.limits import FIGURE_LIMIT, INFINITE, SearchLimit
from crosspin.knockon.view import View
from crosspin.knockon.weights import Weights

Numbers = npt.NDArray[np.int64]
Seen: TypeAlias = tuple[Elements, ...]
Key = TypeVar("Key")
Result = TypeVar("Result")

_MOST_KEPT = 4096
"""How many views of parts one gauge remembers what it shows of."""


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
        self._costs: dict[tuple[Seen, Reading], Numbers] = {}
        self._readings: dict[Seen, Reading] = {}
        self._diagrams: dict[tuple[Seen, Reading], Diagram] = {}

    @cached_property
    def leaves(self) -> tuple[Leaf, ...]:
        """Everything that it reads off parts as planned."""
        return tuple(node for node in self.sources if isinstance(node, Leaf))

    @cached_property
    def sources(self) -> tuple[Node, ...]:
        """All that it follows from: what is read off parts, and what is as received."""
        seen: dict[Node, None] = {}
        waiting: list[Node] = [self.value, *self.bounds]
        while waiting:
            node = waiting.pop()
            if node not in seen:
                seen[node] = None
                waiting.extend((*node.below, node.by_steps) if isinstance(node, Flat) else node.below)
        return tuple(node for node in seen if isinstance(node, Leaf | AsReceived))

    def _seen(self, view: View) -> Seen:
        """What all that it shows follows from."""
        return tuple(view.of(source) for source in self.sources)

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

    def reading(self, view: View) -> Reading:
        """What it shows where each position brings one element only."""
        seen = self._seen(view)
        known = self._readings.get(seen)
        if known is None:
            (value,) = view.of(self.value)
            known = Reading(value, tuple(view.of(bound)[0] for bound in self.bounds))
            _remember(self._readings, seen, known)
        return known

    def costs(self, view: View, before: Reading) -> Numbers:
        """The packed costs of all that it can show; one axis for the value, one for each node beside it.

        Raises SearchLimit.
        """
        key = (self._seen(view), before)
        known = self._costs.get(key)
        if known is None:
            values, bounds = view.of(self.value), [view.of(bound) for bound in self.bounds]
            shape = (len(values), *map(len, bounds))
            if prod(shape) > FIGURE_LIMIT:
                raise SearchLimit(
                    "FIGURE_LIMIT", prod(shape), FIGURE_LIMIT, "combinations of one figure and what it is held to"
                )
            found = (self.cost(Reading(value, beside), before) for value in values for beside in product(*bounds))
            known = np.fromiter(found, np.int64, prod(shape)).reshape(shape)
            _remember(self._costs, key, known)
        return known

    def diagram(self, view: View, before: Reading) -> Diagram:
        """The same as far as it matters to them what stands where.  Raises SearchLimit."""
        key = (self._seen(view), before)
        known = self._diagrams.get(key)
        if known is None:
            known = told_apart((self.value, *self.bounds), self.costs(view, before), view)
            _remember(self._diagrams, key, known)
        return known


def _remember(known: dict[Key, Result], key: Key, result: Result) -> None:
    if len(known) > _MOST_KEPT:
        known.clear()
    known[key] = result
