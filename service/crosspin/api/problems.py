"""Errors as problem documents (RFC 9457): what is wrong, where, and what would be right.

Nothing that was sent is sent back beyond the short names that say where the trouble is.
"""

import logging
from collections.abc import Iterable, Mapping, Sequence
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, ValidationError
from starlette.exceptions import HTTPException
from starlette.routing import BaseRoute, Match

from crosspin.answer.desk import NotOnRecord
from crosspin.api.accept import HTML, JSON, choose
from crosspin.api.html import html_reply, record_pages
from crosspin.knockon.ask import AskError
from crosspin.knockon.limits import SearchLimit
from crosspin.model.drafts import Refused

PROBLEM_JSON = "application/problem+json"
TYPES = "https://crosspin.example/problem/"
METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS")
SECURITY = {
    "X-Content-Type-Options": "nosniff",
    "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
}
_LONGEST = 400  # characters of one text
_MOST = 100  # problems told of one request

_log = logging.getLogger("crosspin.api")


class ProblemLine(BaseModel):
    """One thing that is wrong: where, what, and what would be right."""

    place: str
    wrong: str
    mend: str


class ProblemDocument(BaseModel):
    """Why a request was not answered."""

    type: str
    title: str
    status: int
    detail: str
    problems: tuple[ProblemLine, ...] = ()


class Refusal(Exception):
    """A request that is not answered; becomes a problem document with this status."""

    def __init__(
        self, status: int, sort: str, detail: str, *problems: ProblemLine, headers: Mapping[str, str] | None = None
    ) -> None:
        super().__init__(detail)
        self.status = status
        self.sort = sort
        self.detail = detail
        self.problems = problems
        self.headers = dict(headers or {})


def _short(text: str) -> str:
    return text if len(text) <= _LONGEST else text[: _LONGEST - 1] + "…"


def problem_reply(request: Request, refusal: Refusal) -> Response:
    """The problem document of a refusal, or, where the caller likes that best, the page that says the same."""
    left = len(refusal.problems) - _MOST
    detail = f"{refusal.detail} There are {left} more problems than are told here." if left > 0 else refusal.detail
    document = ProblemDocument(
        type=TYPES + refusal.sort,
        title=HTTPStatus(refusal.status).phrase,
        status=refusal.status,
        detail=_short(detail),
        problems=tuple(
            ProblemLine(place=_short(p.place), wrong=_short(p.wrong), mend=_short(p.mend))
            for p in refusal.problems[:_MOST]
        ),
    )
    headers = {**SECURITY, "Cache-Control": "no-store", **refusal.headers}
    if choose(request.headers.get("accept"), (PROBLEM_JSON, JSON, HTML)) == HTML:
        told = [(p.place, p.wrong, p.mend) for p in document.problems]
        page = record_pages(request).problem(document.title, document.detail, told)
        reply = html_reply(request, page, refusal.status)
        reply.headers.update({name: value for name, value in headers.items() if name not in reply.headers})
        return reply
    return Response(document.model_dump_json(), refusal.status, headers, PROBLEM_JSON)


def lines(problems: Iterable[Any]) -> list[ProblemLine]:
    """Problem lines of the problems that an ask or an import was refused for."""
    return [ProblemLine(place=p.place, wrong=p.wrong, mend=p.mend) for p in problems]


# What would be right, by pydantic's name for what is wrong; the message itself stands for the rest.
_MENDS = {
    "extra_forbidden": "Leave it out; the names that are known are in /openapi.json",
    "missing": "Add it",
    "json_invalid": "Send well-formed JSON, without NaN or Infinity and not nested deeply",
    "finite_number": "Write a number; NaN and Infinity are none",
    "string_type": "Write text in quotes",
    "bool_type": "Write true or false",
    "tuple_type": "Write a list in square brackets",
    "decimal_type": "Write a number",
    "decimal_parsing": "Write a number",
}
_DECODING = ("body", "query", "path", "header")


