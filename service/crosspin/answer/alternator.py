"""What may run together: the sum of the loads against what the alternator gives."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from crosspin.answer.circuit_lines import AlternatorLine
from crosspin.answer.circuit_readings import CircuitReadings, known_sum
from crosspin.figures.exact import spell
from crosspin.model.circuit import Circuit, CircuitPractice
from crosspin.model.schema import Verdict


@dataclass(frozen=True, slots=True)
class Drawn:
    """A load that counts against the alternator, by the name it is told by; None where its current is not known."""

    circuit: Circuit
    label: str
    current: Decimal | None


class AlternatorSum:
    """Adds up what runs and finds what must be locked out."""

    def __init__(self, read: CircuitReadings, practice: CircuitPractice) -> None:
        self.read = read
        self.practice = practice

    def line(self, loads: Sequence[Drawn]) -> AlternatorLine | None:
        """The sums and what follows from them; None where nobody recorded an alternator."""
        if next(iter(self.read.parts(self.practice.idle)), None) is None:
            return None
        p = self.practice
        idle, fast, rated = (self.read.first(reads) for reads in (p.idle, p.fast_idle, p.rated))
        speed = self.read.first(p.fast_idle_speed)
        rest = known_sum(load.current for load in loads if not load.circuit.wants_fast_idle)
        everything = known_sum(load.current for load in loads)
        out: list[Drawn] = []
        together: Decimal | None = None
        verdict = Verdict.UNKNOWN
        told = ["What may run together is not known: a reading is missing."]
        if idle is not None and fast is not None and rest is not None and everything is not None:
            out, together = _shed(loads, everything, fast)
            verdict = Verdict.FITS if together <= fast else Verdict.CLASHES
            told = self._sentences(loads, out, (idle, fast, speed), (everything, rest, together))
        return AlternatorLine(
            idle=idle,
            fast_idle=fast,
            fast_idle_speed=speed,
            rated=rated,
            all_on=everything,
            at_rest=rest,
            together=together,
            locked_out=tuple(load.label for load in out),
            verdict=verdict,
            sentences=tuple(told),
        )

    def _sentences(
        self,
        loads: Sequence[Drawn],
        out: Sequence[Drawn],
        gives: tuple[Decimal, Decimal, Decimal | None],
        draws: tuple[Decimal, Decimal, Decimal],
    ) -> list[str]:
        (idle, fast, speed), (everything, rest, together) = gives, draws
        at_speed = "fast idle" if speed is None else f"{spell(speed)} rpm"
        told = []
        if rest > idle:
            told.append(
                f"At idle {spell(rest)} A are drawn with all on that may be, and {spell(idle)} A made:"
                " the battery gives the rest, so not for long."
            )
        if everything > idle:
            told += [
                f"{_capital(load.label)} only with the engine at {at_speed} or more."
                for load in loads
                if load.circuit.wants_fast_idle
            ]
        if out:
            names = " and ".join(load.label for load in out)
            told.append(f"Everything on draws {spell(everything)} A, {at_speed} gives {spell(fast)} A.")
            told.append(f"Lock out {names} while {self._strong(loads)} runs: {spell(together)} A are left.")
        if together > fast:
            told.append(f"{spell(together)} A are still more than {spell(fast)} A: fewer loads, or more alternator.")
        return told

    def _strong(self, loads: Sequence[Drawn]) -> str:
        return " or ".join(load.label for load in loads if load.circuit.wants_fast_idle) or "all the rest"


def _shed(loads: Sequence[Drawn], everything: Decimal, limit: Decimal) -> tuple[list[Drawn], Decimal]:
    """What must be locked out, in the order in which loads may be, until the rest is within the limit."""
    out: list[Drawn] = []
    left = everything
    may_go = [load for load in loads if load.circuit.shed_rank is not None]
    for load in sorted(may_go, key=lambda load: (load.circuit.shed_rank or 0, load.label)):
        if left <= limit:
            break
        out.append(load)
        left -= load.current or Decimal(0)
    return out, left


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
