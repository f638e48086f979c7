"""Reads the ontology from the graph into plain objects."""

from collections.abc import Callable, Iterable
from decimal import Decimal
from typing import TypeVar

from pyoxigraph import BlankNode, Literal, NamedNode

from crosspin.figures.derive import FORMULAS
from crosspin.figures.exact import canonical
from crosspin.model.schema import (
    Comparator,
    Condition,
    Consequence,
    ConsumableUse,
    Criterion,
    Datatype,
    Dimension,
    Evidence,
    Feature,
    FeatureKind,
    Hand,
    Joint,
    JointKind,
    Kind,
    Layout,
    Model,
    Need,
    Note,
    Operation,
    Pairing,
    Position,
    Remedy,
    Renewal,
    Resource,
    Role,
    Scope,
    Shop,
    Term,
    Unit,
)
from crosspin.model.terms import DEF, ID, UNIT, identifier
from crosspin.store.graph import Facts
from crosspin.store.graph import Term as Node

RDFS = "http://www.w3.org/2000/01/rdf-schema#"
SKOS = "http://www.w3.org/2004/02/skos/core#"

Named = TypeVar("Named", bound=Term | JointKind)


class BrokenOntology(ValueError):
    """The ontology does not say what it must; the message names the term and what is missing."""


class _Reader:
    """Typed look-ups that name the term when something is missing or doubled."""

    def __init__(self, facts: Facts) -> None:
        self.facts = facts

    def ids(self, node: Node, name: str) -> tuple[str, ...]:
        return tuple(identifier(value.value) for value in self.facts.all(node, DEF + name))

    def maybe_id(self, node: Node, name: str) -> str | None:
        values = self.ids(node, name)
        if len(values) > 1:
            raise BrokenOntology(f"{node} has more than one cp:{name}: {', '.join(values)}; keep one")
        return values[0] if values else None

    def id(self, node: Node, name: str) -> str:
        value = self.maybe_id(node, name)
        if value is None:
            raise BrokenOntology(f"{node} has no cp:{name}; add it")
        return value

    def literals(self, node: Node, name: str) -> list[Literal]:
        values = [v for v in self.facts.all(node, DEF + name) if isinstance(v, Literal)]
        return [v for v in values if v.language in (None, "en")]

    def maybe_text(self, node: Node, name: str) -> str | None:
        values = self.literals(node, name)
        if len(values) > 1:
            raise BrokenOntology(f"{node} has more than one cp:{name}; keep one")
        return values[0].value if values else None

    def text(self, node: Node, name: str) -> str:
        value = self.maybe_text(node, name)
        if value is None:
            raise BrokenOntology(f"{node} has no cp:{name}; add it")
        return value

    def maybe_number(self, node: Node, name: str) -> Decimal | None:
        value = self.maybe_text(node, name)
        return None if value is None else canonical(Decimal(value))

    def flag(self, node: Node, name: str) -> bool:
        return self.maybe_text(node, name) == "true"

    def texts(self, node: Node, name: str) -> tuple[str, ...]:
        return tuple(v.value for v in self.literals(node, name))

    def named(self, node: Node) -> dict[str, str]:
        """id, label and definition."""
        if isinstance(node, BlankNode):
            raise BrokenOntology(f"a blank node is used where a named term is needed: {self.facts.about(node)}")
        found: dict[str, str] = {"id": identifier(node.value)}
        for key, predicate in (("label", RDFS + "label"), ("definition", SKOS + "definition")):
            values = [
                v for v in self.facts.all(node, predicate) if isinstance(v, Literal) and v.language in (None, "en")
            ]
            if len(values) != 1:
                raise BrokenOntology(f"{node} needs exactly one English {key}, has {len(values)}")
            found[key] = values[0].value
        return found

    def table(self, class_name: str, build: Callable[[Node], Named]) -> dict[str, Named]:
        """Every instance of a class, keyed by identifier and sorted by it."""
        items = (build(node) for node in self.facts.of_type(DEF + class_name) if isinstance(node, NamedNode))
        return {item.id: item for item in sorted(items, key=lambda item: item.id)}


