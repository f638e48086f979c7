"""The compiled verdict of every pair of seed parts at every joint kind is the one that the rules derive."""

from collections.abc import Iterable, Iterator

from pyoxigraph import Literal, NamedNode, Quad, Store

from crosspin.catalog.catalog import Catalog
from crosspin.model.judge import joint_verdict, judge_joint
from crosspin.model.records import TYPE, cp, spec_triples
from crosspin.model.schema import JointKind, Model, Part
from crosspin.model.terms import thing
from crosspin.store.graph import DERIVED, ONTOLOGY
from crosspin.store.infer import infer, read_rules
from seed import seed_library

PAIRS = "https://crosspin.example/id/pairs"
FOUND = "https://crosspin.example/id/found"
TRUE = Literal("true", datatype=NamedNode("http://www.w3.org/2001/XMLSchema#boolean"))


def distinct(model: Model, parts: Iterable[Part], kind: str, feature: str) -> list[Part]:
    """One part for every spec, absence and silence at a feature: parts alike there get the same verdict."""
    seen: dict[tuple[str | None, bool], Part] = {}
    for part in parts:
        if kind in model.kinds[part.kind].ancestors:
            seen.setdefault((part.specs.get(feature), feature in part.lacks), part)
    return list(seen.values())


def pairs(model: Model, catalog: Catalog) -> Iterator[tuple[JointKind, Part, Part]]:
    parts = list(catalog.parts.values())  # each is read from disk
    for kind in model.joint_kinds.values():
        rights = distinct(model, parts, kind.right_kind, kind.right_feature)
        for left in distinct(model, parts, kind.left_kind, kind.left_feature):
            for right in rights:
                yield kind, left, right


def test_compiled_verdicts_are_those_of_the_rules() -> None:
    library = seed_library()
    model, catalog = library.model, library.holdings.catalog
    many = frozenset(d.id for d in model.dimensions.values() if d.many)
    graph, found = NamedNode(PAIRS), NamedNode(FOUND)
    store = Store()
    for name in (ONTOLOGY, DERIVED):
        known = library.graph.quads.quads_for_pattern(None, None, None, NamedNode(name))
        store.bulk_extend(Quad(q.subject, q.predicate, q.object, graph) for q in known)
    store.bulk_extend(
        Quad(t.subject, t.predicate, t.object, graph) for s in catalog.specs.values() for t in spec_triples(s, model)
    )
    everything = list(pairs(model, catalog))
    quads = []
    for number, (kind, left, right) in enumerate(everything):
        contact = NamedNode(f"{PAIRS}/{number}")
        quads.append(Quad(contact, TYPE, cp("Contact"), graph))
        quads.append(Quad(contact, cp("isJudged"), TRUE, graph))
        quads.append(Quad(contact, cp("ofJointKind"), cp(kind.id), graph))
        for part, feature, side in ((left, kind.left_feature, "leftSpec"), (right, kind.right_feature, "rightSpec")):
            if feature in part.specs:
                quads.append(Quad(contact, cp(side), NamedNode(thing("spec", part.specs[feature])), graph))
            if feature in part.lacks:
                quads.append(Quad(contact, cp("lacksFeature"), TRUE, graph))
    store.bulk_extend(quads)
    rules = read_rules(store)
    infer(store, [r for r in rules if 20 <= r.order < 32], [graph], found)
    derived = {
        q.subject.value: q.object.value.rpartition("/")[2]
        for q in store.quads_for_pattern(None, cp("hasVerdict"), None, found)
        if isinstance(q.subject, NamedNode) and isinstance(q.object, NamedNode)
    }
    assert len(everything) > 5000
    verdicts = set()
    for number, (kind, left, right) in enumerate(everything):
        compiled = joint_verdict(judge_joint(kind, left, right, catalog.specs, many))
        verdicts.add(compiled)
        assert derived[f"{PAIRS}/{number}"] == compiled, f"{kind.id}: {left.id}, {right.id}"
    assert len(verdicts) == 3, "the seed data must show fits, clashes and unknowns"
