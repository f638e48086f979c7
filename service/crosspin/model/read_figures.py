"""Reads formulas, figures and speed tables from the graph, and whether they can be worked out."""

import re
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from graphlib import CycleError, TopologicalSorter
from itertools import combinations

from crosspin.figures.derive import FORMULAS
from crosspin.figures.exact import canonical, rounded
from crosspin.figures.quantity import Quantity
from crosspin.model.figure import (
    Figure,
    FigureInput,
    Formula,
    Gathering,
    Limit,
    Sense,
    Source,
    SpeedTable,
    State,
    Worked,
)
from crosspin.model.reader import BrokenOntology, Reader
from crosspin.model.schema import Datatype, Dimension, Model, Severity
from crosspin.model.terms import DEF, UNIT, identifier
from crosspin.store.graph import Term as Node

SAYS_PLACES = ("{value}", "{limit}")
_NEED_PLACES = ("{value}", "{place}", "{state}")


def read_formulas(r: Reader) -> dict[str, Formula]:
    """Every formula; raises BrokenOntology where one has no calculation or a calculation no formula."""
    found = r.table(
        "Formula",
        lambda n: Formula(**r.named(n), expression=r.text(n, "expression"), evidence=r.ids(n, "hasEvidence")),
    )
    if strange := sorted(found.keys() ^ FORMULAS.keys()):
        raise BrokenOntology(
            f"cp:{strange[0]} is a cp:Formula or a calculation in figures/derive.py, not both; add the other"
        )
    return found


def read_states(r: Reader) -> dict[str, State]:
    """Every state of the vehicle in which figures can be worked out."""
    return r.table("State", lambda n: State(**r.named(n)))


def read_figures(r: Reader) -> dict[str, Figure]:
    """Every figure."""
    return r.table("Figure", lambda n: _figure(r, n))


def read_speed_tables(r: Reader) -> dict[str, SpeedTable]:
    """Every speed table."""
    return r.table("SpeedTable", lambda n: SpeedTable.model_validate({**r.named(n), **_worked(r, n)}))


def _worked(r: Reader, node: Node) -> dict[str, object]:
    return {
        "formula": r.id(node, "computedBy"),
        "inputs": tuple(_input(r, i) for head in r.facts.all(node, DEF + "takes") for i in r.facts.list_items(head)),
        "unit": _unit(r, node),
        "decimals": int(r.text(node, "decimals")),
        "limits": _limits(r, node),
        "evidence": r.ids(node, "hasEvidence"),
    }


def _figure(r: Reader, node: Node) -> Figure:
    return Figure.model_validate(
        {
            **r.named(node),
            **_worked(r, node),
            "stations": r.ids(node, "figuredAt"),
            "sided": r.flag(node, "isSided"),
            "states": r.ids(node, "inState"),
            "when_role": r.maybe_id(node, "whenRole"),
            "when_kind": r.maybe_id(node, "whenKind"),
            "planned_only": r.flag(node, "plannedOnly"),
            "is_step": r.flag(node, "isStep"),
            "brings": r.ids(node, "brings"),
            "safety_critical": r.flag(node, "isSafetyCritical"),
            "severity": r.id(node, "severity"),
            "says_fit": r.maybe_text(node, "saysFit"),
            "noted_at": r.maybe_id(node, "isNotedAt"),
        }
    )


def _limits(r: Reader, node: Node) -> tuple[Limit, ...]:
    """The limits, named as the completion rules name the criteria that they are."""
    severity = r.maybe_choice(node, "severity", Severity)
    found = []
    for sense, word in ((Sense.LEAST, "atLeast"), (Sense.MOST, "atMost")):
        for n in r.facts.all(node, DEF + word):
            phase = r.maybe_id(n, "isMetIn")
            found.append(
                Limit(
                    id=f"{identifier(node.value)}-{word}",
                    sense=sense,
                    source=_source(r, n),
                    factor=r.maybe_number(n, "timesFactor") or Decimal(1),
                    says=r.text(n, "says"),
                    phase=phase,
                    decides=severity is not None and severity.constrains and phase is None,
                    remedies=r.ids(n, "hasRemedy"),
                )
            )
    return tuple(found)


def _unit(r: Reader, node: Node) -> str | None:
    return next((u.value.removeprefix(UNIT) for u in r.facts.all(node, DEF + "unit")), None)


def _input(r: Reader, node: Node) -> FigureInput:
    return FigureInput(name=r.text(node, "asInput"), source=_source(r, node))


