"""From what the conclusions of a plan follow: each traced through rules to facts that are on record."""

import json
import re
from collections import defaultdict
from functools import cache

import pytest
from pyoxigraph import Literal, NamedNode, Triple, parse
from rdflib import RDF, Graph, URIRef
from rdflib.namespace import PROV

from api_client import seed_client
from crosspin.knockon.proposal import Proposal
from crosspin.model.terms import DEF, term
from crosspin.rules.derivation import THE_PLAN, XSD, Derivations, FactLine, Sort
from crosspin.rules.plan_graph import PlanGraph
from crosspin.rules.proof import Proof
from crosspin.store.graph import FORMATS
from crosspin.store.infer import FIRST_BUILD_ORDER, read_rules
from seed import seed_desk, seed_library
from test_rules_prover import ASK, asked, proof, proposed

ADDRESS = "/v1/knock-on/derivations"


@cache
def derived() -> Derivations:
    return seed_desk().derivations(asked())


@cache
def facts() -> dict[str, FactLine]:
    return {fact.id: fact for fact in derived().facts}


def triple_of(fact: FactLine) -> Triple:
    value = (
        NamedNode(term(fact.value))
        if fact.datatype is None
        else Literal(fact.value, datatype=NamedNode(XSD + fact.datatype))
    )
    return Triple(NamedNode(term(fact.subject)), NamedNode(term(fact.property)), value)


def test_every_conclusion_of_the_proof_is_traced() -> None:
    """Both ways: what the prover concluded, which keeps things between proofs, and what was traced anew."""
    told = defaultdict(set)
    for line in derived().conclusions:
        told[line.sort].add((line.rule, line.at, line.says))
    proved: Proof = proof()
    joints = {(j.joint.partition("/")[0], j.joint.partition("/")[2], str(j.verdict)) for j in proved.joints.values()}
    judged = {(kind, at, verdict) for kind, at, verdict in joints if proved.joints[f"{kind}/{at}"].judged}
    assert told[Sort.JOINT] == judged
    findings = {
        (f.criterion, j.joint.partition("/")[2], str(f.verdict))
        for j in proved.joints.values()
        if j.judged
        for f in j.findings
    }
    for name, figure in proved.figures.items():
        findings |= {(f.criterion, name.partition("/")[2], str(f.verdict)) for f in figure.findings}
    assert told[Sort.FINDING] == findings
    figures = {(*name.partition("/")[::2], str(figure.verdict)) for name, figure in proved.figures.items()}
    assert told[Sort.FIGURE] == figures
    needs = {(need.rule, need.position, str(need.verdict)) for need in proved.needs.values()}
    assert told[Sort.NEED] == needs
    brought = {(o.consequence, o.position, o.brings) for o in proved.outcomes}
    brought |= {(w.remedy, w.position, w.operation) for w in proved.mended}
    assert told[Sort.OPERATION] | told[Sort.CHECK] | told[Sort.CAUTION] == brought
    assert told[Sort.RESOURCE] == {(r.resource, "", str(r.verdict)) for r in proved.resources.values()}
    assert min(map(len, (findings, needs, brought))) > 50 and figures


def test_every_step_of_the_plan_that_is_told_has_a_derivation() -> None:
    """What people read: reasons, works, checks and cautions of the answer itself."""
    plan = json.loads(seed_desk().ask(asked()).model_dump_json())
    said = {line.says for line in derived().conclusions}
    text = json.dumps(plan)
    brought = {
        i for i in (*seed_desk().holdings.model.checks, *seed_desk().holdings.model.cautions) if f'"{i}"' in text
    }
    assert brought
    assert brought <= said


def test_what_a_conclusion_rests_on_is_told_down_to_the_facts() -> None:
    for line in derived().conclusions:
        assert facts()[line.fact].rule, line
    for fact in derived().facts:
        assert (fact.rule is None) is (fact.source is not None)
        assert bool(fact.uses) is (fact.rule is not None)
        assert set(fact.uses) <= facts().keys()


def test_nothing_follows_from_itself() -> None:
    order: dict[str, int] = {}

    def depth(name: str) -> int:
        if name not in order:
            order[name] = -1
            order[name] = 1 + max((depth(used) for used in facts()[name].uses), default=0)
        assert order[name] > 0, f"{name} follows from itself"
        return order[name]

    assert max(map(depth, facts())) > 3


def test_the_facts_that_are_cited_are_in_the_graph() -> None:
    found: Proposal = proposed()
    library = seed_library()
    vehicle = library.holdings.catalog.vehicles["hill-patrol"]
    written = PlanGraph(library.model, library.holdings.catalog).proposed(vehicle, found)
    build = {*written.build, *(t for triples in written.parts.values() for t in triples)}
    sources: dict[str, int] = defaultdict(int)
    for fact in derived().facts:
        if fact.source is None:
            continue
        sources[fact.source] += 1
        triple = triple_of(fact)
        if fact.source == THE_PLAN:
            assert triple in build
        else:
            graph = NamedNode(fact.source)
            held = library.graph.quads.quads_for_pattern(triple.subject, triple.predicate, triple.object, graph)
            assert next(held, None) is not None, fact
    assert len(sources) >= 4


