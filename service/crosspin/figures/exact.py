"""Exact decimal numbers: how they are read, spelled and rounded.

Published values are decimals ("3.125") or inch fractions ("3 1/8", "7/16"); both are kept exactly.
A fraction whose decimal does not end is refused rather than rounded.
"""

import re
from collections.abc import Iterable, Iterator
from decimal import ROUND_HALF_EVEN, Context, Decimal, Inexact, localcontext

_FRACTION = re.compile(r"(?P<sign>[+-]?)(?:(?P<whole>\d+)[ -])?(?P<top>\d+)/(?P<bottom>\d+)")
_DECIMAL = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)")

# The store keeps decimals with at most 18 fractional digits; more are refused on entry, never cut.
FRACTIONAL_DIGITS = 18


_WIDE = Context(prec=100)  # more digits than any number that is taken in


def parse_number(text: str) -> Decimal:
    """The exact value of a decimal or fraction as published; raises ValueError saying what is wrong."""
    cleaned = text.strip().replace("−", "-")
    fraction = _FRACTION.fullmatch(cleaned)
    if fraction:
        bottom = int(fraction["bottom"])
        if bottom == 0:
            raise ValueError(f"{text!r} divides by nought")
        with localcontext(Context(prec=50, traps=[Inexact])):
            try:
                value = int(fraction["whole"] or 0) + Decimal(int(fraction["top"])) / bottom
            except Inexact:
                raise ValueError(f"{text!r} has no exact decimal; write the decimal as published") from None
        value = -value if fraction["sign"] == "-" else value
    elif _DECIMAL.fullmatch(cleaned):
        value = Decimal(cleaned)
    else:
        raise ValueError(f"{text!r} is not a number; write 41.275, 3 1/8 or 7/16")
    if len(value.as_tuple().digits) > 30 or -int(value.normalize(_WIDE).as_tuple().exponent) > FRACTIONAL_DIGITS:
        raise ValueError(f"{text!r} has more digits than anyone can measure; at most {FRACTIONAL_DIGITS} decimals")
    return canonical(value)


def canonical(value: Decimal) -> Decimal:
    """The one spelling of a value: no exponent, no trailing noughts, no negative nought."""
    if value == 0:
        return Decimal(0)
    normal = value.normalize(_WIDE)
    exponent = int(normal.as_tuple().exponent)
    return normal.quantize(Decimal(1), context=_WIDE) if exponent > 0 else normal


def spell(value: Decimal) -> str:
    """How a value is written everywhere: plain digits."""
    return format(canonical(value), "f")


def rounded(value: Decimal, places: int) -> Decimal:
    """The value rounded half to even at so many decimals, in its canonical spelling."""
    return next(all_rounded((value,), places))


def all_rounded(values: Iterable[Decimal], places: int) -> Iterator[Decimal]:
    """The same for many values, of which few are told apart when they are rounded."""
    step = Decimal(1).scaleb(-places)
    known: dict[Decimal, Decimal] = {}
    for value in values:
        near = value.quantize(step, rounding=ROUND_HALF_EVEN)
        told = known.get(near)
        if told is None:
            told = known[near] = canonical(near)
        yield told
