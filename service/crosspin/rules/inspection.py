"""Inspects packs: everything that a pack must be before it may speak, told by file and term.

The quick part looks at the text, the words, the rules and the cases.  The slow part runs every case in a
second engine, makes mutants, and looks for parts on record that go together at each joint.
"""

import re
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from pyoxigraph import NamedNode, Quad

from crosspin.catalog.catalog import Catalog
from crosspin.model.judge import joint_verdict, judge_joint
from crosspin.model.read import read_model
from crosspin.model.reader import BrokenOntology
from crosspin.model.schema import JointKind, Model, Part, Verdict
from crosspin.model.terms import DEF, identifier, term
from crosspin.rules import second_engine as second
from crosspin.rules.cases import RDF_TYPE, Bench, Case, parse_text_with_graphs, read_cases
from crosspin.rules.gates import check_cases, check_coverage, check_layers, read_rule_texts
from crosspin.rules.mutants import Mutant, Score, hunt, mutants, terms_to_mutate
from crosspin.rules.sense import circular, doubled, limits, never_derives, outdated, placed, silent, undefined, unfilled
from crosspin.store.graph import BrokenText, Facts
from crosspin.store.infer import FIRST_BUILD_ORDER, SH, Workspace
from crosspin.store.packs import SHIPPED, BrokenPack, Fault, Reading, read_packs

__all__ = ["Fault", "Inspection"]

_NAME = re.compile(r"\bcp:[\w-]+")
_ANY_PROPERTY = re.compile(r"[?$]\w+\s+\?\w+\s+[?$]\w+")
_STEPS = 3  # how far the shapes look from a term: the kinds of a joint's roles have the feature, which is of a kind
_RULE = NamedNode(f"{SH}SPARQLRule")
_LAYOUT = NamedNode(DEF + "Layout")
_FOR_PEOPLE = frozenset(
    [f"http://www.w3.org/2004/02/skos/core#{name}" for name in ("definition", "example", "altLabel")]
    + ["http://www.w3.org/2000/01/rdf-schema#label"]
)


@dataclass(frozen=True, slots=True)
class _Trial:
    """A case, and the file that it stands in."""

    file: str
    case: Case


