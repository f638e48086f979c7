"""Derivations as PROV-O (W3C, 2013), in which other programs can follow them."""

from pyoxigraph import Literal, NamedNode, Triple, serialize

from crosspin.model.records import TYPE, cp
from crosspin.model.terms import DEF, ID, term
from crosspin.rules.derivation import THE_PLAN, XSD, Derivations, FactLine
from crosspin.rules.plan_nodes import PLAN
from crosspin.store.graph import FORMATS

_PROV = "http://www.w3.org/ns/prov#"
_RDF = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
_PREFIXES = {"cp": DEF, "prov": _PROV, "rdf": _RDF, "xsd": XSD}


def _object(fact: FactLine) -> NamedNode | Literal:
    if fact.datatype is None:
        return NamedNode(term(fact.value))
    return Literal(fact.value, datatype=NamedNode(XSD + fact.datatype))


def as_prov(derivations: Derivations, media_type: str) -> bytes:
    """Derivations as PROV-O (W3C, 2013): a fact is an entity, the application of a rule an activity that had
    the rule for its plan.  Raises KeyError for a format that is not written."""
    base = f"{PLAN.value}/fact/"
    triples: list[Triple] = []

    def say(subject: NamedNode, predicate: str, obj: NamedNode | Literal) -> None:
        triples.append(Triple(subject, NamedNode(predicate), obj))

    for line in derivations.conclusions:
        for name in line.evidence:
            say(NamedNode(base + line.fact), cp("hasEvidence").value, cp(name))
    for fact in derivations.facts:
        node = NamedNode(base + fact.id)
        say(node, TYPE.value, NamedNode(f"{_PROV}Entity"))
        say(node, TYPE.value, NamedNode(f"{_RDF}Statement"))
        for name, value in (("subject", fact.subject), ("predicate", fact.property)):
            say(node, _RDF + name, NamedNode(term(value)))
        say(node, f"{_RDF}object", _object(fact))
        for name in fact.evidence:
            say(node, cp("hasEvidence").value, cp(name))
        if fact.rule is None:
            source = PLAN if fact.source == THE_PLAN else NamedNode(fact.source or "")
            say(node, f"{_PROV}hadPrimarySource", source)
            say(source, TYPE.value, NamedNode(f"{_PROV}Entity"))
            continue
        step, use = NamedNode(f"{base}{fact.id}/step"), NamedNode(f"{base}{fact.id}/use")
        rule = cp(fact.rule)
        say(node, f"{_PROV}wasGeneratedBy", step)
        say(step, TYPE.value, NamedNode(f"{_PROV}Activity"))
        say(step, f"{_PROV}qualifiedAssociation", use)
        say(use, TYPE.value, NamedNode(f"{_PROV}Association"))
        say(use, f"{_PROV}agent", NamedNode(f"{ID}agent/rules"))
        say(use, f"{_PROV}hadPlan", rule)
        say(rule, TYPE.value, NamedNode(f"{_PROV}Plan"))
        for name, value in fact.bindings.items():
            say(step, cp("boundTo").value, Literal(f"{name} = {value}"))
        for used in fact.uses:
            say(step, f"{_PROV}used", NamedNode(base + used))
            say(node, f"{_PROV}wasDerivedFrom", NamedNode(base + used))
    say(NamedNode(f"{ID}agent/rules"), TYPE.value, NamedNode(f"{_PROV}SoftwareAgent"))
    return serialize(sorted(set(triples), key=str), format=FORMATS[media_type], prefixes=_PREFIXES) or b""
