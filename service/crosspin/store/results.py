"""Writes query results in the four SPARQL 1.1 result formats.

pyoxigraph writes them too, but only all rows; these writers take as many as the caller lets through.
"""

import csv
import io
import json
import re
from collections.abc import Callable, Sequence
from xml.sax.saxutils import escape, quoteattr

from pyoxigraph import BlankNode, Literal, NamedNode, Triple

Term = NamedNode | BlankNode | Literal | Triple
Rows = Sequence[Sequence[Term | None]]

_STRING = "http://www.w3.org/2001/XMLSchema#string"
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def _json_term(term: Term) -> dict[str, object]:
    if isinstance(term, NamedNode):
        return {"type": "uri", "value": term.value}
    if isinstance(term, BlankNode):
        return {"type": "bnode", "value": term.value}
    if isinstance(term, Triple):
        parts = {"subject": term.subject, "predicate": term.predicate, "object": term.object}
        return {"type": "triple", "value": {name: _json_term(part) for name, part in parts.items()}}
    found: dict[str, object] = {"type": "literal", "value": term.value}
    if term.language:
        found["xml:lang"] = term.language
    elif term.datatype.value != _STRING:
        found["datatype"] = term.datatype.value
    return found


def as_json(variables: Sequence[str], rows: Rows) -> bytes:
    """SPARQL 1.1 Query Results JSON."""
    bindings = [
        {name: _json_term(term) for name, term in zip(variables, row, strict=True) if term is not None} for row in rows
    ]
    body = {"head": {"vars": list(variables)}, "results": {"bindings": bindings}}
    return json.dumps(body, ensure_ascii=False).encode()


def as_csv(variables: Sequence[str], rows: Rows) -> bytes:
    """SPARQL 1.1 Query Results CSV: values without their types."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(variables)
    writer.writerows([_bare(term) for term in row] for row in rows)
    return text.getvalue().encode()


def _bare(term: Term | None) -> str:
    if term is None:
        return ""
    return str(term) if isinstance(term, (BlankNode, Triple)) else term.value


def as_tsv(variables: Sequence[str], rows: Rows) -> bytes:
    """SPARQL 1.1 Query Results TSV: terms as in Turtle."""
    lines = ["\t".join(f"?{name}" for name in variables)]
    lines += ["\t".join("" if t is None else str(t).replace("\t", "\\t") for t in row) for row in rows]
    return ("\n".join(lines) + "\n").encode()


def as_xml(variables: Sequence[str], rows: Rows) -> bytes:
    """SPARQL Query Results XML; characters that XML cannot hold become U+FFFD."""
    head = "".join(f"<variable name={quoteattr(name)}/>" for name in variables)
    body = "".join(
        "<result>"
        + "".join(
            f"<binding name={quoteattr(name)}>{_xml_term(term)}</binding>"
            for name, term in zip(variables, row, strict=True)
            if term is not None
        )
        + "</result>"
        for row in rows
    )
    return (
        '<?xml version="1.0"?><sparql xmlns="http://www.w3.org/2005/sparql-results#">'
        f"<head>{head}</head><results>{body}</results></sparql>"
    ).encode()


def _xml_term(term: Term) -> str:
    if isinstance(term, Triple):
        parts = (("subject", term.subject), ("predicate", term.predicate), ("object", term.object))
        return "<triple>" + "".join(f"<{name}>{_xml_term(part)}</{name}>" for name, part in parts) + "</triple>"
    text = escape(_NOT_XML.sub("\ufffd", term.value), {"\r": "&#13;"})
    if isinstance(term, NamedNode):
        return f"<uri>{text}</uri>"
    if isinstance(term, BlankNode):
        return f"<bnode>{text}</bnode>"
    if term.language:
        return f"<literal xml:lang={quoteattr(term.language)}>{text}</literal>"
    if term.datatype.value == _STRING:
        return f"<literal>{text}</literal>"
    return f"<literal datatype={quoteattr(term.datatype.value)}>{text}</literal>"


WRITERS: dict[str, Callable[[Sequence[str], Rows], bytes]] = {
    "application/sparql-results+json": as_json,
    "application/sparql-results+xml": as_xml,
    "text/csv": as_csv,
    "text/tab-separated-values": as_tsv,
}
"""Writer by media type, the preferred one first."""