class Inspection:
    """An ontology with packs laid upon it; looked at are those of `about`, by default all packs, and without
    packs all that is shipped."""

    def __init__(self, ontology: Path, packs: Sequence[Path] = (), about: Sequence[Path] | None = None) -> None:
        """Raises BrokenPack where a text cannot be read at all."""
        self._ontology = ontology
        self.folders = tuple(about if about is not None else packs) or (ontology,)
        self.reading: Reading = read_packs(ontology, packs)
        names = {SHIPPED if folder == ontology else folder.name for folder in self.folders}
        self._said = [s for s in self.reading.said if s.pack in names]
        self.terms = frozenset(s.term for s in self._said if s.term and s.quad.predicate == RDF_TYPE)

    @cached_property
    def bench(self) -> Bench:
        """The ontology, completed.  Raises SyntaxError where the query of a rule cannot be run."""
        return Bench(self.reading.quads)

    @cached_property
    def _trials(self) -> tuple[_Trial, ...]:
        trials = []
        for folder in self.folders:
            for path in sorted(folder.rglob("cases.trig")):
                trials += [_Trial(str(path), case) for case in read_cases(path.read_bytes(), path.name)]
        return tuple(trials)

    @property
    def cases(self) -> tuple[Case, ...]:
        """The cases of the packs looked at.  Raises BrokenText."""
        return tuple(trial.case for trial in self._trials)

    @property
    def _files(self) -> dict[str, str]:
        made = {limit: said.file for said in self.reading.said for limit in limits([said])}
        return self.reading.files | made | {trial.case.iri: trial.file for trial in self._trials}

    # ------------------------------------------------------------------ the quick part

    def quick(self) -> tuple[Fault, ...]:
        """Every fault that shows without running a second engine or making mutants."""
        try:
            cases = self.cases
        except BrokenText as error:
            place, _, wrong = str(error).partition(": ")
            return (*self.reading.faults, Fault(place, wrong, "Mend the case"))
        words = [
            *self.reading.faults,
            *doubled(self._said),
            *undefined(self._said, self._case_quads(), self._known()),
            *unfilled(self._said),
            *outdated(self._said, self.reading.said),
        ]
        style = [*self._refused_by_shapes()]
        profile, runnable = self._rule_faults()
        found = [*words, *style, *profile]
        if runnable:
            found += self._ontology_faults()
            if not any("is not defined anywhere" in fault.wrong for fault in words):
                found += self._case_faults(cases)
        return tuple(dict.fromkeys(placed(found, self._files)))

    def _known(self) -> set[str]:
        """The names that something defines: by a type, as a set of prefixes, as part of what is shipped, or as the
        limit of a figure."""
        said = self.reading.said
        by_itself = {s.term for s in said if s.pack == SHIPPED or s.name in (RDF_TYPE.value, f"{SH}declare")}
        return by_itself.union(limits(said))

    def _case_quads(self) -> Iterator[tuple[str, Quad]]:
        for file in sorted({trial.file for trial in self._trials}):
            for quad in parse_text_with_graphs(Path(file).read_bytes(), file):
                yield file, quad

    def _refused_by_shapes(self) -> Iterator[Fault]:
        """House style and rule profile, where pySHACL is at hand."""
        if not second.AVAILABLE:
            return
        # words for people on the terms of others are not looked at, and are most of the ontology
        foreign = [q for q in self.reading.quads if q.predicate.value not in _FOR_PEOPLE]
        near = foreign if self.folders == (self._ontology,) else second.around(foreign, self.terms, _STEPS)
        data = second.as_rdflib({*near, *(s.quad for s in self._said)})
        for name in ("house-style", "rule-profile"):
            shapes = second.read_shapes(self._ontology / "shapes" / f"{name}.ttl")
            for focus, message in second.refused_by_shapes(data, shapes, self.terms):
                yield Fault(focus, f"the {name.replace('-', ' ')} is not kept", message.rstrip("."))

    def _rules(self) -> frozenset[str]:
        return frozenset(s.term for s in self._said if s.quad.predicate == RDF_TYPE and s.quad.object == _RULE)

    def _rule_faults(self) -> tuple[list[Fault], bool]:
        """Faults of the rules looked at, and whether the rules can be run all the same."""
        mine = self._rules()
        nameless = [s for s in self._said if not s.term and s.quad.object == _RULE]
        faults = [Fault(s.file, "a rule is a blank node", "Give it an IRI") for s in nameless]
        if not mine:
            return faults, not nameless
        store = Workspace(self.reading.quads).store
        texts = dict(filter(None, map(_query, self.reading.quads)))
        names = set().union(*(_names(texts.get(rule, "")) for rule in mine))
        near = {
            rule for rule, text in texts.items() if rule in mine or names & _names(text) or _ANY_PROPERTY.search(text)
        }
        rules, linted = read_rule_texts(store, near)
        faults += [fault for fault in linted if fault.place in mine]
        layers = [
            fault
            for fault in check_layers(rules, store)
            if fault.place in mine or any(f"cp:{identifier(rule)} " in fault.wrong for rule in mine)
        ]
        broken = any(word in fault.wrong for fault in faults for word in ("parse", "do not declare", "no order"))
        return [*faults, *layers], not broken and not nameless

    def _ontology_faults(self) -> list[Fault]:
        """What keeps the ontology from being compiled, or a rule of it from ever speaking."""
        try:
            model = self.model
        except BrokenOntology as error:
            place = "the ontology with its packs"
            return [_told(problem, self.reading.files, place) for problem in str(error).split("; cp:")]
        return [*silent(model, self.terms), *circular(model, self.terms)]

    @property
    def _to_try(self) -> frozenset[str]:
        """The terms that cases are asked of: ours, and the criteria that the limits of our figures are made into."""
        return self.terms.union(limits(self._said))

    def _case_faults(self, cases: Sequence[Case]) -> list[Fault]:
        return [
            *(fault for fault in check_coverage(self.bench.store, cases) if fault.place in self._to_try),
            *check_cases(self.bench, cases),
            *never_derives(self.bench, cases, self._late_rules()),
        ]

    def _late_rules(self) -> frozenset[str]:
        late = {rule.iri for rule in self.bench.rules if rule.order >= FIRST_BUILD_ORDER}
        return self._rules() & late

    @cached_property
    def model(self) -> Model:
        """The ontology as plain objects.  Raises BrokenOntology."""
        return read_model(Facts(self.bench.store), version="")

    # ------------------------------------------------------------------ the slow part

    def disagreements(self) -> tuple[Fault, ...]:
        """Cases that the second engine derives something else from.

        Cases that pair the positions of a layout are left out: rdflib needs minutes for one of these.
        """
        cases = [c for c in self.cases if not any(t.predicate == RDF_TYPE and t.object == _LAYOUT for t in c.given)]
        given = list(dict.fromkeys(triple for case in cases for triple in case.given))
        if not given:
            return ()
        # rdflib is slow, so that both are given only what the cases lead to
        ontology = second.mentioned(second.without_early_shapes(self.bench.store), given)
        ours = second.facts(triple for triples in Bench(ontology).derive(given).values() for triple in triples)
        theirs = second.derive_by_pyshacl(ontology, given)
        found = []
        for word, facts in (("ours alone derives", ours - theirs), ("the second alone derives", theirs - ours)):
            for one in sorted(facts):
                place = ", ".join(map(str, self.folders))
                found.append(Fault(place, f"of two engines {word} {' '.join(one)}", "Write the rule more plainly"))
        return tuple(found)

    def mutants(self) -> tuple[Mutant, ...]:
        """Every mutant of what the packs looked at say."""
        return tuple(mutants(self.bench, terms_to_mutate(self.bench.store, self._to_try)))

    def hunt(self, found: Sequence[Mutant], note: Callable[[], None] = lambda: None) -> Score:
        """Try these mutants on the cases; `note` is called after each."""
        return hunt(self.bench, self.cases, found, note)

    def joints_without_parts(self, catalog: Catalog) -> tuple[Fault, ...]:
        """Joint kinds at which no two parts on record are known to go together."""
        found = []
        for kind in self.model.joint_kinds.values():
            if term(kind.id) in self.terms and not _someone_fits(self.model, catalog, kind):
                wrong = "no two parts on record are known to fit at this joint"
                found.append(Fault(term(kind.id), wrong, "Put such a pair into the pack's data, or look at its limits"))
        return tuple(placed(found, self.reading.files))