def _source(r: Reader, node: Node) -> Source:
    constants: list[Decimal | str] = [
        canonical(Decimal(c.value)) if c.datatype.value.rpartition("#")[2] in ("decimal", "integer") else c.value
        for c in r.literals(node, "constant")
    ]
    return Source(
        label=r.label(node),
        constants=tuple(sorted(constants, key=lambda c: (str(type(c)), c))),
        unit=_unit(r, node),
        roles=r.ids(node, "readsRole"),
        feature=r.maybe_id(node, "readsFeature"),
        dimensions=r.ids(node, "readsDimension"),
        figures=r.ids(node, "readsFigure"),
        only_at=r.maybe_id(node, "onlyAt"),
        only_on=r.maybe_id(node, "onlyOn"),
        gathers=r.maybe_choice(node, "gathers", Gathering) or Gathering.ALIKE,
        as_received=r.flag(node, "asReceived"),
        in_state=r.maybe_id(node, "readInState"),
        where_none=r.maybe_number(node, "whereNone"),
    )


# ---------------------------------------------------------------------- whether they can be worked out


def check_figures(model: Model) -> None:
    """Every formula, parameter, name and unit fits, and no figure waits for itself.

    Raises BrokenOntology naming the terms and what would be right.
    """
    problems = [p for d in model.dimensions.values() if d.formula for p in _derived_problems(model, d)]
    worked: list[Worked] = [*model.figures.values(), *model.speed_tables.values()]
    for one in worked:
        problems.extend(f"cp:{one.id} {problem}" for problem in _worked_problems(model, one))
    for figure in model.figures.values():
        problems.extend(f"cp:{figure.id} {problem}" for problem in _figure_problems(model, figure))
    for need in model.figure_needs.values():
        problems.extend(f"cp:{need.id} {problem}" for problem in _said_problems(need.says))
    problems.extend(_paid_twice(model))
    if problems:
        raise BrokenOntology("; ".join(problems))
    waits = {
        (f.id, state): [
            (name, model.figures[name].taken_in(state, s))
            for s in sources(f)
            for name in s.figures
            if model.figures[name].taken_in(state, s) in model.figures[name].conditions
        ]
        for f in model.figures.values()
        for state in f.conditions
    }
    try:
        TopologicalSorter(waits).prepare()
    except CycleError as error:
        circle = " -> ".join(f"{name} ({state})" if state else name for name, state in error.args[1])
        raise BrokenOntology(f"figures wait for each other in a circle: {circle}") from None


def _paid_twice(model: Model) -> Iterator[str]:
    """Remedies whose work a plan could pay for twice at one place, because two figures, or one in two states, ask for
    it."""
    cured = [(f, {name for limit in f.deciding for name in limit.remedies}) for f in model.figures.values()]
    for figure, remedies in cured:
        if len(figure.conditions) > 1:
            yield from (f"cp:{figure.id} would be paid for once a state by cp:{name}" for name in sorted(remedies))
    for (one, ones), (other, others) in combinations(cured, 2):
        if ones & others and _may_meet(model, one, other):
            name = min(ones & others)
            yield (
                f"cp:{one.id} and cp:{other.id} both have the remedy cp:{name}, so its work would be paid for twice;"
                " let the one that governs have it, and say of the other in which phase it is met (cp:isMetIn)"
            )


def _may_meet(model: Model, one: Figure, other: Figure) -> bool:
    """Whether two figures could both have a meaning at one station."""
    kinds = [model.kinds[f.when_kind] for f in (one, other) if f.when_kind in model.kinds]
    if len(kinds) == 2 and one.when_role == other.when_role:
        first, second = kinds
        if first.id not in second.ancestors and second.id not in first.ancestors:
            return False
    stations = (classes for layout in model.layouts.values() for classes in layout.stations.values())
    return any(all(set(f.stations).intersection(classes) for f in (one, other)) for classes in stations)


def sources(worked: Worked) -> Iterator[Source]:
    """Every source of a figure or table: of its inputs and of its limits."""
    yield from (i.source for i in worked.inputs)
    yield from (limit.source for limit in worked.limits)


def _derived_problems(model: Model, dimension: Dimension) -> Iterator[str]:
    calculation = FORMULAS[dimension.formula or ""]
    wanted = list(calculation.parameters.values())
    if len(wanted) != len(dimension.derived_from):
        yield f"cp:{dimension.id} gives cp:{dimension.formula} {len(dimension.derived_from)} inputs, not {len(wanted)}"
        return
    for quantity, name in zip(wanted, dimension.derived_from, strict=True):
        if name not in model.dimensions:
            yield f"cp:{dimension.id} is derived from cp:{name}, which is no dimension"
        else:
            yield from _unit_problem(f"cp:{dimension.id} takes cp:{name}", quantity, model.dimensions[name].unit)
    yield from _unit_problem(f"cp:{dimension.id}", calculation.result, dimension.unit)


