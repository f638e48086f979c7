"""Reads the ontology from the graph into plain objects."""

from collections.abc import Iterable
from decimal import Decimal

from pyoxigraph import NamedNode

from crosspin.figures.derive import FORMULAS
from crosspin.figures.exact import canonical
from crosspin.model.check import check_names
from crosspin.model.faces import read_deprecated, read_marks, read_other_words, read_plotted, read_written_rules
from crosspin.model.read_circuits import check_wiring, read_wiring
from crosspin.model.read_conditions import read_condition, read_figure_need
from crosspin.model.read_figures import check_figures, read_figures, read_formulas, read_speed_tables, read_states
from crosspin.model.read_labour import read_caution, read_check, read_operation, read_phases
from crosspin.model.reader import RDF_TYPE, RDFS, BrokenOntology, Reader
from crosspin.model.schema import (
    Comparator,
    Consequence,
    Criterion,
    Datatype,
    Dimension,
    Evidence,
    Feature,
    FeatureKind,
    Function,
    Hand,
    Joint,
    JointKind,
    Kind,
    Layout,
    Model,
    Need,
    Pairing,
    Position,
    Purpose,
    Remedy,
    Renewal,
    Resource,
    Role,
    Scope,
    Severity,
    Shop,
    Term,
    Unit,
)
from crosspin.model.terms import DEF, ID, UNIT, identifier
from crosspin.store.graph import Facts
from crosspin.store.graph import Term as Node


def read_model(facts: Facts, version: str, language: str = "en") -> Model:
    """Build the model from the ontology, the layouts and what the layout rules derived, with its words in a
    language where they are written in it, and in English where they are not.

    Raises BrokenOntology where a term lacks what it must have or names a term that is not there.
    """
    r = Reader(facts, language)
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
        needs=r.table("Need", lambda n: _need(r, n), lambda n: not r.ids(n, "whenFigure")),
        figure_needs=r.table("Need", lambda n: read_figure_need(r, n), lambda n: bool(r.ids(n, "whenFigure"))),
        renewals=r.table("Renewal", lambda n: _renewal(r, n, roles)),
        resources=r.table("Resource", lambda n: _resource(r, n)),
        remedies=r.table("Remedy", lambda n: _remedy(r, n)),
        consequences=r.table("Consequence", lambda n: _consequence(r, n)),
        operations=r.table("Operation", lambda n: read_operation(r, n)),
        consumables=r.table("Consumable", lambda n: Term(**r.named(n))),
        checks=r.table("Check", lambda n: read_check(r, n)),
        cautions=r.table("Caution", lambda n: read_caution(r, n)),
        evidence=r.table("Evidence", lambda n: Evidence(**r.named(n), from_memory=r.flag(n, "isFromMemory"))),
        layouts=r.table("Layout", lambda n: _layout(r, n)),
        units=_units(r),
        formulas=read_formulas(r),
        states=read_states(r),
        figures=read_figures(r),
        speed_tables=read_speed_tables(r),
        functions=r.table("Function", lambda n: _function(r, n)),
        purposes=r.table("Purpose", lambda n: Purpose(**r.named(n), says_unfit=r.text(n, "saysUnfit"))),
        marks=read_marks(r),
        plotted=read_plotted(r),
        other_words=read_other_words(r),
        phases=read_phases(r),
        rules=read_written_rules(r),
        deprecated=read_deprecated(r),
        wiring=read_wiring(r),
        tools=r.table("Tool", lambda n: Term(**r.named(n))),
    )
    check_names(model)
    check_figures(model)
    check_wiring(model.wiring, model.roles, model.kinds, model.features, model.dimensions)
    return model


def _shop(r: Reader) -> Shop:
    shops = r.facts.of_type(DEF + "Shop")
    if len(shops) != 1:
        raise BrokenOntology(f"exactly one cp:Shop is needed, with cp:currency and cp:hourlyRate; found {len(shops)}")
    return Shop(currency=r.text(shops[0], "currency"), hourly_rate=Decimal(r.text(shops[0], "hourlyRate")))


def _units(r: Reader) -> dict[str, Unit]:
    units = {}
    for node in r.facts.of_type(DEF + "Unit"):
        name = node.value.removeprefix(UNIT)
        kept = [k.value.removeprefix(UNIT) for k in r.facts.all(node, DEF + "convertsTo")]
        factor = r.maybe_number(node, "factor") or Decimal(1)
        units[name] = Unit(id=name, symbol=r.text(node, "symbol"), kept_in=kept[0] if kept else name, factor=factor)
    return units


