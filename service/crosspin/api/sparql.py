"""The SPARQL address: queries over everything on record (SPARQL 1.1 Protocol, queries only)."""

from typing import Annotated, Any
from urllib.parse import parse_qs

from anyio import CapacityLimiter, to_thread
from fastapi import APIRouter, Depends, Query, Request, Response

from crosspin.api import examples
from crosspin.api.accept import JSON, choose
from crosspin.api.negotiate import not_acceptable
from crosspin.api.problems import ProblemLine, Refusal
from crosspin.api.wiring import TheSettings, errors, known_parameters, media_type, read_body
from crosspin.store.query_check import QueryRefused
from crosspin.store.sparql import (
    GRAPH_FORMATS,
    ROW_FORMATS,
    NotAcceptable,
    QueryBusy,
    QueryPool,
    QueryRequest,
    QueryResult,
    QueryStopped,
)

router = APIRouter(tags=["sparql"], dependencies=[Depends(known_parameters)])

_QUERY = "application/sparql-query"
_FORM = "application/x-www-form-urlencoded"
_FIELDS = ("query", "default-graph-uri", "named-graph-uri")
# Plain JSON is what callers without a SPARQL library ask for; they get the result format that is JSON.
_SPELLINGS = {JSON: ROW_FORMATS[0]}

Graphs = Annotated[list[str] | None, Query(alias="default-graph-uri", description="Graphs to query instead of all.")]
Named = Annotated[
    list[str] | None, Query(alias="named-graph-uri", description="Graphs that GRAPH may name instead of all.")
]

_ANSWERS: dict[int | str, dict[str, Any]] = {
    200: {
        "description": "The result; Crosspin-Truncated: true where rows were cut off.",
        "content": {media: {} for media in (*ROW_FORMATS, JSON, *GRAPH_FORMATS)},
        "headers": {"Crosspin-Truncated": {"schema": {"type": "string", "enum": ["true", "false"]}}},
    },
    400: {"description": "The query cannot be read, or may not run."},
    **errors(413, 415, 503),
}


def _refused(place: str, wrong: str, mend: str) -> Refusal:
    return Refusal(400, "query", "The query is not run.", ProblemLine(place=place, wrong=wrong, mend=mend))


async def _run(request: Request, query: str, default: list[str], named: list[str]) -> Response:
    pool: QueryPool = request.app.state.queries
    limiter: CapacityLimiter = request.app.state.query_turns
    accept = request.headers.get("accept")
    rows_as = choose(accept, (*ROW_FORMATS, JSON))
    graph_as = choose(accept, GRAPH_FORMATS)
    if rows_as is None and graph_as is None:
        raise not_acceptable((*ROW_FORMATS, JSON, *GRAPH_FORMATS))
    sent = QueryRequest(query, _SPELLINGS.get(rows_as or "", rows_as), graph_as, tuple(default), tuple(named))
    try:
        result: QueryResult = await to_thread.run_sync(pool.run, sent, limiter=limiter)
    except QueryRefused as error:
        raise _refused("query", error.wrong, error.mend) from None
    except NotAcceptable as error:
        raise not_acceptable(error.available) from None
    except QueryStopped as error:
        line = ProblemLine(
            place="query", wrong=str(error), mend="Ask for less: add LIMIT, bind more, join fewer patterns"
        )
        raise Refusal(422, "query-stopped", "The query was stopped.", line) from None
    except QueryBusy:
        raise Refusal(503, "busy", "Too many queries are running.", headers={"Retry-After": "1"}) from None
    media = JSON if rows_as == JSON and result.media_type == ROW_FORMATS[0] else result.media_type
    headers = {"Crosspin-Truncated": str(result.truncated).lower(), "Vary": "Accept", "Cache-Control": "no-cache"}
    return Response(result.body, media_type=media, headers=headers)


@router.get("/sparql", responses=_ANSWERS, response_class=Response)
async def sparql_get(
    request: Request,
    query: Annotated[str, Query(description="SELECT, ASK, CONSTRUCT or DESCRIBE.", examples=[examples.QUERY])] = "",
    default: Graphs = None,
    named: Named = None,
) -> Response:
    """Run a query over everything on record.  Queries only, no SERVICE, and bounded in time, memory and rows."""
    if not query.strip():
        raise _refused("query", "there is no query", "Add ?query=...")
    return await _run(request, query, default or [], named or [])


@router.post(
    "/sparql",
    responses=_ANSWERS,
    response_class=Response,
    openapi_extra={
        "requestBody": {
            "required": True,
            "content": {
                _QUERY: {"schema": {"type": "string"}, "examples": {"kinds": {"value": examples.QUERY}}},
                _FORM: {
                    "schema": {
                        "type": "object",
                        "properties": {"query": {"type": "string"}},
                        "required": ["query"],
                    }
                },
            },
        }
    },
)
async def sparql_post(request: Request, settings: TheSettings, default: Graphs = None, named: Named = None) -> Response:
    """Run a query sent as the body or as a form; otherwise as with GET."""
    media = media_type(request, _QUERY, _FORM)
    body = await read_body(request, settings.body_limit)
    try:
        text = body.decode()
        fields = parse_qs(text, keep_blank_values=True, max_num_fields=100, errors="strict") if media == _FORM else {}
    except ValueError:
        raise _refused("the body", "this is not UTF-8 text", "Send the query as UTF-8") from None
    if media == _FORM:
        if "update" in fields:
            raise _refused("update", "updates are not taken", "Use /v1/imports")
        for name in fields:
            if name not in _FIELDS:
                raise _refused("the body", "the form has a field that is not known", f"Use {', '.join(_FIELDS)}")
        queries = fields.get("query", [])
        if len(queries) != 1:
            raise _refused("query", f"there are {len(queries)} queries", "Send one")
        text = queries[0]
        default = [*(default or []), *fields.get("default-graph-uri", [])]
        named = [*(named or []), *fields.get("named-graph-uri", [])]
    if not text.strip():
        raise _refused("query", "there is no query", "Send one as the body")
    return await _run(request, text, default or [], named or [])
