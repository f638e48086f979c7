"""Prices, stock figures and quantities as they are taken in, and what is said of those that are not usable."""

import re
from decimal import Decimal

from crosspin.figures.exact import parse_number, spell

MOST = {"price": Decimal("999999999999.99"), "stock": Decimal(999_999_999), "quantity": Decimal(1_000_000)}
"""The largest amounts that are taken in; what is larger was not meant."""

MOST_DECIMALS = 12
"""Decimals of a reading that is summed up over a vehicle, at most."""

_WITH_COMMA = re.compile(r"\d+,\d\d?")
_WITH_COMMAS = re.compile(r"\d{1,3}(,\d{3})+(\.\d+)?")


class NotUsable(ValueError):
    """An amount that is not taken in: what is `wrong` with it, and how to `mend` it."""

    def __init__(self, wrong: str, mend: str) -> None:
        super().__init__(wrong)
        self.wrong = wrong
        self.mend = mend


def read_amount(text: str, what: str) -> Decimal:
    """The price, stock or quantity that a text says.  Raises NotUsable."""
    try:
        value = parse_number(text)
    except ValueError:
        raise NotUsable(f"{text} is not a number", _number_instead(text)) from None
    if value < 0:
        raise NotUsable(f"{text} is less than zero", "Write zero or more")
    if value > MOST[what]:
        raise NotUsable(f"{text} is too large", f"Check the decimal point; {spell(MOST[what])} is the most")
    if what == "price" and value != round(value, 2):
        raise NotUsable(f"{text} has more than two decimals", f"Write {round(value, 2)}")
    if what != "price" and value != int(value):
        raise NotUsable(f"{text} is not whole", "Write a whole number")
    if what == "quantity" and value < 1:
        raise NotUsable(f"{text} is less than one", "Write one or more, or leave the line out")
    return value


def _number_instead(text: str) -> str:
    """What to write in place of an amount that is not a number."""
    if _WITH_COMMA.fullmatch(text):
        return f"Write {text.replace(',', '.')}"
    if _WITH_COMMAS.fullmatch(text):
        return f"Write {text.replace(',', '')}"
    return "Write digits and a decimal point, like 9.40"
