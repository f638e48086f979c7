"""Cases: small graphs with what must and what must not follow from them.

A case names a *given* graph, graphs that it *expects* (their blank nodes stand for anything) and graphs
that it *refuses*.  `Bench` runs the rules over the ontology and the given graph and reports what is amiss.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from pyoxigraph import BlankNode, Literal, NamedNode, Quad, Store, Triple

from crosspin.model.terms import DEF
from crosspin.store.graph import BrokenText, parse_text
from crosspin.store.infer import FIRST_BUILD_ORDER, infer, read_rules

RDF_TYPE = NamedNode("http://www.w3.org/1999/02/22-rdf-syntax-ns#type")
RDFS_LABEL = NamedNode("http://www.w3.org/2000/01/rdf-schema#label")
_ONTOLOGY = NamedNode("https://crosspin.example/id/bench/ontology")
_GIVEN = NamedNode("https://crosspin.example/id/bench/given")
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
            raise BrokenText(f"{name}: {iri} is described outside a graph but is no cp:Case; move it into a given graph")
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
        raise BrokenText(f"{name}: the graph {stray[0]} belongs to no case; name it in cp:given, cp:expects or cp:refuses")
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
    """The ontology with its rules, ready to try cases on."""

    def __init__(self, ontology: Iterable[Quad | Triple]) -> None:
        """Take the triples of the ontology, whatever graphs they come from, and complete them once."""
        self._store = Store()
        self._store.bulk_extend([Quad(t.subject, t.predicate, t.object, _ONTOLOGY) for t in ontology])
        rules = read_rules(self._store)
        self._early = tuple(rule for rule in rules if rule.order < FIRST_BUILD_ORDER)
        self._late = tuple(rule for rule in rules if rule.order >= FIRST_BUILD_ORDER)
        infer(self._store, self._early, [], _ONTOLOGY)

    def derive(self, given: Iterable[Triple]) -> set[Triple]:
        """The given triples with all that follows from them and the ontology."""
        self._run(given)
        return {quad.triple for quad in self._store.quads_for_pattern(None, None, None, _GIVEN)}

    def judge(self, case: Case) -> tuple[Miss, ...]:
        """What is amiss with a case; nothing where it comes out."""
        self._run(case.given)
        misses = []
        for graph, triples in case.expects:
            if not self._holds(triples):
                misses.append(Miss(case.iri, graph, "is expected but does not follow"))
        for graph, triples in case.refuses:
            if self._holds(triples):
                misses.append(Miss(case.iri, graph, "is refused but follows"))
        return tuple(misses)

    def _run(self, given: Iterable[Triple]) -> None:
        self._store.remove_graph(_GIVEN)
        quads = [Quad(t.subject, t.predicate, t.object, _GIVEN) for t in given]
        self._store.extend(quads)
        types = {quad.object.value for quad in quads if quad.predicate == RDF_TYPE}
        early = self._early if any(rule.target in types for rule in self._early) else ()
        infer(self._store, (*early, *self._late), [_ONTOLOGY], _GIVEN)

    def _holds(self, triples: Sequence[Triple]) -> bool:
        patterns, filters = [], []
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
        query = f"ASK {{ {' '.join(patterns)} {' '.join(filters)} }}"
        return bool(self._store.query(query, default_graph=[_GIVEN]))
