"""What comes off in a plan, what goes back or on, by which work, and which job therefore waits for which."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from crosspin.answer.sequence import Job
from crosspin.knockon.proposal import State
from crosspin.model.schema import Kind, Model
from crosspin.vehicle.access import Access


@dataclass(slots=True)
class Entry:
    """Where a job comes from: the positions that bring it, and why; what it takes off and what it puts on."""

    places: set[str] = field(default_factory=set)
    because: set[str] = field(default_factory=set)
    takes: set[str] = field(default_factory=set)
    puts: set[str] = field(default_factory=set)

    def join(self, other: "Entry") -> None:
        """Do the work of another job too."""
        self.places |= other.places
        self.because |= other.because
        self.takes |= other.takes
        self.puts |= other.puts


class Handling:
    """One plan, by what is handled: `came` is the vehicle as it was received, `goes` as it will be."""

    def __init__(self, model: Model, came: Access, goes: Access, states: Mapping[str, State]) -> None:
        self._model = model
        self._came = came
        self._goes = goes
        self._states = states
        self._changed = [path for path, state in states.items() if state is not State.RECEIVED]
        self._leaves = frozenset(self._inside(self._changed))
        self.off: set[str] = set()
        """The positions whose part comes off, whether it goes or stays; not those whose part leaves with what it is in
        (a carrier in a housing that goes)."""

        for path in self._changed:
            self._open(path)
            stays = (inner for inner in came.places.inside(path) if states[inner] is State.RECEIVED)
            self._open(*(inner for inner in stays if came.parts[inner] is not None))

    def _inside(self, paths: Iterable[str]) -> Iterator[str]:
        """The changed positions inside others of these."""
        for path in paths:
            yield from (inner for inner in self._came.places.inside(path) if self._states[inner] is not State.RECEIVED)

    def _open(self, *paths: str) -> bool:
        """Take what is at some positions off, and all that lies over it; whether that is any more.  Of what leaves with
        what it is in, only what lies over it and does not leave comes off."""
        before = len(self.off)
        for path in paths:
            over = self._came.over_with(path, self._goes.parts[path])
            if path in self._leaves:
                self.off |= over - self._leaves
            else:
                self.off |= over
                if self._came.parts[path] is not None:
                    self.off.add(path)
        return len(self.off) > before

    def opened_for(self, work: Iterable[tuple[str, str]]) -> bool:
        """Take off what is off while operations are done at positions; whether that is any more."""
        return self._open(*(there for operation, path in work for there in self._wanted_off(operation, path)))

    def _wanted_off(self, operation: str, path: str) -> Iterator[str]:
        places = self._came.places
        for role in self._model.operations[operation].wants_off:
            if places.positions[path].role == role:
                yield path
            yield from places.near(path, role)

    def takes_off(self, path: str) -> tuple[str, ...]:
        """The operations by which the received part comes off; for good where nothing comes in its place."""
        kind = self._fixed(self._came, path)
        if kind is None or path not in self.off:
            return ()
        return kind.comes_off_by or (kind.goes_for_good_by if self._states[path] is State.EMPTIED else ())

    def goes_back(self, path: str) -> tuple[str, ...]:
        """The operations by which a part that came off, and stays, goes back."""
        kind = self._fixed(self._came, path)
        stays = path in self.off and self._states[path] is State.RECEIVED
        return kind.goes_back_by if kind is not None and stays else ()

    def goes_on(self, path: str) -> tuple[str, ...]:
        """The operations by which a new part goes on."""
        kind = self._fixed(self._goes, path)
        return kind.goes_on_by if kind is not None and self._states[path] is State.FRESH else ()

    def _fixed(self, vehicle: Access, path: str) -> Kind | None:
        """The kind of what is fixed at a position; None where nothing is."""
        part = vehicle.parts[path]
        if part is None or self._model.roles[vehicle.places.positions[path].role].loose:
            return None
        return self._model.kinds[part.kind]

    def causes(self, path: str) -> list[str]:
        """The changed positions for which what is at a position comes off."""
        return [change for change in self._changed if change == path or path in self._came.disturbed(change)]

    def edges(self, entries: Mapping[Job, Entry]) -> set[tuple[Job, Job]]:
        """Which job comes before which, so that nothing is taken from under, or fitted over, what is in the way."""
        takers: dict[str, list[Job]] = {}
        putters: dict[str, list[Job]] = {}
        for job, entry in entries.items():
            for path in entry.takes:
                takers.setdefault(path, []).append(job)
            for path in entry.puts:
                putters.setdefault(path, []).append(job)
        found: set[tuple[Job, Job]] = set()

        def before(firsts: Iterable[Job], seconds: Iterable[Job]) -> None:
            found.update((first, second) for first in firsts for second in seconds if first != second)

        for path, jobs in takers.items():
            before(jobs, putters.get(path, ()))
            for over in self._came.over(path):
                before(takers.get(over, ()), jobs)
                before(jobs, putters.get(over, ()))
        for path, jobs in putters.items():
            part = self._goes.parts[path]
            for over in self._goes.over(path):
                before(jobs, putters.get(over, ()))
            for over in self._came.over_with(path, part):
                before(takers.get(over, ()), jobs)
        for job, entry in entries.items():
            wanted = {there for path in entry.places for there in self._wanted_off(job[1], path)}
            for path in wanted - entry.takes - entry.puts:
                before(takers.get(path, ()), (job,))
                before((job,), putters.get(path, ()))
        return found