def read_model(facts: Facts, version: str) -> Model:
    """Build the model from the ontology, the layouts and what the layout rules derived.

    Raises BrokenOntology where a term lacks what it must have or names a term that is not there.
    """
    r = _Reader(facts)
    dimensions = r.table("Dimension", lambda n: _dimension(r, n))
    kinds = _kinds(r)
    roles = r.table("Role", lambda n: _role(r, n))
    model = Model(
        version=version,
        shop=_shop(r),
        kinds=kinds,
        feature_kinds=r.table("FeatureKind", lambda n: _feature_kind(r, n, dimensions.values())),
        features=r.table("Feature", lambda n: Feature(**r.named(n), feature_kind=r.id(n, "ofFeatureKind"))),
        dimensions=dimensions,
        roles=roles,
        joint_kinds=r.table("JointKind", lambda n: _joint_kind(r, n, roles)),
        needs=r.table("Need", lambda n: _need(r, n)),
        renewals=r.table("Renewal", lambda n: _renewal(r, n, roles)),
        resources=r.table("Resource", lambda n: _resource(r, n)),
        remedies=r.table("Remedy", lambda n: _remedy(r, n)),
        consequences=r.table("Consequence", lambda n: _consequence(r, n)),
        operations=r.table("Operation", lambda n: _operation(r, n)),
        consumables=r.table("Consumable", lambda n: Term(**r.named(n))),
        checks=r.table("Check", lambda n: Note(**r.named(n), text=r.text(n, "text"))),
        cautions=r.table("Caution", lambda n: Note(**r.named(n), text=r.text(n, "text"))),
        evidence=r.table("Evidence", lambda n: Evidence(**r.named(n))),
        layouts=r.table("Layout", lambda n: _layout(r, n)),
        units=_units(r),
    )
    _check_names(model)
    return model


def _shop(r: _Reader) -> Shop:
    shops = r.facts.of_type(DEF + "Shop")
    if len(shops) != 1:
        raise BrokenOntology(f"exactly one cp:Shop is needed, with cp:currency and cp:hourlyRate; found {len(shops)}")
    return Shop(currency=r.text(shops[0], "currency"), hourly_rate=Decimal(r.text(shops[0], "hourlyRate")))


def _units(r: _Reader) -> dict[str, Unit]:
    units = {}
    for node in r.facts.of_type(DEF + "Unit"):
        name = node.value.removeprefix(UNIT)
        kept = [k.value.removeprefix(UNIT) for k in r.facts.all(node, DEF + "convertsTo")]
        factor = r.maybe_number(node, "factor") or Decimal(1)
        units[name] = Unit(id=name, symbol=r.text(node, "symbol"), kept_in=kept[0] if kept else name, factor=factor)
    return units


def _dimension(r: _Reader, node: Node) -> Dimension:
    unit = [u.value.removeprefix(UNIT) for u in r.facts.all(node, DEF + "unit")]
    inputs = [identifier(i.value) for head in r.facts.all(node, DEF + "derivedFrom") for i in r.facts.list_items(head)]
    formula = r.maybe_id(node, "derivedBy")
    if formula is not None and formula not in FORMULAS:
        raise BrokenOntology(f"{node} is derived by cp:{formula}, which is no formula; known: {', '.join(FORMULAS)}")
    return Dimension(
        **r.named(node),
        feature_kind=r.id(node, "ofFeatureKind"),
        datatype=Datatype(r.text(node, "datatype")),
        unit=unit[0] if unit else None,
        how_to_measure=r.text(node, "howToMeasure"),
        many=r.flag(node, "takesMany"),
        least=r.maybe_number(node, "least"),
        most=r.maybe_number(node, "most"),
        codes=r.texts(node, "code"),
        pattern=r.maybe_text(node, "pattern"),
        formula=formula,
        derived_from=tuple(inputs),
    )


def _feature_kind(r: _Reader, node: Node, dimensions: Iterable[Dimension]) -> FeatureKind:
    named = r.named(node)
    return FeatureKind(**named, dimensions=tuple(d.id for d in dimensions if d.feature_kind == named["id"]))


def _kinds(r: _Reader) -> dict[str, Kind]:
    nodes = {identifier(n.value): n for n in r.facts.of_type(DEF + "Kind") if isinstance(n, NamedNode)}
    parents = {
        name: tuple(parent for p in r.facts.all(node, RDFS + "subClassOf") if (parent := identifier(p.value)) in nodes)
        for name, node in nodes.items()
    }

    def above(name: str, path: tuple[str, ...] = ()) -> set[str]:
        if name in path:
            raise BrokenOntology(f"cp:{name} is below itself: {' < '.join((*path, name))}")
        return {name}.union(*(above(parent, (*path, name)) for parent in parents[name]))

    kinds = {}
    for name in sorted(nodes):
        ancestors = above(name)
        features = sorted({f for ancestor in ancestors for f in r.ids(nodes[ancestor], "hasFeature")})
        kinds[name] = Kind(
            **r.named(nodes[name]), parents=parents[name], ancestors=tuple(sorted(ancestors)), features=tuple(features)
        )
    return kinds