def _dimension(r: Reader, node: Node) -> Dimension:
    unit = [u.value.removeprefix(UNIT) for u in r.facts.all(node, DEF + "unit")]
    inputs = [identifier(i.value) for head in r.facts.all(node, DEF + "derivedFrom") for i in r.facts.list_items(head)]
    formula = r.maybe_id(node, "derivedBy")
    if formula is not None and formula not in FORMULAS:
        raise BrokenOntology(f"{node} is derived by cp:{formula}, which is no formula; known: {', '.join(FORMULAS)}")
    return Dimension(
        **r.named(node),
        feature_kind=r.id(node, "ofFeatureKind"),
        datatype=r.choice(node, "datatype", Datatype),
        unit=unit[0] if unit else None,
        how_to_measure=r.text(node, "howToMeasure"),
        many=r.flag(node, "takesMany"),
        more_is_better=r.flag(node, "moreIsBetter"),
        least=r.maybe_number(node, "least"),
        most=r.maybe_number(node, "most"),
        codes=r.texts(node, "code"),
        pattern=r.maybe_text(node, "pattern"),
        formula=formula,
        derived_from=tuple(inputs),
    )


def _feature_kind(r: Reader, node: Node, dimensions: Iterable[Dimension]) -> FeatureKind:
    named = r.named(node)
    return FeatureKind(**named, dimensions=tuple(d.id for d in dimensions if d.feature_kind == named["id"]))


def _kinds(r: Reader) -> dict[str, Kind]:
    nodes = {identifier(n.value): n for n in r.facts.of_type(DEF + "Kind") if isinstance(n, NamedNode)}
    parents = {
        name: tuple(parent for p in r.facts.all(node, RDFS + "subClassOf") if (parent := identifier(p.value)) in nodes)
        for name, node in nodes.items()
    }

    def above(name: str, path: tuple[str, ...] = ()) -> set[str]:
        if name in path:
            raise BrokenOntology(f"cp:{name} is below itself: {' < '.join((*path, name))}")
        return {name}.union(*(above(parent, (*path, name)) for parent in parents[name]))

    def nearest(name: str, word: str) -> tuple[str, ...]:
        own = r.ids(nodes[name], word)
        return own or tuple(sorted({term for parent in parents[name] for term in nearest(parent, word)}))

    kinds = {}
    for name in sorted(nodes):
        ancestors = above(name)
        features, functions, under = (
            tuple(sorted({term for ancestor in ancestors for term in r.ids(nodes[ancestor], word)}))
            for word in ("hasFeature", "givesFunction", "liesUnder")
        )
        kinds[name] = Kind(
            **r.named(nodes[name]),
            parents=parents[name],
            ancestors=tuple(sorted(ancestors)),
            features=features,
            functions=functions,
            under=under,
            comes_off_by=nearest(name, "comesOffBy"),
            goes_back_by=nearest(name, "goesBackBy"),
            goes_on_by=nearest(name, "goesOnBy"),
            goes_for_good_by=nearest(name, "goesForGoodBy"),
        )
    return kinds


def _function(r: Reader, node: Node) -> Function:
    return Function(
        **r.named(node),
        scope=r.choice(node, "hasScope", Scope),
        says=r.text(node, "says"),
        says_lost=r.text(node, "saysLost"),
        says_gained=r.text(node, "saysGained"),
        evidence=r.ids(node, "hasEvidence"),
    )


def _role(r: Reader, node: Node) -> Role:
    return Role(
        **r.named(node),
        code=r.text(node, "code"),
        kind=r.id(node, "takesKind"),
        stations=r.ids(node, "standsAt"),
        sided=r.flag(node, "isSided"),
        may_be_empty=r.flag(node, "mayBeEmpty"),
        within=r.maybe_id(node, "isWithin"),
        under=r.ids(node, "liesUnder"),
        loose=r.flag(node, "liesLoose"),
        needed_to=r.ids(node, "isNeededTo"),
    )


def _criterion(r: Reader, node: Node, critical: bool = False, severity: Severity | None = None) -> Criterion:
    constants = r.literals(node, "constant")
    constant: Decimal | str | None = None
    if constants:
        numeric = constants[0].datatype.value.rpartition("#")[2] in ("decimal", "integer")
        constant = canonical(Decimal(constants[0].value)) if numeric else constants[0].value
    critical = critical or r.flag(node, "isSafetyCritical")
    unsaid = Severity.HURTS_SOMEONE if critical else Severity.STOPS_ASSEMBLY
    right = r.maybe_id(node, "rightDimension")
    if (right is None) == (constant is None):
        raise BrokenOntology(f"{node} needs either cp:rightDimension or cp:constant, not both or neither")
    return Criterion(
        id=identifier(node.value),
        left=r.id(node, "leftDimension"),
        comparator=r.choice(node, "comparesBy", Comparator),
        right=right,
        right_high=r.maybe_id(node, "rightDimensionHigh"),
        right_factor=r.maybe_number(node, "rightFactor") or Decimal(1),
        constant=constant,
        lower=r.maybe_number(node, "lower"),
        upper=r.maybe_number(node, "upper"),
        says_clash=r.text(node, "saysClash"),
        says_fit=r.maybe_text(node, "saysFit"),
        safety_critical=critical,
        severity=r.maybe_choice(node, "severity", Severity) or severity or unsaid,
        remedies=r.ids(node, "hasRemedy"),
        evidence=r.ids(node, "hasEvidence"),
    )


