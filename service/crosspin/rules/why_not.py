"""Why a rule did not speak in a plan: its conditions in order, with what was found, up to the first that failed."""

from collections.abc import Iterator
from decimal import Decimal
from itertools import chain

from crosspin.model.judge import Finding, judge_criterion, judge_joint, may_have, meets
from crosspin.model.schema import (
    Condition,
    Consequence,
    Criterion,
    Joint,
    JointKind,
    Need,
    Remedy,
    Renewal,
    Resource,
    Value,
    Verdict,
)
from crosspin.rules.trial import VEHICLE, Conditions, NoSuchRule, Place, Trial, WhyNot, bounds, label_of, told
from crosspin.rules.why_not_figures import FigureAsker
from crosspin.rules.why_not_functions import FunctionAsker
from crosspin.vehicle.access import Access, Places


class Asker(Conditions):
    """Tries the conditions of rules on one plan."""

    def why_not(self, name: str, about: str | None = None) -> WhyNot:
        """What became of a joint kind or criterion, figure or limit, remedy, need, renewal, consequence, resource or
        function.

        Raises NoSuchRule for any other name, and where the rule has nothing to do with the place `about`.
        """
        model = self.model
        figures = FigureAsker(self.model, self.catalog, self.layout, self.standing)
        criterion = next((k.id for k in model.joint_kinds.values() for c in k.criteria if c.id == name), name)
        if criterion in model.joint_kinds:
            kind = model.joint_kinds[criterion]
            joints = [j for j in self.layout.joints if j.joint_kind == kind.id]
            only = None if criterion == name else name
            return told(kind, [self._joint(kind, joint, only) for joint in joints], about)
        if name in model.remedies:
            mended = [(k, c) for k in model.joint_kinds.values() for c in k.criteria if name in c.remedies]
            places = [self._remedy(model.remedies[name], k, c, j) for k, c in mended for j in self._joints_of(k)]
            return told(model.remedies[name], chain(places, figures.remedied(model.remedies[name])), about)
        if name in model.needs or name in model.renewals:
            rule = model.needs.get(name) or model.renewals[name]
            pairs = (self._pair(rule, p.when, p.then) for p in self.layout.pairings if p.rule == name)
            return told(rule, chain(pairs, self._disturbances(name)), about)
        if name in model.consequences:
            consequence = model.consequences[name]
            at = [p.path for p in self.layout.positions if p.role == consequence.role]
            return told(consequence, [self._consequence(consequence, path) for path in at], about)
        if name in model.resources:
            return told(model.resources[name], [self._resource(model.resources[name])], about)
        if name in model.figure_needs:
            return told(model.figure_needs[name], figures.called(model.figure_needs[name]), about)
        if name in model.functions:
            functions = FunctionAsker(self.model, self.catalog, self.layout, self.standing)
            return told(model.functions[name], functions.at_stake(model.functions[name]), about)
        for figure in model.figures.values():
            limits = [limit for limit in figure.limits if name in (figure.id, limit.id)]
            if limits:
                return told(figure, figures.limited(figure, limits), about)
        raise NoSuchRule(f"there is no rule {name!r} whose conditions could be tried; look it up under /v1/rules")

    def _joints_of(self, kind: JointKind) -> list[Joint]:
        return [joint for joint in self.layout.joints if joint.joint_kind == kind.id]

    # ------------------------------------------------------------------ sorts of rules

    def _joint(self, kind: JointKind, joint: Joint, only: str | None) -> Place:
        trial = Trial(f"{joint.left}--{joint.right}")
        spoke = self._meet(trial, kind, joint)
        if spoke:
            for f in self._judged(kind, joint):
                if only in (None, f.criterion.id):
                    trial.note(f"judged by {f.criterion.id}", f"{self._readings(f)}: {f.verdict}", True)
        return trial.done(spoke)

    def _meet(self, trial: Trial, kind: JointKind, joint: Joint) -> bool:
        """Whether two parts meet at a joint, one of which at least is new."""
        for path, wanted in ((joint.left, kind.left_kind), (joint.right, kind.right_kind)):
            if not self.stands(trial, path) or not self.of_kind(trial, path, wanted):
                return False
        new = sorted({joint.left, joint.right} & self.standing.fresh)
        found = " and ".join(new) if new else "both were there before, so that nobody judges them"
        return trial.note("one of the two is new", found, bool(new))

    def _judged(self, kind: JointKind, joint: Joint) -> tuple[Finding, ...]:
        one, other = self.standing.parts[joint.left], self.standing.parts[joint.right]
        assert one is not None
        assert other is not None
        return judge_joint(kind, one, other, self.catalog.specs, self.model.many)

    def _remedy(self, remedy: Remedy, kind: JointKind, criterion: Criterion, joint: Joint) -> Place:
        trial = Trial(f"{joint.left}--{joint.right}")
        if not self._meet(trial, kind, joint):
            return trial.done(False)
        (finding,) = (f for f in self._judged(kind, joint) if f.criterion.id == criterion.id)
        clashes = finding.verdict is Verdict.CLASHES and not finding.lacking
        says = f"{self._readings(finding)}: {finding.verdict}"
        if not trial.note(f"{criterion.id} clashes, both readings being known", says, clashes):
            return trial.done(False)
        if remedy.left_code is not None:
            same = finding.left == (remedy.left_code,)
            if not trial.note(f"the left reading is {remedy.left_code}", ", ".join(map(str, finding.left)), same):
                return trial.done(False)
        if remedy.lower is not None or remedy.upper is not None:
            gap = _number(finding.left) - criterion.right_factor * _number(finding.right)
            words = f"the difference is {bounds(remedy.lower, remedy.upper)}"
            inside = (remedy.lower is None or gap >= remedy.lower) and (remedy.upper is None or gap <= remedy.upper)
            if not trial.note(words, str(gap), inside):
                return trial.done(False)
        if remedy.adapter_kind is not None:
            fitting = self._adapters(remedy, kind, joint)
            words = f"a {self.model.kinds[remedy.adapter_kind].label} that fits on both sides is on sale"
            if not trial.note(words, ", ".join(fitting[:3]) or "none", bool(fitting)):
                return trial.done(False)
        taken = next((m for m in self.standing.mendings if (m.joint, m.criterion) == (joint.id, criterion.id)), None)
        took = f"the plan takes {taken.remedy}" if taken is not None else "the plan mends nothing here"
        return trial.done(
            trial.note("it is the cheapest that does", took, taken is not None and taken.remedy == remedy.id)
        )

    def _adapters(self, remedy: Remedy, kind: JointKind, joint: Joint) -> list[str]:
        left = self.face(self.standing.parts[joint.left], kind.left_feature)
        right = self.face(self.standing.parts[joint.right], kind.right_feature)

        def fits(
            criterion: Criterion | None, one: dict[str, tuple[Value, ...]], other: dict[str, tuple[Value, ...]]
        ) -> bool:
            return criterion is None or judge_criterion(criterion, one, other, self.model.many).verdict is Verdict.FITS

        found = []
        for alike in self.catalog.classes(self.model, remedy.adapter_kind or ""):
            outer = self.face(alike, remedy.adapter_left_feature or "")
            inner = self.face(alike, remedy.adapter_right_feature or "")
            if fits(remedy.adapter_left_criterion, left, outer) and fits(remedy.adapter_right_criterion, inner, right):
                found.append(alike.cheapest.part)
        return found

    def _pair(self, rule: Need | Renewal, when: str, then: str) -> Place:
        trial = Trial(f"{when}--{then}")
        condition = rule.when if isinstance(rule, Need) else Condition(kind=rule.when_kind)
        spoke = self.stands(trial, when) and self.meets(trial, when, condition)
        if spoke and isinstance(rule, Need) and not rule.when_fresh:
            touched = sorted(({when} & self.standing.fresh) | ({then} & self.standing.changed))
            words = f"the part at {when} is new, or {then} is changed"
            spoke = trial.note(words, " and ".join(touched) or "neither", bool(touched))
        elif spoke:
            spoke = self.is_fresh(trial, when)
        if not spoke:
            return trial.done(False)
        if isinstance(rule, Need):
            self.answered(trial, rule.then, then)
        else:
            part = self.standing.parts[then]
            new = part is None or then in self.standing.fresh
            trial.note(f"no old {self.model.kinds[rule.then_kind].label} stays at {then}", label_of(part), new)
        return trial.done(True)

    def _disturbances(self, name: str) -> Iterator[Place]:
        """The places at which a renewal could follow from something that comes off, for each change in the plan."""
        came = {
            path: self.standing.gone.get(path) if path in self.standing.changed else part
            for path, part in self.standing.parts.items()
        }
        places = Places(self.model, self.layout)
        access = Access(places, came)
        for one in places.disturbances(self.layout):
            if one.rule == name and one.change in self.standing.changed:
                trial = Trial(one.id.removeprefix(f"{name}/"))
                off = one.through in access.disturbed(one.change)
                words = f"what is at {one.through} comes off for {one.change}"
                if trial.note(words, label_of(came[one.through]), off):
                    part = self.standing.parts[one.then]
                    new = part is None or one.then in self.standing.fresh
                    kind = self.model.kinds[self.model.renewals[name].then_kind].label
                    trial.note(f"no old {kind} stays at {one.then}", label_of(part), new)
                yield trial.done(off)

    def _consequence(self, rule: Consequence, path: str) -> Place:
        trial = Trial(path)
        spoke = True
        if rule.only_at is not None:
            station = next(p.station for p in self.layout.positions if p.path == path)
            classes = self.layout.stations[station]
            spoke = trial.note(f"at a {rule.only_at}", ", ".join(classes), rule.only_at in classes)
        if rule.when_taken_out:
            return trial.done(spoke and self._gone(trial, path, rule.when))
        spoke = spoke and self.stands(trial, path) and self.meets(trial, path, rule.when)
        if spoke and rule.when_fresh:
            spoke = self.is_fresh(trial, path)
        return trial.done(spoke)

    def _resource(self, rule: Resource) -> Place:
        trial = Trial(VEHICLE)
        sharing: set[str] = set()
        sides = (
            ("draws", rule.draw_feature, rule.draw_dimension),
            ("supplies", rule.supply_feature, rule.supply_dimension),
        )
        for path, part in self.standing.parts.items():
            for word, feature, dimension in sides:
                if part is not None and may_have(self.model, part, feature):
                    trial.note(f"the part at {path} {word}", self.reading(part, feature, dimension), True)
                    sharing.add(path)
        touched = sorted(sharing & self.standing.changed)
        words = "something that draws or supplies is changed"
        return trial.done(trial.note(words, ", ".join(touched) or "nothing", bool(touched)))

    # ------------------------------------------------------------------ single conditions

    def _gone(self, trial: Trial, path: str, condition: Condition) -> bool:
        """Whether a part that meets the condition is taken out, and none that does comes in its place."""
        old, new = self.standing.gone.get(path), self.standing.parts[path]
        trial.note(f"something is taken out at {path}", label_of(old), old is not None)
        if old is None:
            return False
        went = meets(self.model, condition, old, self.catalog.specs)
        if not trial.note(f"it is {self.words(condition)}", old.label, went):
            return False
        if went is None:
            return False
        comes = new is not None and meets(self.model, condition, new, self.catalog.specs) is not False
        return trial.note(f"nothing such comes to {path}", label_of(new), not comes)

    # ------------------------------------------------------------------ words

    def _readings(self, finding: Finding) -> str:
        left = self.values(finding.criterion.left, finding.left)
        right = self.values(finding.criterion.right or finding.criterion.left, (*finding.right, *finding.right_high))
        return f"{left} against {right}"


def _number(values: tuple[Value, ...]) -> Decimal:
    (value,) = values
    assert isinstance(value, Decimal)
    return value
