"""Whether the cost of a plan has room in the one number that the search counts it in, and which prices are at fault
where it has not."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from decimal import ROUND_FLOOR, Decimal

from crosspin.catalog.amounts import MOST_DECIMALS
from crosspin.catalog.catalog import Catalog, PartClass
from crosspin.catalog.usable import Unusable, dear_parts, finest_readings, price_decimals
from crosspin.figures.exact import spell
from crosspin.knockon.functions import most_lost
from crosspin.knockon.limits import COST_BITS, SearchLimit
from crosspin.knockon.mating import dearest_repairs, operation_money
from crosspin.knockon.tally import Tally
from crosspin.knockon.weights import MINOR_UNIT, Weights, decimals_of, whole
from crosspin.model.figure import Figure
from crosspin.model.schema import Layout, Model, Need, Renewal, Resource
from crosspin.vehicle.reach import Reach

Classes = Mapping[str, Sequence[PartClass]]
"""The classes of the orderable parts of each role of a layout."""

_COARSEST = -12  # decimals


def classes_of(model: Model, catalog: Catalog, layout: Layout) -> dict[str, tuple[PartClass, ...]]:
    """The classes of the orderable parts of each role of a layout."""
    return {role: catalog.classes(model, model.roles[role].kind) for role in sorted({p.role for p in layout.positions})}


def weigh(model: Model, catalog: Catalog, layout: Layout, classes: Classes) -> Weights:
    """The weights for plans of a layout; hundredths are given up where sums are too large for them and every amount
    is in whole tens, thousands and so on.  Raises SearchLimit where there is no room even so."""
    work = _work(model)
    decimals = max(MINOR_UNIT, decimals_of(work))
    money = _dearest_plan(model, catalog, layout, classes)
    try:
        return _weights(model, catalog, layout, decimals, money)
    except SearchLimit:
        coarser = max(decimals_of(work, _COARSEST), price_decimals(catalog))
        return _weights(model, catalog, layout, coarser, money)


def unusable(model: Model, catalog: Catalog) -> tuple[Unusable, ...]:
    """What the search could not count with, whatever it is asked; cheap to find."""
    found: dict[Unusable, None] = {}
    for _, layout in sorted(model.layouts.items()):
        try:
            weigh(model, catalog, layout, classes_of(model, catalog, layout))
        except SearchLimit as limit:
            found |= dict.fromkeys(_too_dear(model, catalog, layout, limit))
    for _, resource in sorted(model.resources.items()):
        try:
            Tally(model, catalog, resource)
        except SearchLimit:
            found |= dict.fromkeys(_too_fine(model, catalog, resource))
    return tuple(found)


def _too_fine(model: Model, catalog: Catalog, resource: Resource) -> list[Unusable]:
    """The parts whose readings have so many decimals that a resource cannot be summed up."""
    draw, supply = (
        (resource.draw_feature, resource.draw_dimension),
        (resource.supply_feature, resource.supply_dimension),
    )
    return [
        Unusable(
            f"the reading has too many decimals to be summed up ({resource.label})",
            f"Round it to {MOST_DECIMALS} decimals and import {source} again",
            source,
            part,
            f"{feature}.{dimension}",
        )
        for feature, dimension in dict.fromkeys((draw, supply))
        for source, part in finest_readings(catalog, model.features[feature].feature_kind, dimension, MOST_DECIMALS)
    ]


def _weights(model: Model, catalog: Catalog, layout: Layout, decimals: int, money: Decimal) -> Weights:
    rules: dict[str, Need | Renewal] = {**model.needs, **model.renewals}
    limited = _limited(model, layout)
    held_to = [
        *(joint for joint in layout.joints if model.joint_kinds[joint.joint_kind].constraining),
        *(pairing for pairing in layout.pairings if rules[pairing.rule].severity.constrains),
        *(resource for resource in model.resources.values() if resource.severity.constrains),
        *Reach(model, layout).calls,
    ]
    return Weights.for_bounds(
        decimals,
        money=whole(money, decimals),
        unknown=len(held_to) + sum(number for _, number in limited),
        extra=len(layout.positions),
        lost=most_lost(model, catalog, layout.positions),
        unsafe=_most_unsafe(model, layout),
    )


def _most_unsafe(model: Model, layout: Layout) -> int:
    """How many joints and figures there are that a missing reading of a new part would leave unsafe."""
    kinds = {
        kind.id
        for kind in model.joint_kinds.values()
        if any(criterion.safety_critical for criterion in kind.constraining)
    }
    joints = sum(joint.joint_kind in kinds for joint in layout.joints)
    return joints + sum(number for figure, number in _limited(model, layout) if figure.safety_critical)


def _limited(model: Model, layout: Layout) -> list[tuple[Figure, int]]:
    """The figures with limits that decide, and at how many places each is worked out."""
    reach = Reach(model, layout)
    return [(figure, len(reach.places(figure))) for figure in model.figures.values() if figure.deciding]


def _work(model: Model) -> list[Decimal]:
    return [operation_money(model, remedy) for remedy in model.remedies.values()]


def _dearest_plan(model: Model, catalog: Catalog, layout: Layout, classes: Classes) -> Decimal:
    """What no plan of a layout costs more than."""
    adapters = {r.adapter_kind for r in model.remedies.values() if r.adapter_kind is not None}
    dearest = {role: _dearest(found) for role, found in classes.items()}
    parts = sum((dearest[position.role] for position in layout.positions), Decimal(0))
    return parts + _repairs(model, layout, {kind: _dearest(catalog.classes(model, kind)) for kind in adapters})


def _repairs(model: Model, layout: Layout, dearest_adapters: Mapping[str, Decimal]) -> Decimal:
    joints = Counter(joint.joint_kind for joint in layout.joints)
    costs = (n * dearest_repairs(model, model.joint_kinds[kind], dearest_adapters) for kind, n in joints.items())
    cures = (
        number * max((operation_money(model, model.remedies[name]) for name in limit.remedies), default=Decimal(0))
        for figure, number in _limited(model, layout)
        for limit in figure.deciding
    )
    return sum(costs, Decimal(0)) + sum(cures, Decimal(0))


def _dearest(classes: Iterable[PartClass]) -> Decimal:
    return Decimal(max((alike.dearest for alike in classes), default=0)).scaleb(-MINOR_UNIT)


def _too_dear(model: Model, catalog: Catalog, layout: Layout, limit: SearchLimit) -> list[Unusable]:
    """The parts whose prices leave no room for a layout."""
    most = _always_fits(model, catalog, layout)
    kinds = {model.roles[position.role].kind for position in layout.positions}
    kinds |= {r.adapter_kind for r in model.remedies.values() if r.adapter_kind is not None}
    below = {kind for above in kinds for kind in model.kinds_below[above]}
    found = dear_parts(catalog, below, most) if most >= 0 else []
    if not found:
        rate = f"an hour of work at {spell(model.shop.hourly_rate)} {model.shop.currency}"
        return [Unusable(f"{rate} is more than the cost of a plan has room for ({limit})", "Lower cp:hourlyRate")]
    return [
        Unusable(
            f"{price:.2f} is too high: the cost of a plan has no room for it",
            f"Check the decimal point and import {source} again; {most} always fits, and more does where all prices"
            " are in whole tens, hundreds or thousands",
            source,
            part,
            "price",
        )
        for source, part, price in found
    ]


def _always_fits(model: Model, catalog: Catalog, layout: Layout) -> Decimal:
    """The price that every part may have at once, whatever decimals it has; negative where work alone is too much."""
    decimals = max(MINOR_UNIT, decimals_of(_work(model)))
    least = _weights(model, catalog, layout, decimals, Decimal(0))
    room = (1 << COST_BITS) // (least.unsafe * (_most_unsafe(model, layout) + 1))
    money = Decimal((1 << room.bit_length() - 1) - 1).scaleb(-decimals)
    adapters = sum(
        any(model.remedies[name].adapter_kind is not None for name in criterion.remedies)
        for joint in layout.joints
        for criterion in model.joint_kinds[joint.joint_kind].constraining
    )
    share = (money - _repairs(model, layout, {})) / (len(layout.positions) + adapters)
    return share.quantize(Decimal(1).scaleb(-MINOR_UNIT), ROUND_FLOOR)
