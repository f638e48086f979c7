"""What the shop does: operations in an order that can be followed, checks, cautions."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from decimal import Decimal

from crosspin.answer.figures import Brought
from crosspin.answer.handling import Entry, Handling
from crosspin.answer.plan import Advice, Check, Work
from crosspin.answer.reasons import Scene
from crosspin.answer.sequence import Job, WorkPlan
from crosspin.figures.exact import spell
from crosspin.model.labour import ConsumableUse, Operation, Repeat
from crosspin.model.schema import Part, Term
from crosspin.rules.prover import Proof
from crosspin.vehicle.access import Access


class WorkList:
    """Puts what a proof, and the figures beyond their limits, bring into work and advice."""

    def __init__(
        self, scene: Scene, proof: Proof, by_figures: Sequence[Brought] = (), asked: Collection[str] = ()
    ) -> None:
        """`asked` are the positions that wishes name."""
        self.scene = scene
        self.by_figures = by_figures
        self.asked = asked
        self.model = scene.model
        self.proof = proof
        self.positions = scene.as_received.arrangement.positions
        self.order = scene.as_received.arrangement.order
        stations = {p.station for p in scene.layout.positions}
        self.sides = {
            s: {p.side for p in scene.layout.positions if p.station == s and p.side is not None} for s in stations
        }
        self.handling = Handling(
            self.model,
            scene.as_received.access,
            Access(scene.as_received.arrangement.places, scene.parts),
            {path: choice.state for path, choice in scene.choices.items()},
        )
        self.bringing: Mapping[str, Term] = {**self.model.rules, **self.model.consequences}

    def work(self) -> tuple[Work, ...]:
        """Operations in an order that can be followed; one line for each job at each station, or for all stations."""
        entries = self._entries()
        plan = WorkPlan(self.order, entries, self.handling.edges(entries))
        numbers = {job: number for number, job in enumerate(plan.jobs, start=1)}
        return tuple(self._line(job, entries[job], plan, numbers) for job in plan.jobs)

    def _entries(self) -> dict[Job, Entry]:
        entries: dict[Job, Entry] = {}
        for outcome in self.proof.outcomes:
            if outcome.brings in self.model.operations:
                why = self.bringing[outcome.consequence].definition
                self._enter(entries, outcome.brings, outcome.position, why)
        for brought in self.by_figures:
            if brought.brings in self.model.operations:
                self._enter(entries, brought.brings, brought.position, brought.because)
        for mended in self.proof.mended:
            self._enter(entries, mended.operation, mended.position, self.model.remedies[mended.remedy].definition)
        self._handle(entries)
        spared = [
            (job, (job[0], other))
            for job in entries
            for other in self.model.operations[job[1]].spared_by
            if (job[0], other) in entries
        ]
        for job, other in spared:
            if job in entries and other in entries:
                entries[other].join(entries.pop(job))
        return entries

    def _handle(self, entries: dict[Job, Entry]) -> None:
        """Enter what takes parts off, puts back those that stay and fits new ones; what such work wants off comes off
        too."""
        handling, more = self.handling, True
        for path in self.scene.changed:
            for name in handling.goes_on(path):
                self._enter(entries, name, path, "It is new.").puts.add(path)
        while more:
            for path in sorted(handling.off):
                why = self._why_off(path)
                for name in handling.takes_off(path):
                    self._enter(entries, name, path, why).takes.add(path)
                for name in handling.goes_back(path):
                    self._enter(entries, name, path, why).puts.add(path)
            asked = [(job[1], path) for job, entry in entries.items() for path in entry.places]
            more = handling.opened_for(asked)

    def opened_by_work(self) -> Iterator[tuple[str, Part, str]]:
        """What comes off for work alone, which changes no part, and is used once: its position, the part, and why a
        new one like it is to be bought.  The search does not see it: it is no choice between parts.
        """
        by_change = {there for path in self.scene.changed for there in self.scene.as_received.access.disturbed(path)}
        only_work = self.handling.off - by_change - self.scene.changed
        for pairing in self.scene.layout.pairings:
            renewal = self.model.renewals.get(pairing.rule)
            if renewal is None or not renewal.when_disturbed or pairing.when not in only_work:
                continue
            stays = self.scene.planned(pairing.then)
            if stays is None or pairing.then in self.scene.changed:
                continue
            if renewal.then_kind in self.model.kinds[stays.kind].ancestors:
                yield pairing.then, stays, self.scene.sayings.words.rule(renewal.says, "this work", pairing.when)

    def _why_off(self, path: str) -> str:
        """Why the part at a position comes off: it is changed itself, or for the first change that wants it off."""
        causes = self.handling.causes(path)
        if path in causes:
            return "It is changed."
        causes.sort(key=lambda cause: cause not in self.asked)
        labels = (self.scene.planned(cause) or self.scene.received(cause) for cause in causes)
        label = next((part.label for part in labels if part is not None), None)
        return "It is in the way of the work." if label is None else f"It is in the way of {label}."

    def _job(self, operation: str, path: str) -> Job:
        return "" if self.order.phase(operation).spans_vehicle else self.positions[path].station, operation

    def _enter(self, entries: dict[Job, Entry], operation: str, path: str, why: str) -> Entry:
        """Note an operation and all that it entails."""
        found, waiting = {operation}, [operation]
        while waiting:
            name = waiting.pop()
            entry = entries.setdefault(self._job(name, path), Entry())
            entry.places.add(path)
            entry.because.add(why)
            fresh = [other for other in self.model.operations[name].entails if other not in found]
            found.update(fresh)
            waiting.extend(fresh)
        return entries[self._job(operation, path)]

    def _line(self, job: Job, entry: Entry, plan: WorkPlan, numbers: dict[Job, int]) -> Work:
        station, name = job
        operation, phase = self.model.operations[name], self.order.phase(name)
        places = tuple(sorted(entry.places))
        times = self._times(operation.repeat, places)
        return Work(
            number=numbers[job],
            group=self.scene.layout.station_labels.get(station, station) if station else phase.label,
            phase=phase.label,
            operation=name,
            label=operation.label,
            text=operation.text,
            places=places,
            hours=operation.hours * times,
            after=tuple(sorted(numbers[other] for other in plan.waits_for(job))),
            tools=tuple(self.model.tools[tool].label for tool in operation.tools),
            cautions=self.cautions_of(operation),
            uses=tuple(self._use(use, times, places) for use in operation.uses),
            because=tuple(sorted(entry.because)),
            takes_off=tuple(sorted(entry.takes)),
            puts_on=tuple(sorted(entry.puts)),
        )

    def _times(self, repeat: Repeat, places: Sequence[str]) -> int:
        """How often an operation is done; what has no side concerns both sides of its station."""
        found = [self.positions[path] for path in places]
        stations = {p.station for p in found}
        match repeat:
            case Repeat.EACH_PART:
                return len(found)
            case Repeat.EACH_SIDE:
                seen = {station: {p.side for p in found if p.station == station} for station in stations}
                return sum(len(self.sides[s]) or 1 if None in sides else len(sides) for s, sides in seen.items())
            case Repeat.EACH_STATION:
                return len(stations)
            case Repeat.ONCE:
                return 1

    def _use(self, use: ConsumableUse, times: int, places: Sequence[str]) -> str:
        symbol = f" {self.model.units[use.unit].symbol}" if use.unit in self.model.units else ""
        label = self.model.consumables[use.consumable].label
        if use.role is None:
            return f"{label}, {spell(use.quantity * times)}{symbol}"
        stations = sorted({self.positions[path].station for path in places})
        read = [self._reading(use, station) for station in stations]
        amount = sum((use.quantity if value is None else value for value in read), Decimal(0))
        guess = ", the usual amount: none is on record" if None in read else ""
        return f"{label}, {spell(amount)}{symbol}{guess}"

    def _reading(self, use: ConsumableUse, station: str) -> Decimal | None:
        """The one number that the part in the wanted role at a station gives, None where there is none."""
        for path, position in self.positions.items():
            if position.role == use.role and position.station == station:
                part = self.scene.planned(path)
                spec = part.specs.get(use.feature or "") if part is not None else None
                values = self.scene.catalog.specs[spec].values.get(use.dimension or "", ()) if spec is not None else ()
                return values[0] if len(values) == 1 and isinstance(values[0], Decimal) else None
        return None

    def cautions_of(self, operation: Operation) -> tuple[str, ...]:
        """What must be read before an operation."""
        return tuple(self.model.cautions[c].text for c in operation.cautions)

    def checks(self) -> tuple[Check, ...]:
        """What to verify, in the order of the phases, each once with every place that it applies to."""
        brought = self._brought(self.model.checks)
        notes = sorted(
            (self.model.checks[name] for name in brought), key=lambda c: (self.model.phases[c.phase].number, c.id)
        )
        return tuple(
            Check(
                id=note.id,
                label=note.label,
                text=note.text,
                phase=self.model.phases[note.phase].label,
                places=tuple(sorted(brought[note.id])),
            )
            for note in notes
        )

    def cautions(self, work: Sequence[Work]) -> tuple[Advice, ...]:
        """What to read, that of the work included, each once with every place."""
        places = self._brought(self.model.cautions)
        for job in work:
            for caution in self.model.operations[job.operation].cautions:
                places.setdefault(caution, set()).update(job.places)
        notes = self.model.cautions
        return tuple(
            Advice(id=name, label=notes[name].label, text=notes[name].text, places=tuple(sorted(found)))
            for name, found in sorted(places.items())
        )

    def _brought(self, wanted: Iterable[str]) -> dict[str, set[str]]:
        names = set(wanted)
        places: dict[str, set[str]] = {}
        brought = [(outcome.brings, outcome.position) for outcome in self.proof.outcomes]
        brought += [(figure.brings, figure.position) for figure in self.by_figures]
        for name, position in brought:
            if name in names:
                places.setdefault(name, set()).add(position)
        return places
