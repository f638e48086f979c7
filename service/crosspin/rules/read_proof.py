"""Reads what the rules derived from a plan into plain objects."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from decimal import Decimal

from pyoxigraph import Literal, NamedNode, Quad, Triple

from crosspin.figures.exact import canonical
from crosspin.model.records import DECIMAL, INTEGER, TYPE
from crosspin.model.schema import Hand, Value, Verdict
from crosspin.model.terms import DEF, identifier
from crosspin.rules.plan_nodes import FIGURE, NEED, PLACEMENT, VACANCY
from crosspin.rules.proof import (
    MendingWork,
    Outcome,
    Proof,
    ProvedFigure,
    ProvedFinding,
    ProvedFunction,
    ProvedJoint,
    ProvedNeed,
    ProvedResource,
    Unfitness,
)


class Conclusions:
    """The triples of a plan and what follows from them, looked up by property and subject."""

    def __init__(self, triples: Iterable[Triple | Quad], layout: str) -> None:
        """`layout` is the IRI of the layout, which names of positions, joints and pairings start with."""
        self._base = f"{layout}/"
        self._facts: dict[str, dict[str, list[NamedNode | Literal]]] = defaultdict(dict)
        self._of_type: dict[str, list[str]] = defaultdict(list)
        self._add(triples)

    def _add(self, triples: Iterable[Triple | Quad]) -> None:
        for triple in triples:
            subject, obj = triple.subject, triple.object
            if not isinstance(subject, NamedNode) or not isinstance(obj, NamedNode | Literal):
                raise TypeError(f"{triple} has a blank node, which no rule may derive")
            if triple.predicate == TYPE:
                self._of_type[obj.value].append(subject.value)
            else:
                self._facts[triple.predicate.value].setdefault(subject.value, []).append(obj)

    def changed(self, more: Iterable[Quad], less: Iterable[Quad]) -> "Conclusions":
        """These conclusions with more triples and without others."""
        changed = Conclusions((), self._base.removesuffix("/"))
        more, less = tuple(more), tuple(less)
        changed._facts.update({name: dict(facts) for name, facts in self._facts.items()})
        changed._of_type.update({name: list(members) for name, members in self._of_type.items()})
        for quad in (*more, *less):  # the lists that are about to change
            facts = changed._facts[quad.predicate.value]
            if isinstance(quad.subject, NamedNode) and quad.subject.value in facts:
                facts[quad.subject.value] = list(facts[quad.subject.value])
        for quad in less:
            assert isinstance(quad.subject, NamedNode) and isinstance(quad.object, NamedNode | Literal)
            if quad.predicate == TYPE:
                changed._of_type[quad.object.value].remove(quad.subject.value)
            else:
                changed._facts[quad.predicate.value][quad.subject.value].remove(quad.object)
        changed._add(more)
        return changed

    def members(self, name: str) -> list[str]:
        """The IRIs of a class's members, sorted."""
        return sorted(self._of_type.get(DEF + name, ()))

    def objects(self, subject: str, name: str) -> list[NamedNode | Literal]:
        """What a property says of a subject."""
        return self._facts[DEF + name].get(subject, [])

    def iri(self, subject: str, name: str) -> str:
        """The one IRI that a property leads to."""
        return self.objects(subject, name)[0].value

    def term(self, subject: str, name: str) -> str:
        """The identifier of the one term that a property leads to."""
        return identifier(self.iri(subject, name))

    def place(self, subject: str, name: str) -> str:
        """The name within the layout of the one position, joint or pairing that a property leads to."""
        return self.iri(subject, name).removeprefix(self._base)

    def places(self, subject: str, name: str) -> tuple[str, ...]:
        """The names within the layout of all positions that a property leads to, sorted."""
        return tuple(sorted(node.value.removeprefix(self._base) for node in self.objects(subject, name)))

    def at(self, subject: str) -> str:
        """The path of the placement, or of the vacancy, that the subject starts from."""
        if self.flag(subject, "fromVacancy"):
            return self.iri(subject, "fromVacancy").removeprefix(VACANCY)
        return self.iri(subject, "fromPlacement").removeprefix(PLACEMENT)

    def where_mended(self, mending: str) -> str:
        """The joint, or the figure and its place, that a mending is about."""
        if self.objects(mending, "ofJoint"):
            return self.place(mending, "ofJoint")
        return self.iri(mending, "ofFigureValue").removeprefix(FIGURE)

    def flag(self, subject: str, name: str) -> bool:
        """Whether a property that is only ever true is there."""
        return bool(self.objects(subject, name))

    def values(self, subject: str, name: str) -> tuple[Value, ...]:
        """Readings, sorted."""
        read = (
            canonical(Decimal(node.value))
            if isinstance(node, Literal) and node.datatype in (DECIMAL, INTEGER)
            else node.value
            for node in self.objects(subject, name)
        )
        return tuple(sorted(read, key=lambda value: (isinstance(value, str), value)))

    def verdict(self, subject: str) -> Verdict:
        """The verdict; a result with none, or with two, is an error of the rules."""
        verdicts = {identifier(node.value) for node in self.objects(subject, "hasVerdict")}
        if len(verdicts) != 1:
            raise ValueError(f"{subject} has {len(verdicts)} verdicts; the rules must give it exactly one")
        return Verdict(verdicts.pop())


