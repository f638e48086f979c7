"""Which positions of a layout a figure or a table reads, whatever stands there."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache

from crosspin.model.figure import Figure, Source, SpeedTable, Worked
from crosspin.model.schema import FigureNeed, Layout, Model, Position, Scope

WHOLE_VEHICLE = "WholeVehicle"


@dataclass(frozen=True, slots=True)
class Place:
    """Where a figure is worked out: a station, a side where the figure is sided, a state where it has states."""

    station: str
    side: str | None = None
    state: str | None = None


def instance(figure: Figure, place: Place) -> str:
    """The name of a figure at one place and in one state: "driveSlope/front", "axleDrop/rear/atDroop"."""
    return "/".join(word for word in (figure.id, place.station, place.side, place.state) if word)


@dataclass(frozen=True, slots=True)
class Call:
    """A need that a figure at one place may trigger, and the position that it asks something of."""

    need: FigureNeed
    figure: Figure
    place: Place
    then: str

    @property
    def id(self) -> str:
        """Its name in a layout."""
        return f"{self.need.id}/{instance(self.figure, self.place)}--{self.then}"


class Reach:
    """Where the figures and speed tables of one model read in one layout.  Threads may share it.

    All of it follows from the model and the layout alone, so it is found once and kept: one entry for each figure or
    source and place.
    """

    def __init__(self, model: Model, layout: Layout) -> None:
        self.model = model
        self.layout = layout
        self._places = {figure.id: tuple(self._places_of(figure)) for figure in model.figures.values()}
        self._named = {
            instance(figure, place): (figure, place)
            for figure in model.figures.values()
            for place in self._places[figure.id]
        }
        self.calls = {one.id: one for need in model.figure_needs.values() for one in self._calls_of(need)}
        """Every need that a figure may trigger at every place and position, by name."""
        self._called: dict[tuple[str, Place], list[Call]] = {}
        for one in self.calls.values():
            self._called.setdefault((one.figure.id, one.place), []).append(one)
        self._read = cache(self._positions_read)
        self._of_figure = cache(self._positions_of_figure)
        self._of_table = cache(self._positions_of_table)

    def called(self, figure: Figure, place: Place) -> Sequence[Call]:
        """The needs that a figure may trigger at a place, with the positions that they ask something of."""
        return self._called.get((figure.id, place), ())

    def _calls_of(self, need: FigureNeed) -> Iterator[Call]:
        figure = self.model.figures[need.figure]
        for place in self._places[figure.id]:
            for position in self.layout.positions:
                here = need.scope is Scope.WHOLE_VEHICLE or position.station == place.station
                apart = need.scope is Scope.SAME_AXLE and None not in (place.side, position.side)
                if position.role == need.then_role and here and not (apart and place.side != position.side):
                    yield Call(need, figure, place, position.path)

    def has(self, name: str) -> bool:
        """Whether a figure at one of its places goes by this name (`instance`)."""
        return name in self._named

    def named(self, name: str) -> tuple[Figure, Place]:
        """The figure and place behind a name (`instance`); raises KeyError where there is none."""
        return self._named[name]

    def places(self, figure: Figure) -> Sequence[Place]:
        """Where a figure is worked out: every station of its classes, on each side where it is sided, in each state."""
        return self._places[figure.id]

    def _places_of(self, figure: Figure) -> Sequence[Place]:
        sides = ("left", "right") if figure.sided else (None,)
        return [
            Place(station, side, state)
            for station, classes in sorted(self.layout.stations.items())
            if any(c in classes for c in figure.stations)
            for side in sides
            for state in figure.conditions
        ]

    def of_figure(self, figure: Figure, place: Place) -> frozenset[str]:
        """Every position whose part can bear on a figure there: of the role it is for, of its inputs and limits, and
        of the figures that these take.  Where none of these positions changes, the figure does not."""
        return self._of_figure(figure.id, place)

    def of_table(self, table: SpeedTable) -> frozenset[str]:
        """Every position whose part can bear on a speed table."""
        return self._of_table(table.id)

    def _positions_of_figure(self, name: str, place: Place) -> frozenset[str]:
        figure = self.model.figures[name]
        concerned = () if figure.when_role is None else self.in_role(figure.when_role, place)
        return self._positions_of(figure, place).union(position.path for position in concerned)

    def _positions_of_table(self, name: str) -> frozenset[str]:
        return self._positions_of(self.model.speed_tables[name], self.whole_vehicle())

    def _positions_of(self, worked: Worked, place: Place) -> frozenset[str]:
        """Those of its inputs and limits."""
        paths: set[str] = set()
        for source in (*(one.source for one in worked.inputs), *(limit.source for limit in worked.limits)):
            if source.constants:
                continue
            for figure in (self.model.figures[name] for name in source.figures):
                paths.update(path for at in self.read_at(source, figure, place) for path in self.of_figure(figure, at))
            if not source.figures:
                paths.update(position.path for position in self.positions(source, place))
        return frozenset(paths)

    def in_role(self, role: str, place: Place) -> Sequence[Position]:
        """The positions of a role that a figure worked out there looks at."""
        return self.positions(Source(label="", roles=(role,)), place)

    def read_at(self, source: Source, figure: Figure, place: Place) -> Sequence[Place]:
        """Where another figure is taken from: at the source's stations, on its side and in its state."""
        state = figure.taken_in(place.state, source)
        places = [p for p in self.places(figure) if p.state == state and self._is_at(p.station, source, place)]
        if source.only_at is None and not self.spans_vehicle(place.station):
            places = [p for p in places if p.station == place.station] or places
        side = source.only_on or place.side
        return places if side is None else [p for p in places if p.side in (None, side)]

    def positions(self, source: Source, place: Place) -> Sequence[Position]:
        """The positions that a source reads: of its roles, at its stations and on its side."""
        return self._read(source, place)

    def _positions_read(self, source: Source, place: Place) -> Sequence[Position]:
        those = [p for p in self.layout.positions if not source.roles or p.role in source.roles]
        those = [p for p in those if self._is_at(p.station, source, place)]
        if source.only_at is None and not self.spans_vehicle(place.station):
            those = [p for p in those if p.station == place.station] or those
        side = source.only_on or place.side
        return those if side is None else [p for p in those if p.side in (None, side)]

    def _is_at(self, station: str, source: Source, place: Place) -> bool:
        """Whether a source may be read at a station: one of its class, else the place's own, or the whole vehicle's."""
        if source.only_at is not None:
            return source.only_at in self.layout.stations[station]
        return station == place.station or self.spans_vehicle(place.station) or self.spans_vehicle(station)

    def whole_vehicle(self) -> Place:
        """The vehicle as a whole."""
        return Place(next(station for station in self.layout.stations if self.spans_vehicle(station)))

    def spans_vehicle(self, station: str) -> bool:
        """Whether a station is the vehicle as a whole."""
        return WHOLE_VEHICLE in self.layout.stations.get(station, ())
