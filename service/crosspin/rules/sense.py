"""Whether what a pack says makes sense: names that exist, sentences that can be filled in, rules that can speak."""

import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from difflib import get_close_matches
from pathlib import Path

from pyoxigraph import NamedNode, Quad

from crosspin.model.schema import Condition, Model, Need
from crosspin.model.terms import DEF, term
from crosspin.rules.cases import Bench, Case
from crosspin.store.packs import Fault, Said, short
from crosspin.vehicle.reach import Reach

_OF_OURS = re.compile(re.escape(DEF) + r"[A-Za-z][\w-]*")
_IN_QUERY = re.compile(r"\bcp:([A-Za-z][\w-]*)")
_PLACEHOLDER = re.compile(r"\{(\w*)\}")
_SAYS_FIT = DEF + "saysFit"
_FIGURE = DEF + "Figure"
_LIMITS = (DEF + "atMost", DEF + "atLeast")
_PLACEHOLDERS = {
    DEF + "saysClash": {"left", "right", "leftPart", "rightPart"},
    _SAYS_FIT: {"left", "right", "leftPart", "rightPart"},
    DEF + "saysLost": {"part", "place"},
    DEF + "saysGained": {"part", "place"},
}
_TYPE = "http://www.w3.org/1999/02/22-rdf-syntax-ns#type"
_DEPRECATED = "http://www.w3.org/2002/07/owl#deprecated"
_REPLACED = "http://purl.org/dc/terms/isReplacedBy"
_MIGRATIONS = "migrations"
_CONSTRUCT = "http://www.w3.org/ns/shacl#construct"


def undefined(said: Iterable[Said], cases: Iterable[tuple[str, Quad]], known: Collection[str]) -> Iterator[Fault]:
    """Names of ours that nothing defines, in what packs say and in their cases (file and quad)."""
    local = sorted(name.removeprefix(DEF) for name in known if name.startswith(DEF))
    told: set[tuple[str, str]] = set()
    used = [(s.file, s.term, s.quad, _in_text(s)) for s in said]
    used += [(file, "", quad, ()) for file, quad in cases]
    for file, about, quad, more in used:
        nodes = [node.value for node in (quad.subject, quad.predicate, quad.object) if isinstance(node, NamedNode)]
        for name in (*nodes, *more):
            if _OF_OURS.fullmatch(name) and name not in known and (file, name) not in told:
                told.add((file, name))
                close = get_close_matches(name.removeprefix(DEF), local, 1, 0.75)
                right = f"Did you mean cp:{close[0]}?" if close else "Define it, or write the name of a term that is"
                place = f"{file}, {short(about)}" if about and about != name else file
                yield Fault(place, f"{short(name)} is not defined anywhere", right.rstrip("."))


def limits(said: Iterable[Said]) -> Iterator[str]:
    """The names of the criteria that the limits of figures are made into."""
    return (f"{s.term}-{s.name.removeprefix(DEF)}" for s in said if s.name in _LIMITS)


def outdated(said: Iterable[Said], everything: Iterable[Said]) -> Iterator[Fault]:
    """Terms in what packs say that are deprecated, by everything that is said."""
    told = list(everything)
    deprecated = {s.term for s in told if s.name == _DEPRECATED}
    instead = {s.term: short(getattr(s.quad.object, "value", "")) for s in told if s.name == _REPLACED}
    for s in said:
        nodes = (s.name, *(node.value for node in (s.quad.object,) if isinstance(node, NamedNode)), *_in_text(s))
        for name in dict.fromkeys(nodes):
            if name in deprecated and s.term not in deprecated and not _migrates(s):
                right = f"Write {instead[name]}" if name in instead else "Write what its definition says"
                yield Fault(f"{s.file}, {short(s.term)}" if s.term else s.file, f"{short(name)} is deprecated", right)


def _migrates(said: Said) -> bool:
    """Whether this is the text of a rule that reads old data, which has to name old terms."""
    return said.name == _CONSTRUCT and Path(said.file).parent.name == _MIGRATIONS


def _in_text(said: Said) -> Sequence[str]:
    """The names of ours in the query of a rule."""
    if said.name != _CONSTRUCT:
        return ()
    return [DEF + name for name in _IN_QUERY.findall(getattr(said.quad.object, "value", ""))]


def doubled(said: Iterable[Said]) -> Iterator[Fault]:
    """Terms that one pack defines in two files."""
    found: dict[tuple[str, str, str], str] = {}
    for s in said:
        if s.name == _TYPE and s.term:
            key = (s.pack, s.term, str(s.quad.object))
            first = found.setdefault(key, s.file)
            if first != s.file:
                wrong = f"{short(s.term)} is defined twice, here and in {first}"
                yield Fault(f"{s.file}, {short(s.term)}", wrong, "Keep one of the two")


def unfilled(said: Iterable[Said]) -> Iterator[Fault]:
    """Sentences of criteria, figures and functions with placeholders that nothing fills."""
    said = list(said)
    figures = {s.term for s in said if s.name == _TYPE and getattr(s.quad.object, "value", "") == _FIGURE}
    for s in said:
        allowed = {"value"} if s.name == _SAYS_FIT and s.term in figures else _PLACEHOLDERS.get(s.name)
        if allowed is None:
            continue
        for name in _PLACEHOLDER.findall(getattr(s.quad.object, "value", "")):
            if name not in allowed:
                yield Fault(
                    f"{s.file}, {short(s.term)}",
                    f"the sentence has the placeholder {{{name}}}, which nothing fills",
                    f"Use {', '.join(f'{{{a}}}' for a in sorted(allowed))}",
                )


# ---------------------------------------------------------------------- rules that never speak


