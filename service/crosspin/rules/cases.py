"""Cases: small graphs with what must and what must not follow from them.

A case names a *given* graph, graphs that it *expects* (their blank nodes stand for anything) and graphs
that it *refuses*.  `Bench` runs the rules over the ontology and the given graph and reports what is amiss.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from pyoxigraph import BlankNode, Literal, NamedNode, Quad, QuerySolutions, Store, Triple

from crosspin.model.terms import DEF
from crosspin.store.graph import BrokenText, parse_text
from crosspin.store.infer import FIRST_BUILD_ORDER, Rule, Workspace, read_rules
from crosspin.store.packs import short, value_of

RDF_TYPE = NamedNode("http://www.w3.org/1999/02/22-rdf-syntax-ns#type")
RDFS_LABEL = NamedNode("http://www.w3.org/2000/01/rdf-schema#label")
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

    def judge(self, case: Case, without: str | None = None, instead: Rule | None = None) -> tuple[Miss, ...]:
        """What is amiss with a case, nothing where it comes out; on request without one rule, or with
        another in its place."""
        rules = self._rules_for(case.given, without, instead)
        with self._workspace.suppose(case.given, rules) as store:
            expected = [
                Miss(case.iri, graph, f"is expected but does not follow{_instead(store, triples)}")
                for graph, triples in case.expects
                if not _holds(store, triples)
            ]
            refused = [
                Miss(case.iri, graph, "is refused but follows")
                for graph, triples in case.refuses
                if _holds(store, triples)
            ]
        return (*expected, *refused)

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
