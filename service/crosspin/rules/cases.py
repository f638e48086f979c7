"""Cases: small graphs with what must and what must not follow from them.

A case names a *given* graph, graphs that it *expects* (their blank nodes stand for anything) and graphs
that it *refuses*.  `Bench` runs the rules over the ontology and the given graph and reports what is amiss.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from pyoxigraph import BlankNode, Literal, NamedNode, Quad, QuerySolutions, Store, Triple

from crosspin.model.terms import CASE, DEF
from crosspin.store.graph import BrokenText, parse_text
from crosspin.store.infer import FIRST_BUILD_ORDER, Rule, Workspace, read_rules
from crosspin.store.packs import short, value_of

RDF_TYPE = NamedNode("http://www.w3.org/1999/02/22-rdf-syntax-ns#type")
RDFS_LABEL = NamedNode("http://www.w3.org/2000/01/rdf-schema#label")
_CASES = CASE.partition("://")[2]
"""What the names of all that a case alone speaks of begin with, or what rules make of them has in them."""
_NUMBERS = {f"http://www.w3.org/2001/XMLSchema#{name}" for name in ("decimal", "integer")}


@dataclass(frozen=True, slots=True)
class Case:
    """One case: the terms that it tries, its graphs, and the IRIs under which the graphs were written."""

    iri: str
    label: str
    tests: tuple[str, ...]
    given: tuple[Triple, ...]
    expects: tuple[tuple[str, tuple[Triple, ...]], ...]
    refuses: tuple[tuple[str, tuple[Triple, ...]], ...]


@dataclass(frozen=True, slots=True)
class Miss:
    """A case that did not come out: which graph, and what is wrong with it."""

    case: str
    graph: str
    problem: str

    def __str__(self) -> str:
        return f"{self.case}: {self.graph} {self.problem}"


def read_cases(text: bytes, name: str) -> tuple[Case, ...]:
    """The cases in a TriG text, sorted by IRI.

    Raises BrokenText where the text is not well formed, or a case has no given, expected or refused
    graph, names one that is not there, or a graph belongs to no case.
    """
    graphs: dict[str, list[Triple]] = {}
    said: dict[str, dict[str, list[str]]] = {}
    for quad in parse_text_with_graphs(text, name):
        if isinstance(quad.graph_name, NamedNode):
            graphs.setdefault(quad.graph_name.value, []).append(quad.triple)
        elif isinstance(quad.object, NamedNode | Literal) and isinstance(quad.subject, NamedNode):
            said.setdefault(quad.subject.value, {}).setdefault(quad.predicate.value, []).append(quad.object.value)
    cases = []
    used: set[str] = set()
    for iri, facts in sorted(said.items()):
        if DEF + "Case" not in facts.get(RDF_TYPE.value, ()):
            raise BrokenText(f"{name}: {iri} stands outside a graph but is no cp:Case; move it into a given graph")
        for needed in ("given", "tests"):
            if not facts.get(DEF + needed):
                raise BrokenText(f"{name}: {iri} has no cp:{needed}; add it")
        if not facts.get(DEF + "expects") and not facts.get(DEF + "refuses"):
            raise BrokenText(f"{name}: {iri} neither expects nor refuses anything, so it cannot fail; add a graph")
        named = [graph for word in ("given", "expects", "refuses") for graph in facts.get(DEF + word, ())]
        for graph in named:
            if graph not in graphs:
                raise BrokenText(f"{name}: {iri} names the graph {graph}, which is empty or not there")
        used.update(named)
        cases.append(
            Case(
                iri=iri,
                label=next(iter(facts.get(RDFS_LABEL.value, ())), ""),
                tests=tuple(sorted(facts[DEF + "tests"])),
                given=tuple(triple for graph in sorted(facts[DEF + "given"]) for triple in graphs[graph]),
                expects=tuple((graph, tuple(graphs[graph])) for graph in sorted(facts.get(DEF + "expects", ()))),
                refuses=tuple((graph, tuple(graphs[graph])) for graph in sorted(facts.get(DEF + "refuses", ()))),
            )
        )
    stray = sorted(set(graphs) - used)
    if stray:
        raise BrokenText(
            f"{name}: the graph {stray[0]} belongs to no case; name it in cp:given, cp:expects or cp:refuses"
        )
    return tuple(cases)


def parse_text_with_graphs(text: bytes, name: str) -> list[Quad]:
    """The quads of a TriG text; raises BrokenText, naming the line, where it is not well formed."""
    return parse_text(text, "application/trig", name)


def find_cases(folder: Path) -> tuple[Case, ...]:
    """The cases of every `cases.trig` below a folder."""
    return tuple(
        case for path in sorted(folder.rglob("cases.trig")) for case in read_cases(path.read_bytes(), str(path))
    )


class Bench:
    """The ontology with its rules, ready to try cases on.  Not safe to share between threads."""

    def __init__(self, ontology: Iterable[Quad | Triple]) -> None:
        """Take the triples of the ontology, whatever graphs they come from, and complete them once."""
        self._workspace = Workspace(ontology)
        self.rules = read_rules(self._workspace.store)
        self._workspace.settle(rule for rule in self.rules if rule.order < FIRST_BUILD_ORDER)
        self.store = self._workspace.store

    def derive(self, given: Sequence[Triple]) -> dict[str, set[Triple]]:
        """What follows from the given triples and was not among them, by the IRI of the rule that derived it first."""
        found: dict[str, set[Triple]] = {}

        def note(rule: Rule, fresh: list[Quad]) -> None:
            found.setdefault(rule.iri, set()).update(quad.triple for quad in fresh)

        with self._workspace.suppose(given, self._rules_for(given), note):
            return {rule: triples for rule, triples in found.items() if triples}

    def judge_all(self, cases: Sequence[Case]) -> Iterator[tuple[Case, tuple[Miss, ...]]]:
        """What is amiss with each of several cases, in their order.

        Those that speak of nodes of their own only are judged together first, each under names that no other has, as
        the builds in one store are; what is amiss then is judged again by itself.
        """
        renamed = {n: _renamed(case, n) for n, case in enumerate(cases) if self._stands_alone(case)}
        given = [triple for case in renamed.values() for triple in case.given]
        with self._workspace.suppose(given, self._rules_for(given)) as store:
            sound = {number for number, case in renamed.items() if not _misses(store, case)}
        for number, case in enumerate(cases):
            yield case, () if number in sound else self.judge(case)

    def _stands_alone(self, case: Case) -> bool:
        """Whether a case says nothing of the ontology, nor of nodes that others speak of too, and all that it expects
        hangs on its own nodes: in a crowd it comes out then as it does by itself."""
        if any(rule.order < FIRST_BUILD_ORDER for rule in self._rules_for(case.given)):
            return False
        if not all(_hangs_on_own(triples) for _, triples in case.expects):
            return False
        return all(
            _is_own(triple.subject) and (_is_own(triple.object) or self._knows(triple.object)) for triple in case.given
        )

    def _knows(self, node: object) -> bool:
        """Whether a node is no name, or one that the ontology speaks of."""
        if not isinstance(node, NamedNode):
            return True
        about = self.store.quads_for_pattern(node, None, None)
        leading = self.store.quads_for_pattern(None, None, node)
        return next(about, None) is not None or next(leading, None) is not None

    def judge(self, case: Case, without: str | None = None, instead: Rule | None = None) -> tuple[Miss, ...]:
        """What is amiss with a case, nothing where it comes out; on request without one rule, or with
        another in its place."""
        rules = self._rules_for(case.given, without, instead)
        with self._workspace.suppose(case.given, rules) as store:
            return _misses(store, case)

    def _rules_for(
        self, given: Sequence[Triple], without: str | None = None, instead: Rule | None = None
    ) -> list[Rule]:
        """Rules for builds, and for what the given triples add to the ontology those that complete it."""
        members: dict[str, list[NamedNode]] = {}
        for triple in given:
            if triple.predicate == RDF_TYPE and isinstance(triple.subject, NamedNode):
                assert isinstance(triple.object, NamedNode)
                members.setdefault(triple.object.value, []).append(triple.subject)
        chosen = []
        for rule in self.rules:
            if rule.iri == without:
                if instead is None or instead.target != rule.target:
                    continue
                rule = instead
            if rule.order >= FIRST_BUILD_ORDER:
                chosen.append(rule)
            elif rule.target in members:
                chosen.append(rule.about(members[rule.target]))
        return chosen


def _misses(store: Store, case: Case) -> tuple[Miss, ...]:
    expected = [
        Miss(case.iri, graph, f"is expected but does not follow{_instead(store, triples)}")
        for graph, triples in case.expects
        if not _holds(store, triples)
    ]
    refused = [
        Miss(case.iri, graph, "is refused but follows") for graph, triples in case.refuses if _holds(store, triples)
    ]
    return (*expected, *refused)


def _is_own(node: object) -> bool:
    """Whether a node is one that a case alone speaks of."""
    return isinstance(node, BlankNode) or (isinstance(node, NamedNode) and _CASES in node.value)


def _hangs_on_own(triples: Sequence[Triple]) -> bool:
    """Whether every triple is about a node of the case, or about a blank node that hangs on one."""
    reached: set[object] = {
        n for t in triples for n in (t.subject, t.object) if isinstance(n, NamedNode) and _is_own(n)
    }
    left = list(triples)
    while left:
        met = [triple for triple in left if triple.subject in reached or triple.object in reached]
        if not met:
            return False
        reached.update(node for t in met for node in (t.subject, t.object) if isinstance(node, BlankNode))
        left = [triple for triple in left if triple not in met]
    return True


def _renamed(case: Case, number: int) -> Case:
    """The same case with its own nodes, and what rules make of their names, under other names."""

    def over(triples: Iterable[Triple]) -> tuple[Triple, ...]:
        return tuple(Triple(other(t.subject), t.predicate, other(t.object)) for t in triples)

    def other(node: Any) -> Any:
        named = isinstance(node, NamedNode) and _CASES in node.value
        return NamedNode(node.value.replace(_CASES, f"{_CASES}{number}/")) if named else node

    expects = tuple((graph, over(triples)) for graph, triples in case.expects)
    refuses = tuple((graph, over(triples)) for graph, triples in case.refuses)
    return replace(case, given=over(case.given), expects=expects, refuses=refuses)


def _instead(store: Store, triples: Sequence[Triple]) -> str:
    """What follows in place of an expected value, where all else that is expected does."""
    anything = BlankNode()
    for index, triple in enumerate(triples):
        if isinstance(triple.object, NamedNode | Literal) and triple.predicate != RDF_TYPE:
            others = [*triples[:index], Triple(triple.subject, triple.predicate, anything), *triples[index + 1 :]]
            pattern, variables = _as_query(others)
            found = store.query(f"SELECT DISTINCT {variables[anything]} WHERE {{ {pattern} }}")
            assert isinstance(found, QuerySolutions)
            values = sorted({value_of(row[0]) for row in found})
            if values:
                return f"; its {short(triple.predicate.value)} is {', '.join(values)}"
    return ""


def _holds(store: Store, triples: Sequence[Triple]) -> bool:
    """Whether the store holds the triples, blank nodes standing for anything, numbers compared by value."""
    return bool(store.query(f"ASK {{ {_as_query(triples)[0]} }}"))


def _as_query(triples: Sequence[Triple]) -> tuple[str, dict[BlankNode, str]]:
    """The triples as the inside of a query, and the variable of each blank node."""
    patterns: list[str] = []
    filters: list[str] = []
    variables: dict[BlankNode, str] = {}
    for triple in triples:
        words = []
        for node in (triple.subject, triple.predicate, triple.object):
            if isinstance(node, BlankNode):
                words.append(variables.setdefault(node, f"?b{len(variables)}"))
            elif isinstance(node, Literal) and node.datatype.value in _NUMBERS:
                # 5.0 and 5 are one value, though engines may keep both spellings.
                words.append(f"?n{len(filters)}")
                filters.append(f"FILTER (?n{len(filters)} = {node})")
            else:
                words.append(str(node))
        patterns.append(" ".join(words) + " .")
    return f"{' '.join(patterns)} {' '.join(filters)}", variables
