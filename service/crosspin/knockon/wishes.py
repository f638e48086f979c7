"""From the words of an ask to wishes: which position may hold what.  Everything wrong is collected."""

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal, InvalidOperation
from difflib import get_close_matches
from functools import cached_property, partial

from crosspin.catalog.catalog import Catalog, PartClass
from crosspin.knockon.ask import Ask, AskError, Fit, ReadingWish
from crosspin.model.drafts import Problem
from crosspin.model.judge import Judged, functions_of
from crosspin.model.schema import Datatype, Dimension, Layout, Model, Part, Position, Value, Vehicle
from crosspin.vehicle.received import received_part


@dataclass(frozen=True, slots=True)
class Want:
    """What a fit or renew wish admits at one position: orderable parts by id, all of some classes of parts alike, and
    whether what is there will do."""

    parts: tuple[str, ...]
    received: bool
    classes: tuple[int, ...] = ()
    example: str | None = None
    """The id of one of the parts."""


@dataclass(frozen=True, slots=True)
class Wish:
    """One wish, by its id ("fit/0", "keep/1", "remove/0", "renew/0"): a want for every position of a fit or renew wish,
    None for every position of a keep or remove wish."""

    id: str
    wants: Mapping[str, Want | None]

    @property
    def keeps(self) -> bool:
        """Whether it is a keep wish."""
        return self.id.startswith("keep/")

    @property
    def removes(self) -> bool:
        """Whether it is a remove wish."""
        return self.id.startswith("remove/")


@dataclass(frozen=True)
class Question:
    """An ask understood: the vehicle, what stands where, and the wishes in the order of the ask.

    `spared` lists by position the parts that the ask names there by id: they may come in although they are
    not in stock, also when the wish that names them is given up to get out of a conflict.  `vacated` are the
    positions that the ask empties: they may be left empty, whatever their role, also when the removal is
    given up.  So giving a wish up only ever takes a restriction away.
    """

    vehicle: Vehicle
    layout: Layout
    positions: Mapping[str, Position]
    received: Mapping[str, Part | None]
    wishes: tuple[Wish, ...]
    in_stock_only: bool
    spared: Mapping[str, tuple[str, ...]]
    vacated: frozenset[str]

    @cached_property
    def by_path(self) -> Mapping[str, tuple[Wish, ...]]:
        """The wishes that name each position."""
        found: dict[str, tuple[Wish, ...]] = {}
        for wish in self.wishes:
            for path in wish.wants:
                found[path] = (*found.get(path, ()), wish)
        return found

    def only(self, granted: frozenset[str]) -> "Question":
        """The same question with some of its wishes."""
        return replace(self, wishes=tuple(wish for wish in self.wishes if wish.id in granted))


@dataclass
class _Reader:
    model: Model
    catalog: Catalog
    ask: Ask
    problems: list[Problem] = field(default_factory=list)

    def wrong(self, place: str, wrong: str, mend: str) -> None:
        self.problems.append(Problem(place, wrong, mend))

    def nearest(self, word: str, known: Iterable[str]) -> str:
        """A mend that names the known words nearest to one that is not known."""
        names = sorted(known)
        close = get_close_matches(word, names, n=3, cutoff=0.5) or names[:3]
        return f"did you mean {' or '.join(close)}?" if close else "there is nothing to choose from"


def understand(model: Model, catalog: Catalog, ask: Ask) -> Question:
    """Resolve an ask.  Raises AskError with every problem found."""
    reader = _Reader(model, catalog, ask)
    vehicle = catalog.vehicles.get(ask.vehicle)
    if vehicle is None:
        reader.wrong(
            "vehicle", f"no vehicle {ask.vehicle!r} is on record", reader.nearest(ask.vehicle, catalog.vehicles)
        )
        raise AskError(reader.problems)
    layout = model.layouts.get(vehicle.layout)
    if layout is None:
        reader.wrong(
            "vehicle",
            f"its layout {vehicle.layout!r} is not in the ontology",
            reader.nearest(vehicle.layout, model.layouts),
        )
        raise AskError(reader.problems)
    positions = {p.path: p for p in sorted(layout.positions, key=lambda p: p.path)}
    received = {path: received_part(model, catalog, vehicle, position) for path, position in positions.items()}
    wishes = _Wishes(reader, positions, received).read()
    if reader.problems:
        raise AskError(reader.problems)
    spared = {
        path: want.parts
        for wish, fit in zip(wishes, ask.fit, strict=False)
        if fit.part is not None or fit.kit is not None
        for path, want in wish.wants.items()
        if want is not None
    }
    vacated = frozenset(path for wish in wishes if wish.removes for path in wish.wants)
    return Question(vehicle, layout, positions, received, wishes, ask.in_stock_only, spared, vacated)


