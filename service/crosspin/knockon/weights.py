"""The rank of a plan as one whole number.

The levels of `Cost` lie side by side in one signed 64-bit number, the first level highest, so that
adding and comparing packed costs adds and compares costs.  Every field is as wide as the largest sum
that one plan can bring to it, so that no field can run over into the next.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from crosspin.knockon.limits import COST_BITS, SearchLimit
from crosspin.knockon.proposal import Cost

MINOR_UNIT = 2
"""Decimals that money always shows; finer amounts (hours of work) make it show more."""


def decimals_of(amounts: Iterable[Decimal]) -> int:
    """How many decimals hold every one of these amounts exactly."""
    finest = 0
    for amount in amounts:
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
    """Where each level lies: `unknown`, `extra`, `lost` and `unsafe` are the packed costs of one each."""

    decimals: int
    unknown: int
    extra: int
    lost: int
    unsafe: int

    @classmethod
    def for_bounds(cls, decimals: int, money: int, unknown: int, extra: int, lost: int, unsafe: int) -> "Weights":
        """Weights for plans that reach at most these sums; `money` in units of the last decimal.

        Raises SearchLimit where they do not fit in one number.
        """
        starts = [money.bit_length()]
        for most in (unknown, extra, lost, unsafe):
            starts.append(starts[-1] + most.bit_length())
        if starts[-1] >= COST_BITS:
            raise SearchLimit("COST_BITS", starts[-1] + 1, COST_BITS, "bits for the cost of one plan")
        return cls(decimals, *(1 << start for start in starts[:-1]))

    def money(self, amount: Decimal) -> int:
        """The packed cost of an amount of money."""
        return whole(amount, self.decimals)

    @property
    def cent(self) -> int:
        """The packed cost of a hundredth of the currency."""
        return int(10 ** (self.decimals - MINOR_UNIT))

    def cost(self, packed: int) -> Cost:
        """A packed cost, spelled out."""
        money = Decimal(packed % self.unknown).scaleb(-self.decimals)
        return Cost(
            unsafe=packed // self.unsafe,
            lost=packed % self.unsafe // self.lost,
            extra=packed % self.lost // self.extra,
            unknown=packed % self.extra // self.unknown,
            money=money,
        )
