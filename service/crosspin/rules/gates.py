"""Gates that every rule and pack must pass: the portable profile, the layers, the cases and their coverage."""

import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from pyoxigraph import NamedNode, Store
from rdflib.term import URIRef, Variable

from crosspin.model.terms import DEF, identifier
from crosspin.rules.cases import Bench, Case, find_cases
from crosspin.rules.query import Pattern, RuleQuery, take_apart
from crosspin.store.graph import BrokenText, parse_text
from crosspin.store.infer import SH, rows
from crosspin.store.packs import Fault, short

RDF_TYPE = "http://www.w3.org/1999/02/22-rdf-syntax-ns#type"
_FIRST_WORD = re.compile(r"WHERE\s*\{\s*(\S+)")
_COVERED = ("Need", "Renewal", "Resource", "Consequence")
_RULES = """
PREFIX sh: <http://www.w3.org/ns/shacl#>
PREFIX rdfs: <http://www.w3.org/2000/01/rdf-schema#>
PREFIX skos: <http://www.w3.org/2004/02/skos/core#>
SELECT ?rule ?query ?order ?label ?definition ?shape ?shapeOrder ?target WHERE {
  ?rule a sh:SPARQLRule .
  OPTIONAL { ?rule sh:construct ?query } OPTIONAL { ?rule sh:order ?order }
  OPTIONAL { ?rule rdfs:label ?label } OPTIONAL { ?rule skos:definition ?definition }
  OPTIONAL { ?shape sh:rule ?rule ; sh:targetClass ?target OPTIONAL { ?shape sh:order ?shapeOrder } }
}"""
_PREFIXES = """
PREFIX sh: <http://www.w3.org/ns/shacl#>
SELECT ?rule ?prefix ?namespace WHERE {
  ?rule sh:prefixes/sh:declare ?d . ?d sh:prefix ?prefix ; sh:namespace ?namespace
}"""


@dataclass(frozen=True, slots=True)
class RuleText:
    """One rule as written, with its query taken apart; `targets` are the classes of the shapes that have it."""

    iri: str
    order: float
    targets: tuple[str, ...]
    query: RuleQuery


def check(folders: Sequence[Path]) -> tuple[Fault, ...]:
    """All faults of the rules and cases below these folders: the ontology, and packs of one's own beside it."""
    quads, files = [], {}
    for folder in folders:
        for path in sorted(folder.rglob("*.ttl")):
            try:
                parsed = parse_text(path.read_bytes(), "text/turtle", path.name)
            except BrokenText as error:
                return (Fault(str(path), str(error), "Mend the text there"),)
            files.update({q.subject.value: str(path) for q in parsed if isinstance(q.subject, NamedNode)})
            quads.extend(parsed)
    bench = Bench(quads)
    try:
        cases = tuple(case for folder in folders for case in find_cases(folder))
    except BrokenText as error:
        return (Fault(error.args[0].partition(":")[0], str(error), "Mend the case"),)
    rules, faults = read_rule_texts(bench.store)
    found = [
        *faults,
        *check_layers(rules, bench.store),
        *check_coverage(bench.store, cases),
        *check_cases(bench, cases),
    ]
    return tuple(Fault(_placed(fault.place, files), fault.wrong, fault.right) for fault in found)


def _placed(iri: str, files: Mapping[str, str]) -> str:
    return f"{files[iri]}, {short(iri)}" if iri in files else iri