class _Wishes:
    """Reads the wishes of one ask, writing down what is wrong."""

    def __init__(self, reader: _Reader, positions: Mapping[str, Position], received: Mapping[str, Part | None]) -> None:
        self.reader = reader
        self.model = reader.model
        self.catalog = reader.catalog
        self.positions = positions
        self.received = received

    def read(self) -> tuple[Wish, ...]:
        ask = self.reader.ask
        if not (ask.fit or ask.remove or ask.renew):
            mend = "name a part to fit, or a position to remove from or to renew"
            self.reader.wrong("fit", "nothing is asked for", mend)
        fits = [Wish(f"fit/{i}", self.fit(f"fit/{i}", fit)) for i, fit in enumerate(ask.fit)]
        keeps = [self.plain(f"keep/{i}", pattern) for i, pattern in enumerate(ask.keep)]
        removes = [self.plain(f"remove/{i}", pattern) for i, pattern in enumerate(ask.remove)]
        renews = [Wish(f"renew/{i}", self.renew(f"renew/{i}", pattern)) for i, pattern in enumerate(ask.renew)]
        wishes = (*fits, *keeps, *removes, *renews)
        self.check_once(wishes)
        return wishes

    def matched(self, place: str, pattern: str) -> list[str]:
        """Paths that a pattern names; `*` stands for any run of characters."""
        expression = re.compile(".*".join(map(re.escape, pattern.split("*"))))
        found = [path for path in self.positions if expression.fullmatch(path)]
        if not found:
            self.reader.wrong(place, f"no position matches {pattern!r}", self.reader.nearest(pattern, self.positions))
        return found

    def plain(self, place: str, pattern: str) -> Wish:
        return Wish(place, dict.fromkeys(self.matched(place, pattern)))

    def check_once(self, wishes: tuple[Wish, ...]) -> None:
        """A position is either fitted (once), kept, emptied or renewed."""
        first: dict[str, Wish] = {}
        for wish in wishes:
            for path in wish.wants:
                before = first.setdefault(path, wish)
                verb, other = wish.id.partition("/")[0], before.id.partition("/")[0]
                if before is not wish and (verb == "fit" or verb != other):
                    self.reader.wrong(
                        wish.id,
                        f"{path} is named by {before.id} already",
                        f"leave {path} out of {before.id} or {wish.id}",
                    )

    def fit(self, place: str, fit: Fit) -> dict[str, Want | None]:
        described = fit.kind is not None or bool(fit.readings)
        given = [name for name, there in (("part", fit.part), ("kit", fit.kit), ("kind", described or None)) if there]
        paths = self.matched(f"{place}/at", fit.at)
        if len(given) != 1:
            said = " and ".join(given) if given else "nothing"
            self.reader.wrong(
                place, f"{said} is given to fit", "give a part, or a kit, or a description (kind, readings)"
            )
            return {}
        if fit.part is not None:
            return self.fit_part(f"{place}/part", fit.part, paths)
        if fit.kit is not None:
            return self.fit_kit(f"{place}/kit", fit.kit, paths)
        return self.fit_description(place, fit, paths)

    def takes(self, path: str, part: Part) -> bool:
        """Whether a position takes parts of that part's kind."""
        return self.kind_of(path) in self.model.kinds[part.kind].ancestors

    def kind_of(self, path: str) -> str:
        """The kind that a position takes."""
        return self.model.roles[self.positions[path].role].kind

    def exactly(self, path: str, part: Part) -> Want:
        there = self.received[path]
        sold = (part.id,) if part.price is not None else ()
        return Want(sold, there is not None and there.id == part.id, example=part.id if sold else None)

    def fit_part(self, place: str, part_id: str, paths: list[str]) -> dict[str, Want | None]:
        part = self.catalog.parts.get(part_id)
        if part is None:
            self.reader.wrong(
                place, f"no part {part_id!r} is on record", self.reader.nearest(part_id, self.catalog.ids_near(part_id))
            )
            return {}
        wants: dict[str, Want | None] = {}
        for path in paths:
            if not self.takes(path, part):
                taken = self.kind_of(path)
                self.reader.wrong(
                    place,
                    f"{part_id} is a {part.kind}, but {path} takes a {taken}",
                    f"name positions that take a {part.kind}",
                )
                continue
            wants[path] = want = self.exactly(path, part)
            if not want.parts and not want.received:
                self.reader.wrong(place, f"{part_id} is not sold", "ask for a part that has a price")
        return wants

    def fit_kit(self, place: str, kit_id: str, paths: list[str]) -> dict[str, Want | None]:
        kit = self.catalog.kits.get(kit_id)
        if kit is None:
            self.reader.wrong(place, f"no kit {kit_id!r} is on record", self.reader.nearest(kit_id, self.catalog.kits))
            return {}
        wants: dict[str, Want | None] = {}
        for line in kit.lines:
            part = self.catalog.parts[line.part]
            takers = [path for path in paths if self.takes(path, part)]
            if not takers:
                self.reader.wrong(place, f"no position named takes {part.id}, a {part.kind}", "widen the pattern")
            if len(takers) > line.quantity:
                self.reader.wrong(
                    place,
                    f"the kit has {line.quantity} of {part.id}, but {len(takers)} positions named take it",
                    f"narrow the pattern to {line.quantity} of {', '.join(takers)}",
                )
            for path in takers:
                if path in wants:
                    self.reader.wrong(place, f"two parts of the kit would go to {path}", "fit its parts one by one")
                wants[path] = want = self.exactly(path, part)
                if not want.parts and not want.received:
                    self.reader.wrong(
                        place, f"{part.id} is not sold by itself", "ask for a kit whose parts have prices"
                    )
        return wants

    def fit_description(self, place: str, fit: Fit, paths: list[str]) -> dict[str, Want | None]:
        if fit.kind is not None and fit.kind not in self.model.kinds:
            self.reader.wrong(
                f"{place}/kind", f"there is no kind {fit.kind!r}", self.reader.nearest(fit.kind, self.model.kinds)
            )
            return {}
        wants: dict[str, Want | None] = {}
        for path in paths:
            kind = self.narrower(f"{place}/kind", fit.kind, path)
            if kind is None:
                continue
            checks = [self.check(f"{place}/readings/{i}", wish, kind) for i, wish in enumerate(fit.readings)]
            if None in checks:
                break  # the same wish would be wrong in the same way at every further position
            there = self.received[path]
            will_do = there is not None and self.satisfies(kind, fit.readings, there)
            wants[path] = self.any_of(kind, partial(self.satisfies, kind, fit.readings), will_do)
        return wants

    def any_of(self, kind: str, does: Callable[[PartClass], bool], received: bool) -> Want:
        """Any part of a kind that does, and what is there where that does."""
        admitted: list[int] = []
        best: list[str] = []
        for alike in self.catalog.classes(self.model, kind):
            offer = alike.on_shelf if self.reader.ask.in_stock_only else alike.cheapest
            if offer is not None and does(alike):
                admitted.append(alike.number)
                best.append(offer.part)
        return Want((), received, tuple(admitted), min(best, default=None))

    def renew(self, place: str, pattern: str) -> dict[str, Want | None]:
        """Wherever something stands, a fresh part that is as good."""
        paths = self.matched(place, pattern)
        wants: dict[str, Want | None] = {}
        for path in paths:
            there = self.received[path]
            if there is not None:
                wants[path] = self.any_of(self.kind_of(path), partial(self.is_as_good, there), received=False)
        if paths and not wants:
            self.reader.wrong(place, f"nothing stands at {pattern}", "name positions where something is to be renewed")
        return wants

    def is_as_good(self, there: Part, other: Judged) -> bool:
        """Whether a part is in all that is on record of what is there like it, or better; of what nobody has looked at
        nothing is."""
        if there.unidentified:
            return True
        if there.kind not in self.model.kinds[other.kind].ancestors or not set(there.lacks) <= {*other.lacks}:
            return False
        if not functions_of(self.model, there) <= functions_of(self.model, other):
            return False
        return all(
            self.reads_as_good(dimension, values, other, feature)
            for feature, spec in there.specs.items()
            for dimension, values in self.catalog.specs[spec].values.items()
        )

    def reads_as_good(self, name: str, values: tuple[Value, ...], other: Judged, feature: str) -> bool:
        """Whether a part reads as good at a feature; where sources disagree of what is there, anything does."""
        dimension = self.model.dimensions[name]
        if len(values) != 1 and not dimension.many:
            return True
        spec = other.specs.get(feature)
        read = self.catalog.specs[spec].values.get(name, ()) if spec is not None else ()
        if dimension.more_is_better and len(values) == len(read) == 1:
            (mine,), (its,) = values, read
            return isinstance(mine, Decimal) and isinstance(its, Decimal) and its >= mine
        return set(values) <= set(read) if dimension.many else read == values

    def narrower(self, place: str, kind: str | None, path: str) -> str | None:
        """The narrower of the wished kind and the kind that the position takes."""
        taken = self.kind_of(path)
        if kind is None or kind in self.model.kinds[taken].ancestors:
            return taken
        if taken in self.model.kinds[kind].ancestors:
            return kind
        self.reader.wrong(place, f"{path} takes a {taken}, not a {kind}", f"name positions that take a {kind}")
        return None

    def check(self, place: str, wish: ReadingWish, kind: str) -> Dimension | None:
        """The dimension that a condition speaks of, or None where something is wrong with it."""
        below = [k for k in self.model.kinds.values() if kind in k.ancestors]
        features = {feature for k in below for feature in k.features}
        if wish.feature not in features:
            self.reader.wrong(
                f"{place}/feature",
                f"a {kind} has no feature {wish.feature!r}",
                self.reader.nearest(wish.feature, features),
            )
            return None
        known = self.model.feature_kinds[self.model.features[wish.feature].feature_kind].dimensions
        if wish.dimension not in known:
            self.reader.wrong(
                f"{place}/dimension",
                f"{wish.feature} has no dimension {wish.dimension!r}",
                self.reader.nearest(wish.dimension, known),
            )
            return None
        dimension = self.model.dimensions[wish.dimension]
        return dimension if self.check_value(place, wish, dimension) else None

    def check_value(self, place: str, wish: ReadingWish, dimension: Dimension) -> bool:
        bounded = wish.least is not None or wish.most is not None
        if (wish.equals is not None) == bounded:
            self.reader.wrong(place, "it must say what the reading is", "give either equals, or least and most")
            return False
        if dimension.datatype is Datatype.CODE:
            if bounded:
                self.reader.wrong(place, f"{dimension.id} is a code and has no least or most", "give equals")
                return False
            if dimension.codes and wish.equals not in dimension.codes:
                self.reader.wrong(
                    f"{place}/equals", f"{wish.equals!r} is no {dimension.id}", f"one of {', '.join(dimension.codes)}"
                )
                return False
            return True
        if wish.equals is not None and _number(wish.equals) is None:
            self.reader.wrong(f"{place}/equals", f"{wish.equals!r} is not a number", f"a number{_unit(dimension)}")
            return False
        if wish.least is not None and wish.most is not None and wish.least > wish.most:
            self.reader.wrong(
                place, f"no number is at least {wish.least} and at most {wish.most}", "exchange least and most"
            )
            return False
        return True

    def satisfies(self, kind: str, readings: tuple[ReadingWish, ...], part: Judged) -> bool:
        """Whether the part is of the kind and every reading is known, undisputed and as wished."""
        if part.unidentified or kind not in self.model.kinds[part.kind].ancestors:
            return False
        return all(self.agrees(part, wish) for wish in readings)

    def agrees(self, part: Judged, wish: ReadingWish) -> bool:
        spec = part.specs.get(wish.feature)
        if spec is None or wish.feature in part.lacks:
            return False
        dimension = self.model.dimensions[wish.dimension]
        values = self.catalog.specs[spec].values.get(wish.dimension, ())
        if not dimension.many and len(values) != 1:
            return False
        if dimension.datatype is Datatype.CODE:
            return wish.equals in values
        numbers = [value for value in values if isinstance(value, Decimal)]
        if wish.equals is not None:
            return _number(wish.equals) in numbers
        return any(
            (wish.least is None or number >= wish.least) and (wish.most is None or number <= wish.most)
            for number in numbers
        )


def _number(text: str) -> Decimal | None:
    try:
        number = Decimal(text)
    except InvalidOperation:
        return None
    return number if number.is_finite() else None


def _unit(dimension: Dimension) -> str:
    return f" in {dimension.unit}" if dimension.unit else ""
