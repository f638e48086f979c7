"""Exact solution of a network of cost tables by bucket elimination.

Variables are numbers; a factor is a scope (a tuple of variables) and a table of packed costs with one
axis per variable.  The forward pass eliminates variables one after another, the backward pass spreads the
result, so that every value of every variable learns the least total cost of a full assignment that has it
(its min-marginal).  Both are exact; a table beyond TABLE_LIMIT raises SearchLimit.
"""

from collections.abc import Sequence
from math import prod

import numpy as np

from crosspin.knockon.limits import INFINITE, TABLE_LIMIT, SearchLimit
from crosspin.knockon.tally import Factor, Numbers


def elimination_order(sizes: Sequence[int], free: Sequence[int], scopes: Sequence[tuple[int, ...]]) -> list[int]:
    """Min-fill order of the free variables: next comes the one whose neighbours miss the fewest links among
    themselves, then the one with the smallest table, then the lowest number."""
    beside = [0] * len(sizes)
    for scope in scopes:
        mask = 0
        for variable in scope:
            mask |= 1 << variable
        for variable in scope:
            beside[variable] |= mask
    for variable in free:
        beside[variable] &= ~(1 << variable)

    def members(mask: int) -> list[int]:
        found = []
        while mask:
            low = mask & -mask
            found.append(low.bit_length() - 1)
            mask ^= low
        return found

    def rank(variable: int) -> tuple[int, int, int]:
        around = beside[variable]
        near = members(around)
        missing = sum((around & ~beside[other]).bit_count() - 1 for other in near)
        return missing, sizes[variable] * prod(sizes[other] for other in near), variable

    ranks = {variable: rank(variable) for variable in free}
    order = []
    while ranks:
        chosen = min(ranks, key=ranks.__getitem__)
        del ranks[chosen]
        order.append(chosen)
        near = members(beside[chosen])
        touched = 0
        for other in near:
            beside[other] |= beside[chosen]
            beside[other] &= ~(1 << other | 1 << chosen)
            touched |= 1 << other | beside[other]
        for variable in members(touched):
            if variable in ranks:
                ranks[variable] = rank(variable)
    return order


class _Bucket:
    """One variable's turn: the table over it and over those that are eliminated later."""

    def __init__(self, scope: tuple[int, ...], table: Numbers) -> None:
        self.scope = scope
        self.table = table
        self.message = table.min(axis=0)


class Elimination:
    """A network with its elimination order; both passes may be run on it.

    `sizes` gives the number of values of each variable.  Every variable needs at least one value; those
    that have just one take no part in the work.  `widest` is the number of entries of the largest table.
    """

    def __init__(self, sizes: Sequence[int], factors: Sequence[Factor]) -> None:
        self._sizes = sizes
        self.factors = factors
        self._factors = [self._open_axes(factor) for factor in factors]
        free = [variable for variable, size in enumerate(sizes) if size > 1]
        self._order = elimination_order(sizes, free, [scope for scope, _ in self._factors])
        self._rank = {variable: place for place, variable in enumerate(self._order)}
        self._buckets: list[_Bucket] = []
        self._constant = 0
        self._roots: list[int] = []
        self.widest = 1
        self._forward()

    def _open_axes(self, factor: Factor) -> Factor:
        """The factor without the variables that have one value."""
        scope, table = factor
        if all(self._sizes[variable] > 1 for variable in scope):
            return factor
        fixed = tuple(slice(None) if self._sizes[variable] > 1 else 0 for variable in scope)
        return tuple(variable for variable in scope if self._sizes[variable] > 1), np.asarray(table[fixed])

    def _aligned(self, factor: Factor) -> Factor:
        """The factor with its axes in elimination order."""
        scope, table = factor
        axes = sorted(range(len(scope)), key=lambda axis: self._rank[scope[axis]])
        return tuple(scope[axis] for axis in axes), table.transpose(axes)

    def _forward(self) -> None:
        waiting: list[list[Factor]] = [[] for _ in self._order]
        for factor in self._factors:
            scope, table = self._aligned(factor)
            if scope:
                waiting[self._rank[scope[0]]].append((scope, table))
            else:
                self._constant = min(self._constant + int(table), INFINITE)
        for place, variable in enumerate(self._order):
            scope, table = self._join(variable, waiting[place])
            bucket = _Bucket(scope, table)
            self._buckets.append(bucket)
            if len(scope) > 1:
                waiting[self._rank[scope[1]]].append((scope[1:], bucket.message))
            else:
                self._roots.append(place)

    def _join(self, variable: int, factors: list[Factor]) -> Factor:
        variables = {variable}
        for scope, _ in factors:
            variables.update(scope)
        joined = tuple(sorted(variables, key=self._rank.__getitem__))
        shape = tuple(self._sizes[v] for v in joined)
        entries = prod(shape)
        if entries > TABLE_LIMIT:
            raise SearchLimit("TABLE_LIMIT", entries, TABLE_LIMIT, "entries of one table of the search")
        self.widest = max(self.widest, entries)
        total = np.zeros(shape, dtype=np.int64)
        for scope, table in factors:
            total += table.reshape([self._sizes[v] if v in scope else 1 for v in joined])
            np.minimum(total, INFINITE, out=total)
        return joined, total

    @property
    def optimum(self) -> int:
        """The least total cost; INFINITE where there is no assignment."""
        total = self._constant
        for place in self._roots:
            total = min(total + int(self._buckets[place].message), INFINITE)
        return total

    def min_marginals(self) -> list[Numbers]:
        """For every variable, the least total cost of an assignment with each of its values."""
        optimum = self.optimum
        marginals: list[Numbers] = [np.full(1, optimum, dtype=np.int64) for _ in self._sizes]
        beliefs: list[Numbers] = [np.empty(0, dtype=np.int64)] * len(self._order)
        for place in reversed(range(len(self._order))):
            bucket = self._buckets[place]
            if len(bucket.scope) == 1:
                whole: Numbers = np.array(optimum, dtype=np.int64)
            else:
                parent = self._rank[bucket.scope[1]]
                rest = bucket.scope[1:]
                drop = tuple(axis for axis, variable in enumerate(self._buckets[parent].scope) if variable not in rest)
                whole = beliefs[parent].min(axis=drop)
            # What the rest of the network costs at least: the whole less what came from this bucket.
            others = np.where(whole >= INFINITE, INFINITE, whole - bucket.message)
            belief = np.minimum(bucket.table + others, INFINITE)
            beliefs[place] = belief
            marginals[self._order[place]] = belief.reshape(belief.shape[0], -1).min(axis=1)
        return marginals
