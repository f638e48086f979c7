"""Gauges as relations of a network, over the variables of positions and over new ones that follow from these.

What a limit says of a figure mostly comes to two or three classes: within, beyond, open.  So elements that come to
the same for all that follows are one class, from the limits down to the leaves; few values remain on the way.  No
relation is over more than three variables, so that other solvers take them too.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crosspin.knockon.figure_nodes import AsReceived, Elements, Leaf, Node
from crosspin.knockon.gauge import Gauge, Reading, View
from crosspin.knockon.relation import Relation

Table = npt.NDArray[np.int64]
Places = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """What a leaf comes to: its distinct elements and, for each value of a variable, which of them; without a variable
    there is one element."""

    elements: Elements
    variable: int | None = None
    index: Places | None = None


@dataclass(frozen=True, slots=True, eq=False)
class _Axis:
    """One axis of a table, of so many classes: a variable, and the class of each of its values."""

    variable: int
    index: Places
    classes: int


class GaugeRelations:
    """Makes the relations of gauges.

    `leaf` says what a leaf comes to, `sizes` how many values the variables have that there are.  `factors` and `sizes`
    grow as gauges are added.  Raises SearchLimit.
    """

    def __init__(self, leaf: Callable[[Leaf], Found], came: View, sizes: Sequence[int]) -> None:
        self._leaf = leaf
        self._view = View(lambda one: leaf(one).elements, came)
        self.sizes = list(sizes)
        self.factors: list[Relation] = []
        self._narrowed: dict[tuple[int, bytes], _Axis] = {}

    def add(self, gauge: Gauge, before: Reading, spared: int | None = None) -> None:
        """The packed costs of what the gauge's limits say, over what they rest on; nothing where a variable is 1 that
        it is `spared` by."""
        costs = self._view.costs(gauge, before)
        if not costs.any():
            return
        axes, small = self._axes((gauge.value, *gauge.bounds), costs)
        axes, small = self._folded(axes, small, 3 if spared is None else 2)
        if spared is not None:
            axes = [*axes, _Axis(spared, np.arange(2), 2)]
            small = np.stack((small, np.zeros_like(small)), axis=-1)
        if not axes:
            self.factors.append(Relation((), (), small.ravel()))
            return
        self.factors.append(Relation.of_table(*self._over_variables(axes, small)))

    def _axes(self, nodes: Sequence[Node], table: Table) -> tuple[list[_Axis], Table]:
        """A table over the elements of nodes as one over the classes that it tells apart; nodes that always come to the
        same class have no axis."""
        axes = []
        for place, node in enumerate(nodes):
            classes, first = _classes(table, place)
            table = np.take(table, first, axis=place)
            if first.size > 1:
                axes.append(self._axis(node, classes, first.size))
        return axes, table.reshape([axis.classes for axis in axes])

    def _axis(self, node: Node, classes: Places, count: int) -> _Axis:
        """What decides which class a node comes to; it comes to several."""
        if isinstance(node, Leaf):
            found = self._leaf(node)
            assert found.variable is not None and found.index is not None, "it comes to several classes"
            return _Axis(found.variable, classes[found.index], count)
        assert not isinstance(node, AsReceived), "what was received is one element"
        node = self._view.step(node)
        combined = node.combine(tuple(self._view.of(one) for one in node.below))
        axes, table = self._axes(node.below, classes[combined.table])
        return self._one(*self._folded(axes, table, 2), count)

    def _folded(self, axes: list[_Axis], table: Table, most: int) -> tuple[list[_Axis], Table]:
        """The same over at most so many axes: the first two become one, as often as need be."""
        if len(axes) > 1:
            axes = [self._narrow(axis) for axis in axes]
        while len(axes) > most:
            shape = table.shape
            rows = table.reshape(shape[0] * shape[1], *shape[2:])
            classes, first = _classes(rows, 0)
            both = self._one(axes[:2], classes.reshape(shape[:2]), first.size)
            axes, table = [both, *axes[2:]], rows[first]
        return axes, table

    def _one(self, axes: Sequence[_Axis], classes: Table, count: int) -> _Axis:
        """One axis in place of one or two: a new variable where they are over different ones."""
        scope, table = self._over_variables(axes, classes)
        if len(scope) == 1:
            return _Axis(scope[0], table.astype(np.intp), count)
        return _Axis(self._follows(scope, table, count), np.arange(count, dtype=np.intp), count)

    def _narrow(self, axis: _Axis) -> _Axis:
        """The same over a variable of its own where the one that it is over tells more apart than matters here."""
        if self.sizes[axis.variable] == axis.classes:
            return axis
        key = (axis.variable, axis.index.tobytes())
        known = self._narrowed.get(key)
        if known is None:
            variable = self._follows((axis.variable,), axis.index, axis.classes)
            known = _Axis(variable, np.arange(axis.classes, dtype=np.intp), axis.classes)
            self._narrowed[key] = known
        return known

    def _follows(self, scope: Sequence[int], table: npt.NDArray[np.integer], size: int) -> int:
        """A new variable whose value follows from others."""
        variable = len(self.sizes)
        self.sizes.append(size)
        columns = [column.ravel().astype(np.int32) for column in np.indices(table.shape)]
        free = np.zeros(table.size, dtype=np.int64)
        self.factors.append(Relation((*scope, variable), (*columns, table.ravel().astype(np.int32)), free))
        return variable

    @staticmethod
    def _over_variables(axes: Sequence[_Axis], table: Table) -> tuple[tuple[int, ...], Table]:
        """A table over classes as one over the variables behind them, each with one axis."""
        scope = tuple(dict.fromkeys(axis.variable for axis in axes))
        grids = []
        for axis in axes:
            shape = [1] * len(scope)
            shape[scope.index(axis.variable)] = axis.index.size
            grids.append(axis.index.reshape(shape))
        return scope, np.asarray(table[tuple(grids)], dtype=np.int64)


def _classes(table: npt.NDArray[np.integer], axis: int) -> tuple[Places, Places]:
    """Which slices along an axis are alike: the class of each, and the first slice of each class."""
    slices = np.ascontiguousarray(np.moveaxis(table, axis, 0)).reshape(table.shape[axis], -1)
    numbered: dict[bytes, int] = {}
    classes = np.array([numbered.setdefault(one.tobytes(), len(numbered)) for one in slices], dtype=np.intp)
    first = np.zeros(len(numbered), dtype=np.intp)
    first[classes[::-1]] = np.arange(classes.size, dtype=np.intp)[::-1]
    return classes, first