def _role(r: _Reader, node: Node) -> Role:
    return Role(
        **r.named(node),
        code=r.text(node, "code"),
        kind=r.id(node, "takesKind"),
        stations=r.ids(node, "standsAt"),
        sided=r.flag(node, "isSided"),
        may_be_empty=r.flag(node, "mayBeEmpty"),
        within=r.maybe_id(node, "isWithin"),
    )


def _criterion(r: _Reader, node: Node, critical: bool = False) -> Criterion:
    constants = r.literals(node, "constant")
    constant: Decimal | str | None = None
    if constants:
        numeric = constants[0].datatype.value.rpartition("#")[2] in ("decimal", "integer")
        constant = canonical(Decimal(constants[0].value)) if numeric else constants[0].value
    right = r.maybe_id(node, "rightDimension")
    if (right is None) == (constant is None):
        raise BrokenOntology(f"{node} needs either cp:rightDimension or cp:constant, not both or neither")
    return Criterion(
        id=identifier(node.value),
        left=r.id(node, "leftDimension"),
        comparator=Comparator(r.id(node, "comparesBy")),
        right=right,
        right_high=r.maybe_id(node, "rightDimensionHigh"),
        right_factor=r.maybe_number(node, "rightFactor") or Decimal(1),
        constant=constant,
        lower=r.maybe_number(node, "lower"),
        upper=r.maybe_number(node, "upper"),
        says_clash=r.text(node, "saysClash"),
        says_fit=r.maybe_text(node, "saysFit"),
        safety_critical=critical or r.flag(node, "isSafetyCritical"),
        remedies=r.ids(node, "hasRemedy"),
        evidence=r.ids(node, "hasEvidence"),
    )


def _joint_kind(r: _Reader, node: Node, roles: dict[str, Role]) -> JointKind:
    left_role, right_role = r.id(node, "leftRole"), r.id(node, "rightRole")
    for name in (left_role, right_role):
        if name not in roles:
            raise BrokenOntology(f"{node} names cp:{name}, which is no role")
    critical = r.flag(node, "isSafetyCritical")
    criteria = tuple(_criterion(r, c, critical) for c in r.facts.all(node, DEF + "hasCriterion"))
    if not criteria:
        raise BrokenOntology(f"{node} has no cp:hasCriterion; a joint kind needs at least one")
    return JointKind(
        **r.named(node),
        left_role=left_role,
        right_role=right_role,
        left_kind=r.maybe_id(node, "leftKind") or roles[left_role].kind,
        right_kind=r.maybe_id(node, "rightKind") or roles[right_role].kind,
        left_feature=r.id(node, "leftFeature"),
        right_feature=r.id(node, "rightFeature"),
        scope=Scope(r.id(node, "hasScope")),
        only_at=r.maybe_id(node, "onlyAt"),
        only_on=r.maybe_id(node, "onlyOn"),
        criteria=tuple(sorted(criteria, key=lambda c: c.id)),
        evidence=r.ids(node, "hasEvidence"),
    )


def _condition(r: _Reader, node: Node, word: str, kind: str) -> Condition:
    return Condition(
        kind=r.maybe_id(node, word + "Kind") or kind,
        feature=r.maybe_id(node, word + "Feature"),
        dimension=r.maybe_id(node, word + "Dimension"),
        codes=r.texts(node, word + "Code"),
        lower=r.maybe_number(node, word + "Lower"),
        upper=r.maybe_number(node, word + "Upper"),
    )


def _need(r: _Reader, node: Node) -> Need:
    return Need(
        **r.named(node),
        when_role=r.id(node, "whenRole"),
        when=_condition(r, node, "when", "Part"),
        when_fresh=r.flag(node, "whenFresh"),
        then_role=r.id(node, "thenRole"),
        then=None if r.flag(node, "thenEmpty") else _condition(r, node, "then", "Part"),
        scope=Scope(r.id(node, "hasScope")),
        only_at=r.maybe_id(node, "onlyAt"),
        only_on=r.maybe_id(node, "onlyOn"),
        says=r.text(node, "says"),
        severity=r.id(node, "severity"),
        evidence=r.ids(node, "hasEvidence"),
    )


