"""Formulas by the names that the ontology uses, for tests that hold them to numbers from elsewhere."""

from decimal import Decimal

from crosspin.figures.derive import FORMULAS

INCH = 25.4


def work(formula: str, *values: float | str) -> float:
    """A formula's result; numbers go in as decimals, codes as they are."""
    given = [value if isinstance(value, str) else Decimal(str(value)) for value in values]
    return float(FORMULAS[formula](*given))


def near(value: float, expected: float, places: int) -> bool:
    """Whether a value is the expected one, rounded at so many places."""
    return bool(abs(value - expected) <= 0.51 * 10**-places)
