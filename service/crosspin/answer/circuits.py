"""Tells how the loads of a planned vehicle are fed: outputs, trips, fuses, wires, switches, and what runs together."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from crosspin.answer.alternator import AlternatorSum, Drawn
from crosspin.answer.circuit_lines import CircuitLine, CircuitPlan, ModuleLine
from crosspin.answer.circuit_readings import CircuitReadings, known_sum, overall
from crosspin.answer.figures import Wanted
from crosspin.answer.reasons import Scene
from crosspin.answer.wiring import Output, assign, least_setting, number_outputs
from crosspin.figures.exact import rounded, spell
from crosspin.figures.wire import drop_share, voltage_drop
from crosspin.knockon.proposal import State
from crosspin.model.circuit import Circuit, CircuitPractice, Reads, Supply
from crosspin.model.judge import is_of_kind
from crosspin.model.schema import Part, Verdict
from crosspin.vehicle.words import Words


@dataclass(frozen=True, slots=True)
class _Load:
    """A part that draws: where it stands and how much, None where that is not recorded."""

    circuit: Circuit
    path: str
    part: Part
    current: Decimal | None


class Circuits:
    """The circuits of one plan."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self.wiring = scene.model.wiring
        self.words = Words(scene.model)
        self.read = CircuitReadings(scene)

    def plan(self) -> CircuitPlan | None:
        """Every circuit of the planned vehicle; None where the plan touches none of them, or nobody said how."""
        practice = self.wiring.practice
        if practice is None or not self._touched(practice):
            return None
        loads = list(self._loads())
        fed = {load.path: load.current for load in loads if load.circuit.supply is Supply.MODULE and load.current}
        outputs = self._outputs(practice)
        given = assign({path: current for path, current in fed.items() if current}, outputs or (), practice.share)
        switches = self._switches(loads)
        lines = tuple(self._line(practice, load, outputs, given.get(load.path), switches) for load in loads)
        module = self._module(practice, loads, outputs, given)
        drawn = [Drawn(x.circuit, self._label(x), x.current) for x in loads if x.circuit.loads_alternator]
        alternator = AlternatorSum(self.read, practice).line(drawn)
        told = [*lines, *(one for one in (module, alternator) if one is not None)]
        return CircuitPlan(
            lines=lines,
            module=module,
            alternator=alternator,
            interlocks=tuple(self._interlocks()),
            verdict=overall(one.verdict for one in told),
        )

    def wanted(self) -> tuple[Wanted, ...]:
        """The readings that the circuits wait for; complete once `plan` has been called."""
        return tuple(Wanted(gap, "The plan of the circuits waits for it.", False) for gap in self.read.gaps.values())

    def _touched(self, practice: CircuitPractice) -> bool:
        """Whether the plan changes anything that draws, feeds or guards."""
        roles = {practice.total.role, practice.fuse.role, practice.idle.role}
        for circuit in self.wiring.circuits:
            reads = [one.role for one in (circuit.draws, circuit.fuse, circuit.relay) if one is not None]
            roles |= {*reads, *(role for role in (circuit.wire_role, circuit.switch_role) if role is not None)}
        places = [position.path for position in self.scene.layout.positions if position.role in roles]
        return any(self.scene.choices[path].state is not State.RECEIVED for path in places)

    def _loads(self) -> Iterator[_Load]:
        for circuit in self.wiring.circuits:
            for path, part in self.read.parts(circuit.draws):
                yield _Load(circuit, path, part, self.read.number(path, part, circuit.draws))

    def _label(self, load: _Load) -> str:
        station = self.read.station(load.path)
        return load.circuit.label + (f", {station}" if "/" in load.path else "")

    def _switches(self, loads: Sequence[_Load]) -> dict[str, int]:
        """The switches by the path of the load, numbered in the order in which the loads are told."""
        with_switch = [load.path for load in loads if load.circuit.legend is not None]
        return {path: number for number, path in enumerate(with_switch, start=1)}

    # ------------------------------------------------------------------ the module

    def _outputs(self, practice: CircuitPractice) -> tuple[Output, ...] | None:
        """The module's outputs; None where there is no module or its outputs are not on record."""
        found = next(iter(self.read.parts(practice.total)), None)
        if found is None:
            return None
        path, part = found
        banks = []
        for bank in practice.banks:
            if bank in part.lacks:
                continue
            count, limit = (
                self.read.number(path, part, Reads(role=practice.total.role, feature=bank, dimension=dimension))
                for dimension in (practice.bank_count, practice.bank_current)
            )
            if count is None or limit is None:
                return None
            banks.append((int(count), limit))
        return number_outputs(banks)

    def _module(
        self,
        practice: CircuitPractice,
        loads: Sequence[_Load],
        outputs: Sequence[Output] | None,
        given: dict[str, Output],
    ) -> ModuleLine | None:
        found = next(iter(self.read.parts(practice.total)), None)
        if found is None:
            return None
        path, part = found
        limit = self.read.number(path, part, practice.total)
        total = known_sum(load.current for load in loads if load.circuit.supply is Supply.MODULE)
        fuse = self.read.first(practice.fuse)
        verdicts, notes = [], []
        if total is None or limit is None or outputs is None:
            verdicts.append(Verdict.UNKNOWN)
            notes.append("A reading is missing, so it is not known whether the module carries all its circuits.")
        elif total > limit:
            verdicts.append(Verdict.CLASHES)
            notes.append(f"The circuits draw {_amps(total)} together, the module carries {_amps(limit)}.")
        if total is not None and fuse is not None and total > practice.share * fuse:
            verdicts.append(Verdict.CLASHES)
            notes.append(
                f"The circuits draw {_amps(total)}; the fuse carries {_amps(practice.share * fuse)} all the time."
            )
        taken = {output.number for output in given.values()}
        return ModuleLine(
            part=part.label,
            total=total,
            limit=limit,
            fuse=fuse,
            free=tuple(output.number for output in outputs or () if output.number not in taken),
            verdict=overall(verdicts),
            notes=tuple(notes),
        )

    # ------------------------------------------------------------------ one circuit

    def _line(
        self,
        practice: CircuitPractice,
        load: _Load,
        outputs: Sequence[Output] | None,
        output: Output | None,
        switches: dict[str, int],
    ) -> CircuitLine:
        told = _Told()
        circuit = load.circuit
        wire = self.read.beside(load.path, circuit.wire_role)
        carries = self._wire_reading(practice, circuit.wire_role, load.path, practice.wire_carries)
        trip = fuse = relay = None
        if load.current is None:
            told.unknown("What it draws is not on record.")
        elif circuit.supply is Supply.MODULE:
            trip = self._trip(practice, load.current, outputs, output, carries, told)
            if circuit.is_motor and self._tries_again(practice):
                told.note("A motor hangs on it: set the output to stay off once it has cut off.")
        else:
            fuse = self._fuse(practice, load, carries, told)
            relay = None if circuit.relay is None else self.read.first(circuit.relay, load.path)
        drop = self._drop(practice, load, wire, told)
        percent = None if drop is None else drop_share(drop, practice.voltage)
        if percent is not None and circuit.drop_allowed is not None and percent > circuit.drop_allowed:
            told.clash(f"The wire loses {spell(rounded(percent, 1))} %, {spell(circuit.drop_allowed)} % are the most.")
        legend = circuit.legend
        return CircuitLine(
            position=load.path,
            circuit=circuit.id,
            label=self._label(load),
            part=load.part.label,
            supply=circuit.supply,
            current=load.current,
            output=output.number if output is not None else None,
            output_limit=output.limit if output is not None else None,
            trip=trip,
            fuse=fuse,
            relay=relay,
            wire=wire.label if wire is not None else None,
            wire_carries=carries,
            drop=None if drop is None else rounded(drop, 3),
            drop_percent=None if percent is None else rounded(percent, 1),
            drop_allowed=circuit.drop_allowed,
            switch=switches.get(load.path),
            legend=None if legend is None else legend.replace("{station}", self.read.station(load.path).upper()),
            verdict=overall(told.verdicts),
            notes=tuple(told.notes),
            evidence=self.words.evidence(circuit.evidence),
        )

    def _trip(
        self,
        practice: CircuitPractice,
        current: Decimal,
        outputs: Sequence[Output] | None,
        output: Output | None,
        carries: Decimal | None,
        told: "_Told",
    ) -> Decimal | None:
        if outputs is None:
            told.unknown("There is no module on record whose outputs are known.")
            return None
        if output is None:
            told.clash(f"No free output may carry {_amps(current)} all the time.")
            return None
        settings = self.read.several(practice.trips)
        if not settings:
            told.unknown("The settings of the module's outputs are not on record.")
            return None
        trip = least_setting(current, [s for s in settings if s <= output.limit], practice.share)
        if trip is None:
            told.clash(f"No setting up to {_amps(output.limit)} leaves room for {_amps(current)}.")
        elif carries is not None and trip > carries:
            told.clash(f"It would cut off at {_amps(trip)}, the wire carries {_amps(carries)}.")
        return trip

    def _tries_again(self, practice: CircuitPractice) -> bool:
        return practice.tries_again in self.read.codes(practice.guard)

    def _fuse(self, practice: CircuitPractice, load: _Load, carries: Decimal | None, told: "_Told") -> Decimal | None:
        reads = load.circuit.fuse
        if reads is None or load.current is None:
            return None
        fuse = self.read.first(reads, load.path)
        if fuse is None:
            told.unknown("Its fuse is not on record.")
        elif load.current > practice.share * fuse:
            least = spell(load.current / practice.share)
            told.clash(f"The fuse is {_amps(fuse)}; it takes {least} A at least.")
        elif carries is not None and fuse > carries:
            told.clash(f"The fuse is {_amps(fuse)}, the wire carries {_amps(carries)}.")
        return fuse

    def _drop(self, practice: CircuitPractice, load: _Load, wire: Part | None, told: "_Told") -> Decimal | None:
        """Voltage lost in the wire at running current, there and back; None where there is no wire of its own."""
        circuit = load.circuit
        if circuit.wire_role is None or load.current is None:
            return None
        if wire is None:
            told.unknown("Its wire is not on record.")
            return None
        current: Decimal | None = load.current
        if circuit.wire_draws is not None:
            reads = circuit.draws.model_copy(update={"dimension": circuit.wire_draws})
            current = self.read.number(load.path, load.part, reads)
        section = self._wire_reading(practice, circuit.wire_role, load.path, practice.wire_section)
        length = self._wire_reading(practice, circuit.wire_role, load.path, practice.wire_way)
        if current is None or section is None or length is None:
            told.unknown("What its wire loses is not known: a reading is missing.")
            return None
        return voltage_drop(current, length, section, practice.temperature)

    def _wire_reading(self, practice: CircuitPractice, role: str | None, path: str, dimension: str) -> Decimal | None:
        if role is None:
            return None
        return self.read.first(Reads(role=role, feature=practice.wire_feature, dimension=dimension), path)

    def _interlocks(self) -> Iterator[str]:
        for interlock in self.wiring.interlocks:
            for position in self.scene.layout.positions:
                part = self.scene.planned(position.path) if position.role == interlock.role else None
                if part is not None and is_of_kind(self.scene.model, part, interlock.kind):
                    yield interlock.text
                    break


class _Told:
    """What is said of one circuit."""

    def __init__(self) -> None:
        self.verdicts: list[Verdict] = []
        self.notes: list[str] = []

    def note(self, sentence: str) -> None:
        self.notes.append(sentence)

    def unknown(self, sentence: str) -> None:
        self.verdicts.append(Verdict.UNKNOWN)
        self.notes.append(sentence)

    def clash(self, sentence: str) -> None:
        self.verdicts.append(Verdict.CLASHES)
        self.notes.append(sentence)


def _amps(current: Decimal) -> str:
    return f"{spell(current)} A"
