"""Why a rule that is written as a query did not speak: its clauses one after the other, each with what it found."""

import re

from pyoxigraph import Literal, NamedNode, QuerySolutions, Store

from crosspin.model.terms import ID
from crosspin.model.written_rule import WrittenRule
from crosspin.rules.clauses import Clause, cut
from crosspin.rules.trial import Place, Tried, WhyNot, told
from crosspin.store.infer import Rule
from crosspin.store.packs import value_of

_SHOWN = 4
_VARIABLE = re.compile(r"\?\w+")
_WHOLE = "the plan"


def why_not_written(store: Store, rule: Rule, described: WrittenRule, about: str | None) -> WhyNot:
    """What became of a rule in a plan, of which the store holds everything that the rule sees.

    With `about`, of those only of its focus nodes that have this place in their name.
    """
    pieces = cut(rule.query)
    first, *rest = pieces.clauses
    clauses = [first, *_about(about), *rest]
    tried: list[Tried] = []
    before = "everything there is"
    asked: list[Clause] = []
    for clause in _when_bound(clauses):
        asked.append(clause)
        rows = _rows(store, pieces.prefixes, asked)
        tried.append(Tried(condition=clause.text, found="; ".join(rows) or f"none of {before}", holds=bool(rows)))
        if not rows:
            break
        before = "; ".join(rows)
    spoke = tried[-1].holds is True
    at = about or _WHOLE
    place = Place(at=at, spoke=spoke, failed=None if spoke else tried[-1], conditions=tuple(tried))
    return told(described, [place], about)


def _about(place: str | None) -> list[Clause]:
    """Placements, joints, pairings and what follows from them have their places in their names."""
    if place is None:
        return []
    pattern = Literal(f"(/|--){re.escape(place)}($|/|--)")
    return [Clause(f"FILTER (REGEX(STR(?this), {pattern}))")]


def _when_bound(clauses: list[Clause]) -> list[Clause]:
    """The clauses in order, but a filter not before what it speaks of is bound: it is about the whole query."""
    bindable = {v for clause in clauses for v in _binds(clause)}
    ordered: list[Clause] = []
    waiting: list[Clause] = []
    bound: set[str] = set()
    for clause in clauses:
        (ordered if _binds(clause) else waiting).append(clause)
        bound |= _binds(clause)
        ready = [f for f in waiting if set(_VARIABLE.findall(f.text)) & bindable <= bound]
        ordered += ready
        waiting = [f for f in waiting if f not in ready]
    return [*ordered, *waiting]


def _binds(clause: Clause) -> set[str]:
    """The variables that have a value from this clause on."""
    if clause.pattern is not None:
        return {term for term in clause.pattern if term.startswith("?")} or {""}
    return {clause.binds} if clause.binds is not None else set()


def _rows(store: Store, prefixes: str, clauses: list[Clause]) -> list[str]:
    """The first solutions of some clauses, by the variables of the last one."""
    body = " ".join(f"{' '.join(c.pattern)} ." if c.pattern is not None else c.text for c in clauses)
    found = store.query(f"{prefixes} SELECT * WHERE {{ {body} }} LIMIT {_SHOWN}")
    assert isinstance(found, QuerySolutions)
    spoken = set(_VARIABLE.findall(clauses[-1].text))
    names = [v.value for v in found.variables if f"?{v.value}" in spoken]
    rows = [", ".join(f"{n} = {_value(solution[n])}" for n in names) or "so it is" for solution in found]
    return list(dict.fromkeys(rows))


def _value(node: object) -> str:
    """A value, things on record without what all their names begin with."""
    if isinstance(node, NamedNode) and node.value.startswith(ID):
        return node.value.removeprefix(ID)
    return value_of(node)
