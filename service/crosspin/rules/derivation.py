"""Where the conclusions of a plan are from: each traced through rules and bindings to facts and their sources."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from pydantic import Field
from pyoxigraph import Literal, NamedNode, Triple

from crosspin.model.base import Frozen, Term
from crosspin.model.schema import Model
from crosspin.model.terms import ID, identifier
from crosspin.rules.plan_nodes import FIGURE, PLACEMENT, VACANCY
from crosspin.rules.trace import Node, Trace

XSD = "http://www.w3.org/2001/XMLSchema#"
THE_PLAN = "the plan"


class Sort(StrEnum):
    """What a conclusion is."""

    JOINT = "joint"
    FIGURE = "figure"
    FINDING = "finding"
    NEED = "need"
    RESOURCE = "resource"
    OPERATION = "operation"
    CHECK = "check"
    CAUTION = "caution"


class FactLine(Frozen):
    """One triple, with what it follows from.

    A derived fact names its `rule`, what stood in the rule's variables, the facts that it `uses`, and `besides`
    the conditions of the rule that are no facts: what nothing may say, comparisons, names that are made.
    Any other fact names its `source`: "the plan", or the graph that holds it: of the ontology, of what follows from
    the ontology alone, or of the import that it came with.
    `datatype`: that of a number or text (a name of XML Schema), None where the value is a term or a thing.
    """

    id: str
    subject: str
    property: str
    value: str
    datatype: str | None
    rule: str | None = None
    bindings: dict[str, str] = Field(default_factory=dict)
    uses: tuple[str, ...] = ()
    besides: tuple[str, ...] = ()
    source: str | None = None
    evidence: tuple[str, ...] = ()


class ConclusionLine(Frozen):
    """One conclusion of a plan: what it is, the rule of the ontology that it is drawn by, with its evidence, the
    place it is about, what it says, and the fact that says so."""

    sort: Sort
    rule: str
    evidence: tuple[str, ...]
    at: str
    says: str
    fact: str


class Derivations(Frozen):
    """Conclusions of a plan, and every fact on the way to them; `evidence` tells what its names stand for."""

    version: str
    vehicle: str
    evidence: dict[str, str]
    conclusions: tuple[ConclusionLine, ...]
    facts: tuple[FactLine, ...]


@dataclass
class Deriver:
    """Follows conclusions back.  `sources` says where a triple that no rule derived is from, as an IRI or in words."""

    model: Model
    trace: Trace
    sources: Callable[[Triple], str]
    _numbers: dict[Triple, int] = field(default_factory=dict)

    @property
    def _tables(self) -> tuple[Mapping[str, Term], ...]:
        m = self.model
        return m.joint_kinds, m.figures, m.needs, m.figure_needs, m.renewals, m.consequences, m.resources, m.rules

    def derive(self, vehicle: str, about: str | None) -> Derivations:
        """The conclusions whose rule or place is `about`, or that say this, or all; and the facts on the way to
        them."""
        conclusions = [
            (line, triple)
            for line, triple in self._conclusions()
            if about is None or about in (line.rule, line.says, line.at) or about in line.at.split("--")
        ]
        told = tuple(line.model_copy(update={"fact": self._id(triple)}) for line, triple in conclusions)
        facts: dict[Triple, FactLine] = {}
        waiting = [triple for _, triple in reversed(conclusions)]
        while waiting:
            triple = waiting.pop()
            if triple not in facts:
                facts[triple] = self._fact(triple)
                step = self.trace.steps.get(triple)
                waiting.extend(reversed(step.uses if step is not None else ()))
        named = {e for line in told for e in line.evidence} | {e for fact in facts.values() for e in fact.evidence}
        return Derivations(
            version=self.model.version,
            vehicle=vehicle,
            evidence={name: self.model.evidence[name].source for name in sorted(named)},
            conclusions=told,
            facts=tuple(sorted(facts.values(), key=lambda fact: int(fact.id[1:]))),
        )

    def _id(self, triple: Triple) -> str:
        return f"f{self._numbers.setdefault(triple, len(self._numbers) + 1)}"

    def _fact(self, triple: Triple) -> FactLine:
        step = self.trace.steps.get(triple)
        subject, prop, value = (_short(node) for node in (triple.subject, triple.predicate, triple.object))
        evidence = self._evidence(identifier(getattr(triple.subject, "value", "")))
        plain = FactLine(
            id=self._id(triple),
            subject=subject,
            property=prop,
            value=value,
            datatype=triple.object.datatype.value.removeprefix(XSD) if isinstance(triple.object, Literal) else None,
            evidence=evidence,
            source=None if step is not None else self.sources(triple) or THE_PLAN,
        )
        if step is None:
            return plain
        how = {
            "rule": identifier(step.rule),
            "bindings": {name: _short(node) for name, node in sorted(step.bindings.items())},
            "uses": tuple(dict.fromkeys(self._id(used) for used in step.uses)),
            "besides": step.besides,
        }
        return plain.model_copy(update=how)

    def _evidence(self, *names: str) -> tuple[str, ...]:
        """What stands behind joint kinds, criteria and rules."""
        found: list[str] = []
        for name in names:
            for table in self._tables:
                found += getattr(table.get(name), "evidence", ())
            found += [
                e for k in self.model.joint_kinds.values() for c in k.criteria if c.id == name for e in c.evidence
            ]
        return tuple(e for e in dict.fromkeys(found) if e in self.model.evidence)

    # ------------------------------------------------------------------ what is concluded

    def _conclusions(self) -> Iterator[tuple[ConclusionLine, Triple]]:
        """Verdicts, operations, checks and cautions, in the order in which they were derived."""
        about = _Facts(self.trace.steps)
        for triple in self.trace.steps:
            name, subject = identifier(triple.predicate.value), triple.subject
            line: ConclusionLine | None = None
            if name == "hasVerdict" and about.has(subject, "byCriterion"):
                line = self._finding(about, triple)
            elif name == "hasVerdict" and about.has(subject, "ofJoint"):
                kind = about.term(subject, "ofJointKind")
                line = self._line(Sort.JOINT, kind, _joint(about.one(subject, "ofJoint")), triple)
            elif name == "hasVerdict" and about.has(subject, "ofFigureValue"):
                figure, at = _figure(about.one(subject, "ofFigureValue"))
                line = self._line(Sort.FIGURE, figure, at, triple)
            elif name == "hasVerdict" and (about.has(subject, "ofPairing") or about.has(subject, "fromFigure")):
                line = self._line(
                    Sort.NEED, about.term(subject, "ofRule"), _place(about.one(subject, "onPosition")), triple
                )
            elif name == "hasVerdict" and about.has(subject, "ofRule"):
                line = self._line(Sort.RESOURCE, about.term(subject, "ofRule"), "", triple)
            elif name in ("brings", "bringsCaution") and about.has(subject, "fromPlacement"):
                at = _iri(about.one(subject, "fromPlacement")).removeprefix(PLACEMENT)
                line = self._line(self._sort(triple.object), about.term(subject, "ofRule"), at, triple)
            elif name in ("brings", "bringsCaution") and about.has(subject, "fromVacancy"):
                at = _iri(about.one(subject, "fromVacancy")).removeprefix(VACANCY)
                line = self._line(self._sort(triple.object), about.term(subject, "ofRule"), at, triple)
            if line is not None:
                yield line, triple

    def _finding(self, about: "_Facts", triple: Triple) -> ConclusionLine:
        """A finding on a joint of the layout, on a figure at its place, or on a contact that an adapter makes, which
        has no place there."""
        contact = about.one(triple.subject, "onContact")
        rule = about.term(triple.subject, "byCriterion")
        judged: tuple[str, ...] = ()
        at = ""
        if about.has(contact, "ofJoint"):
            at = _joint(about.one(contact, "ofJoint"))
        if about.has(contact, "ofJointKind"):
            judged = (about.term(contact, "ofJointKind"),)
        elif about.has(contact, "ofFigureValue"):
            figure, at = _figure(about.one(contact, "ofFigureValue"))
            judged = (figure,)
        return self._line(Sort.FINDING, rule, at, triple, *judged)

    def _line(self, sort: Sort, rule: str, at: str, triple: Triple, *more: str) -> ConclusionLine:
        evidence = self._evidence(*more, rule)
        return ConclusionLine(sort=sort, rule=rule, evidence=evidence, at=at, says=_short(triple.object), fact="")

    def _sort(self, brought: object) -> Sort:
        name = identifier(_iri(brought))
        if name in self.model.operations:
            return Sort.OPERATION
        return Sort.CHECK if name in self.model.checks else Sort.CAUTION


class _Facts:
    """Derived triples by subject and property."""

    def __init__(self, triples: Iterable[Triple]) -> None:
        self._by: dict[tuple[object, str], Node] = {}
        for t in triples:
            self._by.setdefault((t.subject, identifier(t.predicate.value)), t.object)

    def has(self, subject: object, name: str) -> bool:
        return (subject, name) in self._by

    def one(self, subject: object, name: str) -> Node:
        return self._by[subject, name]

    def term(self, subject: object, name: str) -> str:
        return identifier(_iri(self._by[subject, name]))


def _iri(node: object) -> str:
    return getattr(node, "value", "")


def _place(node: object) -> str:
    """A position or joint without its layout."""
    return _iri(node).removeprefix(f"{ID}layout/").partition("/")[2]


def _joint(node: object) -> str:
    """The two positions of a joint, without its layout and kind."""
    return _place(node).partition("/")[2]


def _figure(node: object) -> tuple[str, str]:
    """A figure, and its place and state: "front", "rear/atDroop"; "" for the whole vehicle."""
    name, _, at = _iri(node).removeprefix(FIGURE).partition("/")
    return name, at


def _short(node: object) -> str:
    """A node as people read it: a term by its name, a literal by its value."""
    if isinstance(node, NamedNode):
        return identifier(node.value)
    return node.value if isinstance(node, Literal) else str(node)