def read_discrepancies(found: Conclusions) -> tuple[str, ...]:
    """Ids of the joints between received parts that clash on record."""
    return tuple(sorted(found.place(found.iri(d, "onContact"), "ofJoint") for d in found.members("Discrepancy")))


def read_warnings(found: Conclusions) -> tuple[tuple[str, str], ...]:
    """What only warns or informs of received parts: joint and criterion."""
    told = (
        (found.place(found.iri(finding, "onContact"), "ofJoint"), found.term(finding, "byCriterion"))
        for finding in found.members("Finding")
        if found.flag(finding, "onlyWarns") and found.verdict(finding) is Verdict.CLASHES
    )
    return tuple(sorted(told))


def read_proof(
    found: Conclusions,
    known: Mapping[str, ProvedJoint],
    discrepancies: tuple[str, ...],
    came_with: tuple[tuple[str, str], ...],
) -> Proof:
    """Everything that the rules say of a plan, beside what they said before: of joints that are `known`, and of
    the vehicle as received.

    Raises ValueError where a result lacks its verdict.
    """
    needs = (_need(found, node) for node in found.members("NeedFinding"))
    resources = (_resource(found, node) for node in found.members("Tally") if not found.flag(node, "isFlawed"))
    remedies = {found.iri(node, "byRemedy") for node in found.members("Mending")}
    outcomes = [node for node in found.members("Outcome") if found.iri(node, "ofRule") not in remedies]
    mended = [node for node in found.members("Outcome") if found.iri(node, "ofRule") in remedies]
    findings = _findings(found)
    return Proof(
        joints=_joints(found, known, findings),
        figures=_figures(found, findings),
        needs={need.pairing: need for need in sorted(needs, key=lambda n: n.pairing)},
        resources={resource.resource: resource for resource in sorted(resources, key=lambda r: r.resource)},
        outcomes=tuple(
            Outcome(
                brings=identifier(brought.value),
                position=found.at(node),
                consequence=found.term(node, "ofRule"),
                sure=not found.flag(node, "isUnsure"),
            )
            for node in outcomes
            for brought in sorted(
                {*found.objects(node, "brings"), *found.objects(node, "bringsCaution")}, key=lambda n: n.value
            )
        ),
        mended=tuple(
            MendingWork(operation=identifier(work.value), position=found.at(node), remedy=found.term(node, "ofRule"))
            for node in mended
            for work in found.objects(node, "brings")
        ),
        discrepancies=discrepancies,
        came_with=came_with,
        unfit=_unfit(found),
        lost=_functions(found, "LostFunction", "gaveAt"),
        gained=_functions(found, "GainedFunction", "givesAt"),
    )


def read_faults(found: Conclusions) -> tuple[str, ...]:
    """What makes a plan invalid beside verdicts: positions that may not be empty, sums written down wrong,
    mendings that mend nothing."""
    mended = {node.value for finding in found.members("Finding") for node in found.objects(finding, "mendedBy")}
    return (
        *(
            f"{found.place(gap, 'onPosition')} is left empty, which its role does not allow."
            for gap in found.members("Gap")
        ),
        *(
            f"The sum of {found.term(tally, 'ofRule')} is written down wrong."
            for tally in found.members("Tally")
            if found.flag(tally, "isFlawed")
        ),
        *(
            f"{found.term(node, 'byRemedy')} does not mend {found.term(node, 'byCriterion')}"
            f" at {found.where_mended(node)}."
            for node in found.members("Mending")
            if node not in mended
        ),
    )