def read_rule_texts(
    store: Store, only: Collection[str] | None = None
) -> tuple[tuple[RuleText, ...], tuple[Fault, ...]]:
    """The rules in a store (`only` these, by IRI, if given), and where they leave the portable profile."""
    prefixes: dict[str, dict[str, str]] = {}
    for row in rows(store, _PREFIXES):
        prefixes.setdefault(row["rule"].value, {})[row["prefix"].value] = row["namespace"].value
    written: dict[str, list[dict[str, str]]] = {}
    names = ("query", "order", "label", "definition", "shape", "shapeOrder", "target")
    for row in rows(store, _RULES):
        told = {name: row[name].value for name in names if row[name] is not None}
        if only is not None and row["rule"].value not in only:
            continue
        written.setdefault(row["rule"].value if isinstance(row["rule"], NamedNode) else "", []).append(told)
    rules: list[RuleText] = []
    faults: list[Fault] = []
    for iri, forms in sorted(written.items()):
        wrongs = list(_lint(iri, forms, prefixes.get(iri, {})))
        faults.extend(Fault(iri or "a rule without a name", wrong, right) for wrong, right in wrongs)
        if not any(
            fatal in wrong
            for wrong, _ in wrongs
            for fatal in ("no sh:construct", "parse", "no order", "do not declare")
        ):
            query = take_apart(forms[0]["query"], prefixes.get(iri, {}))
            targets = tuple(sorted({t["target"] for t in forms if "target" in t}))
            rules.append(RuleText(iri, float(forms[0]["order"]), targets, query))
    return tuple(rules), tuple(faults)


def _lint(iri: str, forms: list[dict[str, str]], prefixes: dict[str, str]) -> Iterator[tuple[str, str]]:
    rule = forms[0]
    if not iri:
        yield "the rule is a blank node", "Give it an IRI, so that a derivation can name it"
    for name, word in (("label", "rdfs:label"), ("definition", "skos:definition")):
        if name not in rule:
            yield f"the rule has no {word}", "Say in one sentence what it concludes and when"
    if "order" not in rule:
        yield "the rule has no order", "Write sh:order with the number of its layer"
    if "shape" not in rule:
        yield "the rule is in no node shape with a sh:targetClass", "Add it to the sh:rule of its layer's shape"
    for one in forms:
        if "shape" in one and one.get("shapeOrder") != rule.get("order"):
            yield (
                f"the rule has order {rule.get('order')}, its shape cp:{identifier(one['shape'])}"
                f" {one.get('shapeOrder')}",
                "Give both the number of the layer; pySHACL orders shapes first",
            )
    if "query" not in rule:
        yield "the rule has no sh:construct", "Write CONSTRUCT { ... } WHERE { $this ... }"
        return
    if not prefixes:
        yield "the rule has no sh:prefixes", "Write sh:prefixes cp:prefixes"
    first = _FIRST_WORD.search(rule["query"])
    if first is None or first[1] != "$this":
        yield "the first pattern does not start from $this", "Begin the WHERE with a pattern whose subject is $this"
    try:
        query = take_apart(rule["query"], prefixes)
    except ValueError as error:
        yield str(error), "Write CONSTRUCT { ... } WHERE { $this ... } with the prefixes of cp:prefixes"
        return
    for prefix in query.undeclared:
        yield (
            f"the query uses the prefix {prefix}:, which its sh:prefixes do not declare",
            "Use the prefixes of cp:prefixes, or declare the prefix where sh:prefixes leads",
        )
    for said in query.outside:
        yield (
            f"the query uses {said}",
            "Use joins, FILTER, BIND and FILTER NOT EXISTS only, and mint IRIs in place of blank nodes",
        )


# ---------------------------------------------------------------------- layers

_Names = frozenset[str] | None
"""IRIs that a place in a pattern may take; None for any."""


@dataclass(frozen=True, slots=True)
class _Atom:
    """What a pattern may touch: classes of its subject, properties, and objects."""

    classes: _Names
    predicates: _Names
    objects: _Names

    def meets(self, other: "_Atom") -> bool:
        """Whether one triple could be touched by both."""
        pairs = ((self.classes, other.classes), (self.predicates, other.predicates), (self.objects, other.objects))
        return all(a is None or b is None or a & b for a, b in pairs)


def check_layers(rules: Iterable[RuleText], store: Store) -> Iterator[Fault]:
    """Where a rule denies what a rule of the same or a later layer adds; `store` holds the completed ontology."""
    rules = sorted(rules, key=lambda rule: (rule.order, rule.iri))
    adds = [(rule, _atoms(rule, rule.query.adds, store)) for rule in rules]
    for rule in rules:
        denied = _atoms(rule, rule.query.denies, store)
        for later, added in adds:
            if later.order >= rule.order and any(d.meets(a) for d in denied for a in added):
                names = sorted(
                    {
                        identifier(p)
                        for d in denied
                        for a in added
                        if d.meets(a)
                        for p in (d.predicates or {"any property"})
                    }
                )
                yield Fault(
                    rule.iri,
                    f"layer {rule.order:g} denies {', '.join(names)}, which cp:{identifier(later.iri)} adds"
                    f" in layer {later.order:g}",
                    "Move the rule to a layer after that, or deny something that earlier layers have completed",
                )