def _renewal(r: _Reader, node: Node, roles: dict[str, Role]) -> Renewal:
    when_role, then_role = r.id(node, "whenRole"), r.id(node, "thenRole")
    for name in (when_role, then_role):
        if name not in roles:
            raise BrokenOntology(f"{node} names cp:{name}, which is no role")
    return Renewal(
        **r.named(node),
        when_role=when_role,
        when_kind=r.maybe_id(node, "whenKind") or roles[when_role].kind,
        then_role=then_role,
        then_kind=r.maybe_id(node, "thenKind") or roles[then_role].kind,
        scope=Scope(r.id(node, "hasScope")),
        only_at=r.maybe_id(node, "onlyAt"),
        only_on=r.maybe_id(node, "onlyOn"),
        says=r.text(node, "says"),
        severity=r.id(node, "severity"),
        evidence=r.ids(node, "hasEvidence"),
    )


def _resource(r: _Reader, node: Node) -> Resource:
    return Resource(
        **r.named(node),
        draw_feature=r.id(node, "drawFeature"),
        draw_dimension=r.id(node, "drawDimension"),
        supply_feature=r.id(node, "supplyFeature"),
        supply_dimension=r.id(node, "supplyDimension"),
        says=r.text(node, "says"),
        severity=r.id(node, "severity"),
        evidence=r.ids(node, "hasEvidence"),
    )


def _remedy(r: _Reader, node: Node) -> Remedy:
    faces = {}
    for side in ("Left", "Right"):
        nodes = r.facts.all(node, f"{DEF}adapter{side}Criterion")
        faces[side] = _criterion(r, nodes[0]) if nodes else None
    return Remedy(
        **r.named(node),
        operation=r.maybe_id(node, "byOperation"),
        adapter_kind=r.maybe_id(node, "byAdapter"),
        adapter_left_feature=r.maybe_id(node, "adapterLeftFeature"),
        adapter_right_feature=r.maybe_id(node, "adapterRightFeature"),
        adapter_left_criterion=faces["Left"],
        adapter_right_criterion=faces["Right"],
        works_on=Hand(r.id(node, "worksOn")),
        lower=r.maybe_number(node, "remedyLower"),
        upper=r.maybe_number(node, "remedyUpper"),
        left_code=r.maybe_text(node, "remedyLeftCode"),
    )


def _consequence(r: _Reader, node: Node) -> Consequence:
    return Consequence(
        **r.named(node),
        role=r.id(node, "whenRole"),
        when=_condition(r, node, "when", "Part"),
        when_fresh=r.flag(node, "whenFresh"),
        only_at=r.maybe_id(node, "onlyAt"),
        brings=r.ids(node, "brings"),
        severity=r.id(node, "severity"),
        evidence=r.ids(node, "hasEvidence"),
    )


def _operation(r: _Reader, node: Node) -> Operation:
    uses = [
        ConsumableUse(
            consumable=r.id(use, "ofConsumable"),
            quantity=canonical(Decimal(r.text(use, "quantity"))),
            unit=next((u.value.removeprefix(UNIT) for u in r.facts.all(use, DEF + "unit")), None),
        )
        for use in r.facts.all(node, DEF + "uses")
    ]
    return Operation(
        **r.named(node),
        text=r.text(node, "text"),
        hours=canonical(Decimal(r.text(node, "hours"))),
        cautions=r.ids(node, "carriesCaution"),
        uses=tuple(sorted(uses, key=lambda use: use.consumable)),
        before=r.ids(node, "comesBefore"),
    )


