"""The readings that circuits are planned from, and those that are missing."""

from collections.abc import Iterable, Iterator, Sequence
from decimal import Decimal

from crosspin.answer.reasons import Scene
from crosspin.model import judge
from crosspin.model.circuit import Reads
from crosspin.model.judge import may_have
from crosspin.model.schema import Part, Position, Value, Verdict
from crosspin.vehicle.figuring import Gap


def overall(verdicts: Iterable[Verdict]) -> Verdict:
    """A clash outweighs an unknown, an unknown outweighs a fit."""
    return judge.overall(list(verdicts))


class CircuitReadings:
    """Reads the planned vehicle; what is missing, or disputed, gathers in `gaps` by position and reading."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self._arrangement = scene.as_received.arrangement
        self.gaps: dict[tuple[str, str, str], Gap] = {}

    def _at(self, role: str) -> Sequence[Position]:
        return self._arrangement.in_role.get(role, ())

    def station(self, path: str) -> str:
        """The station of a position, as its path names it."""
        return self._arrangement.positions[path].station

    def parts(self, reads: Reads) -> Iterator[tuple[str, Part]]:
        """The planned parts of a role that have, or could have, the feature."""
        for position in self._at(reads.role):
            part = self.scene.planned(position.path)
            if part is not None and may_have(self.scene.model, part, reads.feature):
                yield position.path, part

    def beside(self, path: str, role: str | None) -> Part | None:
        """The planned part of a role at the station of a position, or of the whole vehicle."""
        found = self._near(path, role)
        return None if found is None else self.scene.planned(found)

    def _near(self, path: str, role: str | None) -> str | None:
        if role is None:
            return None
        places = self._at(role)
        here = [p for p in places if p.station == self.station(path)] or (places if len(places) == 1 else [])
        return here[0].path if here else None

    def _values(self, path: str, part: Part, reads: Reads, many: bool = False) -> tuple[Value, ...]:
        spec = part.specs.get(reads.feature)
        values = self.scene.catalog.specs[spec].values.get(reads.dimension, ()) if spec is not None else ()
        if not values or (len(values) > 1 and not many):
            key = (path, reads.feature, reads.dimension)
            self.gaps[key] = Gap(path, part, reads.feature, reads.dimension, values)
            return ()
        return values

    def number(self, path: str, part: Part, reads: Reads) -> Decimal | None:
        """One reading of a part as a number; None where it is missing or disputed."""
        values = self._values(path, part, reads)
        return values[0] if values and isinstance(values[0], Decimal) else None

    def first(self, reads: Reads, path: str | None = None) -> Decimal | None:
        """A reading of the part of a role, beside a position where one is given; None without part or reading."""
        found = self._near(path, reads.role) if path is not None else next((p.path for p in self._at(reads.role)), None)
        part = None if found is None else self.scene.planned(found)
        if found is None or part is None or not may_have(self.scene.model, part, reads.feature):
            return None
        return self.number(found, part, reads)

    def _all(self, reads: Reads) -> tuple[Value, ...]:
        return tuple(value for path, part in self.parts(reads) for value in self._values(path, part, reads, many=True))

    def several(self, reads: Reads) -> tuple[Decimal, ...]:
        """All values of a reading that takes many, ascending."""
        return tuple(sorted(value for value in self._all(reads) if isinstance(value, Decimal)))

    def codes(self, reads: Reads) -> frozenset[str]:
        """All values of a coded reading."""
        return frozenset(value for value in self._all(reads) if isinstance(value, str))


def known_sum(currents: Iterable[Decimal | None]) -> Decimal | None:
    """The sum of currents in amperes; None where one of them is not known."""
    found = list(currents)
    known = [current for current in found if current is not None]
    return sum(known, Decimal(0)) if len(known) == len(found) else None
