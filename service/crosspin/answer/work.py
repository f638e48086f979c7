"""What the shop does: operations in an order that can be followed, checks, cautions."""

from collections.abc import Iterable, Sequence
from decimal import Decimal
from graphlib import CycleError, TopologicalSorter

from crosspin.answer.plan import Advice, Modification, Work
from crosspin.figures.exact import spell
from crosspin.model.schema import Layout, Model, Operation
from crosspin.rules.prover import Proof


class WorkList:
    """Puts what a proof brings into work and advice."""

    def __init__(self, model: Model, layout: Layout, proof: Proof) -> None:
        self.model = model
        self.proof = proof
        self.stations = {p.path: p.station for p in layout.positions}
        self.sides = {p.path: p.side for p in layout.positions}

    def work(self) -> tuple[Work, ...]:
        """Operations in an order that can be followed; one line an operation and station."""
        places: dict[tuple[str, str], dict[str, set[str]]] = {}
        for outcome in self.proof.outcomes:
            if outcome.brings in self.model.operations:
                key = (self.stations[outcome.position], outcome.brings)
                entry = places.setdefault(key, {"places": set(), "because": set()})
                entry["places"].add(outcome.position)
                entry["because"].add(self.model.consequences[outcome.consequence].definition)
        rank = self._sequence({operation for _, operation in places})
        told = []
        for (station, name), entry in sorted(places.items(), key=lambda item: (item[0][0], rank[item[0][1]])):
            operation = self.model.operations[name]
            # Work on what has no side is done once; work on sided things alone, once a side.
            sides = {self.sides[path] for path in entry["places"]}
            times = 1 if None in sides else len(sides)
            told.append(
                Work(
                    operation=name,
                    label=f"{operation.label}, {station}",
                    text=operation.text,
                    places=tuple(sorted(entry["places"])),
                    hours=operation.hours * times,
                    cautions=self.cautions_of(operation),
                    uses=tuple(self._use(u.consumable, u.quantity * times, u.unit) for u in operation.uses),
                    because=tuple(sorted(entry["because"])),
                )
            )
        return tuple(told)

    def _use(self, consumable: str, quantity: Decimal, unit: str | None) -> str:
        symbol = f" {self.model.units[unit].symbol}" if unit in self.model.units else ""
        return f"{self.model.consumables[consumable].label}, {spell(quantity)}{symbol}"

    def cautions_of(self, operation: Operation) -> tuple[str, ...]:
        """What must be read before an operation."""
        return tuple(self.model.cautions[c].text for c in operation.cautions)

    def _sequence(self, operations: set[str]) -> dict[str, int]:
        """Rank of each operation such that what comes before others has the lower rank; ties by id."""
        sorter: TopologicalSorter[str] = TopologicalSorter()
        for name in sorted(operations):
            sorter.add(name)
            for later in self.model.operations[name].before:
                if later in operations:
                    sorter.add(later, name)
        rank: dict[str, int] = {}
        try:
            sorter.prepare()
        except CycleError as error:
            raise ValueError(f"operations wait for each other in a circle: {' -> '.join(error.args[1])}") from None
        while sorter.is_active():
            ready = sorted(sorter.get_ready())
            for name in ready:
                rank[name] = len(rank)
            sorter.done(*ready)
        return rank

    def checks(self) -> tuple[Advice, ...]:
        """What to verify, each once with every place that it applies to."""
        return self._advice(self._brought(self.model.checks))

    def cautions(self, work: Sequence[Work], modifications: Sequence[Modification]) -> tuple[Advice, ...]:
        """What to read, those of the work and the remedies included, each once with every place."""
        places = self._brought(self.model.cautions)
        jobs = [(job.operation, job.places) for job in work]
        jobs += [(m.operation, (m.position,)) for m in modifications if m.operation is not None]
        for operation, found in jobs:
            for caution in self.model.operations[operation].cautions:
                places.setdefault(caution, set()).update(found)
        return self._advice(places)

    def _brought(self, wanted: Iterable[str]) -> dict[str, set[str]]:
        names = set(wanted)
        places: dict[str, set[str]] = {}
        for outcome in self.proof.outcomes:
            if outcome.brings in names:
                places.setdefault(outcome.brings, set()).add(outcome.position)
        return places

    def _advice(self, places: dict[str, set[str]]) -> tuple[Advice, ...]:
        notes = {**self.model.checks, **self.model.cautions}
        return tuple(
            Advice(id=name, label=notes[name].label, text=notes[name].text, places=tuple(sorted(found)))
            for name, found in sorted(places.items())
        )
