"""What the addresses share: the desk, the settings, bodies of bounded size, turns for heavy work."""

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any, TypeVar

from anyio import CapacityLimiter, to_thread
from fastapi import Depends, Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from crosspin.answer.desk import Desk
from crosspin.api.problems import SECURITY, ProblemDocument, ProblemLine, Refusal
from crosspin.api.settings import Settings

Result = TypeVar("Result")


class Turns:
    """Turns for work that keeps a processor busy: a few at once, some waiting, the rest sent away."""

    def __init__(self, at_once: int, waiting: int) -> None:
        self._limiter = CapacityLimiter(at_once)
        self._waiting = waiting

    async def run(self, work: Callable[[], Result]) -> Result:
        """What `work` returns, done in a thread when its turn comes.  Raises Refusal (503)."""
        if self._limiter.statistics().tasks_waiting >= self._waiting:
            raise Refusal(503, "busy", "Too many questions are waiting.", headers={"Retry-After": "1"})
        return await to_thread.run_sync(work, limiter=self._limiter)


async def _desk(request: Request) -> Desk:
    desk: Desk = request.state.desk
    return desk


async def _settings(request: Request) -> Settings:
    settings: Settings = request.app.state.settings
    return settings


async def _turns(request: Request) -> Turns:
    turns: Turns = request.app.state.turns
    return turns


TheDesk = Annotated[Desk, Depends(_desk)]
"""The desk as it was when the request came in, so that all of the answer is by one version."""
TheSettings = Annotated[Settings, Depends(_settings)]
TheTurns = Annotated[Turns, Depends(_turns)]


async def known_parameters(request: Request) -> None:
    """Refuse query parameters that the address does not have, and single ones given twice."""
    described = request.app.openapi()["paths"].get(request.scope["route"].path, {}).get(request.method.lower(), {})
    parameters = {p["name"]: p["schema"] for p in described.get("parameters", ()) if p["in"] == "query"}
    problems = []
    for name, count in Counter(name for name, _ in request.query_params.multi_items()).items():
        if name not in parameters:
            mend = f"Use {', '.join(parameters)}" if parameters else "Leave it out; this address has no parameters"
            problems.append(ProblemLine(place=name, wrong="there is no such parameter", mend=mend))
        elif count > 1 and not _takes_many(parameters[name]):
            problems.append(ProblemLine(place=name, wrong=f"it is given {count} times", mend="Give it once"))
    if problems:
        raise Refusal(422, "unreadable", "The request cannot be understood as it stands.", *problems)


def _takes_many(schema: dict[str, Any]) -> bool:
    return any(part.get("type") == "array" for part in (schema, *schema.get("anyOf", ())))


async def read_body(request: Request, limit: int) -> bytes:
    """The body, refused (413) as soon as it is longer than `limit` bytes."""
    announced = request.headers.get("content-length", "")
    if announced.isdecimal() and int(announced) > limit:
        raise _too_large(limit)
    pieces, size = [], 0
    async for piece in request.stream():
        size += len(piece)
        if size > limit:
            raise _too_large(limit)
        pieces.append(piece)
    return b"".join(pieces)


def _too_large(limit: int) -> Refusal:
    wrong = ProblemLine(place="the body", wrong=f"it is longer than {limit} bytes", mend="Send it in smaller pieces")
    return Refusal(413, "too-large", "The body is too large.", wrong, headers={"Connection": "close"})


def media_type(request: Request, *taken: str) -> str:
    """The media type of the body, one of those taken; raises Refusal (415)."""
    media, *parameters = (p.strip().lower() for p in request.headers.get("content-type", "").split(";"))
    charset = next((p.partition("=")[2].strip('"') for p in parameters if p.startswith("charset")), "utf-8")
    if media not in taken:
        wrong = ProblemLine(place="Content-Type", wrong="this format is not read here", mend=f"Send {', '.join(taken)}")
        raise Refusal(
            415,
            "media-type",
            "The body is in a format that is not read here.",
            wrong,
            headers={"Accept": ", ".join(taken)},
        )
    if charset not in ("utf-8", "us-ascii"):
        wrong = ProblemLine(place="Content-Type", wrong="only UTF-8 text is read", mend="Send the text as UTF-8")
        raise Refusal(415, "media-type", "The body is in a character set that is not read here.", wrong)
    return media


class Envelope:
    """ASGI middleware: adds the security headers and the tag of the answer, and answers HEAD like GET."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one connection."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        head = scope["method"] == "HEAD"
        state = scope.setdefault("state", {})
        if head:
            scope = {**scope, "method": "GET"}

        async def send_on(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = _with_defaults(message["headers"], message["status"], state.get("etag"))
            elif head and message["type"] == "http.response.body":
                message = {**message, "body": b""}
            await send(message)

        await self._app(scope, receive, send_on)


def _with_defaults(headers: list[tuple[bytes, bytes]], status: int, etag: str | None) -> list[tuple[bytes, bytes]]:
    present = {name.lower() for name, _ in headers}
    added = dict(SECURITY)
    if etag is not None and status in (200, 304, 412):
        added |= {"ETag": etag, "Vary": "Accept", "Cache-Control": "no-cache"}
    more = [(name.lower().encode(), value.encode()) for name, value in added.items()]
    return [*headers, *((name, value) for name, value in more if name not in present)]


@dataclass(frozen=True)
class _Told:
    status: int
    description: str


_ERRORS = (
    _Told(404, "It is not on record."),
    _Told(406, "There is no format that suits."),
    _Told(413, "The body is too large."),
    _Told(415, "The body is in a format that is not read here."),
    _Told(422, "The request cannot be understood or answered as it stands."),
    _Told(503, "Too many questions are waiting; try again."),
)


def errors(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """The problem documents that an address may answer with, for its description: these, and the two that
    every address has (the wrong format asked for, parameters that cannot be understood)."""
    schema = {"$ref": f"#/components/schemas/{ProblemDocument.__name__}"}
    return {
        e.status: {"description": e.description, "content": {"application/problem+json": {"schema": schema}}}
        for e in _ERRORS
        if e.status in (406, 422, *statuses)
    }
