"""Typed look-ups in the facts of the ontology, which name the term when something is missing or doubled."""

from collections.abc import Callable, Sequence
from decimal import Decimal
from enum import StrEnum
from typing import TypeVar

from pyoxigraph import BlankNode, Literal, NamedNode

from crosspin.figures.exact import canonical
from crosspin.model.schema import JointKind, Term
from crosspin.model.terms import DEF, identifier
from crosspin.store.graph import Facts
from crosspin.store.graph import Term as Node

RDF_TYPE = "http://www.w3.org/1999/02/22-rdf-syntax-ns#type"
RDFS = "http://www.w3.org/2000/01/rdf-schema#"
SKOS = "http://www.w3.org/2004/02/skos/core#"

Named = TypeVar("Named", bound=Term | JointKind)
Choice = TypeVar("Choice", bound=StrEnum)


class BrokenOntology(ValueError):
    """The ontology does not say what it must; the message names the term and what is missing."""


class Reader:
    """Typed look-ups that name the term when something is missing or doubled."""

    def __init__(self, facts: Facts, language: str = "en") -> None:
        """Words are read in a language where they are written in it, in English where not."""
        self.facts = facts
        self.language = language

    def ids(self, node: Node, name: str) -> tuple[str, ...]:
        """Identifiers of everything that a property of ours leads to."""
        return tuple(identifier(value.value) for value in self.facts.all(node, DEF + name))

    def maybe_id(self, node: Node, name: str) -> str | None:
        """The identifier that a property leads to, None without one; raises BrokenOntology where there are several."""
        values = self.ids(node, name)
        if len(values) > 1:
            raise BrokenOntology(f"{node} has more than one cp:{name}: {', '.join(values)}; keep one")
        return values[0] if values else None

    def id(self, node: Node, name: str) -> str:
        """The identifier that a property leads to; raises BrokenOntology where there is not exactly one."""
        value = self.maybe_id(node, name)
        if value is None:
            raise BrokenOntology(f"{node} has no cp:{name}; add it")
        return value

    def maybe_choice(self, node: Node, name: str, among: type[Choice]) -> Choice | None:
        """Which of a few a property names, None without one; raises BrokenOntology where it names something else."""
        value = self.maybe_id(node, name)
        if value is None:
            return None
        try:
            return among(value)
        except ValueError:
            known = ", ".join(among)
            raise BrokenOntology(f"{node} has cp:{name} {value}, which is none; known: {known}") from None

    def choice(self, node: Node, name: str, among: type[Choice]) -> Choice:
        """Which of a few a property names; raises BrokenOntology where it names nothing, or something else."""
        value = self.maybe_choice(node, name, among)
        if value is None:
            raise BrokenOntology(f"{node} has no cp:{name}; add one of: {', '.join(among)}")
        return value

    def literals(self, node: Node, name: str) -> list[Literal]:
        """The values of a property: those in the reader's language, or else in English and in none."""
        return self._spoken(self.facts.all(node, DEF + name))

    def _spoken(self, values: Sequence[Node]) -> list[Literal]:
        literals = [v for v in values if isinstance(v, Literal)]
        plain = [v for v in literals if v.language in (None, "en")]
        return [v for v in literals if v.language == self.language] or plain

    def maybe_text(self, node: Node, name: str) -> str | None:
        """The value of a property as text, None without one; raises BrokenOntology where there are several."""
        values = self.literals(node, name)
        if len(values) > 1:
            raise BrokenOntology(f"{node} has more than one cp:{name}; keep one")
        return values[0].value if values else None

    def text(self, node: Node, name: str) -> str:
        """The value of a property as text; raises BrokenOntology where there is not exactly one."""
        value = self.maybe_text(node, name)
        if value is None:
            raise BrokenOntology(f"{node} has no cp:{name}; add it")
        return value

    def maybe_number(self, node: Node, name: str) -> Decimal | None:
        """The value of a property as an exact number, None without one."""
        value = self.maybe_text(node, name)
        return None if value is None else canonical(Decimal(value))

    def flag(self, node: Node, name: str) -> bool:
        """Whether a property says true."""
        return self.maybe_text(node, name) == "true"

    def texts(self, node: Node, name: str) -> tuple[str, ...]:
        """Every value of a property as text."""
        return tuple(v.value for v in self.literals(node, name))

    def label(self, node: Node) -> str:
        """The label of a thing, "" where it has none."""
        return next((v.value for v in self._spoken(self.facts.all(node, RDFS + "label"))), "")

    def named(self, node: Node) -> dict[str, str]:
        """id, label and definition."""
        if isinstance(node, BlankNode):
            raise BrokenOntology(f"a blank node is used where a named term is needed: {self.facts.about(node)}")
        found: dict[str, str] = {"id": identifier(node.value)}
        for key, predicate in (("label", RDFS + "label"), ("definition", SKOS + "definition")):
            values = self._spoken(self.facts.all(node, predicate))
            if len(values) != 1:
                raise BrokenOntology(f"{node} needs exactly one English {key}, has {len(values)}")
            found[key] = values[0].value
        return found

    def table(
        self, class_name: str, build: Callable[[Node], Named], where: Callable[[Node], bool] = lambda _: True
    ) -> dict[str, Named]:
        """Every instance of a class, or of those `where` something holds, keyed by identifier and sorted by it."""
        nodes = (node for node in self.facts.of_type(DEF + class_name) if isinstance(node, NamedNode))
        items = (build(node) for node in nodes if where(node))
        return {item.id: item for item in sorted(items, key=lambda item: item.id)}
