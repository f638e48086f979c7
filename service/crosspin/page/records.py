"""Pages about what is on record: parts, kits, vehicles, kinds, rules; and what went wrong."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from crosspin.answer.changes import Release
from crosspin.answer.plan import Mate, PartLine
from crosspin.answer.saved import Fired
from crosspin.catalog.library import Holdings
from crosspin.knockon.ask import Ask
from crosspin.model.schema import (
    Consequence,
    Criterion,
    FigureNeed,
    JointKind,
    Kit,
    Model,
    Need,
    Part,
    Renewal,
    Term,
    Vehicle,
)
from crosspin.page.address import address_of
from crosspin.page.drawing import draw, states_of_received
from crosspin.page.render import Pages, Visit, parted
from crosspin.rules.casebook import CaseLine
from crosspin.vehicle.received import received_part
from crosspin.vehicle.words import Words

RULES: Mapping[str, str] = {
    "joint_kinds": "what must mate",
    "needs": "what is needed",
    "figure_needs": "what figures call for",
    "renewals": "what is renewed",
    "resources": "what is shared out",
    "functions": "what parts let the driver do",
    "remedies": "what mends",
    "consequences": "what follows",
    "figures": "what is worked out",
    "speed_tables": "what is worked out as a table",
    "formulas": "formulas",
    "rules": "what is written as a query",
}


@dataclass(frozen=True, slots=True)
class ReadingRow:
    """One dimension of a feature: in words, whether sources disagree, and how it is measured."""

    label: str
    value: str
    disputed: bool
    how: str


@dataclass(frozen=True, slots=True)
class CriterionRow:
    """One criterion of a joint kind in words."""

    left: str
    test: str
    right: str
    critical: bool
    says: str


class RecordPages:
    """Shows what is on record to one visitor."""

    def __init__(self, pages: Pages, holdings: Holdings, visit: Visit) -> None:
        self.pages = pages
        self.catalog = holdings.catalog
        self.model: Model = holdings.model.model_copy(update={"told_in": dict(visit.told_in)})
        self.visit = visit
        self.words = Words(self.model)

    def _page(self, template: str, **shown: Any) -> str:
        return self.pages.page(template, self.visit, {"model": self.model, **shown})

    # ------------------------------------------------------------------ parts and kits

    def part(self, part: Part, mates: Sequence[Mate], equals: Sequence[PartLine]) -> str:
        """A part with its readings, what it meets, what equals it, and what stands behind that."""
        kind = self.model.kinds[part.kind]
        features = [(self.model.features[f], self._readings(part, f)) for f in kind.features if f in part.specs]
        joints = [self.model.joint_kinds[name] for name in dict.fromkeys(m.joint_kind for m in mates)]
        return self._page(
            "part.html",
            part=part,
            kind=kind,
            features=features,
            lacks=[self.model.features[f] for f in part.lacks],
            missing=[self.model.features[f] for f in kind.features if f not in part.specs and f not in part.lacks],
            mates=[(self.model.joint_kinds[name], list(found)) for name, found in _grouped(mates)],
            equals=equals,
            evidence=sorted({e for joint in joints for e in self.words.evidence(_evidence(joint))}),
            vehicles=self.catalog.vehicles.values(),
        )

    def _readings(self, part: Part, feature: str) -> list[ReadingRow]:
        rows = []
        for name, values in self.catalog.specs[part.specs[feature]].values.items():
            dimension = self.model.dimensions[name]
            rows.append(
                ReadingRow(
                    label=dimension.label,
                    value=self.words.reading(part, feature, name, values),
                    disputed=len(values) > 1 and not dimension.many,
                    how=dimension.how_to_measure,
                )
            )
        return rows

    def kit(self, kit: Kit) -> str:
        """A kit and what it holds."""
        lines = [(line.quantity, self.catalog.parts[line.part]) for line in kit.lines]
        return self._page("kit.html", kit=kit, lines=lines, vehicles=self.catalog.vehicles.values())

    # ------------------------------------------------------------------ vehicles

    def vehicle(self, vehicle: Vehicle) -> str:
        """A vehicle as received: the drawing and every position."""
        layout = self.model.layouts[vehicle.layout]
        received = {p.path: received_part(self.model, self.catalog, vehicle, p) for p in layout.positions}
        drawing = draw(self.model, layout, states_of_received(layout.positions, received))
        return self._page("vehicle.html", vehicle=vehicle, layout=layout, received=received, drawing=drawing, told=None)

    def vehicles(self) -> str:
        """All vehicles."""
        return self._page("vehicles.html", vehicles=self.catalog.vehicles.values())

    # ------------------------------------------------------------------ kinds and rules

    def kind(self, kind_id: str, rules: Iterable[str]) -> str:
        """A kind with its features, how they are measured, its rules and its parts."""
        kind = self.model.kinds[kind_id]
        features = []
        for name in kind.features:
            feature = self.model.features[name]
            dimensions = self.model.feature_kinds[feature.feature_kind].dimensions
            features.append((feature, [self.model.dimensions[d] for d in dimensions]))
        orderable = self.catalog.listing(self.model.kinds_below[kind_id], orderable=True, limit=100)
        return self._page(
            "kind.html",
            kind=kind,
            below=[k for k in self.model.kinds.values() if kind_id in k.parents],
            features=features,
            rules=[self._rule(rule) for rule in rules],
            parts=orderable.parts,
            total=orderable.total,
        )

    def kinds(self) -> str:
        """All kinds with the number of parts that can be ordered."""
        numbers = {kind: self.catalog.count(self.model, kind) for kind in self.model.kinds}
        return self._page("kinds.html", numbers=numbers)

    def _rule(self, rule: str) -> Term:
        tables: list[Mapping[str, Term]] = [getattr(self.model, name) for name in RULES]
        return next(table[rule] for table in tables if rule in table)

    def rules(self) -> str:
        """All rules by sort."""
        return self._page("rules.html", tables=[(words, getattr(self.model, name)) for name, words in RULES.items()])

    def rule(self, rule_id: str, cases: Sequence[CaseLine] = (), saved: Sequence[tuple[Fired, Ask | None]] = ()) -> str:
        """A rule: its sentences, its criteria or conditions, the evidence, the cases that try it, and what became
        of it in the plans for saved asks."""
        rule = self._rule(rule_id)
        sort = next(words for name, words in RULES.items() if rule_id in getattr(self.model, name))
        criteria = [self._criterion(c) for c in rule.criteria] if isinstance(rule, JointKind) else []
        facts: list[tuple[str, str, str]] = []
        for name in ("left", "right"):
            if isinstance(rule, JointKind):
                kind = self.model.kinds[getattr(rule, f"{name}_kind")]
                feature = self.model.features[getattr(rule, f"{name}_feature")]
                facts.append((f"{name} part", f"{kind.label}, {feature.label}", f"/v1/kinds/{kind.id}"))
        if isinstance(rule, Need | Renewal):
            when = rule.when.kind if isinstance(rule, Need) else rule.when_kind
            facts.append(("when", self.model.kinds[when].label, f"/v1/kinds/{when}"))
            facts.append(("asks for", self.model.roles[rule.then_role].label, ""))
        if isinstance(rule, FigureNeed):
            facts.append(("when", self.model.figures[rule.figure].label, f"/v1/rules/{rule.figure}"))
            facts.append(("asks for", self.model.roles[rule.then_role].label, ""))
        if isinstance(rule, Consequence):
            facts.append(("when", self.model.kinds[rule.when.kind].label, f"/v1/kinds/{rule.when.kind}"))
        evidence = [self.model.evidence[e] for e in getattr(rule, "evidence", ()) if e in self.model.evidence]
        return self._page(
            "rule.html",
            rule=rule,
            sort=sort,
            criteria=criteria,
            facts=facts,
            evidence=evidence,
            cases=cases,
            saved=[(fired, address_of(ask).href() if ask is not None else "") for fired, ask in saved],
        )

    def _criterion(self, criterion: Criterion) -> CriterionRow:
        def label(name: str) -> str:
            return self.model.dimensions[name].label

        right = label(criterion.right) if criterion.right is not None else str(criterion.constant)
        if criterion.right_high is not None:
            right = f"{right} to {label(criterion.right_high)}"
        if criterion.right_factor != 1:
            right = f"{criterion.right_factor} × {right}"
        bounds = [
            f"{word} {self.words.value(criterion.left, bound)}"
            for word, bound in (("at least", criterion.lower), ("at most", criterion.upper))
            if bound is not None
        ]
        test = parted(criterion.comparator)
        return CriterionRow(
            left=label(criterion.left),
            test=f"{test}{': ' + ', '.join(bounds) if bounds else ''}",
            right=right,
            critical=criterion.safety_critical,
            says=criterion.says_clash,
        )

    # ------------------------------------------------------------------ terms

    def term(self, sheet: Any) -> str:
        """A term of the ontology: what it means and what is said of it; `sheet` as the service tells it."""
        leads = {"kinds": f"/v1/kinds/{sheet.id}"} | dict.fromkeys(RULES, f"/v1/rules/{sheet.id}")
        return self._page("term.html", sheet=sheet, more=leads.get(sheet.sort, ""))

    def ontology(self, version: str, sorts: Mapping[str, Mapping[str, str]], log: Sequence[Release]) -> str:
        """The terms by sort (identifier to label), and what has changed from version to version, latest first."""
        return self._page("ontology.html", version=version, sorts=sorts, log=log[::-1])

    # ------------------------------------------------------------------ trouble

    def problem(self, title: str, detail: str, problems: Sequence[tuple[str, str, str]]) -> str:
        """What went wrong, where, and what to do about it: place, what is wrong, what would be right."""
        return self._page("problem.html", title=title, detail=detail, problems=problems)


def _grouped(mates: Sequence[Mate]) -> Iterable[tuple[str, Iterable[Mate]]]:
    return groupby(sorted(mates, key=lambda m: m.joint_kind), key=lambda m: m.joint_kind)


def _evidence(joint: JointKind) -> list[str]:
    return [*joint.evidence, *(e for criterion in joint.criteria for e in criterion.evidence)]
