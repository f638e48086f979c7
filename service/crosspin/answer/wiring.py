"""Which output of a module feeds which load, and at what current it is set to cut off."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True, slots=True)
class Output:
    """An output of a module by its number from 1, and what it may carry in A."""

    number: int
    limit: Decimal


def number_outputs(banks: Sequence[tuple[int, Decimal]]) -> tuple[Output, ...]:
    """The outputs of banks of so many alike, numbered on from bank to bank."""
    limits = [limit for count, limit in banks for _ in range(count)]
    return tuple(Output(number, limit) for number, limit in enumerate(limits, start=1))


def assign(loads: Mapping[str, Decimal], outputs: Sequence[Output], share: Decimal) -> dict[str, Output]:
    """An output of its own for every load that can have one, loads by name in the order of the mapping.

    A load goes on an output of which it draws no more than `share`.  Taking the strongest load first and giving it
    the weakest output that holds it serves as many loads as can be served: whatever holds a stronger load holds a
    weaker one too.  Outputs alike are then given out again in the order of the mapping, so that neighbours on the
    panel are neighbours on the module.
    """
    free = sorted(outputs, key=lambda output: (output.limit, output.number))
    given: dict[str, Output] = {}
    for name in sorted(loads, key=lambda name: -loads[name]):
        holds = next((output for output in free if loads[name] <= share * output.limit), None)
        if holds is not None:
            free.remove(holds)
            given[name] = holds
    ordered: dict[str, Output] = {}
    for limit in {output.limit for output in given.values()}:
        alike = [name for name in loads if name in given and given[name].limit == limit]
        numbers = sorted(o.number for o in outputs if o.limit == limit)
        ordered.update({name: Output(number, limit) for name, number in zip(alike, numbers, strict=False)})
    return {name: ordered[name] for name in loads if name in ordered}


def least_setting(current: Decimal, settings: Sequence[Decimal], share: Decimal) -> Decimal | None:
    """The least setting of which the current is no more than `share`; None where there is none."""
    return min((setting for setting in settings if current <= share * setting), default=None)
