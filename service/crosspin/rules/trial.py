"""The conditions of a rule, tried one after the other on one plan, and what the sorts of rules have in common."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from crosspin.catalog.catalog import Catalog
from crosspin.knockon.proposal import Mending
from crosspin.model.base import Frozen, Term
from crosspin.model.judge import Judged, is_of_kind, meets
from crosspin.model.schema import Condition, Layout, Model, Part, Value
from crosspin.vehicle.figuring import Figuring

VEHICLE = "the vehicle"
"""The place of what is about the vehicle as a whole."""


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
    """What stands where in a plan: the part at each position, which positions are fresh or changed, the figures over
    it, what is mended, and by position the part that is taken out."""

    parts: dict[str, Part | None]
    fresh: frozenset[str]
    changed: frozenset[str]
    figuring: Figuring
    mendings: tuple[Mending, ...] = ()
    gone: Mapping[str, Part | None] = field(default_factory=dict)


class NoSuchRule(LookupError):
    """The ontology has no rule of this name, or it has nothing to do with a place; the message says what would be
    right."""


@dataclass
class Trial:
    """The conditions tried at one place, one after the other."""

    at: str
    conditions: list[Tried] = field(default_factory=list)

    def note(self, condition: str, found: str, holds: bool | None) -> bool:
        """Write a condition down; whether the rule could still speak."""
        self.conditions.append(Tried(condition=condition, found=found, holds=holds))
        return holds is not False

    def done(self, spoke: bool) -> Place:
        """What became of the rule at this place."""
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
class Conditions:
    """Conditions that several sorts of rules have, tried on one plan."""

    model: Model
    catalog: Catalog
    layout: Layout
    standing: Standing

    def stands(self, trial: Trial, path: str) -> bool:
        """Whether anything is fitted at a position."""
        part = self.standing.parts[path]
        return trial.note(f"something stands at {path}", label_of(part), part is not None)

    def of_kind(self, trial: Trial, path: str, kind: str) -> bool:
        """Whether the part at a position, which is not empty, is or could be of a kind."""
        part = self.standing.parts[path]
        assert part is not None
        found = f"{part.label} is of the kind {self.model.kinds[part.kind].label}"
        words = f"the part at {path} is of the kind {self.model.kinds[kind].label}"
        return trial.note(words, found, is_of_kind(self.model, part, kind))

    def meets(self, trial: Trial, path: str, condition: Condition) -> bool:
        """Whether the part at a position, which is not empty, meets or could meet a condition."""
        if not self.of_kind(trial, path, condition.kind):
            return False
        if condition.dimension is None or condition.feature is None:
            return True
        part = self.standing.parts[path]
        assert part is not None
        holds = meets(self.model, condition, part, self.catalog.specs)
        found = self.reading(part, condition.feature, condition.dimension)
        return trial.note(f"the part at {path} is {self.words(condition)}", found, holds)

    def is_fresh(self, trial: Trial, path: str) -> bool:
        """Whether the part at a position comes with the plan."""
        fresh = path in self.standing.fresh
        return trial.note(f"the part at {path} is new", "it is new" if fresh else "it was there before", fresh)

    def answered(self, trial: Trial, then: Condition | None, path: str) -> None:
        """Whether what stands at a position is what a need asks for: of a condition, or nothing."""
        part = self.standing.parts[path]
        if then is None:
            trial.note(f"nothing stands at {path}", label_of(part), part is None)
        else:
            holds = False if part is None else meets(self.model, then, part, self.catalog.specs)
            trial.note(f"{path} holds {self.words(then)}", label_of(part), holds)

    def reading(self, part: Part, feature: str, dimension: str) -> str:
        """What is recorded of a part, with its unit."""
        return self.values(dimension, self.face(part, feature).get(dimension, ()))

    def face(self, part: Judged | None, feature: str) -> dict[str, tuple[Value, ...]]:
        """Every reading of a feature; none where the part lacks it or nothing is recorded."""
        if part is None or feature in part.lacks or feature not in part.specs:
            return {}
        return dict(self.catalog.specs[part.specs[feature]].values)

    def values(self, dimension: str, values: tuple[Value, ...]) -> str:
        """Values of a dimension with its unit."""
        unit = self.model.units.get(self.model.dimensions[dimension].unit or "")
        symbol = f" {unit.symbol}" if unit is not None else ""
        return ", ".join(f"{value}{symbol}" for value in values) or "not recorded"

    def words(self, condition: Condition) -> str:
        """A condition on one part in words."""
        kind = f"a {self.model.kinds[condition.kind].label}"
        if condition.dimension is None or condition.feature is None:
            return kind
        dimension, feature = self.model.dimensions[condition.dimension], self.model.features[condition.feature]
        wanted = f"one of {', '.join(condition.codes)}" if condition.codes else bounds(condition.lower, condition.upper)
        return f"{kind} with the {dimension.label} of its {feature.label} {wanted}"


def bounds(lower: object | None, upper: object | None) -> str:
    """Two bounds in words; empty where there are none."""
    told = [f"at least {lower}"] if lower is not None else []
    return " and ".join([*told, *([f"at most {upper}"] if upper is not None else [])])


def label_of(part: Part | None) -> str:
    """What a position holds, in words."""
    return "nothing" if part is None else part.label
