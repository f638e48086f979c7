"""The rules that are written as queries, as far as people are told of them."""

from decimal import Decimal

from crosspin.model.base import Term


class WrittenRule(Term):
    """A rule of the ontology: in which layer it runs, on members of which classes, its query and its evidence."""

    layer: Decimal
    targets: tuple[str, ...]
    query: str
    evidence: tuple[str, ...] = ()
