"""Addresses of terms: the IRI of every term of the ontology leads here on a running service."""

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Request, Response

from crosspin.answer.changes import Release, change_log
from crosspin.answer.desk import Desk, NotOnRecord
from crosspin.api import examples
from crosspin.api.accept import HTML, JSON, JSON_LD, TURTLE
from crosspin.api.html import html_reply, record_pages
from crosspin.api.negotiate import offer
from crosspin.api.shapes import NamingLine, Page, StatementLine, TermSheet, ValueLine
from crosspin.api.wiring import TheDesk, errors, known_parameters
from crosspin.home import data_folder
from crosspin.model.schema import Model
from crosspin.model.terms import DEF
from crosspin.store.describe import about, graph_text, named_by, statements, terms, words, write

router = APIRouter(tags=["ontology"], dependencies=[Depends(known_parameters)])

_RDFS, _SKOS = "http://www.w3.org/2000/01/rdf-schema#", "http://www.w3.org/2004/02/skos/core#"
_VERSION = "http://www.w3.org/2002/07/owl#versionInfo"
_SINCE = f"{DEF}deprecatedSince"
_MOST_NAMED = 100
_VOCABULARY = "vocabulary"
_GRAPHS: dict[str, Any] = {TURTLE: {"schema": {"type": "string"}}, JSON_LD: {"schema": {"type": "array"}}}
_PAGE: dict[str, Any] = {HTML: {"schema": {"type": "string"}}}


def _sorts(model: Model) -> dict[str, dict[str, Any]]:
    """By table of the model, its terms."""
    tables = {name: getattr(model, name) for name in Model.model_fields if isinstance(getattr(model, name), dict)}
    return {name: table for name, table in tables.items() if name not in ("told_in", "other_words", "deprecated")}


def _changes(desk: Desk) -> tuple[Release, ...]:
    graph, model = desk.holdings.graph, desk.holdings.model
    of_packs = {term.removeprefix(DEF) for pack in desk.library.packs for term in pack.terms}
    since = {term: words(graph, DEF + term, _SINCE) for term in model.deprecated}
    shipped = set(terms(graph)) - of_packs
    return change_log(data_folder("ontology") / "changes", shipped, since, model.deprecated)


@router.get("/v1/changes", dependencies=[Depends(offer(JSON))], responses=errors())
def list_changes(desk: TheDesk) -> Page[Release]:
    """Which terms of the ontology came, went and were deprecated from version to version, oldest first; the last
    one, without a number, is what is not given out yet."""
    log = _changes(desk)
    return Page(items=log, total=len(log))


@router.get("/def/", responses={200: {"content": {**_GRAPHS, **_PAGE}}, **errors()}, response_class=Response)
def whole_ontology(
    request: Request, desk: TheDesk, media: Annotated[str, Depends(offer(TURTLE, JSON_LD, HTML))]
) -> Response:
    """The whole ontology as RDF, or as a page that leads to every term and tells what has changed."""
    if media != HTML:
        return Response(graph_text(desk.holdings.graph, DEF, media), media_type=media)
    sorts = {
        name: {term: record.label for term, record in table.items() if hasattr(record, "label")}
        for name, table in _sorts(desk.holdings.model).items()
    }
    told = {term for table in sorts.values() for term in table}
    graph = desk.holdings.graph
    sorts[_VOCABULARY] = {
        term: words(graph, DEF + term, f"{_RDFS}label") or term for term in terms(graph) if term not in told
    }
    return html_reply(request, record_pages(request).ontology(words(graph, DEF, _VERSION), sorts, _changes(desk)))


@router.get("/def/{term}", response_model=TermSheet, responses={200: {"content": {**_GRAPHS, **_PAGE}}, **errors(404)})
def one_term(
    request: Request,
    term: Annotated[str, Path(description="A term of the ontology, or its version.", examples=[examples.KIND])],
    desk: TheDesk,
    media: Annotated[str, Depends(offer(JSON, TURTLE, JSON_LD, HTML))],
) -> TermSheet | Response:
    """One term of the ontology: what it means, with an example, what is said of it, and which terms name it.

    The number of the version leads to the whole ontology, in RDF.
    """
    iri = DEF + term
    graph = desk.holdings.graph
    version = words(graph, DEF, _VERSION)
    if term == version:
        return Response(
            graph_text(graph, DEF, media if media in _GRAPHS else TURTLE),
            media_type=media if media in _GRAPHS else TURTLE,
        )
    triples = about(graph, iri) if term.replace("-", "").replace("_", "").isalnum() else []
    if not triples:
        raise NotOnRecord("the ontology has no such term; the whole of it is at /def/")
    if media in _GRAPHS:
        return Response(write(triples, media), media_type=media)
    model = desk.holdings.model
    tables = _sorts(model)
    sort = next((name for name, table in tables.items() if term in table), _VOCABULARY)
    sheet = TermSheet(
        id=term,
        iri=iri,
        version_iri=DEF + version,
        sort=sort,
        label=words(graph, iri, f"{_RDFS}label"),
        definition=words(graph, iri, f"{_SKOS}definition"),
        example=words(graph, iri, f"{_SKOS}example"),
        deprecated=words(graph, iri, _SINCE),
        replaced_by=model.deprecated.get(term, ""),
        statements=tuple(
            StatementLine(
                property=said.property,
                term=said.term,
                values=tuple(ValueLine(text=v.text, term=v.term, language=v.language) for v in said.values),
            )
            for said in statements(graph, iri)
        ),
        named_by=tuple(NamingLine(term=name, property=prop) for name, prop in named_by(graph, iri, _MOST_NAMED)),
        record=tables[sort][term].model_dump(mode="json") if sort in tables else None,
    )
    if media == HTML:
        return html_reply(request, record_pages(request).term(sheet))
    return sheet
