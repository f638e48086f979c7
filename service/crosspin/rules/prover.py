"""Proves a proposal: writes it as RDF, runs the rules, and holds what follows against what the search said."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import lru_cache
from itertools import chain, count
from typing import TypeAlias, TypeVar

from pyoxigraph import Literal, NamedNode, Quad, Triple, serialize

from crosspin.catalog.catalog import Catalog
from crosspin.knockon.ask import Ask
from crosspin.knockon.proposal import Proposal, State
from crosspin.model.records import cp
from crosspin.model.schema import Model, Part, Vehicle, Verdict
from crosspin.model.terms import DEF, thing
from crosspin.rules.derivation import THE_PLAN, Derivations, Deriver
from crosspin.rules.plan_graph import PlanGraph, Written
from crosspin.rules.plan_nodes import PLAN
from crosspin.rules.proof import Disproved, Proof, ProvedJoint
from crosspin.rules.read_proof import Conclusions, read_discrepancies, read_faults, read_proof, read_warnings
from crosspin.rules.reasoner import Origin, Reasoner, Subject
from crosspin.rules.trial import Standing, WhyNot
from crosspin.rules.why_not import Asker
from crosspin.store.describe import source_of
from crosspin.store.graph import FORMATS, GraphStore
from crosspin.store.infer import FIRST_BUILD_ORDER

__all__ = ["MOST_VEHICLES", "Disproved", "Proof", "Prover"]

_GENERATED_BY = NamedNode("http://www.w3.org/ns/prov#wasGeneratedBy")
MOST_VEHICLES = 32
"""How many vehicles are remembered as they came."""

_MOST_NUMBERED = 20_000
_MOST_KNOWN_JOINTS = 200_000
_OF_JOINT = cp("ofJoint")
_SHOWS_ALL = cp("showsAll")
_VERDICT = cp("hasVerdict")
_PREFIXES = {
    "cp": DEF,
    "prov": "http://www.w3.org/ns/prov#",
    "xsd": "http://www.w3.org/2001/XMLSchema#",
}


_Kept = TypeVar("_Kept")

_Meeting: TypeAlias = tuple[str, int | str | None, bool, int | str | None, bool]
"""All that a verdict on a joint without mendings rests on: joint kind, left part (a number for all that is on record
of it), whether it is fresh, the same on the right."""


@dataclass(frozen=True, slots=True)
class _Received:
    """A vehicle as it came, written down, and what the rules say that concerns every plan for it."""

    written: Written
    discrepancies: tuple[str, ...]
    warnings: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class _Start:
    """What plans that differ little from a vehicle as it came start from."""

    origin: Origin
    conclusions: Conclusions


class _Memory:
    """What stays right whatever is imported later, because it is looked up by all that it rests on."""

    def __init__(self) -> None:
        self.joints: dict[_Meeting, ProvedJoint] = {}
        self.received: dict[str, _Received] = {}
        self.starts: dict[str, _Start] = {}
        self._numbers: dict[tuple[object, ...], int] = {}
        self._counter = count()

    def number_of(self, part: Part) -> int:
        """One number for all that is on record of a part."""
        described = part.id, part.kind, part.price, part.lacks, part.functions, *sorted(part.specs.items())
        return self._numbers.setdefault(described, next(self._counter))

    def keep(self, joints: Iterable[tuple[_Meeting, ProvedJoint]]) -> None:
        """Remember joints; all others are forgotten where there are too many."""
        if len(self.joints) > _MOST_KNOWN_JOINTS:
            self.joints, self._numbers = {}, {}
        self.joints.update(joints)


def _keep(kept: dict[str, _Kept], vehicle: str, found: _Kept) -> None:
    """Remember what was found of a vehicle, and forget the one that was first remembered where there are too many."""
    kept[vehicle] = found
    if len(kept) > MOST_VEHICLES:
        kept.pop(next(iter(kept)), None)


class Prover:
    """The ontology with its rules, ready to prove proposals.  Safe to share between threads.

    What the rules said of two parts at a joint is kept for the next plan in which they meet.  At most
    `at_once` proofs run at a time.  A prover takes over what the one `before` keeps, which had the same ontology.
    `ontology` has that by itself, where it need not be looked for in the graph.
    """

    def __init__(
        self,
        graph: GraphStore,
        model: Model,
        catalog: Catalog,
        at_once: int = 2,
        before: "Prover | None" = None,
        ontology: GraphStore | None = None,
    ) -> None:
        self._model = model
        self._catalog = catalog
        self._graph = graph
        self._plan_graph = PlanGraph(model, catalog)
        self._reasoner: Reasoner = Reasoner(ontology or graph, at_once) if before is None else before._reasoner
        self._memory: _Memory = _Memory() if before is None else before._memory
        self._joints = {layout.id: {joint.id: joint for joint in layout.joints} for layout in model.layouts.values()}
        self._number = lru_cache(maxsize=_MOST_NUMBERED)(self._number_of)

    def prove(self, ask: Ask, proposal: Proposal) -> Proof:
        """What the rules say of the proposal; raises Disproved where they do not agree with it."""
        vehicle = self._catalog.vehicles[ask.vehicle]
        try:
            plan = self._plan_graph.proposed(vehicle, proposal)
        except (KeyError, ValueError) as error:
            raise Disproved((f"The proposal cannot be written down: {error}.",)) from error
        layout = thing("layout", vehicle.layout)
        meetings = self._meetings(vehicle, proposal, plan)
        known: dict[str, ProvedJoint] = {}

        def settled(derived: Iterable[Quad]) -> set[Subject]:
            """The contacts on which the rules have spoken before."""
            found: set[Subject] = set()
            for quad in derived:
                if quad.predicate == _OF_JOINT and isinstance(quad.object, NamedNode):
                    joint = quad.object.value.removeprefix(f"{layout}/")
                    proved = self._memory.joints.get(meetings[joint]) if joint in meetings else None
                    if proved is not None:
                        found.add(quad.subject)
                        known[joint] = replace(proved, joint=joint)
            return found

        received = self._received(vehicle)
        if self._reasoner.is_near(plan, received.written):
            start = self._start(vehicle, received)
            changed = self._reasoner.difference(start.origin, plan, settled)
            found = start.conclusions.changed(changed.more, changed.less)
        else:
            derived = self._reasoner.derive(plan, settled)
            found = Conclusions(chain(plan.build, *(quads for _, quads in derived)), layout)
        stays = self._between_what_stays(vehicle, proposal)
        proof = read_proof(
            found,
            known,
            tuple(joint for joint in received.discrepancies if joint in stays),
            tuple((joint, criterion) for joint, criterion in received.warnings if joint in stays),
        )
        disagreements = (*read_faults(found), *_denied(proof), *self._miscounted(vehicle, proposal, proof))
        if disagreements:
            raise Disproved(disagreements)
        self._memory.keep((meetings[name], joint) for name, joint in proof.joints.items() if name in meetings)
        return proof

    def prepare(self, vehicle: Vehicle) -> None:
        """Work out beforehand what plans for a vehicle start from."""
        self._start(vehicle, self._received(vehicle))

    def _meetings(self, vehicle: Vehicle, proposal: Proposal, plan: Written) -> dict[str, _Meeting]:
        """What meets at each joint of a plan that takes no mending."""
        mended = {mending.joint for mending in proposal.mendings}
        fresh = {path for path, choice in proposal.choices.items() if choice.state is State.FRESH}
        numbers = {path: None if part is None else self._number(part) for path, part in plan.standing.items()}
        return {
            name: (
                joint.joint_kind,
                numbers[joint.left],
                joint.left in fresh,
                numbers[joint.right],
                joint.right in fresh,
            )
            for name, joint in self._joints[vehicle.layout].items()
            if name not in mended
        }

    def _number_of(self, part: str) -> int | str:
        """What stands for a part in memory; one that nobody has looked at is on record nowhere, and stands for
        itself."""
        found = self._catalog.parts.get(part)
        return part if found is None else self._memory.number_of(found)

    def graph(self, ask: Ask, proposal: Proposal, media_type: str) -> bytes:
        """The plan and all that the rules derive from it, each verdict with the rule that gave it, as RDF text.

        Raises KeyError for a format that is not written.
        """
        plan = self._plan_graph.proposed(self._catalog.vehicles[ask.vehicle], proposal)
        shown = Triple(PLAN, _SHOWS_ALL, Literal(True))
        whole = replace(plan, pieces={**plan.pieces, "shown": (shown,)})
        derived = self._reasoner.derive(whole)
        told = {*whole.build, *self._reasoner.about_parts(whole)}
        for rule, quads in derived:
            triples = [quad.triple for quad in quads]
            told.update(triples)
            verdicts = (triple for triple in triples if triple.predicate == _VERDICT)
            told.update(Triple(verdict.subject, _GENERATED_BY, NamedNode(rule.iri)) for verdict in verdicts)
        text = serialize(sorted(told, key=str), format=FORMATS[media_type], prefixes=_PREFIXES)
        assert text is not None
        return text

    def derivations(self, ask: Ask, proposal: Proposal, about: str | None = None) -> Derivations:
        """From what the conclusions of the plan follow: those drawn by the rule, or at the place, that is named by
        `about`, or else all."""
        plan = self._plan_graph.proposed(self._catalog.vehicles[ask.vehicle], proposal)
        traced = self._reasoner.traced(plan)
        build = set(plan.build)

        def source(triple: Triple) -> str:
            return THE_PLAN if triple in build else source_of(self._graph, triple)

        return Deriver(self._model, traced, source).derive(ask.vehicle, about)

    def why_not(self, ask: Ask, proposal: Proposal, rule: str, about: str | None = None) -> WhyNot:
        """What became of a rule in a plan, condition by condition; raises NoSuchRule."""
        vehicle = self._catalog.vehicles[ask.vehicle]
        written = self._model.rules.get(rule)
        if written is not None and written.layer >= FIRST_BUILD_ORDER:
            return self._reasoner.why_not(self._plan_graph.proposed(vehicle, proposal), written, about)
        states = {path: choice.state for path, choice in proposal.choices.items()}
        came = self._plan_graph.parts_received(vehicle)
        standing = Standing(
            parts=self._plan_graph.standing(vehicle, proposal),
            fresh=frozenset(path for path, state in states.items() if state is State.FRESH),
            changed=frozenset(path for path, state in states.items() if state is not State.RECEIVED),
            figuring=self._plan_graph.figuring(vehicle, proposal),
            mendings=proposal.mendings,
            gone={path: part for path, part in came.items() if states[path] is not State.RECEIVED},
        )
        return Asker(self._model, self._catalog, self._model.layouts[vehicle.layout], standing).why_not(rule, about)

    def _between_what_stays(self, vehicle: Vehicle, proposal: Proposal) -> frozenset[str]:
        """The joints between positions that the plan leaves as they are."""
        stays = {path for path, choice in proposal.choices.items() if choice.state is State.RECEIVED}
        joints = self._joints[vehicle.layout].items()
        return frozenset(name for name, joint in joints if {joint.left, joint.right} <= stays)

    def _received(self, vehicle: Vehicle) -> _Received:
        """What the rules say of a vehicle as it came."""
        written = self._plan_graph.unchanged(vehicle)
        kept = self._memory.received.get(vehicle.id)
        if kept is not None and kept.written is written:
            return kept
        if kept is not None and kept.written == written:
            kept = replace(kept, written=written)
        else:
            came = self._plan_graph.received(vehicle)
            derived = self._reasoner.derive(came)
            told: Iterable[Triple | Quad] = chain(came.build, *(quads for _, quads in derived))
            shown = Conclusions(told, thing("layout", vehicle.layout))
            kept = _Received(written, read_discrepancies(shown), read_warnings(shown))
        _keep(self._memory.received, vehicle.id, kept)
        return kept

    def _start(self, vehicle: Vehicle, received: _Received) -> _Start:
        """What follows from a vehicle that is left as it was received."""
        kept = self._memory.starts.get(vehicle.id)
        if kept is None or kept.origin.written != received.written:
            origin = self._reasoner.origin(received.written)
            kept = _Start(origin, Conclusions(origin.holds, thing("layout", vehicle.layout)))
            _keep(self._memory.starts, vehicle.id, kept)
        return kept

    def _miscounted(self, vehicle: Vehicle, proposal: Proposal, proof: Proof) -> Iterator[str]:
        cost = proposal.cost
        judged = [joint for joint in proof.joints.values() if joint.judged]
        figures = proof.figures.values()
        unsafe = sum(joint.unsafe for joint in judged) + sum(figure.unsafe for figure in figures)
        unknown = sum(
            verdict is Verdict.UNKNOWN
            for verdict in (
                *(joint.verdict for joint in judged),
                *(figure.verdict for figure in figures if not figure.was_open),
                *(need.verdict for need in proof.needs.values() if not need.only_warns),
                *(
                    resource.verdict
                    for resource in proof.resources.values()
                    if resource.judged and not resource.only_warns
                ),
            )
        )
        wished = {path for path, wishes in proposal.asked.items() if any(not w.startswith("keep/") for w in wishes)}
        changed = {path for path, choice in proposal.choices.items() if choice.state is not State.RECEIVED}
        for name, said, derived in (
            ("unsafe joints and figures", cost.unsafe, unsafe),
            ("lost functions", cost.lost, len(proof.lost)),
            ("positions changed beyond those asked", cost.extra, len(changed - wished)),
            ("unknowns", cost.unknown, unknown),
            ("money", cost.money, self._money(proposal)),
        ):
            if said != derived:
                yield f"The search counts {said} {name}, the rules {derived}."
        yield from self._misplaced(vehicle, proposal)

    def _money(self, proposal: Proposal) -> Decimal:
        """Prices of fresh parts and adapters, and the hours of remedies."""
        bought = [c.part for c in proposal.choices.values() if c.state is State.FRESH and c.part is not None]
        bought += [m.adapter for m in proposal.mendings if m.adapter is not None]
        prices = [self._catalog.parts[part].price or Decimal(0) for part in bought]
        operations = [self._model.remedies[m.remedy].operation for m in proposal.mendings]
        hours = [self._model.operations[name].hours for name in operations if name is not None]
        return sum(prices, Decimal(0)) + sum(hours, Decimal(0)) * self._model.shop.hourly_rate

    def _misplaced(self, vehicle: Vehicle, proposal: Proposal) -> Iterator[str]:
        """Choices that no plan may have: parts that are not sold, or not of the kind that the role takes."""
        for position in self._model.layouts[vehicle.layout].positions:
            choice = proposal.choices[position.path]
            if choice.state is State.FRESH:
                part = self._catalog.parts[choice.part or ""]
                if part.price is None:
                    yield f"{part.id} at {position.path} is not sold."
                if self._model.roles[position.role].kind not in self._model.kinds[part.kind].ancestors:
                    yield f"{part.id} at {position.path} is not of the kind that belongs there."
            elif choice.state is State.RECEIVED and position.path not in vehicle.unseen:
                received = vehicle.parts.get(position.path)
                if choice.part != received:
                    yield f"{choice.part} at {position.path} is not the part that was received there."


def _denied(proof: Proof) -> Iterator[str]:
    """Judged joints, figures, needs and resources that clash."""
    for joint in proof.joints.values():
        if joint.judged and joint.verdict is Verdict.CLASHES:
            failing = ", ".join(
                f.criterion
                for f in joint.findings
                if f.verdict is Verdict.CLASHES and f.remedy is None and not f.only_warns
            )
            yield f"{joint.joint} clashes by {failing}."
    for figure in proof.figures.values():
        if figure.barred:
            passed = [f for f in figure.findings if f.verdict is Verdict.CLASHES and not (f.remedy or f.so_already)]
            yield f"{figure.figure} is beyond {', '.join(finding.criterion for finding in passed)}."
    for need in proof.needs.values():
        if need.verdict is Verdict.CLASHES and not need.only_warns:
            yield f"{need.rule} of {need.figure or need.source} is not met at {need.position}."
    for resource in proof.resources.values():
        if resource.judged and resource.verdict is Verdict.CLASHES and not resource.only_warns:
            yield f"{resource.resource} is overdrawn."