def silent(model: Model, terms: Collection[str]) -> Iterator[Fault]:
    """Joint kinds, needs, renewals, consequences and resources, of these terms, that can never speak."""
    joined = {joint.joint_kind for layout in model.layouts.values() for joint in layout.joints}
    paired = {pairing.rule for layout in model.layouts.values() for pairing in layout.pairings}
    called = {call.need.id for layout in model.layouts.values() for call in Reach(model, layout).calls.values()}
    standing = {position.role for layout in model.layouts.values() for position in layout.positions}
    places = "Look at its roles, cp:hasScope, cp:onlyAt and cp:onlyOn"
    for name, meets, where in (
        *((joint, joint in joined, "joint") for joint in model.joint_kinds),
        *((rule, rule in paired, "pair of positions") for rule in (*model.needs, *model.renewals)),
        *((need, need in called, "figure with such a position") for need in model.figure_needs),
        *((c.id, c.role in standing, "position") for c in model.consequences.values()),
    ):
        if term(name) in terms and not meets:
            yield Fault(term(name), f"no layout has a {where} for it, so that it can never speak", places)
    conditions: list[tuple[str, str, Condition]] = []
    for need in model.needs.values():
        conditions.append((need.id, need.when_role, need.when))
        conditions += [(need.id, need.then_role, need.then)] if need.then is not None else []
    conditions += [(n.id, n.then_role, n.then) for n in model.figure_needs.values() if n.then is not None]
    conditions += [(c.id, c.role, c.when) for c in model.consequences.values()]
    for name, role, condition in conditions:
        if term(name) in terms and not _related(model, condition.kind, model.roles[role].kind):
            yield Fault(
                term(name),
                f"cp:{role} takes cp:{model.roles[role].kind}, which a cp:{condition.kind} never is",
                "Name a kind that stands in the role, or another role",
            )
        feature = condition.feature
        if term(name) in terms and feature is not None and not _may_have(model, condition.kind, feature):
            yield Fault(
                term(name),
                f"no cp:{condition.kind} has the feature cp:{feature}",
                f"Give the kind the feature: cp:{condition.kind} cp:hasFeature cp:{feature}",
            )
    for resource in model.resources.values():
        for feature in (resource.draw_feature, resource.supply_feature):
            if term(resource.id) in terms and not _may_have(model, "Part", feature):
                yield Fault(
                    term(resource.id), f"no kind has the feature cp:{feature}", "Give it to a kind by cp:hasFeature"
                )


def _related(model: Model, one: str, other: str) -> bool:
    return one in model.kinds[other].ancestors or other in model.kinds[one].ancestors


def _may_have(model: Model, kind: str, feature: str) -> bool:
    return any(feature in k.features for k in model.kinds.values() if kind in k.ancestors or k.id == kind)


def never_derives(bench: Bench, cases: Sequence[Case], rules: Collection[str]) -> Iterator[Fault]:
    """Rules, of these, that derive nothing in any case that names them."""
    for rule in sorted(rules):
        tried = [case for case in cases if rule in case.tests]
        if tried and not any(rule in bench.derive(case.given) for case in tried):
            wrong = "the rule derives nothing in any of its cases"
            yield Fault(rule, wrong, "Mend its WHERE, or give a case something from which it follows")


# ---------------------------------------------------------------------- needs that cannot be met


def circular(model: Model, terms: Collection[str]) -> Iterator[Fault]:
    """Needs, of these terms, that lead in a circle to a demand which the part that began it cannot meet.

    Two parts may well need each other; but where every part that answers a need asks, by its kind alone, for
    something else where the first one stands, no plan can have it.
    """
    by_role: dict[str, list[Need]] = {}
    for need in model.needs.values():
        by_role.setdefault(need.when_role, []).append(need)
    for first in model.needs.values():
        for way in _ways(model, by_role, (first,)):
            last = way[-1]
            if not {term(need.id) for need in way} & set(terms) or last.then_role != first.when_role:
                continue
            asked = "nothing" if last.then is None else f"a cp:{last.then.kind}"
            if last.then is None or not _related(model, last.then.kind, _narrowest(model, first)):
                yield Fault(
                    term(first.id),
                    f"the needs go in a circle: {' > '.join(f'cp:{need.id}' for need in way)} asks for {asked} where"
                    f" the cp:{_narrowest(model, first)} stands that began it",
                    "Drop one of them, or narrow its condition",
                )


def _ways(model: Model, by_role: Mapping[str, list[Need]], way: tuple[Need, ...]) -> Iterator[tuple[Need, ...]]:
    """A chain of needs, each called for by whatever answers the one before, and every longer one."""
    yield way
    last = way[-1]
    if last.then is None or last.then_role == way[0].when_role:
        return
    answering = {last.then.kind, model.roles[last.then_role].kind}
    taken = {need.id for need in way}
    for need in by_role.get(last.then_role, ()):
        always = need.when.dimension is None and not need.when_fresh and need.scope is last.scope
        if always and need.id not in taken and any(need.when.kind in model.kinds[kind].ancestors for kind in answering):
            yield from _ways(model, by_role, (*way, need))


def _narrowest(model: Model, need: Need) -> str:
    taken = model.roles[need.when_role].kind
    return need.when.kind if taken in model.kinds[need.when.kind].ancestors else taken


def placed(faults: Iterable[Fault], files: Mapping[str, str]) -> Iterator[Fault]:
    """The same faults, with the file of a term before its name."""
    for fault in faults:
        known = fault.place in files
        yield Fault(f"{files[fault.place]}, {short(fault.place)}" if known else fault.place, fault.wrong, fault.right)
