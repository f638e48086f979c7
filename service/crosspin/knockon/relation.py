"""Cost tables that list only what is allowed.

Most combinations of parts do not go together, so a table over several positions is mostly infinite.  A
relation keeps the finite entries: one row per allowed combination of values, with its packed cost.
"""

from collections.abc import Sequence
from math import prod

import numpy as np
import numpy.typing as npt

from crosspin.knockon.limits import INFINITE, KEY_LIMIT, SearchLimit

Numbers = npt.NDArray[np.int64]
Column = npt.NDArray[np.int32]
Places = npt.NDArray[np.intp]


class Relation:
    """Rows over the variables of `scope`; `columns` holds their values, `costs` the packed cost of each row."""

    def __init__(self, scope: Sequence[int], columns: Sequence[Column], costs: Numbers) -> None:
        self.scope = tuple(scope)
        self.columns = tuple(columns)
        self.costs = costs

    @classmethod
    def of_table(cls, scope: Sequence[int], table: Numbers) -> "Relation":
        """The finite entries of a table with one axis per variable."""
        rows = np.nonzero(table < INFINITE)
        return cls(scope, [row.astype(np.int32) for row in rows], table[rows])

    def table(self, sizes: Sequence[int]) -> Numbers:
        """All combinations of values, with one axis per variable; INFINITE where there is no row."""
        costs = np.full([sizes[variable] for variable in self.scope], INFINITE, dtype=np.int64)
        costs[self.columns] = self.costs
        return costs

    def __len__(self) -> int:
        return self.costs.size

    def column(self, variable: int) -> Column:
        """The values of one variable."""
        return self.columns[self.scope.index(variable)]

    def take(self, rows: Places | npt.NDArray[np.bool_]) -> "Relation":
        """Some of the rows."""
        return Relation(self.scope, [column[rows] for column in self.columns], self.costs[rows])

    def lowered(self) -> tuple[int, "Relation"]:
        """The least cost, and the same rows with costs counted from it."""
        least = int(self.costs.min())
        return (least, Relation(self.scope, self.columns, self.costs - least)) if least else (0, self)

    def restricted(self, kept: Sequence[Places], sizes: Sequence[int]) -> "Relation":
        """The rows that have only the kept values of every variable, which are numbered anew."""
        rows = np.ones(len(self), dtype=bool)
        columns = []
        for variable, column in zip(self.scope, self.columns, strict=True):
            number = np.full(sizes[variable], -1, dtype=np.int32)
            number[kept[variable]] = np.arange(kept[variable].size)
            columns.append(number[column])
            rows &= columns[-1] >= 0
        return Relation(self.scope, columns, self.costs).take(rows)

    def key(self, variables: Sequence[int], sizes: Sequence[int]) -> Numbers:
        """One number for every row that tells apart the values of these variables."""
        span = prod(sizes[variable] for variable in variables)
        if span > KEY_LIMIT:
            raise SearchLimit("KEY_LIMIT", span, KEY_LIMIT, "combinations of values in one table of the search")
        key = np.zeros(len(self), dtype=np.int64)
        for variable in variables:
            key *= sizes[variable]
            key += self.column(variable)
        return key

    def join(self, other: "Relation", sizes: Sequence[int], limit: int) -> "Relation":
        """Rows that agree on the variables that both have, with the sum of their costs.

        Raises SearchLimit where the result would hold more than `limit` numbers.
        """
        shared = [variable for variable in other.scope if variable in self.scope]
        added = [variable for variable in other.scope if variable not in self.scope]
        mine, theirs = self.key(shared, sizes), other.key(shared, sizes)
        order = np.argsort(theirs, kind="stable")
        theirs = theirs[order]
        first = np.searchsorted(theirs, mine, "left")
        count = np.searchsorted(theirs, mine, "right") - first
        total = int(count.sum())
        cells = total * (len(self.scope) + len(added))
        if cells > limit:
            raise SearchLimit("TABLE_LIMIT", cells, limit, "numbers in one table of the search")
        here = np.repeat(np.arange(len(self)), count)
        within = np.arange(total) - np.repeat(np.cumsum(count) - count, count)
        there = order[within + np.repeat(first, count)]
        columns = [column[here] for column in self.columns] + [other.column(v)[there] for v in added]
        return Relation((*self.scope, *added), columns, self.costs[here] + other.costs[there])

    def beside(self, single: "Relation", sizes: Sequence[int]) -> "Relation":
        """The same as joined with a relation over one of its variables alone, which adds no rows."""
        (variable,) = single.scope
        more = single.table(sizes)[self.column(variable)]
        joined = Relation(self.scope, self.columns, self.costs + more)
        rows = more < INFINITE
        return joined if rows.all() else joined.take(rows)


class Groups:
    """The rows of a relation by their values of some variables: `of_row` numbers the group of every row,
    `keys` are the groups' keys, ascending, and `least` the least of some cost in each."""

    def __init__(self, relation: Relation, variables: Sequence[int], sizes: Sequence[int]) -> None:
        key = relation.key(variables, sizes)
        self._order = np.argsort(key, kind="stable")
        ordered = key[self._order]
        starts = np.ones(ordered.size, dtype=bool)
        starts[1:] = ordered[1:] != ordered[:-1]
        self._starts = np.flatnonzero(starts)
        self.keys = ordered[self._starts]
        self.of_row = np.empty(ordered.size, dtype=np.intp)
        self.of_row[self._order] = np.cumsum(starts) - 1
        self.samples = self._order[self._starts]

    def least(self, costs: Numbers) -> Numbers:
        """The least cost in every group."""
        if not costs.size:
            return costs
        return np.asarray(np.minimum.reduceat(costs[self._order], self._starts), dtype=np.int64)
