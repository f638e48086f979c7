"""The order of work: which job waits for which, and one order in which all can be done.

A job is an operation at a station, or one for the whole vehicle.  Phases come one after the other, those that
span the vehicle for every station together; within a phase `comesBefore` decides.
"""

from collections.abc import Collection, Mapping, Sequence
from itertools import groupby

from crosspin.model.labour import Operation, Phase, after

Job = tuple[str, str]
"""The station, empty for the whole vehicle, and the operation."""


class WorkOrder:
    """Knows what of any two jobs comes first; `stations` gives the order of the stations."""

    def __init__(
        self, operations: Mapping[str, Operation], phases: Mapping[str, Phase], stations: Collection[str]
    ) -> None:
        self._operations = operations
        self._phases = phases
        self._stations = {station: place for place, station in enumerate(("", *stations))}
        ordered = sorted(phases.values(), key=lambda phase: phase.number)
        stretches = groupby(ordered, key=lambda phase: phase.number if phase.spans_vehicle else 0)
        self._stretch = {phase.id: place for place, (_, group) in enumerate(stretches) for phase in group}
        self._later = {name: after(operations, name) for name in operations}

    def phase(self, operation: str) -> Phase:
        """The phase of an operation."""
        return self._phases[self._operations[operation].phase]

    def precedes(self, first: Job, second: Job) -> bool:
        """Whether the first job must be done before the second is begun."""
        one, two = self.phase(first[1]), self.phase(second[1])
        if self._stretch[one.id] != self._stretch[two.id]:
            return one.number < two.number
        if first[0] != second[0]:
            return False
        return one.number < two.number or (one is two and second[1] in self._later[first[1]])

    def ordered(self, jobs: Collection[Job]) -> tuple[Job, ...]:
        """All jobs in an order that can be followed: by stretch, station and phase; where nothing decides,
        what goes on from the job done last, then by name."""
        done: list[Job] = []
        for _, group in groupby(sorted(jobs, key=lambda job: (self._block(job), job[1])), key=self._block):
            left = list(group)
            while left:
                ready = [job for job in left if not any(self.precedes(other, job) for other in left)]
                chosen = min(ready, key=lambda job: (-self._last_before(job, done), job[1]))
                left.remove(chosen)
                done.append(chosen)
        return tuple(done)

    def _block(self, job: Job) -> tuple[int, int, int]:
        """Where the jobs of one phase at one station stand in the whole."""
        phase = self.phase(job[1])
        return self._stretch[phase.id], self._stations[job[0]], phase.number

    def _last_before(self, job: Job, done: list[Job]) -> int:
        """The place in the list of the last job of the same phase that this one waited for, -1 without one."""
        same = (n for n, other in enumerate(done) if self.phase(other[1]) is self.phase(job[1]))
        return max((n for n in same if self.precedes(done[n], job)), default=-1)

    def waits_for(self, job: Job, ordered: Sequence[Job]) -> tuple[Job, ...]:
        """The jobs directly before a job, those that no other job stands between; `ordered` has all jobs in order."""
        direct: list[Job] = []
        for other in reversed(ordered[: ordered.index(job)]):
            if self.precedes(other, job) and not any(self.precedes(other, between) for between in direct):
                direct.append(other)
        return tuple(direct)
