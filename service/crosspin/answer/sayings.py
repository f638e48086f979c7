"""What is told alike in many answers, worked out once and kept for the next ask."""

from functools import cache, lru_cache

from crosspin.answer.arrangement import Arrangement
from crosspin.answer.as_received import AsReceived
from crosspin.catalog.catalog import Catalog
from crosspin.model.judge import Finding, judge_joint
from crosspin.model.schema import JointKind, Model, Part, Verdict
from crosspin.vehicle.words import Words

_MOST_KEPT = 200_000
_REMEMBERED_VEHICLES = 32


class Sayings:
    """Findings and sentences about pairs of parts of one model and catalog, the layouts of the model, and the vehicles
    that were asked about last.  Threads may share it."""

    def __init__(self, model: Model, catalog: Catalog) -> None:
        self.model = model
        self.words = Words(model)
        self._catalog = catalog
        self._specs = catalog.specs
        self._found: dict[tuple[str, str, str], tuple[Finding, ...]] = {}
        self._said: dict[tuple[str, str | None, str, str], tuple[str, tuple[str, ...]]] = {}
        self._arrangement = cache(lambda layout: Arrangement(model, model.layouts[layout]))
        self._vehicle = lru_cache(maxsize=_REMEMBERED_VEHICLES)(self._as_received)

    def as_received(self, vehicle: str) -> AsReceived:
        """A vehicle as it came."""
        return self._vehicle(vehicle)

    def _as_received(self, name: str) -> AsReceived:
        vehicle = self._catalog.vehicles[name]
        return AsReceived(self.model, self._catalog, vehicle, self._arrangement(vehicle.layout))

    def findings(self, kind: JointKind, left: Part, right: Part) -> tuple[Finding, ...]:
        """What every criterion of a joint kind says of two parts."""
        key = (kind.id, left.id, right.id)
        found = self._found.get(key)
        if found is None:
            found = judge_joint(kind, left, right, self._specs, self.model.many)
            if len(self._found) >= _MOST_KEPT:
                self._found = {}
            self._found[key] = found
        return found

    def against(self, kind: JointKind, criterion: str | None, left: Part, right: Part) -> tuple[str, tuple[str, ...]]:
        """Why two parts do not go together, or may not, by one criterion or else by the first that is told; and
        the evidence for it."""
        key = (kind.id, criterion, left.id, right.id)
        said = self._said.get(key)
        if said is None:
            said = self._against(kind, criterion, left, right)
            if len(self._said) >= _MOST_KEPT:
                self._said = {}
            self._said[key] = said
        return said

    def _against(self, kind: JointKind, criterion: str | None, left: Part, right: Part) -> tuple[str, tuple[str, ...]]:
        finding = next(f for f in self.findings(kind, left, right) if criterion in (None, f.criterion.id))
        if finding.verdict is Verdict.UNKNOWN:
            dimension = self.model.dimensions[finding.criterion.left]
            sentence = f"Whether {left.label} and {right.label} fit is not known: {dimension.label} is not recorded."
        else:
            sentence = self.words.clash(kind, finding, left, right)
        return sentence, self.words.evidence((*kind.evidence, *finding.criterion.evidence))
