"""Gauges as relations of a network, over the variables of positions and over new ones that follow from these.

No relation is over more than three variables, so that other solvers take them too.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crosspin.knockon.diagram import Branch, Diagram, Places, Table, alike
from crosspin.knockon.relation import Relation


@dataclass(frozen=True, slots=True, eq=False)
class Axis:
    """One axis of a table, of so many classes: a variable, and the class of each of its values."""

    variable: int
    index: Places
    classes: int


class GaugeRelations:
    """Makes the relations of gauges.

    `leaf` says over which variable the classes of a leaf are, `sizes` how many values the variables have that there
    are.  `factors` and `sizes` grow as gauges are added.
    """

    def __init__(self, leaf: Callable[[Branch], Axis], sizes: Sequence[int]) -> None:
        self._leaf = leaf
        self.sizes = list(sizes)
        self.factors: list[Relation] = []
        self._following: dict[tuple[tuple[int, ...], bytes], int] = {}

    def add(self, diagram: Diagram, spared: int | None = None) -> None:
        """The packed costs of what a gauge says, over what they rest on; nothing where a variable is 1 that it is
        `spared` by."""
        axes, small = self._folded(diagram.below, diagram.costs, 3 if spared is None else 2)
        if spared is not None:
            axes = [*axes, Axis(spared, np.arange(2), 2)]
            small = np.stack((small, np.zeros_like(small)), axis=-1)
        if not axes:
            self.factors.append(Relation((), (), small.ravel().astype(np.int64)))
            return
        self.factors.append(Relation.of_table(*self._over_variables(axes, small)))

    def _axis(self, branch: Branch) -> Axis:
        """The classes that a branch comes to."""
        if branch.leaf is not None:
            return self._leaf(branch)
        return self._one(*self._folded(branch.below, branch.classes, 2), branch.count)

    def _folded(
        self, below: Sequence[Branch], table: npt.NDArray[np.integer], most: int
    ) -> tuple[list[Axis], npt.NDArray[np.integer]]:
        """A table over the classes of branches as one over at most so many axes: the first two become one, as often as
        need be."""
        axes = [self._axis(branch) for branch in below]
        if len(axes) > 1:
            axes = [self._narrow(axis) for axis in axes]
        while len(axes) > most:
            shape = table.shape
            rows = table.reshape(shape[0] * shape[1], *shape[2:])
            classes, first = alike(rows, 0)
            both = self._one(axes[:2], classes.reshape(shape[:2]), first.size)
            axes, table = [both, *axes[2:]], rows[first]
        return axes, table

    def _one(self, axes: Sequence[Axis], classes: npt.NDArray[np.integer], count: int) -> Axis:
        """One axis in place of one or two: a new variable where they are over different ones."""
        scope, table = self._over_variables(axes, classes)
        if len(scope) == 1:
            return Axis(scope[0], table.astype(np.intp), count)
        return Axis(self._follows(scope, table, count), np.arange(count, dtype=np.intp), count)

    def _narrow(self, axis: Axis) -> Axis:
        """The same over a variable of its own where the one that it is over tells more apart than matters here."""
        if self.sizes[axis.variable] == axis.classes:
            return axis
        variable = self._follows((axis.variable,), axis.index, axis.classes)
        return Axis(variable, np.arange(axis.classes, dtype=np.intp), axis.classes)

    def _follows(self, scope: tuple[int, ...], table: npt.NDArray[np.integer], size: int) -> int:
        """A variable whose value follows from others."""
        key = scope, table.astype(np.int32).tobytes()
        known = self._following.get(key)
        if known is None:
            known = self._following[key] = len(self.sizes)
            self.sizes.append(size)
            columns = [column.ravel().astype(np.int32) for column in np.indices(table.shape)]
            free = np.zeros(table.size, dtype=np.int64)
            self.factors.append(Relation((*scope, known), (*columns, table.ravel().astype(np.int32)), free))
        return known

    @staticmethod
    def _over_variables(axes: Sequence[Axis], table: npt.NDArray[np.integer]) -> tuple[tuple[int, ...], Table]:
        """A table over classes as one over the variables behind them, each with one axis."""
        scope = tuple(dict.fromkeys(axis.variable for axis in axes))
        grids = []
        for axis in axes:
            shape = [1] * len(scope)
            shape[scope.index(axis.variable)] = axis.index.size
            grids.append(axis.index.reshape(shape))
        return scope, np.asarray(table[tuple(grids)], dtype=np.int64)