def _layout(r: _Reader, node: Node) -> Layout:
    base = node.value + "/"
    found = {p.value.removeprefix(base): p for p in r.facts.of_type(DEF + "Position") if p.value.startswith(base)}

    def last(position: Node, name: str) -> str | None:
        nodes = r.facts.all(position, DEF + name)
        return r.text(nodes[0], "code") if nodes else None

    def ends(pair: Node, first: str, second: str) -> tuple[str, str]:
        a, b = r.facts.all(pair, DEF + first)[0], r.facts.all(pair, DEF + second)[0]
        return a.value.removeprefix(base), b.value.removeprefix(base)

    joints, pairings = [], []
    for pair in r.facts.of_type(DEF + "Joint"):
        if pair.value.startswith(base):
            a, b = ends(pair, "leftPosition", "rightPosition")
            joints.append(
                Joint(id=pair.value.removeprefix(base), joint_kind=r.id(pair, "ofJointKind"), left=a, right=b)
            )
    for pair in r.facts.of_type(DEF + "Pairing"):
        if pair.value.startswith(base):
            a, b = ends(pair, "whenPosition", "thenPosition")
            pairings.append(Pairing(id=pair.value.removeprefix(base), rule=r.id(pair, "ofRule"), when=a, then=b))
    named = r.named(node)
    named["id"] = node.value.removeprefix(ID + "layout/")
    return Layout(
        **named,
        positions=tuple(
            Position(
                path=path,
                role=r.id(position, "ofRole"),
                station=last(position, "atStation") or "",
                side=last(position, "onSide"),
            )
            for path, position in sorted(found.items())
        ),
        joints=tuple(sorted(joints, key=lambda j: j.id)),
        pairings=tuple(sorted(pairings, key=lambda p: p.id)),
    )


def _check_names(model: Model) -> None:
    """Every name used is a name defined, and every feature asked for is one that the kind has."""
    problems: list[str] = []

    def need(where: str, name: str | None, table: Iterable[str], what: str) -> None:
        if name is not None and name not in table:
            problems.append(f"cp:{where} names cp:{name}, which is no {what}")

    def criterion(where: str, c: Criterion, left_feature: str, right_feature: str) -> None:
        for side, feature in ((c.left, left_feature), (c.right, right_feature), (c.right_high, right_feature)):
            need(c.id, side, model.dimensions, "dimension")
            if side in model.dimensions and feature in model.features:
                owner = model.features[feature].feature_kind
                if model.dimensions[side].feature_kind != owner:
                    problems.append(
                        f"cp:{c.id} reads cp:{side} at cp:{feature}, but a cp:{owner} has no such dimension"
                    )
        for remedy in c.remedies:
            need(where, remedy, model.remedies, "remedy")

    def condition(where: str, c: Condition) -> None:
        need(where, c.kind, model.kinds, "kind")
        need(where, c.feature, model.features, "feature")
        need(where, c.dimension, model.dimensions, "dimension")

    for feature in model.features.values():
        need(feature.id, feature.feature_kind, model.feature_kinds, "feature kind")
    for kind in model.kinds.values():
        for name in kind.features:
            need(kind.id, name, model.features, "feature")
    for role in model.roles.values():
        need(role.id, role.kind, model.kinds, "kind")
        need(role.id, role.within, model.roles, "role")
    for joint in model.joint_kinds.values():
        for kind_name, feature_name in ((joint.left_kind, joint.left_feature), (joint.right_kind, joint.right_feature)):
            need(joint.id, kind_name, model.kinds, "kind")
            need(joint.id, feature_name, model.features, "feature")
            if kind_name in model.kinds and feature_name not in model.kinds[kind_name].features:
                problems.append(f"cp:{joint.id} needs cp:{feature_name}, which parts of cp:{kind_name} do not have")
        for c in joint.criteria:
            criterion(joint.id, c, joint.left_feature, joint.right_feature)
    paired: list[Need | Renewal] = [*model.needs.values(), *model.renewals.values()]
    for rule in paired:
        need(rule.id, rule.when_role, model.roles, "role")
        need(rule.id, rule.then_role, model.roles, "role")
    for need_rule in model.needs.values():
        condition(need_rule.id, need_rule.when)
        if need_rule.then is not None:
            condition(need_rule.id, need_rule.then)
    for consequence in model.consequences.values():
        need(consequence.id, consequence.role, model.roles, "role")
        condition(consequence.id, consequence.when)
        for brought in consequence.brings:
            need(
                consequence.id,
                brought,
                {*model.operations, *model.checks, *model.cautions},
                "operation, check or caution",
            )
    for operation in model.operations.values():
        for caution in operation.cautions:
            need(operation.id, caution, model.cautions, "caution")
        for use in operation.uses:
            need(operation.id, use.consumable, model.consumables, "consumable")
    for remedy in model.remedies.values():
        need(remedy.id, remedy.operation, model.operations, "operation")
        need(remedy.id, remedy.adapter_kind, model.kinds, "kind")
    if problems:
        raise BrokenOntology("; ".join(problems))
