"""The rank of a plan as one whole number.

The levels of `Cost` lie side by side in one signed 64-bit number, the first level highest, so that
adding and comparing packed costs adds and compares costs.  Every field is as wide as the largest sum
that one plan can bring to it, so that no field can run over into the next.

Money is counted in units of its last decimal: hundredths, finer where hours of work make finer amounts, and tens,
thousands and so on where sums are too large for hundredths and no amount needs them.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from crosspin.knockon.limits import COST_BITS, FAR, SearchLimit
from crosspin.knockon.proposal import Cost

MINOR_UNIT = 2
"""Decimals that money always shows; finer amounts (hours of work) make it show more."""

Cents = TypeVar("Cents", int, npt.NDArray[np.int64])


def decimals_of(amounts: Iterable[Decimal], least: int = 0) -> int:
    """How many decimals hold every one of these amounts exactly; below zero, down to `least`, where all are whole
    tens, hundreds and so on."""
    finest = least
    for amount in filter(None, amounts):
        exponent = amount.normalize().as_tuple().exponent
        if not isinstance(exponent, int):
            raise ValueError(f"{amount} is not a finite amount")
        finest = max(finest, -exponent)
    return finest


def whole(amount: Decimal, decimals: int) -> int:
    """The amount counted in units of its last decimal."""
    return int(amount.scaleb(decimals))


@dataclass(frozen=True, slots=True)
class Weights:
    """Where each level lies: `unknown`, `extra`, `lost` and `unsafe` are the packed costs of one each.

    `beyond` is a mark between what is unknown and what is extra, for what would be cheaper only if positions that are
    closed were changed; no plan has it.
    """

    decimals: int
    unknown: int
    beyond: int
    extra: int
    lost: int
    unsafe: int

    @classmethod
    def for_bounds(cls, decimals: int, money: int, unknown: int, extra: int, lost: int, unsafe: int) -> "Weights":
        """Weights for plans that reach at most these sums; `money` in units of the last decimal.

        Raises SearchLimit where they do not fit in one number.
        """
        # A power of two, so that a new price seldom changes the weights, and what was worked out by them stays right.
        one_unknown = 1 << money.bit_length()
        beyond = one_unknown * (unknown + 1)
        one_extra = 2 * beyond
        one_lost = one_extra * (extra + 1)
        one_unsafe = one_lost * (lost + 1)
        top = one_unsafe * (unsafe + 1)
        if top >= 1 << COST_BITS:
            raise SearchLimit("COST_BITS", top.bit_length(), COST_BITS, "bits for the cost of one plan")
        return cls(decimals, one_unknown, beyond, one_extra, one_lost, one_unsafe)

    def money(self, amount: Decimal) -> int:
        """The packed cost of an amount of money."""
        return whole(amount, self.decimals)

    def cents(self, amount: Cents) -> Cents:
        """The packed cost of an amount in hundredths of the currency."""
        finer = self.decimals - MINOR_UNIT
        return amount * int(10**finer) if finer >= 0 else amount // int(10**-finer)

    def is_marked(self, packed: npt.ArrayLike) -> npt.NDArray[np.bool_]:
        """Which packed costs, of what is allowed, bear the mark `beyond`."""
        costs = np.asarray(packed)
        return np.asarray((costs < FAR) & (costs % self.extra >= self.beyond), dtype=bool)

    def cost(self, packed: int) -> Cost:
        """A packed cost, spelled out."""
        shown = max(self.decimals, MINOR_UNIT)
        money = Decimal(packed % self.unknown * 10 ** (shown - self.decimals)).scaleb(-shown)
        return Cost(
            unsafe=packed // self.unsafe,
            lost=packed % self.unsafe // self.lost,
            extra=packed % self.lost // self.extra,
            unknown=packed % self.beyond // self.unknown,
            money=money,
        )
