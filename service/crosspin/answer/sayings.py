"""What the criteria of joint kinds say of two parts, worked out once and kept for the next ask."""

from crosspin.answer.words import Words
from crosspin.catalog.catalog import Catalog
from crosspin.model.judge import Finding, judge_joint
from crosspin.model.schema import JointKind, Model, Part, Verdict

_MOST_KEPT = 200_000


class Sayings:
    """Findings and sentences about pairs of parts of one model and catalog.  Threads may share it."""

    def __init__(self, model: Model, catalog: Catalog) -> None:
        self.model = model
        self.words = Words(model)
        self._specs = catalog.specs
        self._many = frozenset(d.id for d in model.dimensions.values() if d.many)
        self._found: dict[tuple[str, str, str], tuple[Finding, ...]] = {}
        self._said: dict[tuple[str, str | None, str, str], tuple[str, tuple[str, ...]]] = {}

    def findings(self, kind: JointKind, left: Part, right: Part) -> tuple[Finding, ...]:
        """What every criterion of a joint kind says of two parts."""
        key = (kind.id, left.id, right.id)
        found = self._found.get(key)
        if found is None:
            found = judge_joint(kind, left, right, self._specs, self._many)
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
