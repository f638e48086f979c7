"""Works figures out for one state of a vehicle: as received, or as planned."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, field
from decimal import Decimal

from crosspin.catalog.catalog import Catalog
from crosspin.figures.derive import FORMULAS
from crosspin.figures.exact import rounded
from crosspin.model.figure import Figure, Gathering, Limit, Source
from crosspin.model.judge import is_of_kind, may_have
from crosspin.model.schema import Part, Value
from crosspin.vehicle.reach import Place, Reach
from crosspin.vehicle.words import Words


@dataclass(frozen=True, slots=True)
class Gap:
    """A reading that a figure waits for: missing, or (`recorded`) told differently by its sources."""

    path: str
    part: Part = field(compare=False)
    feature: str
    dimension: str
    recorded: tuple[Value, ...]


@dataclass(frozen=True, slots=True)
class Found:
    """What a source gives: its values, where they were read, and why there are none if so."""

    values: tuple[Value, ...]
    paths: tuple[str, ...] = ()
    gaps: tuple[Gap, ...] = ()
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class Result:
    """A figure worked out: not rounded, None where it is not known; what its limits give, None for one that does not
    apply because no part there could have what it is read from."""

    value: Decimal | None
    inputs: Mapping[str, Found]
    limits: tuple[Found | None, ...]
    why_not: str = ""

    def rests_on(self) -> Iterator[Found]:
        """Everything that the figure and its limits were worked out from."""
        yield from self.inputs.values()
        yield from (limit for limit in self.limits if limit is not None)

    @property
    def input_gaps(self) -> tuple[Gap, ...]:
        """Every reading that the figure waits for, its limits apart."""
        return tuple(gap for found in self.inputs.values() for gap in found.gaps)

    @property
    def paths(self) -> frozenset[str]:
        """Every position that the figure or its limits rest on."""
        return frozenset(path for found in self.rests_on() for path in found.paths)

    @property
    def gaps(self) -> tuple[Gap, ...]:
        """Every reading that the figure or its limits wait for."""
        return tuple(gap for found in self.rests_on() for gap in found.gaps)


class Figuring:
    """Works out figures over what stands where.  Threads may share it.

    For a plan, `received` is the vehicle as it came, and `changed` are the positions at which the two differ: what
    reads none of these is taken from there.
    """

    def __init__(
        self,
        reach: Reach,
        catalog: Catalog,
        parts: Mapping[str, Part | None],
        received: "Figuring | None" = None,
        changed: Set[str] = frozenset(),
    ) -> None:
        self.model = reach.model
        self.catalog = catalog
        self.reach = reach
        self.received = received or self
        self.words = Words(reach.model)
        self._parts = parts
        self._changed = changed
        self._results: dict[tuple[str, Place], Result | None] = {}

    def result(self, figure: Figure, place: Place) -> Result | None:
        """The figure there; None where it has no meaning there because no part could have what it reads."""
        key = (figure.id, place)
        if key not in self._results:
            stays = self.received is not self and self.stays(self.reach.of_figure(figure, place))
            self._results[key] = self.received.result(figure, place) if stays else self._work_out(figure, place)
        return self._results[key]

    def stays(self, reach: Set[str]) -> bool:
        """Whether all of these positions are as they were received."""
        return self._changed.isdisjoint(reach)

    def _work_out(self, figure: Figure, place: Place) -> Result | None:
        if not self._concerns(figure, place):
            return None
        inputs: dict[str, Found] = {}
        for one in figure.inputs:
            found = self.find(one.source, place)
            if found is None:
                return None
            inputs[one.name] = found
        limits = tuple(self.limit(limit, place) for limit in figure.limits)
        why_not = next((found.why_not for found in inputs.values() if not found.values), "")
        if why_not:
            return Result(None, inputs, limits, why_not)
        value, why_not = calculate(figure.formula, {name: found.values[0] for name, found in inputs.items()})
        return Result(value, inputs, limits, why_not)

    def _concerns(self, figure: Figure, place: Place) -> bool:
        """Whether a part in the figure's role is, or could be, of its kind."""
        if figure.when_role is None or figure.when_kind is None:
            return True
        those = self.reach.in_role(figure.when_role, place)
        parts = [part for position in those if (part := self._parts[position.path]) is not None]
        return any(is_of_kind(self.model, part, figure.when_kind) is not False for part in parts)

    def limit(self, limit: Limit, place: Place) -> Found | None:
        """What a limit gives at a place, its factor included; None where no part there could have it."""
        found = self.find(limit.source, place)
        if found is None or not found.values:
            return found
        value = found.values[0]
        return Found((limit.factor * value if isinstance(value, Decimal) else value,), found.paths)

    # ------------------------------------------------------------------ sources

    def find(self, source: Source, place: Place) -> Found | None:
        """What a source gives at a place; None where no part there could have what it reads."""
        if source.constants:
            return Found(source.constants)
        if source.as_received and self.received is not self:
            return self.received.find(source, place)
        if source.figures:
            return self._of_figures(source, place)
        return self._of_readings(source, place)

    def _of_figures(self, source: Source, place: Place) -> Found | None:
        found = []
        for figure in (self.model.figures[name] for name in source.figures):
            for at in self.reach.read_at(source, figure, place):
                result = self.result(figure, at)
                if result is not None:
                    values = () if result.value is None else (result.value,)
                    found.append(_taken_on(values, result))
        return self._gathered(source, found, self.model.figures[source.figures[0]].label)

    def _of_readings(self, source: Source, place: Place) -> Found | None:
        assert source.feature is not None, "checked when the ontology was read"
        found = []
        for position in self.reach.positions(source, place):
            part = self._parts[position.path]
            if part is not None and may_have(self.model, part, source.feature):
                found.append(self._read(source, source.feature, position.path, part))
        return self._gathered(source, found, self.model.features[source.feature].label)

    def _read(self, source: Source, feature: str, path: str, part: Part) -> Found:
        spec = part.specs.get(feature)
        readings = self.catalog.specs[spec].values if spec is not None else {}
        values: list[Value] = []
        gaps = []
        for name in source.dimensions:
            recorded = readings.get(name, ())
            if len(recorded) == 1 or (recorded and self.model.dimensions[name].many):
                values.extend(recorded)
            else:
                gaps.append(Gap(path, part, feature, name, recorded))
        if not gaps:
            return Found(tuple(values), (path,))
        gap = gaps[0]
        told = "is told differently" if gap.recorded else "is not recorded"
        label = self.model.dimensions[gap.dimension].label
        return Found((), (path,), tuple(gaps), f"the {label} of the {self.words.place(path)} {told}")

    def _gathered(self, source: Source, found: Sequence[Found], label: str) -> Found | None:
        """Several findings made one, as the source says."""
        if not found:
            return None if source.nothing is None else Found((source.nothing,))
        paths = tuple(dict.fromkeys(path for one in found for path in one.paths))
        gaps = tuple(dict.fromkeys(gap for one in found for gap in one.gaps))
        why_not = next((one.why_not for one in found if not one.values), "")
        if why_not:
            return Found((), paths, gaps, why_not)
        if source.gathers is Gathering.ALIKE:
            if len({one.values for one in found}) > 1:
                places = " and ".join(self.words.place(path) for one in found for path in one.paths[:1])
                return Found((), paths, (), f"the {label} differs between {places}")
            return Found(found[0].values, paths)
        numbers = [value for one in found for value in one.values if isinstance(value, Decimal)]
        how: Mapping[Gathering, Callable[[list[Decimal]], Decimal]] = {
            Gathering.SUM: lambda all_of_them: sum(all_of_them, Decimal(0)),
            Gathering.LEAST: min,
            Gathering.MOST: max,
        }
        return Found((how[source.gathers](numbers),), paths)


def _taken_on(values: tuple[Value, ...], result: Result) -> Found:
    """A figure as an input of another: its own limits do not bear on that."""
    paths = {path for found in result.inputs.values() for path in found.paths}
    return Found(values, tuple(sorted(paths)), result.input_gaps, result.why_not)


def calculate(formula: str, values: Mapping[str, Value]) -> tuple[Decimal | None, str]:
    """The result of a formula, or None and why it makes no sense for these values."""
    try:
        return FORMULAS[formula].named(values), ""
    except ValueError as error:
        return None, str(error)
    except ArithmeticError:
        return None, "the readings make no sense together"


def calculate_all(formula: str, names: Sequence[str], rows: Iterable[Sequence[Value]]) -> Iterator[Decimal | None]:
    """The results of a formula for many values in the order of `names`; None where they make no sense."""
    calculation = FORMULAS[formula]
    order = [names.index(name) for name in calculation.parameters]
    for row in rows:
        try:
            yield calculation(*[row[place] for place in order])
        except (ValueError, ArithmeticError):
            yield None


def kept(value: Decimal, decimals: int) -> Decimal:
    """A result as it is told and compared."""
    return rounded(value, decimals)
