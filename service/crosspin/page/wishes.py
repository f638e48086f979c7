"""The wishes of an ask as a person reads them, each with the address of the ask without it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from crosspin.answer.places import place
from crosspin.catalog.library import Holdings
from crosspin.figures.exact import parse_number
from crosspin.model.drafts import Problem
from crosspin.model.schema import Datatype
from crosspin.page.address import KIND, KIT, AskAddress
from crosspin.vehicle.words import Words


@dataclass(frozen=True, slots=True)
class Chip:
    """One wish: its id in the ask, the verb, where, what, the ask without it, what is wrong with it."""

    id: str
    verb: str
    where: str
    what: str
    without: AskAddress
    wrong: tuple[Problem, ...] = ()


def spoken(pattern: str) -> str:
    """A position or pattern as people say it: "front hub, both sides", "everything at the front"."""
    if pattern == "*":
        return "everything"
    if pattern.endswith("/*"):
        return f"everything at the {place(pattern.removesuffix('/*'))}"
    both = "/*/" in pattern
    text = place(pattern.replace("/*/", "/", 1)).replace("*", "any")
    return f"{text}, both sides" if both else text


class Wishes:
    """Puts the wishes of asks about one catalog into words."""

    def __init__(self, holdings: Holdings, words: Words) -> None:
        self.catalog = holdings.catalog
        self.model = holdings.model
        self.words = words

    def chips(self, address: AskAddress, problems: Iterable[Problem] = ()) -> list[Chip]:
        """Every wish of an ask in its order, with the problems that were found in it."""
        found: dict[str, list[Problem]] = {}
        for problem in problems:
            found.setdefault("/".join(problem.place.split("/")[:2]), []).append(problem)
        chips = []
        for sort, verb, start in (("fits", "Fit", 0), ("swaps", "Swap in", len(address.fits))):
            for index, text in enumerate(getattr(address, sort), start):
                at, _, what = text.partition(":")
                chips.append((f"fit/{index}", verb, spoken(at), self.what(what), address.without(sort, [text])))
        for sort, verb in (("keep", "Keep"), ("remove", "Take out"), ("renew", "Renew")):
            for index, at in enumerate(getattr(address, sort)):
                chips.append((f"{sort}/{index}", verb, spoken(at), "", address.without(sort, [at])))
        return [Chip(*chip, wrong=tuple(found.get(chip[0], ()))) for chip in chips]

    def what(self, text: str) -> str:
        """What a fit wish fits, in words."""
        if text.startswith(KIT):
            kit = self.catalog.kits.get(text.removeprefix(KIT))
            return kit.label if kit is not None else text.removeprefix(KIT)
        if text.startswith(KIND):
            kind, *readings = text.removeprefix(KIND).split(";")
            label = self.model.kinds[kind].label if kind in self.model.kinds else kind or "part"
            return ", ".join([f"any {label}", *(self.reading(r) for r in readings if r)])
        part = self.catalog.parts.get(text)
        return part.label if part is not None else text

    def reading(self, text: str) -> str:
        """A wished reading in words: "side gear spline, tooth count 33"."""
        name, _, value = text.partition("=")
        feature, _, dimension_id = name.partition(".")
        dimension = self.model.dimensions.get(dimension_id)
        if dimension is None or feature not in self.model.features:
            return text
        label = f"{self.model.features[feature].label}: {dimension.label}"
        if dimension.datatype is Datatype.CODE:
            return f"{label} {value}"
        ends = [self._number(dimension_id, end) for end in value.split("..")]
        if len(ends) == 1:
            return f"{label} {ends[0]}"
        least, most = ends[0], ends[1]
        if not (least and most):
            return f"{label} {'at least' if least else 'at most'} {least or most}"
        return f"{label} {least} to {most}"

    def _number(self, dimension: str, text: str) -> str:
        try:
            return self.words.value(dimension, parse_number(text)) if text else ""
        except ValueError:
            return text


def by_wish(chips: Iterable[Chip]) -> Mapping[str, Chip]:
    """The wishes by their id in the ask."""
    return {chip.id: chip for chip in chips}
