"""Whether the ontology hangs together: every name used is one defined, of the right sort."""

from collections.abc import Iterable, Mapping

from crosspin.model.labour import after
from crosspin.model.reader import BrokenOntology
from crosspin.model.schema import Condition, Criterion, Model, Need, Renewal


def check_names(model: Model) -> None:
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
        for name in kind.under:
            need(kind.id, name, {*model.roles, *model.kinds}, "role or kind")
        for name in (*kind.comes_off_by, *kind.goes_back_by, *kind.goes_on_by, *kind.goes_for_good_by):
            need(kind.id, name, model.operations, "operation")
    for role in model.roles.values():
        need(role.id, role.kind, model.kinds, "kind")
        need(role.id, role.within, model.roles, "role")
        for name in role.under:
            need(role.id, name, {*model.roles, *model.kinds}, "role or kind")
        for name in role.needed_to:
            need(role.id, name, model.purposes, "purpose")
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
    for called in model.figure_needs.values():
        need(called.id, called.figure, model.figures, "figure")
        need(called.id, called.then_role, model.roles, "role")
        if called.then is not None:
            condition(called.id, called.then)
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
    problems += check_work(model)
    problems += check_handling(model) if not problems else []
    for remedy in model.remedies.values():
        need(remedy.id, remedy.operation, model.operations, "operation")
        need(remedy.id, remedy.adapter_kind, model.kinds, "kind")
    if problems:
        raise BrokenOntology("; ".join(problems))


def check_handling(model: Model) -> list[str]:
    """Work that fits what lies under something in a later phase than that is fitted, or takes it off in an earlier one:
    no plan with both has an order."""

    def late(first: str, second: str) -> bool:
        phases = [model.phases[model.operations[name].phase].number for name in (first, second)]
        return phases[0] > phases[1]

    problems: dict[str, None] = {}
    for role in model.roles.values():
        for kind in (model.kinds[name] for name in model.kinds_below[role.kind]):
            for name in {*role.under, *kind.under}:
                over = model.kinds[model.roles[name].kind if name in model.roles else name]
                for mine in kind.goes_on_by:
                    for theirs in (*over.goes_back_by, *over.goes_on_by):
                        if late(mine, theirs):
                            problems[
                                f"cp:{kind.id} goes on by cp:{mine} and lies under cp:{name}, which goes on by"
                                f" cp:{theirs} in an earlier phase"
                            ] = None
                for mine in kind.comes_off_by:
                    for theirs in over.comes_off_by:
                        if late(theirs, mine):
                            problems[
                                f"cp:{kind.id} comes off by cp:{mine} and lies under cp:{name}, which comes off by"
                                f" cp:{theirs} in a later phase"
                            ] = None
    return sorted(problems)


def check_work(model: Model) -> list[str]:
    """What is wrong with the operations: names that are not there, and orders that nobody could follow."""
    problems: list[str] = []
    for operation in model.operations.values():
        others = (*operation.before, *operation.entails, *operation.spared_by)
        used: list[tuple[str, Mapping[str, object], str]] = [
            *((name, model.operations, "operation") for name in others),
            *((name, model.cautions, "caution") for name in operation.cautions),
            *((name, model.tools, "tool") for name in operation.tools),
            *((name, model.roles, "role") for name in operation.wants_off),
            *((use.consumable, model.consumables, "consumable") for use in operation.uses),
            (operation.phase, model.phases, "phase"),
        ]
        unknown = [f"cp:{operation.id} names cp:{name}, which is no {what}" for name, t, what in used if name not in t]
        problems += unknown
        if unknown:
            continue
        for later in operation.before:
            phase, other = model.phases[operation.phase], model.phases[model.operations[later].phase]
            if phase.number > other.number:
                problems.append(f"cp:{operation.id} is to come before cp:{later}, whose phase comes first")
        if operation.id in after(model.operations, operation.id):
            problems.append(f"cp:{operation.id} waits for itself by way of cp:comesBefore")
    for check in model.checks.values():
        if check.phase not in model.phases:
            problems.append(f"cp:{check.id} names cp:{check.phase}, which is no phase")
    return problems
