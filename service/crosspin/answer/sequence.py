"""The order of work: which job waits for which, and one order in which all can be done.

A job is an operation at a station, or one for the whole vehicle.  Phases come one after the other, those that
span the vehicle for every station together; within a phase `comesBefore` decides.  What lies over what adds to that,
from plan to plan.
"""

from collections.abc import Collection, Mapping, Sequence
from functools import cached_property
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
        """Whether the first job must be done before the second is begun, whatever the plan."""
        one, two = self.phase(first[1]), self.phase(second[1])
        if self._stretch[one.id] != self._stretch[two.id]:
            return one.number < two.number
        if first[0] != second[0]:
            return False
        return one.number < two.number or (one is two and second[1] in self._later[first[1]])

    def block(self, job: Job) -> tuple[int, int, int]:
        """Where the jobs of one phase at one station stand in the whole."""
        phase = self.phase(job[1])
        return self._stretch[phase.id], self._stations[job[0]], phase.number


class WorkPlan:
    """The jobs of one plan in an order that can be followed; `edges` are pairs of jobs of which the first comes first,
    beside what the order of work says of them anyway.

    Raises ValueError where jobs wait for one another in a circle.
    """

    def __init__(self, order: WorkOrder, jobs: Collection[Job], edges: Collection[tuple[Job, Job]] = ()) -> None:
        self._order = order
        self._edges = edges
        self._all = sorted(jobs, key=lambda job: (order.block(job), job[1]))

    @cached_property
    def _before(self) -> dict[Job, set[Job]]:
        """The jobs that each one waits for, as far as somebody says so."""
        found = {job: {other for other in self._all if self._order.precedes(other, job)} for job in self._all}
        for first, second in self._edges:
            found[second].add(first)
        return found

    @cached_property
    def jobs(self) -> tuple[Job, ...]:
        """All jobs: by stretch, station and phase as far as nothing stands against it; where nothing decides, what
        goes on from the job done last, then by name."""
        left = {job: set(before) for job, before in self._before.items()}
        places: dict[Job, int] = {}
        while left:
            ready = [job for job, before in left.items() if not before]
            if not ready:
                raise ValueError(f"these jobs wait for one another: {', '.join(sorted(' '.join(job) for job in left))}")
            chosen = min(ready, key=lambda job: (self._order.block(job), -self._last_before(job, places), job[1]))
            del left[chosen]
            for before in left.values():
                before.discard(chosen)
            places[chosen] = len(places)
        return tuple(places)

    def _last_before(self, job: Job, places: Mapping[Job, int]) -> int:
        """The place in the list of the last job of the same phase that this one waited for, -1 without one."""
        phase = self._order.phase(job[1])
        same = (places[other] for other in self._before[job] if self._order.phase(other[1]) is phase)
        return max(same, default=-1)

    @cached_property
    def _reached(self) -> dict[Job, set[Job]]:
        """All jobs that each one waits for, directly or not."""
        reached: dict[Job, set[Job]] = {}
        for job in self.jobs:
            direct = self._before[job]
            reached[job] = direct.union(*(reached[other] for other in direct))
        return reached

    def waits_for(self, job: Job) -> Sequence[Job]:
        """The jobs directly before a job, those that no other job stands between."""
        waits = self._reached[job]
        return [other for other in reversed(self.jobs) if other in waits and not self._is_between(other, waits)]

    def _is_between(self, job: Job, waits: Collection[Job]) -> bool:
        return any(job in self._reached[other] for other in waits)
