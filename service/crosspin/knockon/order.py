"""In which order the variables of a network are eliminated: any order is right, few are quick."""

from collections.abc import Callable, Sequence
from enum import Enum
from math import log, prod

import numpy as np

from crosspin.knockon.relation import Relation


class Order(Enum):
    """How the next variable is chosen."""

    FILL = "the one whose neighbours miss the fewest combinations of values among themselves"
    ROWS = "the one whose neighbours are expected to have the fewest allowed combinations of values"


def _members(mask: int) -> list[int]:
    found = []
    while mask:
        low = mask & -mask
        found.append(low.bit_length() - 1)
        mask ^= low
    return found


Rank = Callable[[int, list[int], list[int]], tuple[float, float]]


def elimination_order(sizes: Sequence[int], factors: Sequence[Relation], order: Order) -> list[int]:
    """The variables that have a choice, in the order chosen; of equals, the one with the lowest number first."""
    beside = [0] * len(sizes)
    for factor in factors:
        mask = sum(1 << variable for variable in factor.scope)
        for variable in factor.scope:
            beside[variable] |= mask & ~(1 << variable)
    rank = _by_fill(sizes) if order is Order.FILL else _by_rows(sizes, factors)
    ranks = {
        variable: (*rank(variable, _members(beside[variable]), beside), variable)
        for variable, size in enumerate(sizes)
        if size > 1
    }
    ordered = []
    while ranks:
        chosen = min(ranks, key=ranks.__getitem__)
        del ranks[chosen]
        ordered.append(chosen)
        near = beside[chosen]
        touched = near
        for other in _members(near):
            # A rank rests on who is beside a variable and beside whom these are: it changes for the neighbours of the
            # chosen one, and for whoever is beside two of them that were not beside each other so far.
            new = near & ~(beside[other] | 1 << other)
            for one in _members(new):
                touched |= beside[other] & beside[one]
            beside[other] = (beside[other] | near) & ~(1 << other | 1 << chosen)
        for variable in _members(touched & ~(1 << chosen)):
            ranks[variable] = (*rank(variable, _members(beside[variable]), beside), variable)
    return ordered


def _by_fill(sizes: Sequence[int]) -> Rank:
    def rank(variable: int, near: list[int], beside: list[int]) -> tuple[float, float]:
        missing = 0
        for one in near:
            for other in _members((beside[variable] & ~beside[one]) >> one + 1):
                missing += sizes[one] * sizes[other + one + 1]
        return missing, prod(sizes[other] for other in near)

    return rank


def _by_rows(sizes: Sequence[int], factors: Sequence[Relation]) -> Rank:
    """Rows are estimated from the sizes and from the share of combinations that each factor allows, as if
    factors were independent; a factor over more than two variables is shared out among their pairs."""
    spans = np.log(np.array(sizes, dtype=float))
    shares = np.zeros((len(sizes), len(sizes)))
    for factor in factors:
        if len(factor.scope) < 2:
            continue
        pairs = len(factor.scope) * (len(factor.scope) - 1) / 2
        share = log(max(len(factor), 1) / prod(sizes[v] for v in factor.scope)) / pairs
        for one in factor.scope:
            for other in factor.scope:
                if one != other:
                    shares[one, other] += share

    def rank(_variable: int, near: list[int], _beside: list[int]) -> tuple[float, float]:
        return float(spans[near].sum() + shares[np.ix_(near, near)].sum() / 2), 0.0

    return rank
