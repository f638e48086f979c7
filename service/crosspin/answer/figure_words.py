"""Figures and their inputs put into words."""

from decimal import Decimal

from crosspin.figures.exact import spell
from crosspin.model.figure import Figure, Source
from crosspin.model.schema import Model, Value
from crosspin.vehicle.figuring import Found, kept
from crosspin.vehicle.reach import Place
from crosspin.vehicle.words import Words


class FigureWords:
    """Puts figures of one model into words."""

    def __init__(self, model: Model) -> None:
        self.model = model
        self.words = Words(model)

    def symbol(self, unit: str | None) -> str:
        """The symbol behind a number, empty for pure numbers, counts and what is told by its label (per km)."""
        symbol = self.model.units[unit].symbol if unit is not None else ""
        return "" if symbol.startswith("per") else symbol

    def told(self, figure: Figure, value: Value) -> str:
        """A figure's value, rounded as it is kept, with its unit."""
        text = value if isinstance(value, str) else spell(kept(value, figure.decimals))
        return f"{text} {self.symbol(figure.unit)}".rstrip()

    def place(self, place: Place, whole_vehicle: bool) -> str:
        """Where a figure is worked out: "front left"; nothing where it is the vehicle's."""
        return "" if whole_vehicle else " ".join(word for word in (place.station, place.side) if word)

    def state(self, place: Place) -> str:
        """In which state of the vehicle a figure is worked out: "at ride height"; nothing where it has none."""
        return "" if place.state is None else self.model.states[place.state].label

    def label(self, name: str, source: Source) -> str:
        """What an input is called: as the ontology says, else as what it reads, else as the parameter."""
        if source.label:
            return source.label
        if source.figures:
            return self.model.figures[source.figures[0]].label
        if source.dimensions:
            return self.model.dimensions[source.dimensions[0]].label
        return "".join(f" {c.lower()}" if c.isupper() else c for c in name)

    def unit_of(self, source: Source) -> str:
        """The symbol of what a source gives."""
        if source.figures:
            return self.symbol(self.model.figures[source.figures[0]].unit)
        return self.symbol(self.model.dimensions[source.dimensions[0]].unit if source.dimensions else source.unit)

    def taken(self, source: Source, found: Found | None) -> str | None:
        """What was put into a formula, with its unit; None where it is not known."""
        if found is None or not found.values:
            return None
        value = found.values[0]
        if source.figures:
            return self.told(self.model.figures[source.figures[0]], value)
        text = spell(value) if isinstance(value, Decimal) else value
        return f"{text} {self.unit_of(source)}".rstrip()
