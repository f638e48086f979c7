"""Why a position cannot stay as it was: the search's causes put into sentences and chained back to the ask."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from crosspin.answer.as_received import AsReceived
from crosspin.answer.figure_lines import FigureLine
from crosspin.answer.plan import Reason
from crosspin.answer.sayings import Sayings
from crosspin.catalog.catalog import Catalog
from crosspin.knockon.proposal import Cause, Choice, Proposal, State
from crosspin.model.figure import Figure
from crosspin.model.judge import Finding
from crosspin.model.schema import Layout, Model, Part, Vehicle, Verdict
from crosspin.vehicle.figuring import Figuring, Result
from crosspin.vehicle.reach import Place


@dataclass(frozen=True)
class Scene:
    """A vehicle as received beside a plan for it: what stands where, before and after."""

    model: Model
    catalog: Catalog
    vehicle: Vehicle
    layout: Layout
    choices: Mapping[str, Choice]
    sayings: Sayings

    @cached_property
    def as_received(self) -> AsReceived:
        """The vehicle as it came."""
        return self.sayings.as_received(self.vehicle.id)

    @cached_property
    def changed(self) -> frozenset[str]:
        """The positions that the plan changes."""
        return frozenset(path for path, choice in self.choices.items() if choice.state is not State.RECEIVED)

    @cached_property
    def parts(self) -> Mapping[str, Part | None]:
        """What the plan has at each position."""
        chosen = {path: self.choices[path].part for path in self.changed}
        new = {path: self.catalog.parts[part] if part is not None else None for path, part in chosen.items()}
        return {**self.as_received.parts, **new}

    def received(self, path: str) -> Part | None:
        """The received part at a position, a stand-in where nobody looked."""
        return self.as_received.parts[path]

    def planned(self, path: str) -> Part | None:
        """The part that the plan has at a position."""
        return self.parts[path]

    def is_fresh(self, path: str) -> bool:
        """Whether the plan brings a new part here."""
        return self.choices[path].state is State.FRESH


class Reasons:
    """Turns causes into reasons."""

    def __init__(self, scene: Scene, proposal: Proposal) -> None:
        self.scene = scene
        self.proposal = proposal
        self.words = scene.sayings.words
        self._joints = {j.id: j for j in scene.layout.joints}
        self._pairings = {p.id: p for p in scene.layout.pairings}
        self._disturbances = scene.as_received.arrangement.disturbances

    def findings(self, joint_id: str, left: Part, right: Part) -> tuple[Finding, ...]:
        """What every criterion of a joint says of two parts; the same on the left as on the right."""
        kind = self.scene.model.joint_kinds[self._joints[joint_id].joint_kind]
        return self.scene.sayings.findings(kind, left, right)

    def chain(self, position: str) -> tuple[Reason, ...]:
        """From this position back to one that was asked for, one reason a link."""
        links: list[Reason] = []
        here = position
        while here not in self.proposal.asked and self.proposal.causes.get(here):
            cause = self.proposal.causes[here][0]
            links.append(self.reason(here, cause))
            here = cause.source
        links.append(Reason(position=here, source=None, rule=None, criterion=None, sentence=self._asked(here)))
        return tuple(links)

    def _asked(self, position: str) -> str:
        """What was asked of a position, and by which wish."""
        wishes = self.proposal.asked.get(position, ())
        part = self.scene.planned(position)
        what = part.label if part is not None else f"Nothing at the {self.words.place(position)}"
        asked = "was asked to stay" if all(w.startswith("keep/") for w in wishes) else "was asked for"
        return f"{what} {asked} ({', '.join(wishes)})."

    def reason(self, position: str, cause: Cause) -> Reason:
        """Why the received state of `position` cannot stay."""
        if cause.rule in self._joints:
            return self._by_joint(position, cause)
        if cause.rule in self._pairings:
            return self._by_pairing(position, cause)
        if cause.rule in self._disturbances:
            return self._by_disturbance(position, cause)
        if cause.rule in self.scene.model.functions:
            return self._by_function(position, cause)
        if self._is_of_figure(cause):
            return self._by_figure(position, cause, self.scene.received(position))
        resource = self.scene.model.resources[cause.rule]
        part = self.scene.planned(cause.source)
        return Reason(
            position=position,
            source=cause.source,
            rule=resource.id,
            criterion=None,
            sentence=self.words.rule(resource.says, part.label if part else "nothing", cause.source),
            evidence=self.words.evidence(resource.evidence),
        )

    def _by_function(self, position: str, cause: Cause) -> Reason:
        function = self.scene.model.functions[cause.rule]
        gave = self.scene.received(cause.source)
        return Reason(
            position=position,
            source=cause.source,
            rule=function.id,
            criterion=None,
            sentence=self.words.rule(function.says, gave.label if gave else "nothing", cause.source),
            evidence=self.words.evidence(function.evidence),
        )

    def against(self, candidate: Part, position: str, cause: Cause) -> str:
        """Why a candidate would not serve at a position of the plan."""
        if cause.rule in self._joints:
            return self._joint_sentence(candidate, position, cause)[0]
        if self._is_of_figure(cause):
            return self._by_figure(position, cause, candidate).sentence
        return self.reason(position, cause).sentence

    def _is_of_figure(self, cause: Cause) -> bool:
        """Whether it is a limit of a figure, or a need that a figure triggers."""
        reach = self.scene.as_received.reach
        return reach.has(cause.rule) or cause.rule in reach.calls

    def _by_figure(self, position: str, cause: Cause, instead: Part | None) -> Reason:
        """Why a figure speaks against something else at a position of the plan: what it would come to."""
        came = self.scene.as_received
        called = came.reach.calls.get(cause.rule)
        figure, place = came.reach.named(cause.rule) if called is None else (called.figure, called.place)
        result = self._result(figure, place, {position: instead})
        if called is not None and result is not None:
            return Reason(
                position=position,
                source=cause.source,
                rule=called.need.id,
                criterion=None,
                sentence=came.teller.need(called, result),
                evidence=self.words.evidence(called.need.evidence),
            )
        line = None if result is None else came.teller.line(figure, place, result, moved=True)
        if line is None or line.verdict is not Verdict.CLASHES:
            line = self._undone(figure, place, {position: instead}) or line
        return Reason(
            position=position,
            source=cause.source,
            rule=figure.id,
            criterion=cause.criterion,
            sentence=self._with_others(figure, cause)
            if line is None or line.verdict is Verdict.FITS
            else line.sentence,
            evidence=self.words.evidence(figure.evidence),
        )

    def _result(self, figure: Figure, place: Place, instead: Mapping[str, Part | None]) -> Result | None:
        """What a figure comes to in the plan, with something else at some positions."""
        came = self.scene.as_received
        parts, changed = {**self.scene.parts, **instead}, self.scene.changed.union(instead)
        return Figuring(came.reach, self.scene.catalog, parts, came.figuring, changed).result(figure, place)

    def _undone(self, figure: Figure, place: Place, instead: Mapping[str, Part | None]) -> FigureLine | None:
        """The figure where all that nobody asked for is undone, if that takes it beyond a limit: of what must be alike
        left and right, one side put back alone tells nothing."""
        undone = {path: self.scene.received(path) for path in self.proposal.causes}
        result = self._result(figure, place, {**undone, **instead})
        line = None if result is None else self.scene.as_received.teller.line(figure, place, result, moved=True)
        return line if line is not None and line.verdict is Verdict.CLASHES else None

    def _with_others(self, figure: Figure, cause: Cause) -> str:
        """What is said where a figure speaks against several changes undone together, and not against one alone."""
        return f"The {figure.label} stays within its limits only together with the {self.words.place(cause.source)}."

    def _joint_sentence(self, mine: Part, position: str, cause: Cause) -> tuple[str, tuple[str, ...]]:
        joint = self._joints[cause.rule]
        kind = self.scene.model.joint_kinds[joint.joint_kind]
        other = self.scene.planned(cause.source)
        assert other is not None, f"{cause.source} is empty, yet speaks at {cause.rule}"
        left, right = (mine, other) if joint.left == position else (other, mine)
        return self.scene.sayings.against(kind, cause.criterion, left, right)

    def _by_joint(self, position: str, cause: Cause) -> Reason:
        received = self.scene.received(position)
        assert received is not None, f"{position} was empty, yet clashes at {cause.rule}"
        sentence, evidence = self._joint_sentence(received, position, cause)
        return Reason(
            position=position,
            source=cause.source,
            rule=self._joints[cause.rule].joint_kind,
            criterion=cause.criterion,
            sentence=sentence,
            evidence=evidence,
        )

    def _by_disturbance(self, position: str, cause: Cause) -> Reason:
        """What comes off for a change is renewed; it is said of what was changed, or goes."""
        found = self._disturbances[cause.rule]
        renewal = self.scene.model.renewals[found.rule]
        part = self.scene.planned(found.change) or self.scene.received(found.change)
        return Reason(
            position=position,
            source=cause.source,
            rule=renewal.id,
            criterion=None,
            sentence=self.words.rule(renewal.says, part.label if part else "nothing", found.through),
            evidence=self.words.evidence(renewal.evidence),
        )

    def _by_pairing(self, position: str, cause: Cause) -> Reason:
        pairing = self._pairings[cause.rule]
        model = self.scene.model
        rule = model.needs[pairing.rule] if pairing.rule in model.needs else model.renewals[pairing.rule]
        when = self.scene.planned(pairing.when) if pairing.when != position else self.scene.received(position)
        return Reason(
            position=position,
            source=cause.source,
            rule=rule.id,
            criterion=None,
            sentence=self.words.rule(rule.says, when.label if when else "nothing", pairing.when),
            evidence=self.words.evidence(rule.evidence),
        )
