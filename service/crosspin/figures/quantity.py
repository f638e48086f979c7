"""The quantities that formulas take and give, as types that carry the unit.

A unit is the local name of a QUDT unit, None for a pure number, a count or a code.  A plain `Decimal` stands for a
number in any unit, the same wherever a formula has several.
"""

import inspect
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Annotated, Any, get_type_hints

PI = Decimal("3.14159265358979323846264338")


@dataclass(frozen=True, slots=True)
class In:
    """The unit that a number is in."""

    unit: str | None


Number = Annotated[Decimal, In(None)]
Code = Annotated[str, In(None)]
Percent = Annotated[Decimal, In("PERCENT")]
Millimetres = Annotated[Decimal, In("MilliM")]
SquareMillimetres = Annotated[Decimal, In("MilliM2")]
CubicMillimetres = Annotated[Decimal, In("MilliM3")]
FourthPowerMillimetres = Annotated[Decimal, In("MilliM4")]
Kilometres = Annotated[Decimal, In("KiloM")]
PerInch = Annotated[Decimal, In("PER-IN")]
PerKilometre = Annotated[Decimal, In("PER-KiloM")]
Degrees = Annotated[Decimal, In("DEG")]
KilometresPerHour = Annotated[Decimal, In("KiloM-PER-HR")]
RevolutionsPerMinute = Annotated[Decimal, In("REV-PER-MIN")]
RadiansPerSecondSquared = Annotated[Decimal, In("RAD-PER-SEC2")]
MetresPerSecondSquared = Annotated[Decimal, In("M-PER-SEC2")]
Kilograms = Annotated[Decimal, In("KiloGM")]
KilogramsPerMetre = Annotated[Decimal, In("KiloGM-PER-M")]
KilogramsPerCubicMetre = Annotated[Decimal, In("KiloGM-PER-M3")]
NewtonsPerMillimetre = Annotated[Decimal, In("N-PER-MilliM")]
Newtons = Annotated[Decimal, In("N")]
Kilonewtons = Annotated[Decimal, In("KiloN")]
NewtonMetres = Annotated[Decimal, In("N-M")]
Megapascals = Annotated[Decimal, In("MegaPA")]
Gigapascals = Annotated[Decimal, In("GigaPA")]
Kilopascals = Annotated[Decimal, In("KiloPA")]
PoundsPerSquareInch = Annotated[Decimal, In("PSI")]
MillionthsPerKelvin = Annotated[Decimal, In("PPM-PER-K")]
Celsius = Annotated[Decimal, In("DEG_C")]
Litres = Annotated[Decimal, In("L")]
LitresPerMinute = Annotated[Decimal, In("L-PER-MIN")]
Minutes = Annotated[Decimal, In("MIN")]
Hours = Annotated[Decimal, In("HR")]
MillionRevolutions = Annotated[Decimal, In("MegaREV")]
Kilojoules = Annotated[Decimal, In("KiloJ")]
Amperes = Annotated[Decimal, In("A")]
Volts = Annotated[Decimal, In("V")]
OhmsPerKilometre = Annotated[Decimal, In("OHM-PER-KiloM")]


@dataclass(frozen=True, slots=True)
class Quantity:
    """What a formula takes or gives: a code, or a number in `unit`; `any_unit` where the unit does not matter."""

    unit: str | None = None
    any_unit: bool = False
    is_code: bool = False


@dataclass(frozen=True, slots=True)
class Calculation:
    """A formula that can be called: its parameters by the names that the ontology uses, and its result."""

    function: Callable[..., Decimal]
    parameters: Mapping[str, Quantity]
    result: Quantity

    def __call__(self, *values: Decimal | str) -> Decimal:
        """The result for values in the order of the parameters; raises ValueError where they make no sense."""
        return self.function(*values)

    def named(self, values: Mapping[str, Decimal | str]) -> Decimal:
        """The result for values by name; raises ValueError where they make no sense."""
        return self.function(*(values[name] for name in self.parameters))


def calculation(function: Callable[..., Decimal]) -> Calculation:
    """A function made into a formula: what it takes and gives is read off its annotations."""
    hints = get_type_hints(function, include_extras=True)
    names = inspect.signature(function).parameters
    return Calculation(function, {_camel(name): _quantity(hints[name]) for name in names}, _quantity(hints["return"]))


def _quantity(hint: Any) -> Quantity:
    marks = [mark for mark in getattr(hint, "__metadata__", ()) if isinstance(mark, In)]
    if not marks:
        return Quantity(any_unit=True)
    return Quantity(unit=marks[0].unit, is_code=hint.__origin__ is str)


def _camel(name: str) -> str:
    first, *rest = name.split("_")
    return first + "".join(word.capitalize() for word in rest)