def _said_problems(says: str) -> Iterator[str]:
    """What is wrong with the sentence of a need that a figure triggers."""
    if "{value}" not in says:
        yield "does not say {value}"
    for word in re.findall(r"\{[^}]*\}?", says):
        if word not in _NEED_PLACES:
            yield f"says {word}, which nothing fills; known: {', '.join(_NEED_PLACES)}"


def _unit_problem(what: str, quantity: Quantity, unit: str | None) -> Iterator[str]:
    if not quantity.any_unit and quantity.unit != unit:
        yield f"{what} in {unit or 'no unit'}, where the formula has {quantity.unit or 'no unit'}"


def _worked_problems(model: Model, one: Worked) -> Iterator[str]:
    if one.formula not in FORMULAS:
        yield f"is computed by cp:{one.formula}, which is no formula; known: {', '.join(sorted(FORMULAS))}"
        return
    calculation = FORMULAS[one.formula]
    given = [i.name for i in one.inputs]
    if sorted(given) != sorted(calculation.parameters):
        wanted = ", ".join(calculation.parameters)
        yield f"gives cp:{one.formula} the inputs {', '.join(given) or 'none'}; it takes {wanted}"
        return
    for i in one.inputs:
        yield from _source_problems(model, i.name, i.source, calculation.parameters[i.name])
        if isinstance(one, Figure) and (len(i.source.constants) > 1 or len(i.source.dimensions) > 1):
            yield f"has several values for {i.name}; only a table goes through several"
    if one.unit is not None and one.unit not in model.units:
        yield f"is told in {one.unit}, which is no unit of units.ttl"
    yield from _unit_problem("is told", calculation.result, one.unit)
    yield from _mixed_units(model, one, calculation.parameters)
    yield from _limit_problems(model, one)
    yield from _state_problems(model, one)


def _state_problems(model: Model, one: Worked) -> Iterator[str]:
    """States that there are not, and figures read in a state in which they are not worked out."""
    states = one.states if isinstance(one, Figure) else ()
    for name in (*states, *(s.in_state for s in sources(one) if s.in_state is not None)):
        if name not in model.states:
            yield f"names cp:{name}, which is no state; known: {', '.join(model.states)}"
    for source in sources(one):
        if source.where_none is not None and source.constants:
            yield "has cp:whereNone beside a cp:constant, which is always there"
        if source.in_state is not None and not source.figures:
            yield f"names cp:{source.in_state} where it reads no figure; a reading has no state"
        read = [model.figures[name] for name in source.figures if name in model.figures]
        for figure in read:
            if source.in_state is not None and source.in_state not in figure.states:
                yield f"reads cp:{figure.id} in cp:{source.in_state}, in which it is not worked out"
        if source.in_state is None and source.nothing is None and read:
            for state in states or (None,):
                if not any(figure.taken_in(state, source) in figure.conditions for figure in read):
                    how = (
                        f"in cp:{state}, in which it is not worked out" if state else "and does not say in which state"
                    )
                    yield f"reads {' or '.join(f'cp:{figure.id}' for figure in read)} {how}"


def _limit_problems(model: Model, one: Worked) -> Iterator[str]:
    for sense in Sense:
        if sum(limit.sense is sense for limit in one.limits) > 1:
            yield f"has two limits at {sense}; give it one"
    for limit in one.limits:
        if limit.phase is not None and limit.phase not in model.phases:
            yield f"has a limit met in cp:{limit.phase}, which is no phase"
        for name in limit.remedies:
            if name not in model.remedies:
                yield f"has a limit with the remedy cp:{name}, which is none"
            elif model.remedies[name].adapter_kind is not None:
                yield f"has a limit with the remedy cp:{name}, which takes an adapter; only work cures a figure"
            elif model.remedies[name].operation is None or model.remedies[name].at_role is None:
                yield f"has a limit with the remedy cp:{name}, which lacks cp:byOperation or cp:worksAtRole"
        yield from _source_problems(model, "its limit", limit.source, Quantity(unit=one.unit))
        if len(limit.source.constants) > 1 or len(limit.source.dimensions) > 1:
            yield "has a limit of several values"
        yield from _constant_problems(one, limit)
        for place in SAYS_PLACES:
            if place not in limit.says:
                yield f"has a limit whose sentence does not say {place}"