def test_the_plan_as_rdf_holds_every_derived_fact() -> None:
    text = seed_desk().plan_graph(asked(), "application/n-triples")
    told = {quad.triple for quad in parse(text, format=FORMATS["application/n-triples"])}
    missing = [fact for fact in derived().facts if fact.rule is not None and triple_of(fact) not in told]
    assert missing == []


def test_another_engine_derives_each_fact_from_those_cited_alone() -> None:
    """rdflib's SPARQL runs the rule over nothing but the triples that are cited: one fact for every rule that
    spoke.  Conditions that nothing may meet hold all the more where less is known."""
    queries = {
        rule.iri: rule.query for rule in read_rules(seed_library().graph.quads) if rule.order >= FIRST_BUILD_ORDER
    }
    tried: dict[str, FactLine] = {}
    for fact in derived().facts:
        if fact.rule is not None:
            tried.setdefault(fact.rule, fact)
    assert len(tried) > 30
    for name, fact in tried.items():
        graph = Graph()
        for used in fact.uses:
            graph.parse(data=f"{triple_of(facts()[used])} .", format="nt")
        (wanted,) = Graph().parse(data=f"{triple_of(fact)} .", format="nt")
        found = graph.query(queries[DEF + name]).graph
        assert found is not None
        assert wanted in found, fact


def test_bindings_are_those_that_the_rule_speaks_of() -> None:
    model = seed_library().model
    for fact in derived().facts:
        if fact.rule is not None:
            assert fact.bindings.keys() <= set(re.findall(r"[?$](\w+)", model.rules[fact.rule].query)) | {"this"}
            assert "this" in fact.bindings


def test_a_conclusion_names_the_evidence_of_its_rule() -> None:
    model = seed_library().model
    for line in derived().conclusions:
        if line.sort is Sort.NEED:
            rule = model.needs.get(line.rule) or model.renewals[line.rule]
            assert line.evidence == rule.evidence
        assert set(line.evidence) <= derived().evidence.keys()
    assert sum(bool(line.evidence) for line in derived().conclusions) > 0.9 * len(derived().conclusions)


# ------------------------------------------------------------------ by HTTP


def test_the_service_tells_the_derivations_about_one_position() -> None:
    body = ASK.read_bytes()
    headers = {"Content-Type": "application/json"}
    reply = seed_client().post(ADDRESS, content=body, headers=headers, params={"about": "front/carrier"})
    told = Derivations.model_validate_json(reply.content)
    assert told.conclusions
    assert all("front/carrier" in line.at.split("--") for line in told.conclusions)
    assert {(c.rule, c.at, c.says) for c in told.conclusions} < {(c.rule, c.at, c.says) for c in derived().conclusions}
    refused = seed_client().post(ADDRESS, content=body, headers=headers, params={"about": "front/carriage"})
    assert refused.status_code == 404


# The classes and properties: W3C PROV-O (2013), section 3; a statement about a triple: RDF Schema 1.1, 5.3.
def test_as_prov_every_fact_leads_to_a_rule_or_a_source() -> None:
    headers = {"Content-Type": "application/json", "Accept": "text/turtle"}
    reply = seed_client().post(ADDRESS, content=ASK.read_bytes(), headers=headers, params={"about": "front/carrier"})
    assert reply.headers["content-type"].startswith("text/turtle")
    graph = Graph().parse(data=reply.text, format="turtle")
    entities = set(graph.subjects(RDF.type, RDF.Statement))
    assert len(entities) > 100
    for entity in entities:
        assert (entity, RDF.type, PROV.Entity) in graph
        assert all(graph.value(entity, p) is not None for p in (RDF.subject, RDF.predicate, RDF.object))
        activity = graph.value(entity, PROV.wasGeneratedBy)
        if activity is None:
            assert (graph.value(entity, PROV.hadPrimarySource), RDF.type, PROV.Entity) in graph
            continue
        assert set(graph.objects(activity, PROV.used)) == set(graph.objects(entity, PROV.wasDerivedFrom)) <= entities
        use = graph.value(activity, PROV.qualifiedAssociation)
        rule = graph.value(use, PROV.hadPlan)
        assert (rule, RDF.type, PROV.Plan) in graph
        assert isinstance(rule, URIRef)
        assert rule.removeprefix(DEF) in seed_library().model.rules


@pytest.mark.parametrize("address", [ADDRESS, "/v1/knock-on/why-not?rule=innerShaftInSideGear"])
def test_where_there_is_no_plan_there_is_nothing_to_trace(address: str) -> None:
    ask = {"vehicle": "hill-patrol", "fit": [{"at": "front/carrier", "part": "al-895-33"}], "keep": ["front/gear-set"]}
    reply = seed_client().post(address, json=ask)
    assert (reply.status_code, reply.json()["type"].rpartition("/")[2]) == (409, "no-plan")


@pytest.mark.parametrize("address", [f"{ADDRESS}?about=front/carrier", "/v1/knock-on/why-not?rule=bringByFresh"])
def test_whoever_holds_the_answer_is_told_so(address: str) -> None:
    headers = {"Content-Type": "application/json"}
    first = seed_client().post(address, content=ASK.read_bytes(), headers=headers)
    held = {**headers, "If-None-Match": first.headers["etag"]}
    assert seed_client().post(address, content=ASK.read_bytes(), headers=held).status_code == 412
