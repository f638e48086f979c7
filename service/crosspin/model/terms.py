"""The project's IRIs: how a short identifier becomes an IRI and back."""

DEF = "https://crosspin.example/def/"
ID = "https://crosspin.example/id/"
CASE = "https://crosspin.example/case/"
UNIT = "http://qudt.org/vocab/unit/"


def term(identifier: str) -> str:
    """The IRI of an ontology term, given its identifier (local name, or a full IRI of another namespace)."""
    return identifier if "://" in identifier else DEF + identifier


def identifier(iri: str) -> str:
    """The identifier of an ontology term, given its IRI; the inverse of `term`."""
    return iri.removeprefix(DEF)


def thing(sort: str, name: str) -> str:
    """The IRI of a thing on record, such as thing("part", "rp-895-4111-r")."""
    return f"{ID}{sort}/{name}"
