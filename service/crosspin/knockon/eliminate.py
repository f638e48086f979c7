"""Exact solution of a network of relations by bucket elimination.

Variables are numbers.  The forward pass eliminates one after another, the backward pass spreads the result,
so that every value of every variable learns the least total cost of a full assignment that has it (its
min-marginal).  Both are exact; what would need a larger table than is allowed raises SearchLimit.
"""

from collections.abc import Iterable, Sequence
from math import prod

import numpy as np

from crosspin.knockon.limits import INFINITE, TABLE_LIMIT
from crosspin.knockon.order import Order, elimination_order
from crosspin.knockon.relation import Groups, Numbers, Relation


class _Bucket:
    """One variable's turn: the relation over it and over variables that are eliminated later, and the
    message that remains when it is gone.  Costs count from the least of the relation, `least`."""

    def __init__(self, variable: int, relation: Relation, sizes: Sequence[int]) -> None:
        self.least, self.relation = relation.lowered()
        self.rest = tuple(v for v in relation.scope if v != variable)
        self.groups = Groups(relation, self.rest, sizes)
        samples = relation.take(self.groups.samples)
        self.message = Relation(
            self.rest, [samples.column(v) for v in self.rest], self.groups.least(self.relation.costs)
        )


class Elimination:
    """A network with its elimination order and the forward pass done.

    `sizes` gives the number of values of each variable, which is at least one; those that have just one take
    no part in the work.  With a `budget`, assignments that cost more are left out as soon as that is
    certain: what is found within the budget is exact, and what is not found costs more.  `limit` is the most
    numbers that one table may hold.  `widest` is the number of rows of the largest relation.
    """

    def __init__(
        self,
        sizes: Sequence[int],
        factors: Sequence[Relation],
        budget: int = INFINITE - 1,
        limit: int = TABLE_LIMIT,
        order: Order = Order.FILL,
    ) -> None:
        self.budget = budget
        self.widest = 0
        self._sizes = sizes
        self._limit = limit
        self._total = 0
        self._dead = False
        self._waiting: dict[int, list[Relation]] = {}
        narrowed = [self._narrow(factor) for factor in factors]
        self._single = self._singles(narrowed)
        self._order = elimination_order(sizes, narrowed, order)
        self._rank = {variable: place for place, variable in enumerate(self._order)}
        self._guides = self._guide(narrowed)
        self._buckets: dict[int, _Bucket] = {}
        self._forward(narrowed)

    def _narrow(self, factor: Relation) -> Relation:
        """The factor without the variables that have one value."""
        kept = [v for v in factor.scope if self._sizes[v] > 1]
        if len(kept) == len(factor.scope):
            return factor
        return Relation(kept, [factor.column(v) for v in kept], factor.costs)

    def _singles(self, factors: Iterable[Relation]) -> dict[int, Numbers]:
        """What every value costs by itself, counted from the cheapest value of its variable."""
        singles: dict[int, Numbers] = {}
        for factor in factors:
            if len(factor.scope) == 1 and len(factor):
                costs = np.full(self._sizes[factor.scope[0]], INFINITE, dtype=np.int64)
                costs[factor.columns[0]] = factor.costs - factor.costs.min()
                before = singles.get(factor.scope[0])
                singles[factor.scope[0]] = costs if before is None else np.minimum(before + costs, INFINITE)
        return singles

    def _guide(self, factors: Iterable[Relation]) -> dict[int, list[Relation]]:
        """Two-variable factors that forbid something, by variable, as relations without cost.

        A row that any factor forbids is worth nothing wherever it is met, so tables may be cut down by
        factors whose own turn comes later.
        """
        guides: dict[int, list[Relation]] = {}
        for factor in factors:
            if len(factor.scope) == 2 and len(factor) < prod(self._sizes[v] for v in factor.scope):
                free = Relation(factor.scope, factor.columns, np.zeros_like(factor.costs))
                for variable in factor.scope:
                    guides.setdefault(variable, []).append(free)
        return guides

    def _send(self, factor: Relation) -> None:
        """Hand a factor to the first of its variables, its least cost to the total.

        No cost is negative, so the total so far is a bound on every assignment: a row that exceeds the
        budget on top of it can be left out.
        """
        if not len(factor):
            self._dead = True
            return
        least, factor = factor.lowered()
        self._total += least
        if factor.scope:
            first = min(factor.scope, key=self._rank.__getitem__)
            self._waiting.setdefault(first, []).append(factor)

    def _affordable(self, relation: Relation, variable: int) -> Relation:
        """The rows that the budget still allows at the turn of a variable, together with what the values of
        the variables that come later cost by themselves."""
        bound = relation.costs
        for other, column in zip(relation.scope, relation.columns, strict=True):
            if other != variable and other in self._single:
                bound = np.minimum(bound + self._single[other][column], INFINITE)
        rows = bound <= self.budget - self._total
        return relation if rows.all() else relation.take(rows)

    def _forward(self, factors: Iterable[Relation]) -> None:
        for factor in factors:
            self._send(factor)
        for variable in self._order:
            if self._dead:
                return
            relation = self._join(variable)
            if not len(relation):
                self._dead = True
                return
            bucket = self._buckets[variable] = _Bucket(variable, relation, self._sizes)
            self._total += bucket.least
            self._send(bucket.message)

    def _join(self, variable: int) -> Relation:
        """All that waits for a variable, as one relation: next always comes what adds the fewest rows."""
        waiting = [self._affordable(factor, variable) for factor in self._waiting.pop(variable)]
        later = {v for factor in waiting for v in factor.scope} - {variable}
        guides = {
            id(guide): guide
            for v in sorted(later)
            for guide in self._guides.get(v, ())
            if later.issuperset(guide.scope)
        }
        alone = [factor for factor in waiting if len(factor.scope) == 1]
        waiting = [factor for factor in waiting if len(factor.scope) > 1]
        if not waiting:
            return self._summed(alone)
        joined = min(waiting, key=len)
        waiting.remove(joined)
        if alone:
            joined = self._affordable(joined.beside(self._summed(alone), self._sizes), variable)
        while waiting:
            scope = set(joined.scope)

            def growth(factor: Relation, scope: set[int] = scope) -> float:
                return len(factor) / prod(self._sizes[v] for v in factor.scope if v in scope)

            touching = [guide for guide in guides.values() if not scope.isdisjoint(guide.scope)]
            following = min(touching + waiting, key=growth)
            if id(following) in guides:
                del guides[id(following)]
            else:
                waiting.remove(following)
            joined = self._affordable(joined.join(following, self._sizes, self._limit), variable)
            self.widest = max(self.widest, len(joined))
        return joined

    def _summed(self, factors: Sequence[Relation]) -> Relation:
        """Factors over one variable alone as one."""
        summed = factors[0]
        for factor in factors[1:]:
            summed = summed.beside(factor, self._sizes)
        return summed

    @property
    def optimum(self) -> int:
        """The least total cost; INFINITE where no assignment is within the budget."""
        return INFINITE if self._dead or self._total > self.budget else self._total

    def min_marginals(self) -> list[Numbers]:
        """For every variable, the least total cost of an assignment with each of its values; INFINITE where
        that is not within the budget."""
        marginals: list[Numbers] = [np.full(size, INFINITE, dtype=np.int64) for size in self._sizes]
        optimum = self.optimum
        if optimum >= INFINITE:
            return marginals
        for variable, size in enumerate(self._sizes):
            if size == 1:
                marginals[variable][0] = optimum
        beliefs: dict[int, Numbers] = {}
        for variable in reversed(self._order):
            bucket = self._buckets[variable]
            # What the rest of the network adds to the optimum: the whole less what came from this bucket.
            others = self._whole(bucket, beliefs) - bucket.message.costs
            beliefs[variable] = bucket.relation.costs + others[bucket.groups.of_row]
            np.minimum.at(marginals[variable], bucket.relation.column(variable), optimum + beliefs[variable])
        return [np.where(found > self.budget, INFINITE, found) for found in marginals]

    def _whole(self, bucket: _Bucket, beliefs: dict[int, Numbers]) -> Numbers:
        """For every row of a bucket's message, what the best full assignment that agrees with it adds to the
        optimum."""
        if not bucket.rest:
            return np.zeros(1, dtype=np.int64)
        parent = min(bucket.rest, key=self._rank.__getitem__)
        groups = Groups(self._buckets[parent].relation, bucket.rest, self._sizes)
        least = groups.least(beliefs[parent])
        places = np.minimum(np.searchsorted(groups.keys, bucket.groups.keys), groups.keys.size - 1)
        met = groups.keys[places] == bucket.groups.keys
        return np.asarray(np.where(met, np.minimum(least[places], INFINITE), INFINITE), dtype=np.int64)