def _constant_problems(one: Worked, limit: Limit) -> Iterator[str]:
    """Constants that rules and search could compare differently: both take a constant as it is written."""
    for constant in limit.source.constants:
        if isinstance(constant, str):
            yield f'has the limit "{constant}", which is no number'
        elif rounded(constant, one.decimals) != constant:
            yield f"has the limit {constant}, which is finer than its {one.decimals} decimals; round it, or give more"
    if limit.source.constants and limit.factor != 1:
        yield f"has a constant limit with cp:timesFactor {limit.factor}; write down what they come to"


def _mixed_units(model: Model, one: Worked, parameters: Mapping[str, Quantity]) -> Iterator[str]:
    """Where the formula takes any unit, its such inputs must share one."""
    units = {unit for i in one.inputs if parameters[i.name].any_unit for unit in _units_of(model, i.source)}
    if len(units) > 1:
        yield f"puts {' and '.join(sorted(str(u) for u in units))} together"


def _units_of(model: Model, source: Source) -> set[str | None]:
    """Every unit that a source may give a value in."""
    if source.constants:
        return {source.unit}
    figures = {model.figures[name].unit for name in source.figures if name in model.figures}
    return figures | {model.dimensions[name].unit for name in source.dimensions if name in model.dimensions}


def _source_problems(model: Model, name: str, source: Source, quantity: Quantity) -> Iterator[str]:
    ways = (bool(source.constants), bool(source.dimensions), bool(source.figures))
    if sum(ways) != 1:
        yield f"takes {name} from {sum(ways)} places; give cp:constant, cp:readsDimension or cp:readsFigure"
        return
    tables: tuple[tuple[Sequence[str | None], Mapping[str, object], str], ...] = (
        (source.roles, model.roles, "role"),
        ((source.feature,), model.features, "feature"),
        (source.dimensions, model.dimensions, "dimension"),
        (source.figures, model.figures, "figure"),
        ((source.unit,), model.units, "unit of units.ttl"),
    )
    unknown = [
        f"{name} names {n}, which is no {what}"
        for names, table, what in tables
        for n in names
        if n is not None and n not in table
    ]
    if unknown:
        yield from unknown
        return
    if source.dimensions:
        yield from _reading_problems(model, name, source, quantity)
    for unit in sorted(_units_of(model, source), key=str):
        yield from _unit_problem(f"takes {name}", quantity, unit)


def _reading_problems(model: Model, name: str, source: Source, quantity: Quantity) -> Iterator[str]:
    if source.feature is None:
        yield f"reads {', '.join(source.dimensions)} for {name} without a cp:readsFeature"
        return
    kind = model.features[source.feature].feature_kind
    for dimension in (model.dimensions[d] for d in source.dimensions):
        if dimension.feature_kind != kind:
            yield f"reads cp:{dimension.id} at cp:{source.feature}, but a cp:{kind} has no such dimension"
        if quantity.is_code != (dimension.datatype is Datatype.CODE):
            yield f"reads cp:{dimension.id} for {name}, which is {'not ' if quantity.is_code else ''}a code"
    for role in (model.roles[name] for name in source.roles):
        below = [k for k in model.kinds.values() if role.kind in k.ancestors]
        if not any(source.feature in k.features for k in below):
            yield f"reads cp:{source.feature} on cp:{role.id}, which takes no part that has it"


def _figure_problems(model: Model, figure: Figure) -> Iterator[str]:
    if (figure.says_fit is None) != (figure.noted_at is None):
        yield "has a cp:saysFit without a cp:isNotedAt, or the other way round"
    elif figure.says_fit is not None and "{value}" not in figure.says_fit:
        yield "has a cp:saysFit that does not say {value}"
    if figure.noted_at is not None and figure.noted_at not in model.roles:
        yield f"is noted at cp:{figure.noted_at}, which is no role"
    if not figure.stations:
        yield "has no cp:figuredAt"
    if (figure.when_role is None) != (figure.when_kind is None):
        yield "has a cp:whenRole without a cp:whenKind, or the other way round"
    for name, table, what in ((figure.when_role, model.roles, "role"), (figure.when_kind, model.kinds, "kind")):
        if name is not None and name not in table:
            yield f"names cp:{name}, which is no {what}"
    for source in sources(figure):
        many = [d for d in source.dimensions if d in model.dimensions and model.dimensions[d].many]
        if many and source.gathers is Gathering.ALIKE:
            yield f"reads cp:{many[0]}, of which there are many, without cp:gathers"
    known = {*model.operations, *model.checks, *model.cautions}
    for brought in figure.brings:
        if brought not in known:
            yield f"brings cp:{brought}, which is no operation, check or caution"
