"""A rule's query cut into its clauses, in the order in which they are written.

The portable profile is so small that cutting needs no grammar: patterns, FILTER, FILTER NOT EXISTS and BIND.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass

_TOKEN = re.compile(
    r"""<[^<>"{}|^`\\\s]*>|"(?:[^"\\]|\\.)*"(?:@[\w-]+|\^\^\S+)?|'(?:[^'\\]|\\.)*'|[?$]\w+"""
    r"""|[A-Za-z][\w-]*:[\w-]*|-?\d+(?:\.\d+)?|<=|>=|!=|\|\||&&|[A-Za-z]+|\S"""
)
_PREFIX = re.compile(r"PREFIX\s+([\w-]*):\s*<([^>]*)>")
_OPEN, _CLOSE = "({", ")}"
_A = "<http://www.w3.org/1999/02/22-rdf-syntax-ns#type>"

Pattern = tuple[str, str, str]
"""Subject, predicate, object: variables with their question mark, everything else as SPARQL writes it in full."""


@dataclass(frozen=True, slots=True)
class Clause:
    """One clause of a WHERE: as it is written, and the pattern, or the variable that a BIND gives a value, or what a
    FILTER NOT EXISTS denies."""

    text: str
    pattern: Pattern | None = None
    binds: str | None = None
    denies: bool = False
    denied: tuple["Clause", ...] = ()


@dataclass(frozen=True, slots=True)
class Cut:
    """A rule's query: the prefixes as text, what it adds, and its clauses."""

    prefixes: str
    adds: tuple[Pattern, ...]
    clauses: tuple[Clause, ...]


def cut(query: str) -> Cut:
    """Cut a query that keeps to the portable profile."""
    namespaces = dict(_PREFIX.findall(query))
    prefixes = "".join(f"PREFIX {name}: <{iri}>\n" for name, iri in namespaces.items())
    tokens = _TOKEN.findall(_PREFIX.sub("", query).replace("$this", "?this"))
    start = tokens.index("{")
    end = _closing(tokens, start)
    where = tokens.index("{", end)
    head = [c.pattern for c in _clauses(tokens[start + 1 : end], namespaces) if c.pattern is not None]
    body = tokens[where + 1 : _closing(tokens, where)]
    return Cut(prefixes, tuple(head), tuple(_clauses(body, namespaces)))


def _closing(tokens: list[str], start: int) -> int:
    depth = 0
    for index in range(start, len(tokens)):
        depth += (tokens[index] in _OPEN) - (tokens[index] in _CLOSE)
        if depth == 0:
            return index
    raise ValueError("a bracket is not closed")


def _clauses(tokens: list[str], namespaces: dict[str, str]) -> Iterator[Clause]:
    index = 0
    terms: list[str] = []
    while index < len(tokens):
        token = tokens[index]
        if token in ("FILTER", "BIND"):
            opening = next(i for i in range(index, len(tokens)) if tokens[i] in _OPEN)
            end = _closing(tokens, opening)
            text = _joined(tokens[index : end + 1])
            binds = tokens[end - 1] if token == "BIND" else None
            denies = tokens[index + 1 : index + 3] == ["NOT", "EXISTS"]
            denied = tuple(_clauses(tokens[opening + 1 : end], namespaces)) if denies else ()
            yield Clause(text, binds=binds, denies=denies, denied=denied)
            index = end + 1
            continue
        if token in (".", ";", ","):
            terms = {".": [], ";": terms[:1], ",": terms[:2]}[token]
        else:
            terms.append(token)
            if len(terms) == 3:
                full = [_full(term, namespaces) for term in terms]
                yield Clause(" ".join(terms), pattern=(full[0], full[1], full[2]))
        index += 1


def _full(term: str, namespaces: dict[str, str]) -> str:
    if term == "a":
        return _A
    prefix, colon, local = term.partition(":")
    return f"<{namespaces[prefix]}{local}>" if colon and prefix in namespaces else term


def _joined(tokens: list[str]) -> str:
    text = " ".join(tokens)
    for spaced, tight in ((" (", "("), ("( ", "("), (" )", ")"), (" ,", ",")):
        text = text.replace(spaced, tight)
    return text.replace("FILTER(", "FILTER (").replace("BIND(", "BIND (")
