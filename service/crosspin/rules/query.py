"""A rule's query taken apart: what it adds, what it looks for, what it denies, and what words it uses."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache

from pyparsing import ParseResults
from rdflib.plugins.sparql.parser import parseQuery
from rdflib.plugins.sparql.parserutils import CompValue
from rdflib.term import BNode, Literal, Node, URIRef, Variable

XSD = "http://www.w3.org/2001/XMLSchema#"
Pattern = tuple[Node | None, Node | None, Node | None]
"""Subject, predicate, object; None where a property path stands in place of a predicate."""

# What the portable profile allows, by the names that rdflib's grammar gives to the pieces of a query.
_PLAIN = {
    "ConstructQuery", "GroupGraphPatternSub", "TriplesBlock", "Filter", "Bind", "Builtin_NOTEXISTS", "pname", "literal",
    "PathAlternative", "PathSequence", "PathElt", "ConditionalOrExpression", "ConditionalAndExpression",
    "RelationalExpression", "AdditiveExpression", "MultiplicativeExpression", "UnaryNot", "UnaryMinus", "UnaryPlus",
    "Builtin_IRI", "Builtin_URI", "Builtin_STR", "Builtin_CONCAT", "Builtin_STRAFTER", "Builtin_STRBEFORE",
    "Builtin_sameTerm", "Builtin_ABS",
}  # fmt: skip
_SAID = {
    "OptionalGraphPattern": "OPTIONAL",
    "GroupOrUnionGraphPattern": "UNION or a group of its own",
    "MinusGraphPattern": "MINUS",
    "GraphGraphPattern": "GRAPH",
    "ServiceGraphPattern": "SERVICE",
    "SubSelect": "a sub-select",
    "InlineData": "VALUES",
    "Builtin_EXISTS": "FILTER EXISTS",
    "Builtin_BNODE": "BNODE",
    "Function": "an extension function",
}


@dataclass
class RuleQuery:
    """The pieces of one CONSTRUCT query.

    adds        the patterns of the head
    looks       the patterns that must be there
    denies      the patterns inside FILTER NOT EXISTS, however deep
    outside     pieces that the portable profile does not allow, in words
    undeclared  prefixes that nothing declares
    """

    adds: list[Pattern] = field(default_factory=list)
    looks: list[Pattern] = field(default_factory=list)
    denies: list[Pattern] = field(default_factory=list)
    outside: list[str] = field(default_factory=list)
    undeclared: list[str] = field(default_factory=list)

    @property
    def patterns(self) -> list[Pattern]:
        """All patterns."""
        return [*self.adds, *self.looks, *self.denies]


def take_apart(query: str, prefixes: dict[str, str]) -> RuleQuery:
    """Parse a query with these prefixes; raises ValueError, with the parser's words, where it does not parse."""
    head = "".join(f"PREFIX {name}: <{iri}>\n" for name, iri in prefixes.items())
    try:
        tree = _parsed(head + query)
    except Exception as error:  # pyparsing raises several kinds
        raise ValueError(f"it does not parse: {error}") from error
    found = RuleQuery()
    if tree.name != "ConstructQuery":
        found.outside.append(f"{tree.name.removesuffix('Query').upper()} in place of CONSTRUCT")
        return found
    found.undeclared.extend(sorted({name for name in _prefixes(tree) if name not in prefixes}))
    found.adds.extend(_triples(_piece(tree, "template"), prefixes))
    _collect(_piece(tree, "where"), prefixes, found, denied=False)
    for name in sorted({name for name in _names(tree) if name not in _PLAIN}):
        said = _SAID.get(name)
        if said is None:
            said = "an aggregate" if name.startswith("Aggregate") else name.removeprefix("Builtin_")
        found.outside.append(said)
    if any(key in tree and tree[key] for key in ("having", "groupby", "orderby", "limitoffset")):
        found.outside.append("GROUP, HAVING, ORDER or LIMIT")
    if any(predicate is None for _, predicate, _ in found.patterns):
        found.outside.append("a property path")
    for literal in (node for node in _leaves(tree) if isinstance(node, Literal)):
        if str(literal.datatype) in (f"{XSD}double", f"{XSD}float"):
            found.outside.append(f"the double {literal}")
    if any(isinstance(node, BNode) for pattern in found.adds for node in pattern):
        found.outside.append("a blank node in the head")
    return found


@lru_cache(maxsize=1024)
def _parsed(text: str) -> CompValue:
    """The query as rdflib's grammar has it, which takes tens of milliseconds; only to be read."""
    tree = parseQuery(text)[1]
    assert isinstance(tree, CompValue)
    return tree


def _piece(node: CompValue, key: str) -> object:
    """A piece of a node, or an empty list: CompValue.get gives the key itself where there is none."""
    return node[key] if key in node else []  # noqa: SIM401


def _collect(node: object, prefixes: dict[str, str], found: RuleQuery, denied: bool) -> None:
    if isinstance(node, CompValue):
        if node.name == "TriplesBlock":
            (found.denies if denied else found.looks).extend(_triples(node["triples"], prefixes))
            return
        for value in node.values():
            _collect(value, prefixes, found, denied or node.name == "Builtin_NOTEXISTS")
    elif isinstance(node, (list, ParseResults)):
        for item in node:
            _collect(item, prefixes, found, denied)


def _triples(blocks: object, prefixes: dict[str, str]) -> Iterator[Pattern]:
    assert isinstance(blocks, (list, ParseResults))
    for block in blocks:
        words = [_word(word, prefixes) for word in block]
        for start in range(0, len(words) - 2, 3):
            yield words[start], words[start + 1], words[start + 2]


def _word(node: object, prefixes: dict[str, str]) -> Node | None:
    """A term, or None for a property path."""
    while isinstance(node, CompValue) and node.name in ("PathAlternative", "PathSequence", "PathElt"):
        if "mod" in node or (node.name != "PathElt" and len(node["part"]) != 1):
            return None
        node = node["part"] if node.name == "PathElt" else node["part"][0]
    if isinstance(node, CompValue) and node.name == "pname":
        return URIRef(prefixes.get(str(_piece(node, "prefix") or ""), "") + str(node["localname"]))
    if isinstance(node, CompValue) and node.name == "literal":
        return Literal(str(node["string"]))
    return node if isinstance(node, (URIRef, Literal, BNode, Variable)) else None


def _names(node: object) -> Iterator[str]:
    if isinstance(node, CompValue):
        yield node.name
        for value in node.values():
            yield from _names(value)
    elif isinstance(node, (list, ParseResults)):
        for item in node:
            yield from _names(item)


def _prefixes(node: object) -> Iterator[str]:
    """The prefixes of the names in a piece of a query."""
    if isinstance(node, CompValue):
        if node.name == "pname":
            yield str(_piece(node, "prefix") or "")
        for value in node.values():
            yield from _prefixes(value)
    elif isinstance(node, (list, ParseResults)):
        for item in node:
            yield from _prefixes(item)


def _leaves(node: object) -> Iterator[Node]:
    if isinstance(node, CompValue):
        for value in node.values():
            yield from _leaves(value)
    elif isinstance(node, (list, ParseResults)):
        for item in node:
            yield from _leaves(item)
    elif isinstance(node, Node):
        yield node