def _findings(found: Conclusions) -> dict[str, list[ProvedFinding]]:
    """Every finding, by contact."""
    findings: dict[str, list[ProvedFinding]] = defaultdict(list)
    for node in found.members("Finding"):
        findings[found.iri(node, "onContact")].append(_finding(found, node))
    return findings


def _figures(found: Conclusions, findings: Mapping[str, list[ProvedFinding]]) -> dict[str, ProvedFigure]:
    figures = {}
    for contact in found.members("Contact"):
        if not found.objects(contact, "ofFigureValue"):
            continue
        value = found.iri(contact, "ofFigureValue")
        name = value.removeprefix(FIGURE)
        figures[name] = ProvedFigure(
            figure=name,
            verdict=found.verdict(contact),
            barred=found.flag(contact, "isBarred"),
            was_open=found.flag(value, "wasOpen"),
            unsafe=found.flag(contact, "isUnsafe"),
            findings=tuple(sorted(findings[contact], key=lambda f: f.criterion)),
        )
    return dict(sorted(figures.items()))


def _joints(
    found: Conclusions, known: Mapping[str, ProvedJoint], findings: Mapping[str, list[ProvedFinding]]
) -> dict[str, ProvedJoint]:
    joints = dict(known)
    for contact in found.members("Contact"):
        if not found.objects(contact, "ofJoint"):
            continue  # an adapter between two parts is no joint of the layout
        joint = found.place(contact, "ofJoint")
        if joint in known:
            continue
        joints[joint] = ProvedJoint(
            joint=joint,
            verdict=found.verdict(contact),
            judged=found.flag(contact, "isJudged"),
            unsafe=found.flag(contact, "isUnsafe"),
            lacking=found.flag(contact, "lacksFeature"),
            findings=tuple(sorted(findings[contact], key=lambda f: f.criterion)),
        )
    return dict(sorted(joints.items()))


def _finding(found: Conclusions, node: str) -> ProvedFinding:
    mendings = found.objects(node, "mendedBy")
    return ProvedFinding(
        criterion=found.term(node, "byCriterion"),
        verdict=found.verdict(node),
        left=found.values(node, "leftValue"),
        right=found.values(node, "rightValue"),
        right_high=found.values(node, "rightValueHigh"),
        wants=tuple(sorted(Hand(identifier(hand.value)) for hand in found.objects(node, "wantsReadingOf"))),
        disputed=found.flag(node, "isDisputed"),
        remedy=found.term(mendings[0].value, "byRemedy") if mendings else None,
        so_already=found.flag(node, "wasSoAlready"),
        only_warns=found.flag(node, "onlyWarns"),
    )


def _functions(found: Conclusions, name: str, word: str) -> tuple[ProvedFunction, ...]:
    proved = (ProvedFunction(found.term(node, "ofFunction"), found.places(node, word)) for node in found.members(name))
    return tuple(sorted(proved, key=lambda function: (function.function, function.paths)))


def _unfit(found: Conclusions) -> tuple[Unfitness, ...]:
    proved = (
        Unfitness(found.place(node, "onPosition"), found.term(node, "forPurpose"))
        for node in found.members("Unfitness")
    )
    return tuple(sorted(proved, key=lambda one: (one.position, one.purpose)))


def _need(found: Conclusions, node: str) -> ProvedNeed:
    figure = found.iri(node, "fromFigure").removeprefix(FIGURE) if found.flag(node, "fromFigure") else None
    pairing = found.place(node, "ofPairing") if figure is None else node.removeprefix(NEED)
    if found.flag(node, "forChangeAt"):
        pairing = f"{pairing}/for/{found.place(node, 'forChangeAt')}"
    return ProvedNeed(
        pairing=pairing,
        rule=found.term(node, "ofRule"),
        source=found.at(node) if figure is None else None,
        figure=figure,
        position=found.place(node, "onPosition"),
        verdict=found.verdict(node),
        only_warns=found.flag(node, "onlyWarns"),
    )


def _resource(found: Conclusions, node: str) -> ProvedResource:
    return ProvedResource(
        resource=found.term(node, "ofRule"),
        verdict=found.verdict(node),
        judged=found.flag(node, "isJudged"),
        only_warns=found.flag(node, "onlyWarns"),
    )
