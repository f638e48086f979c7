"""Why a rule did not speak in a plan: its conditions in order, with what was found, up to the first that failed."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from crosspin.catalog.catalog import Catalog
from crosspin.knockon.proposal import Mending
from crosspin.model.base import Frozen, Term
from crosspin.model.judge import Finding, Judged, is_of_kind, judge_criterion, judge_joint, may_have, meets
from crosspin.model.schema import (
    Condition,
    Consequence,
    Criterion,
    Joint,
    JointKind,
    Layout,
    Model,
    Need,
    Part,
    Remedy,
    Renewal,
    Resource,
    Value,
    Verdict,
)

_VEHICLE = "the vehicle"


class Tried(Frozen):
    """One condition of a rule: in words, with the values found, and whether it held (None: not known)."""

    condition: str
    found: str
    holds: bool | None


class Place(Frozen):
    """What became of a rule at one place of a plan: it `spoke`, or `failed` is the first condition that did not hold;
    `conditions` are all that were tried, in order."""

    at: str
    spoke: bool
    failed: Tried | None
    conditions: tuple[Tried, ...]


class WhyNot(Frozen):
    """Where a rule spoke in a plan and where not, and why; places where it came furthest are first."""

    rule: str
    label: str
    definition: str
    spoke: bool
    places: tuple[Place, ...]


@dataclass(frozen=True)
class Standing:
    """What stands where in a plan: the part at each position, which positions are fresh or changed, what is mended,
    and by position the part that is taken out."""

    parts: dict[str, Part | None]
    fresh: frozenset[str]
    changed: frozenset[str]
    mendings: tuple[Mending, ...] = ()
    gone: Mapping[str, Part | None] = field(default_factory=dict)


class NoSuchRule(LookupError):
    """The ontology has no rule of this name, or it has nothing to do with a place; the message says what would be
    right."""


@dataclass
class _Trial:
    """The conditions tried at one place, one after the other."""

    at: str
    conditions: list[Tried] = field(default_factory=list)

    def note(self, condition: str, found: str, holds: bool | None) -> bool:
        """Write a condition down; whether the rule could still speak."""
        self.conditions.append(Tried(condition=condition, found=found, holds=holds))
        return holds is not False

    def done(self, spoke: bool) -> Place:
        failed = None if spoke or not self.conditions else self.conditions[-1]
        return Place(at=self.at, spoke=spoke, failed=failed, conditions=tuple(self.conditions))


def told(rule: Term, places: Iterable[Place], about: str | None) -> WhyNot:
    """What became of a rule, or what became of it at the place `about`.  Raises NoSuchRule where that is none of
    its places."""
    found = list(places)
    chosen = [place for place in found if about is None or about == place.at or about in place.at.split("--")]
    if not chosen:
        where = "; ".join(place.at for place in found[:8]) or "no place of this vehicle"
        raise NoSuchRule(f"{rule.id} has nothing to do with {about}; it looks at: {where}")
    return WhyNot(
        rule=rule.id,
        label=rule.label,
        definition=rule.definition,
        spoke=any(place.spoke for place in chosen),
        places=tuple(sorted(chosen, key=lambda place: (not place.spoke, -len(place.conditions), place.at))),
    )


@dataclass(frozen=True)
class Asker:
    """Tries the conditions of rules on one plan."""

    model: Model
    catalog: Catalog
    layout: Layout
    standing: Standing

    def why_not(self, name: str, about: str | None = None) -> WhyNot:
        """What became of a joint kind or criterion, remedy, need, renewal, consequence or resource.

        Raises NoSuchRule for any other name, and where the rule has nothing to do with the place `about`.
        """
        model = self.model
        criterion = next((k.id for k in model.joint_kinds.values() for c in k.criteria if c.id == name), name)
        if criterion in model.joint_kinds:
            kind = model.joint_kinds[criterion]
            joints = [j for j in self.layout.joints if j.joint_kind == kind.id]
            only = None if criterion == name else name
            return told(kind, [self._joint(kind, joint, only) for joint in joints], about)
        if name in model.remedies:
            mended = [(k, c) for k in model.joint_kinds.values() for c in k.criteria if name in c.remedies]
            places = [self._remedy(model.remedies[name], k, c, j) for k, c in mended for j in self._joints_of(k)]
            return told(model.remedies[name], places, about)
        if name in model.needs or name in model.renewals:
            rule = model.needs.get(name) or model.renewals[name]
            return told(rule, [self._pair(rule, p.when, p.then) for p in self.layout.pairings if p.rule == name], about)
        if name in model.consequences:
            consequence = model.consequences[name]
            at = [p.path for p in self.layout.positions if p.role == consequence.role]
            return told(consequence, [self._consequence(consequence, path) for path in at], about)
        if name in model.resources:
            return told(model.resources[name], [self._resource(model.resources[name])], about)
        raise NoSuchRule(f"there is no rule {name!r} whose conditions could be tried; look it up under /v1/rules")

    def _joints_of(self, kind: JointKind) -> list[Joint]:
        return [joint for joint in self.layout.joints if joint.joint_kind == kind.id]

    # ------------------------------------------------------------------ sorts of rules

    def _joint(self, kind: JointKind, joint: Joint, only: str | None) -> Place:
        trial = _Trial(f"{joint.left}--{joint.right}")
        spoke = self._meet(trial, kind, joint)
        if spoke:
            for f in self._judged(kind, joint):
                if only in (None, f.criterion.id):
                    trial.note(f"judged by {f.criterion.id}", f"{self._readings(f)}: {f.verdict}", True)
        return trial.done(spoke)

    def _meet(self, trial: _Trial, kind: JointKind, joint: Joint) -> bool:
        """Whether two parts meet at a joint, one of which at least is new."""
        for path, wanted in ((joint.left, kind.left_kind), (joint.right, kind.right_kind)):
            if not self._stands(trial, path) or not self._of_kind(trial, path, wanted):
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
        trial = _Trial(f"{joint.left}--{joint.right}")
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
            words = f"the difference is {_bounds(remedy.lower, remedy.upper)}"
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
        left = self._face(self.standing.parts[joint.left], kind.left_feature)
        right = self._face(self.standing.parts[joint.right], kind.right_feature)

        def fits(
            criterion: Criterion | None, one: dict[str, tuple[Value, ...]], other: dict[str, tuple[Value, ...]]
        ) -> bool:
            return criterion is None or judge_criterion(criterion, one, other, self.model.many).verdict is Verdict.FITS

        found = []
        for alike in self.catalog.classes(self.model, remedy.adapter_kind or ""):
            outer = self._face(alike, remedy.adapter_left_feature or "")
            inner = self._face(alike, remedy.adapter_right_feature or "")
            if fits(remedy.adapter_left_criterion, left, outer) and fits(remedy.adapter_right_criterion, inner, right):
                found.append(alike.cheapest.part)
        return found

    def _face(self, part: Judged | None, feature: str) -> dict[str, tuple[Value, ...]]:
        if part is None or feature in part.lacks or feature not in part.specs:
            return {}
        return dict(self.catalog.specs[part.specs[feature]].values)

    def _pair(self, rule: Need | Renewal, when: str, then: str) -> Place:
        trial = _Trial(f"{when}--{then}")
        condition = rule.when if isinstance(rule, Need) else Condition(kind=rule.when_kind)
        spoke = self._stands(trial, when) and self._meets(trial, when, condition)
        if spoke and isinstance(rule, Need) and not rule.when_fresh:
            touched = sorted(({when} & self.standing.fresh) | ({then} & self.standing.changed))
            words = f"the part at {when} is new, or {then} is changed"
            spoke = trial.note(words, " and ".join(touched) or "neither", bool(touched))
        elif spoke:
            spoke = self._fresh(trial, when)
        if spoke:
            self._answered(trial, rule, then)
        return trial.done(spoke)

    def _answered(self, trial: _Trial, rule: Need | Renewal, then: str) -> None:
        part = self.standing.parts[then]
        if isinstance(rule, Renewal):
            new = part is None or then in self.standing.fresh
            trial.note(f"no old {self.model.kinds[rule.then_kind].label} stays at {then}", _label(part), new)
        elif rule.then is None:
            trial.note(f"nothing stands at {then}", _label(part), part is None)
        else:
            holds = False if part is None else meets(self.model, rule.then, part, self.catalog.specs)
            trial.note(f"{then} holds {self._words(rule.then)}", _label(part), holds)

    def _consequence(self, rule: Consequence, path: str) -> Place:
        trial = _Trial(path)
        spoke = True
        if rule.only_at is not None:
            station = next(p.station for p in self.layout.positions if p.path == path)
            classes = self.layout.stations[station]
            spoke = trial.note(f"at a {rule.only_at}", ", ".join(classes), rule.only_at in classes)
        if rule.when_taken_out:
            return trial.done(spoke and self._gone(trial, path, rule.when))
        spoke = spoke and self._stands(trial, path) and self._meets(trial, path, rule.when)
        if spoke and rule.when_fresh:
            spoke = self._fresh(trial, path)
        return trial.done(spoke)

    def _resource(self, rule: Resource) -> Place:
        trial = _Trial(_VEHICLE)
        sharing: set[str] = set()
        sides = (
            ("draws", rule.draw_feature, rule.draw_dimension),
            ("supplies", rule.supply_feature, rule.supply_dimension),
        )
        for path, part in self.standing.parts.items():
            for word, feature, dimension in sides:
                if part is not None and may_have(self.model, part, feature):
                    trial.note(f"the part at {path} {word}", self._reading(part, feature, dimension), True)
                    sharing.add(path)
        touched = sorted(sharing & self.standing.changed)
        words = "something that draws or supplies is changed"
        return trial.done(trial.note(words, ", ".join(touched) or "nothing", bool(touched)))

    # ------------------------------------------------------------------ single conditions

    def _stands(self, trial: _Trial, path: str) -> bool:
        part = self.standing.parts[path]
        return trial.note(f"something stands at {path}", _label(part), part is not None)

    def _of_kind(self, trial: _Trial, path: str, kind: str) -> bool:
        part = self.standing.parts[path]
        assert part is not None
        found = f"{part.label} is of the kind {self.model.kinds[part.kind].label}"
        words = f"the part at {path} is of the kind {self.model.kinds[kind].label}"
        return trial.note(words, found, is_of_kind(self.model, part, kind))

    def _meets(self, trial: _Trial, path: str, condition: Condition) -> bool:
        if not self._of_kind(trial, path, condition.kind):
            return False
        if condition.dimension is None or condition.feature is None:
            return True
        part = self.standing.parts[path]
        assert part is not None
        holds = meets(self.model, condition, part, self.catalog.specs)
        found = self._reading(part, condition.feature, condition.dimension)
        return trial.note(f"the part at {path} is {self._words(condition)}", found, holds)

    def _fresh(self, trial: _Trial, path: str) -> bool:
        fresh = path in self.standing.fresh
        return trial.note(f"the part at {path} is new", "it is new" if fresh else "it was there before", fresh)

    def _gone(self, trial: _Trial, path: str, condition: Condition) -> bool:
        """Whether a part that meets the condition is taken out, and none that does comes in its place."""
        old, new = self.standing.gone.get(path), self.standing.parts[path]
        trial.note(f"something is taken out at {path}", _label(old), old is not None)
        if old is None:
            return False
        went = meets(self.model, condition, old, self.catalog.specs)
        if not trial.note(f"it is {self._words(condition)}", old.label, went):
            return False
        if went is None:
            return False
        comes = new is not None and meets(self.model, condition, new, self.catalog.specs) is not False
        return trial.note(f"nothing such comes to {path}", _label(new), not comes)

    # ------------------------------------------------------------------ words

    def _reading(self, part: Part, feature: str, dimension: str) -> str:
        return self._values(dimension, self._face(part, feature).get(dimension, ()))

    def _readings(self, finding: Finding) -> str:
        left = self._values(finding.criterion.left, finding.left)
        right = self._values(finding.criterion.right or finding.criterion.left, (*finding.right, *finding.right_high))
        return f"{left} against {right}"

    def _values(self, dimension: str, values: tuple[Value, ...]) -> str:
        unit = self.model.units.get(self.model.dimensions[dimension].unit or "")
        symbol = f" {unit.symbol}" if unit is not None else ""
        return ", ".join(f"{value}{symbol}" for value in values) or "not recorded"

    def _words(self, condition: Condition) -> str:
        kind = f"a {self.model.kinds[condition.kind].label}"
        if condition.dimension is None or condition.feature is None:
            return kind
        dimension, feature = self.model.dimensions[condition.dimension], self.model.features[condition.feature]
        wanted = (
            f"one of {', '.join(condition.codes)}" if condition.codes else _bounds(condition.lower, condition.upper)
        )
        return f"{kind} with the {dimension.label} of its {feature.label} {wanted}"


def _bounds(lower: object | None, upper: object | None) -> str:
    told = [f"at least {lower}"] if lower is not None else []
    return " and ".join([*told, *([f"at most {upper}"] if upper is not None else [])])


def _number(values: tuple[Value, ...]) -> Decimal:
    (value,) = values
    assert isinstance(value, Decimal)
    return value


def _label(part: Part | None) -> str:
    return "nothing" if part is None else part.label
