"""What every node of a gauge comes to where each position can bring several elements."""

from collections.abc import Callable, Mapping
from contextlib import suppress
from math import prod

from crosspin.catalog.catalog import Catalog
from crosspin.knockon.figure_nodes import AsReceived, Elements, Flat, Leaf, Node
from crosspin.knockon.limits import FLAT_LIMIT, SearchLimit
from crosspin.model.schema import Model, Part


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


def as_it_came(model: Model, catalog: Catalog, received: Mapping[str, Part | None]) -> View:
    """The vehicle as it was received."""
    return View(lambda leaf: (leaf.probe.read(model, catalog, received[leaf.path], fresh=False),))
