"""Mutants: the ontology with one thing changed, which some case has to notice.

A limit moved, a comparator swapped, a code, a kind, a criterion or what follows left out; of the rules
themselves a pattern, a filter or a comparison.  What no case notices could change without anybody knowing.
"""

import re
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from pyoxigraph import Literal, NamedNode, Quad, Store

from crosspin.model.records import DECIMAL, INTEGER, TYPE, cp
from crosspin.model.terms import DEF, identifier
from crosspin.rules.cases import Bench, Case
from crosspin.store.infer import Rule

_OTHERWISE = {
    "equals": "withinRange",
    "isOneOf": "withinRange",
    "differenceWithin": "equals",
    "percentWithin": "differenceWithin",
    "withinRange": "equals",
}
_TRUE = Literal(True)
_DENIAL = re.compile(r"FILTER NOT EXISTS \{")
_MADE = re.compile(r"(?:\ba|,) cp:([\w-]+)")
_MOST_BESIDE = 40
_COMPARISON = re.compile(r"(?<= )(<=|>=|<|>)(?= )")
_OTHER_SIDE = {"<": "<=", ">": ">=", "<=": "<", ">=": ">"}


@dataclass(frozen=True, slots=True)
class Mutant:
    """One change: of which term, in words, the quads that go and that come, or the rule that comes (None: none)."""

    term: str
    change: str
    go: tuple[Quad, ...] = ()
    come: tuple[Quad, ...] = ()
    rule: Rule | None = None
    of_rule: bool = False

    @property
    def name(self) -> str:
        """What is changed, on one line; the same from run to run."""
        return f"{identifier(self.term)} {self.change}"


@dataclass(frozen=True, slots=True)
class Score:
    """How many mutants were tried, and which of them nobody noticed."""

    tried: int
    survivors: tuple[Mutant, ...]

    @property
    def percent(self) -> Decimal:
        """The share that was noticed, to a tenth of a percent; 100 where there was nothing to try."""
        noticed = self.tried - len(self.survivors)
        return round(Decimal(100 * noticed) / self.tried, 1) if self.tried else Decimal(100)


def mutants(bench: Bench, terms: Collection[str]) -> Iterator[Mutant]:
    """All mutants of these terms, in a fixed order."""
    rules = {rule.iri: rule for rule in bench.rules}
    for term in sorted(terms):
        if term in rules:
            yield from _of_rule(rules[term])
        else:
            yield from _of_data(bench.store, NamedNode(term))


def hunt(
    bench: Bench, cases: Sequence[Case], found: Iterable[Mutant], note: Callable[[], None] = lambda: None
) -> Score:
    """Try mutants on the cases that name their term or, of a rule, in whose derivation it takes part (the first
    _MOST_BESIDE of them, those that name some rule before others); `note` is called after each."""
    rules = {rule.iri: rule for rule in bench.rules}
    cases = sorted(cases, key=lambda case: rules.keys().isdisjoint(case.tests))
    given = _only_given(bench.rules)
    by_term: dict[str, list[Case]] = {}
    for case in cases:
        for term in case.tests:
            by_term.setdefault(term, []).append(case)
    derived: dict[str, set[str]] = {}
    tried, survivors = 0, []
    for mutant in found:
        tried += 1
        target = rules[mutant.term].target if mutant.of_rule else ""
        near = _near(bench, cases, by_term, derived, mutant, given, target)
        if not any(_noticed(bench, case, mutant) for case in near):
            survivors.append(mutant)
        note()
    return Score(tried, tuple(survivors))


def _near(
    bench: Bench,
    cases: Sequence[Case],
    by_term: dict[str, list[Case]],
    derived: dict[str, set[str]],
    mutant: Mutant,
    given: Collection[str],
    target: str,
) -> Iterator[Case]:
    """The cases that can notice a mutant, likely ones first."""
    near = list(by_term.get(mutant.term, ()))
    for related in _related(bench.store, NamedNode(mutant.term)):
        near += [case for case in by_term.get(related, ()) if case not in near]
    yield from near
    if not mutant.of_rule:
        return
    named = {case.iri for case in near}
    beside = 0
    for case in cases:
        if case.iri in named or (target in given and not _has_member(case, target)):
            continue
        if case.iri not in derived:
            derived[case.iri] = set(bench.derive(case.given))
        if mutant.term in derived[case.iri]:
            yield case
            beside += 1
        if beside == _MOST_BESIDE:
            return