def validation_lines(errors: Sequence[Any]) -> list[ProblemLine]:
    """Problem lines of what pydantic found, with places like `fit/0/part`."""
    found = []
    for error in errors:
        location = [str(step) for step in error["loc"]]
        if location and location[0] in _DECODING:
            location = location[1:]
        message = str(error["msg"])
        mend = _MENDS.get(error["type"], "Write what /openapi.json says for this place")
        found.append(
            ProblemLine(place="/".join(location) or "the body", wrong=message[:1].lower() + message[1:], mend=mend)
        )
    return found


def unreadable(error: ValidationError) -> Refusal:
    """The refusal of a body that is not what its model says."""
    found = validation_lines(error.errors(include_url=False, include_context=False, include_input=False))
    return Refusal(422, "unreadable", "The request cannot be understood as it stands.", *found)


def allowed_methods(routes: Sequence[BaseRoute], scope: Mapping[str, Any]) -> list[str]:
    """Every method that some route takes at this address."""
    found = {
        method
        for method in METHODS
        if any(route.matches({**scope, "method": method})[0] is Match.FULL for route in routes)
    }
    return [m for m in METHODS if m in found or (m == "HEAD" and "GET" in found)]


async def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    if error.status_code == 405:
        allowed = ", ".join(allowed_methods(request.app.routes, request.scope))
        wrong = ProblemLine(place="method", wrong="this address does not take the method", mend=f"Use {allowed}")
        detail = "The method is not one of those that this address takes."
        return problem_reply(request, Refusal(405, "method", detail, wrong, headers={"Allow": allowed}))
    if error.status_code == 404:
        mend = "Look the addresses up in /openapi.json"
        wrong = ProblemLine(place="address", wrong="there is nothing at this address", mend=mend)
        return problem_reply(request, Refusal(404, "not-found", "There is nothing here.", wrong))
    return problem_reply(request, Refusal(error.status_code, "http", HTTPStatus(error.status_code).phrase))


async def _validation(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    found = validation_lines(error.errors())
    return problem_reply(request, Refusal(422, "unreadable", "The request cannot be understood as it stands.", *found))


async def _refusal(request: Request, error: Exception) -> Response:
    assert isinstance(error, Refusal)
    return problem_reply(request, error)


async def _not_on_record(request: Request, error: Exception) -> Response:
    wrong, _sep, mend = str(error).partition("; ")
    return problem_reply(
        request,
        Refusal(404, "not-on-record", "It is not on record.", ProblemLine(place="address", wrong=wrong, mend=mend)),
    )


async def _ask_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, AskError)
    return problem_reply(
        request, Refusal(422, "ask", "The ask cannot be answered as it stands.", *lines(error.problems))
    )


async def _refused(request: Request, error: Exception) -> Response:
    assert isinstance(error, Refused)
    return problem_reply(
        request, Refusal(422, "import", "The import was refused whole; nothing was changed.", *lines(error.problems))
    )


async def _search_limit(request: Request, error: Exception) -> Response:
    wrong = ProblemLine(place="the ask", wrong=str(error), mend="Keep more positions, or ask for parts by id")
    return problem_reply(
        request, Refusal(422, "search-limit", "The search reached a stated limit; there is no answer.", wrong)
    )


async def _unexpected(request: Request, error: Exception) -> Response:
    _log.error("%s %s failed", request.method, request.url.path, exc_info=error)
    return problem_reply(request, Refusal(500, "internal", "This is our fault, not yours; it has been written down."))


def install(app: FastAPI) -> None:
    """Let every error of this application leave as a problem document."""
    app.add_exception_handler(Refusal, _refusal)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(RequestValidationError, _validation)
    app.add_exception_handler(NotOnRecord, _not_on_record)
    app.add_exception_handler(AskError, _ask_error)
    app.add_exception_handler(Refused, _refused)
    app.add_exception_handler(SearchLimit, _search_limit)
    app.add_exception_handler(Exception, _unexpected)