def _someone_fits(model: Model, catalog: Catalog, kind: JointKind) -> bool:
    many = model.many
    lefts = _told_apart(model, catalog, kind.left_kind, kind.left_feature)
    rights = _told_apart(model, catalog, kind.right_kind, kind.right_feature)
    return any(
        joint_verdict(judge_joint(kind, left, right, catalog.specs, many)) is Verdict.FITS
        for left in lefts
        for right in rights
    )


def _told_apart(model: Model, catalog: Catalog, kind: str, feature: str) -> list[Part]:
    """One part of a kind for each spec that the kind's parts have at a feature."""
    held = catalog.held(model, kind, feature)
    return [Part(id=spec, kind=kind, label=spec, specs={feature: spec}) for spec in held]


def _query(quad: Quad) -> tuple[str, str] | None:
    """Rule and text, of a triple that gives a rule its query."""
    if quad.predicate.value == f"{SH}construct" and isinstance(quad.subject, NamedNode):
        return quad.subject.value, getattr(quad.object, "value", "")
    return None


def _names(query: str) -> set[str]:
    return set(_NAME.findall(query))


def _told(problem: str, files: dict[str, str], otherwise: str) -> Fault:
    """A problem of the ontology, which begins with the name of a term, as a fault of that term."""
    text = problem if problem.startswith(("cp:", "<")) else f"cp:{problem}"
    name = text.split(" ", 1)[0].strip("<>").removeprefix("cp:")
    place = term(name) if term(name) in files else otherwise
    return Fault(place, problem.replace(f"<{DEF}", "cp:").replace("> ", " "), "Mend the term named")


def inspect(ontology: Path, packs: Sequence[Path], about: Collection[Path] | None = None) -> tuple[Fault, ...]:
    """The faults of the quick part, or the one for which the packs cannot be read."""
    try:
        return Inspection(ontology, packs, None if about is None else tuple(about)).quick()
    except BrokenPack as broken:
        return broken.faults