def _joint_kind(r: Reader, node: Node, roles: dict[str, Role]) -> JointKind:
    left_role, right_role = r.id(node, "leftRole"), r.id(node, "rightRole")
    for name in (left_role, right_role):
        if name not in roles:
            raise BrokenOntology(f"{node} names cp:{name}, which is no role")
    critical = r.flag(node, "isSafetyCritical")
    severity = r.maybe_choice(node, "severity", Severity)
    criteria = tuple(_criterion(r, c, critical, severity) for c in r.facts.all(node, DEF + "hasCriterion"))
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
        scope=r.choice(node, "hasScope", Scope),
        only_at=r.maybe_id(node, "onlyAt"),
        only_on=r.maybe_id(node, "onlyOn"),
        criteria=tuple(sorted(criteria, key=lambda c: c.id)),
        evidence=r.ids(node, "hasEvidence"),
    )


def _need(r: Reader, node: Node) -> Need:
    return Need(
        **r.named(node),
        when_role=r.id(node, "whenRole"),
        when=read_condition(r, node, "when", "Part"),
        when_fresh=r.flag(node, "whenFresh"),
        then_role=r.id(node, "thenRole"),
        then=None if r.flag(node, "thenEmpty") else read_condition(r, node, "then", "Part"),
        scope=r.choice(node, "hasScope", Scope),
        only_at=r.maybe_id(node, "onlyAt"),
        only_on=r.maybe_id(node, "onlyOn"),
        says=r.text(node, "says"),
        severity=r.choice(node, "severity", Severity),
        evidence=r.ids(node, "hasEvidence"),
    )


def _renewal(r: Reader, node: Node, roles: dict[str, Role]) -> Renewal:
    when_role, then_role = r.id(node, "whenRole"), r.id(node, "thenRole")
    for name in (when_role, then_role):
        if name not in roles:
            raise BrokenOntology(f"{node} names cp:{name}, which is no role")
    if r.flag(node, "whenDisturbed") and r.maybe_id(node, "whenKind"):
        raise BrokenOntology(
            f"{node} has cp:whenDisturbed and cp:whenKind; leave cp:whenKind out, as whatever comes off counts"
        )
    return Renewal(
        **r.named(node),
        when_role=when_role,
        when_kind=r.maybe_id(node, "whenKind") or roles[when_role].kind,
        then_role=then_role,
        then_kind=r.maybe_id(node, "thenKind") or roles[then_role].kind,
        scope=r.choice(node, "hasScope", Scope),
        only_at=r.maybe_id(node, "onlyAt"),
        only_on=r.maybe_id(node, "onlyOn"),
        when_disturbed=r.flag(node, "whenDisturbed"),
        says=r.text(node, "says"),
        severity=r.choice(node, "severity", Severity),
        evidence=r.ids(node, "hasEvidence"),
    )


def _resource(r: Reader, node: Node) -> Resource:
    return Resource(
        **r.named(node),
        draw_feature=r.id(node, "drawFeature"),
        draw_dimension=r.id(node, "drawDimension"),
        supply_feature=r.id(node, "supplyFeature"),
        supply_dimension=r.id(node, "supplyDimension"),
        says=r.text(node, "says"),
        severity=r.choice(node, "severity", Severity),
        evidence=r.ids(node, "hasEvidence"),
    )


def _remedy(r: Reader, node: Node) -> Remedy:
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
        works_on=r.maybe_choice(node, "worksOn", Hand) or Hand.LEFT,
        at_role=r.maybe_id(node, "worksAtRole"),
        lower=r.maybe_number(node, "remedyLower"),
        upper=r.maybe_number(node, "remedyUpper"),
        left_code=r.maybe_text(node, "remedyLeftCode"),
    )


def _consequence(r: Reader, node: Node) -> Consequence:
    return Consequence(
        **r.named(node),
        role=r.id(node, "whenRole"),
        when=read_condition(r, node, "when", "Part"),
        when_fresh=r.flag(node, "whenFresh"),
        when_taken_out=r.flag(node, "whenTakenOut"),
        only_at=r.maybe_id(node, "onlyAt"),
        brings=r.ids(node, "brings"),
        severity=r.id(node, "severity"),
        evidence=r.ids(node, "hasEvidence"),
    )


def _classes(r: Reader, station: Node) -> tuple[str, ...]:
    known = {identifier(c.value) for c in r.facts.of_type(DEF + "StationClass")}
    return tuple(sorted(known & {identifier(t.value) for t in r.facts.all(station, RDF_TYPE)}))


def _layout(r: Reader, node: Node) -> Layout:
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
    stations = r.facts.all(node, DEF + "hasStation")
    return Layout(
        id=node.value.removeprefix(ID + "layout/"),
        label=named["label"],
        definition=named["definition"],
        stations={r.text(s, "code"): _classes(r, s) for s in stations},
        station_labels={r.text(s, "code"): r.label(s) for s in stations},
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