def _only_given(rules: Iterable[Rule]) -> set[str]:
    """The classes of focus nodes of which no rule makes members, so that only what is given has them."""
    made = {DEF + name for rule in rules for name in _MADE.findall(rule.query.partition("WHERE")[0])}
    return {rule.target for rule in rules} - made


def _has_member(case: Case, target: str) -> bool:
    return any(t.predicate == TYPE and t.object == NamedNode(target) for t in case.given)


def _related(store: Store, term: NamedNode) -> list[str]:
    """Criteria of a joint kind, remedies of a criterion, and the criterion of a remedy: their cases try it too."""
    found = []
    for word in ("hasCriterion", "hasRemedy", "adapterLeftCriterion", "adapterRightCriterion"):
        found += [
            q.object.value for q in store.quads_for_pattern(term, cp(word), None) if isinstance(q.object, NamedNode)
        ]
        found += [
            q.subject.value for q in store.quads_for_pattern(None, cp(word), term) if isinstance(q.subject, NamedNode)
        ]
    return sorted(found)


def _noticed(bench: Bench, case: Case, mutant: Mutant) -> bool:
    if mutant.of_rule:
        return bool(bench.judge(case, mutant.term, mutant.rule))
    _change(bench.store, mutant.go, mutant.come)
    try:
        return bool(bench.judge(case))
    finally:
        _change(bench.store, mutant.come, mutant.go)


def _change(store: Store, go: Sequence[Quad], come: Sequence[Quad]) -> None:
    for quad in go:
        store.remove(quad)
    store.extend(come)


# ---------------------------------------------------------------------- what data says


def _of_data(store: Store, term: NamedNode) -> Iterator[Mutant]:
    """Mutants of a criterion, limit of a figure, remedy, need, renewal or consequence; none of anything else."""
    quads = sorted(store.quads_for_pattern(term, None, None), key=str)
    types = {identifier(q.object.value) for q in quads if q.predicate == TYPE and isinstance(q.object, NamedNode)}
    by_type: dict[str, Callable[[Store, Quad], Iterator[tuple[Quad, ...]]]] = {
        "Criterion": _criterion,
        "FigureLimit": _figure_limit,
        "Remedy": _remedy,
        "Need": _spoken,
        "Renewal": _spoken,
        "Consequence": _spoken,
    }
    for sort in sorted(types & by_type.keys()):
        for quad in quads:
            for go, *come in by_type[sort](store, quad):
                yield _data_mutant(term, go, come)
    for condition in ("when", "then") if types & {"Need", "Renewal", "Consequence"} else ():
        node = NamedNode(f"{term.value}/{condition}")
        for quad in sorted(store.quads_for_pattern(node, None, None), key=str):
            for go, *come in _condition(store, quad):
                yield _data_mutant(term, go, come, f"{condition}: ")


def _data_mutant(term: NamedNode, go: Quad, come: Sequence[Quad], prefix: str = "") -> Mutant:
    name = identifier(go.predicate.value)
    if come and come[0] == go:  # something is said beside what was there
        more = f"{identifier(come[1].predicate.value)} {_spelled(come[1])}"
        return Mutant(term.value, f"{prefix}with {more} too", (), tuple(come[1:]))
    change = f"without {name} {_spelled(go)}"
    if come:
        before = _spelled(go) if come[0].predicate == go.predicate else f"{name} {_spelled(go)}"
        change = f"with {identifier(come[0].predicate.value)} {_spelled(come[0])} for {before}"
    return Mutant(term.value, prefix + change, (go,), tuple(come))


def _spelled(quad: Quad) -> str:
    node = quad.object
    return identifier(node.value) if isinstance(node, NamedNode) else getattr(node, "value", "")


def _instead(quad: Quad, node: Literal | NamedNode) -> tuple[Quad, Quad]:
    return quad, Quad(quad.subject, quad.predicate, node)


def _nudged(quad: Quad, by: int) -> Literal:
    """A number moved by a quarter of itself, and by 0.2 at least."""
    assert isinstance(quad.object, Literal)
    value = Decimal(quad.object.value)
    return Literal(f"{value + by * max(abs(value) / 4, Decimal('0.2')):f}", datatype=DECIMAL)


def _limit(quad: Quad, inwards: int) -> Iterator[tuple[Quad, ...]]:
    """A limit left out, and one drawn tighter."""
    yield (quad,)
    yield _instead(quad, _nudged(quad, inwards))


