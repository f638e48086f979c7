"""An ask as the parameters of an address, so that a link reopens it, and an ask made of such parameters.

vehicle=hill-patrol
fit=front/carrier:al-895-33                                     a part
fit=front/*:kit:brake-345-4x44                                 a kit
fit=rear/carrier:kind:AirLocker;sideGearSpline.toothCount=33   a description: =value, =least..most
keep=rear/housing        remove=front/*/wheel        renew=front/pinion-seal        stock=only
swap=front/air-line:al-tube-6-braid                            an alternative taken in the answer
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import urlencode

from crosspin.figures.exact import parse_number
from crosspin.knockon.ask import Ask, AskError, Fit, ReadingWish
from crosspin.model.drafts import Problem

KIT, KIND = "kit:", "kind:"
_LONGEST = 200  # characters of one wish
_MOST = 200  # wishes


@dataclass(frozen=True, slots=True)
class AskAddress:
    """What the customer wants, wish by wish as it stands in the address; `swaps` are fits chosen in the answer."""

    vehicle: str = ""
    fits: tuple[str, ...] = ()
    swaps: tuple[str, ...] = ()
    keep: tuple[str, ...] = ()
    remove: tuple[str, ...] = ()
    renew: tuple[str, ...] = ()
    in_stock_only: bool = False

    @property
    def is_empty(self) -> bool:
        """Whether nothing is asked for yet."""
        return not (self.fits or self.swaps or self.remove or self.renew)

    def pairs(self) -> list[tuple[str, str]]:
        """The parameters, in the order of the ask."""
        found = [("vehicle", self.vehicle)] if self.vehicle else []
        for name, values in (
            ("fit", self.fits),
            ("swap", self.swaps),
            ("keep", self.keep),
            ("remove", self.remove),
            ("renew", self.renew),
        ):
            found += [(name, value) for value in values]
        return [*found, *([("stock", "only")] if self.in_stock_only else [])]

    def href(self, path: str = "/", **more: str) -> str:
        """The address of this ask at a page, with further parameters."""
        query = urlencode([*self.pairs(), *more.items()], safe="/:*;,")
        return f"{path}?{query}" if query else path

    # ------------------------------------------------------------------ other asks near this one

    def with_wish(self, sort: str, text: str) -> "AskAddress":
        """The same ask and one more wish of a sort (fits, keep, remove, renew); none twice."""
        held: tuple[str, ...] = getattr(self, sort)
        return self if text in held else self._with(sort, (*held, text))

    def without(self, sort: str, texts: Iterable[str]) -> "AskAddress":
        """The same ask without some wishes of a sort."""
        gone = set(texts)
        return self._with(sort, tuple(text for text in getattr(self, sort) if text not in gone))

    def _with(self, sort: str, texts: tuple[str, ...]) -> "AskAddress":
        changed: dict[str, Any] = {sort: texts}
        return replace(self, **changed)

    def with_swap(self, at: str, part: str, layout: Sequence[str]) -> "AskAddress":
        """The same ask with a part at the positions of the layout that `at` names, in place of any description
        or earlier swap; what those say of other positions goes on for these."""
        taken = set(matching(at, layout))

        def others(text: str, gives_way: bool) -> list[str]:
            pattern, _, what = text.partition(":")
            named = matching(pattern, layout)
            if not gives_way or taken.isdisjoint(named):
                return [text]
            return [f"{path}:{what}" for path in named if path not in taken]

        fits = [kept for text in self.fits for kept in others(text, text.partition(":")[2].startswith(KIND))]
        swaps = [kept for text in self.swaps for kept in others(text, True)]
        return replace(self, fits=tuple(fits), swaps=(*swaps, f"{at}:{part}"))

    def giving_up(self, wishes: Iterable[str]) -> "AskAddress":
        """The same ask without the wishes of these ids ("fit/0", "keep/1")."""
        gone: dict[str, set[int]] = {}
        for wish in wishes:
            sort, _, index = wish.partition("/")
            gone.setdefault(sort, set()).add(int(index))

        def left(sort: str, texts: tuple[str, ...], start: int = 0) -> tuple[str, ...]:
            return tuple(text for i, text in enumerate(texts, start) if i not in gone.get(sort, ()))

        return replace(
            self,
            fits=left("fit", self.fits),
            swaps=left("fit", self.swaps, len(self.fits)),
            keep=left("keep", self.keep),
            remove=left("remove", self.remove),
            renew=left("renew", self.renew),
        )

    # ------------------------------------------------------------------ the ask itself

    def ask(self) -> Ask:
        """The ask; the swaps follow the other fits.  Raises AskError where a wish cannot be read."""
        problems: list[Problem] = []
        fits = [_fit(f"fit/{i}", text, problems) for i, text in enumerate((*self.fits, *self.swaps))]
        if problems:
            raise AskError(problems)
        return Ask(
            vehicle=self.vehicle,
            fit=tuple(fit for fit in fits if fit is not None),
            keep=self.keep,
            remove=self.remove,
            renew=self.renew,
            in_stock_only=self.in_stock_only,
        )


def read_address(pairs: Iterable[tuple[str, str]]) -> AskAddress:
    """The ask that some parameters hold; names that are none of an ask's are left to others."""
    found: dict[str, list[str]] = {}
    for name, value in pairs:
        if value.strip():
            found.setdefault(name, []).append(value.strip()[:_LONGEST])

    def many(name: str) -> tuple[str, ...]:
        return tuple(dict.fromkeys(found.get(name, ())))[:_MOST]

    return AskAddress(
        vehicle=found.get("vehicle", [""])[-1],
        fits=many("fit"),
        swaps=many("swap"),
        keep=many("keep"),
        remove=many("remove"),
        renew=many("renew"),
        in_stock_only=found.get("stock") == ["only"],
    )