def _atoms(rule: RuleText, patterns: Sequence[Pattern], store: Store) -> list[_Atom]:
    return [
        _Atom(_classes(rule, s, store), _taken(rule, p, store), _taken(rule, o, store) if _closed(p, o) else None)
        for s, p, o in patterns
    ]


def _closed(predicate: object, obj: object) -> bool:
    """Whether the objects of a pattern are worth telling apart: constants, and the classes of rdf:type."""
    return isinstance(obj, URIRef) or (isinstance(obj, Variable) and str(predicate) == RDF_TYPE)


def _taken(rule: RuleText, node: object, store: Store) -> _Names:
    """A constant, or whatever the ontology says that a variable may take where it is the object of a known property."""
    if isinstance(node, URIRef):
        return frozenset({str(node)})
    for subject, predicate, obj in rule.query.patterns:
        if obj == node and isinstance(predicate, URIRef) and subject != node and str(predicate) != RDF_TYPE:
            return frozenset(_objects(store, NamedNode(str(predicate))))
    return None


def _classes(rule: RuleText, node: object, store: Store) -> _Names:
    """The classes of a subject with those below them: of $this the targets, of a variable those it is typed with."""
    if str(node) == "this":
        found = set(rule.targets)
    else:
        found = {
            str(o) for s, p, o in rule.query.patterns if s == node and str(p) == RDF_TYPE and isinstance(o, URIRef)
        }
    if not found:
        return None
    below = NamedNode("http://www.w3.org/2000/01/rdf-schema#subClassOf")
    for name in tuple(found):
        found |= _subjects(store, below, NamedNode(name))
    return frozenset(found)


def _subjects(store: Store, predicate: NamedNode, obj: NamedNode) -> set[str]:
    quads = store.quads_for_pattern(None, predicate, obj)
    return {quad.subject.value for quad in quads if isinstance(quad.subject, NamedNode)}


def _objects(store: Store, predicate: NamedNode) -> set[str]:
    quads = store.quads_for_pattern(None, predicate, None)
    return {quad.object.value for quad in quads if isinstance(quad.object, NamedNode)}


# ---------------------------------------------------------------------- cases


def check_coverage(store: Store, cases: Iterable[Case]) -> Iterator[Fault]:
    """Which rules, criteria, limits, remedies, needs, renewals, resources and consequences lack a case that expects
    or refuses."""
    expected: set[str] = set()
    refused: set[str] = set()
    for case in cases:
        expected.update(case.tests if case.expects else ())
        refused.update(case.tests if case.refuses else ())
    for term in sorted(_to_cover(store)):
        for tried, word in ((expected, "expects"), (refused, "refuses")):
            if term not in tried:
                yield Fault(
                    term, f"no case {word} anything of it", f"Add a case with cp:tests of this term and cp:{word}"
                )


def _to_cover(store: Store) -> set[str]:
    typed = NamedNode(RDF_TYPE)
    classes = [NamedNode(DEF + name) for name in _COVERED] + [NamedNode(f"{SH}SPARQLRule")]
    terms = {term for name in classes for term in _subjects(store, typed, name)}
    for word in ("hasCriterion", "adapterLeftCriterion", "adapterRightCriterion", "isLimitedBy", "hasRemedy"):
        terms |= _objects(store, NamedNode(DEF + word))
    return terms


def check_cases(bench: Bench, cases: Sequence[Case]) -> Iterator[Fault]:
    """The cases that do not come out."""
    for case, misses in bench.judge_all(cases):
        for miss in misses:
            yield Fault(
                case.iri,
                f"the graph {short(miss.graph)} {miss.problem}",
                "Mend the rule, or the case if it asks for what is not so",
            )