def _criterion(store: Store, quad: Quad) -> Iterator[tuple[Quad, ...]]:
    match identifier(quad.predicate.value):
        case "lower":
            yield from _limit(quad, 1)
        case "upper":
            yield from _limit(quad, -1)
        case "appliesFactor" if any(store.quads_for_pattern(quad.subject, cp("rightFactor"), None)):
            yield _instead(quad, _nudged(quad, 1))
        case "hasRemedy":
            yield (quad,)
        case "constant" if isinstance(quad.object, Literal):
            coded = quad.object.datatype not in (DECIMAL, INTEGER)
            yield _instead(quad, Literal("no-such-code") if coded else _nudged(quad, 1))
        case "comparesBy":
            yield _instead(quad, cp(_OTHERWISE[identifier(_spelled(quad))]))


def _figure_limit(store: Store, quad: Quad) -> Iterator[tuple[Quad, ...]]:
    """Those of any criterion; besides it looks the other way, reads no bound, decides or only warns."""
    yield from _criterion(store, quad)
    match identifier(quad.predicate.value):
        case "lower":
            yield quad, Quad(quad.subject, cp("upper"), quad.object)
        case "upper":
            yield quad, Quad(quad.subject, cp("lower"), quad.object)
        case "boundBy" if not any(store.quads_for_pattern(quad.subject, cp("constant"), None)):
            yield (quad,)
        case "constrains":
            yield (quad,)
        case "comparesBy" if not any(store.quads_for_pattern(quad.subject, cp("constrains"), None)):
            yield quad, quad, Quad(quad.subject, cp("constrains"), _TRUE)


def _remedy(_: Store, quad: Quad) -> Iterator[tuple[Quad, ...]]:
    match identifier(quad.predicate.value):
        case "remedyLower":
            yield from _limit(quad, 1)
        case "remedyUpper":
            yield from _limit(quad, -1)
        case "remedyLeftCode":
            yield _instead(quad, Literal("no-such-code"))


def _spoken(_: Store, quad: Quad) -> Iterator[tuple[Quad, ...]]:
    match identifier(quad.predicate.value):
        case "whenFresh" | "whenTakenOut" | "whenDisturbed" | "thenEmpty" | "brings":
            yield (quad,)


def _condition(store: Store, quad: Quad) -> Iterator[tuple[Quad, ...]]:
    match identifier(quad.predicate.value):
        case "acceptsCode":
            yield _instead(quad, Literal("no-such-code"))
        case "acceptsFrom":
            yield from _limit(quad, 1)
        case "acceptsTo":
            yield from _limit(quad, -1)
        case "wantsKind":
            # wider: whatever the role takes; it says something only where the rule names a narrower kind
            for role in store.quads_for_pattern(quad.subject, cp("ofRole"), None):
                assert isinstance(role.object, NamedNode)
                for taken in store.quads_for_pattern(role.object, cp("takesKind"), None):
                    if taken.object != quad.object and isinstance(taken.object, NamedNode):
                        yield _instead(quad, taken.object)


# ---------------------------------------------------------------------- what rules say


def _of_rule(rule: Rule) -> Iterator[Mutant]:
    yield Mutant(rule.iri, "left out", of_rule=True)
    for change, query in (*_denials(rule.query), *_comparisons(rule.query)):
        yield Mutant(rule.iri, change, rule=replace(rule, query=query), of_rule=True)


def _denials(query: str) -> Iterator[tuple[str, str]]:
    for index, match in enumerate(_DENIAL.finditer(query)):
        depth, end = 1, match.end()
        while depth:
            depth += {"{": 1, "}": -1}.get(query[end], 0)
            end += 1
        yield f"without FILTER NOT EXISTS number {index}", query[: match.start()] + query[end:]


def _comparisons(query: str) -> Iterator[tuple[str, str]]:
    for index, found in enumerate(_COMPARISON.finditer(query)):
        other = _OTHER_SIDE[found[1]]
        yield (
            f"with {other} for {found[1]}, comparison number {index}",
            query[: found.start()] + other + query[found.end() :],
        )


def terms_to_mutate(store: Store, among: Collection[str] | None = None) -> set[str]:
    """Criteria, limits of figures, remedies, needs, renewals, consequences and rules of a completed ontology, or those
    `among` these."""
    found: set[str] = set()
    for name in ("Criterion", "FigureLimit", "Remedy", "Need", "Renewal", "Consequence"):
        found |= {
            q.subject.value for q in store.quads_for_pattern(None, TYPE, cp(name)) if isinstance(q.subject, NamedNode)
        }
    rules = store.quads_for_pattern(None, TYPE, NamedNode("http://www.w3.org/ns/shacl#SPARQLRule"))
    found |= {q.subject.value for q in rules if isinstance(q.subject, NamedNode)}
    return found if among is None else found & set(among)