def address_of(ask: Ask) -> AskAddress:
    """The address that reopens an ask."""
    return AskAddress(
        vehicle=ask.vehicle,
        fits=tuple(map(_wish, ask.fit)),
        keep=ask.keep,
        remove=ask.remove,
        renew=ask.renew,
        in_stock_only=ask.in_stock_only,
    )


def _wish(fit: Fit) -> str:
    if fit.kit is not None:
        return f"{fit.at}:{KIT}{fit.kit}"
    if fit.kind is None:
        return f"{fit.at}:{fit.part or ''}"
    readings = []
    for wish in fit.readings:
        least, most = ("" if bound is None else f"{bound}" for bound in (wish.least, wish.most))
        value = wish.equals if wish.equals is not None else f"{least}..{most}"
        readings.append((f"{wish.feature}.{wish.dimension}", value))
    return describing(fit.at, fit.kind, readings)


def matching(pattern: str, layout: Iterable[str]) -> list[str]:
    """The positions that a pattern names; `*` stands for any run of characters."""
    if "*" not in pattern:
        return [path for path in layout if path == pattern]
    expression = re.compile(".*".join(map(re.escape, pattern.split("*"))))
    return [path for path in layout if expression.fullmatch(path)]


def describing(at: str, kind: str, readings: Iterable[tuple[str, str]] = ()) -> str:
    """The text of a wish for any part of a kind with these readings ("feature.dimension", "33")."""
    return f"{at}:{KIND}" + ";".join([kind, *(f"{place}={value}" for place, value in readings)])


def _fit(place: str, text: str, problems: list[Problem]) -> Fit | None:
    at, colon, what = text.partition(":")
    if not colon or not at or not what:
        problems.append(Problem(place, "it is not position:what", "write it like front/carrier:some-part"))
        return None
    if what.startswith(KIT):
        return Fit(at=at, kit=what.removeprefix(KIT))
    if not what.startswith(KIND):
        return Fit(at=at, part=what)
    kind, *readings = what.removeprefix(KIND).split(";")
    wishes = [_reading(place, reading, problems) for reading in readings if reading]
    return Fit(at=at, kind=kind or None, readings=tuple(wish for wish in wishes if wish is not None))


def _reading(place: str, text: str, problems: list[Problem]) -> ReadingWish | None:
    name, equals, value = text.partition("=")
    feature, dot, dimension = name.partition(".")
    if not (equals and dot and value):
        mend = "write it like sideGearSpline.toothCount=33, or =31..35"
        problems.append(Problem(place, f"{text!r} is not feature.dimension=value", mend))
        return None
    least, dots, most = value.partition("..")
    try:
        if not dots:
            return ReadingWish(feature=feature, dimension=dimension, equals=value)
        return ReadingWish(
            feature=feature,
            dimension=dimension,
            least=parse_number(least) if least else None,
            most=parse_number(most) if most else None,
        )
    except ValueError:
        problems.append(Problem(place, f"{value!r} is no range of numbers", "write it like 31..35"))
        return None
