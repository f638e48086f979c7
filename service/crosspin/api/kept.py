"""What stands before every address: one version of the graph for each request, and replies that are sent again."""

from collections import OrderedDict
from dataclasses import dataclass

from anyio import Event, Lock, to_thread
from fastapi import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from crosspin.answer.desk import Desk
from crosspin.api.negotiate import holds
from crosspin.api.problems import Refusal, lines, problem_reply
from crosspin.catalog.library import OVERTAKEN
from crosspin.model.drafts import Refused

_ADDRESS = "/v1/knock-on"
_DEPENDS_ON = (b"accept", b"accept-language", b"content-type")
_AGAIN = (b"server-timing", b"kept")  # nothing was worked out

Headers = list[tuple[bytes, bytes]]


class UpToDate:
    """ASGI middleware: has every request answered by the desk as it is when the request comes in, after catching up
    with what other processes have put on record."""

    def __init__(self, app: ASGIApp, desk: Desk) -> None:
        self._app = app
        self._desk = desk
        self._catching_up = Lock()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one connection."""
        if scope["type"] == "http":
            state = scope.setdefault("state", {})
            state["desk"] = self._desk.as_it_is()  # for the page that tells of a refusal
            try:
                await self._catch_up()
            except Refused as error:
                sort = "overtaken" if OVERTAKEN in error.problems else "unusable"
                refusal = Refusal(503, sort, "What is in force cannot be answered from.", *lines(error.problems))
                await problem_reply(Request(scope), refusal)(scope, receive, send)
                return
            state["desk"] = self._desk.as_it_is()
        await self._app(scope, receive, send)

    async def _catch_up(self) -> None:
        if self._desk.behind:
            async with self._catching_up:
                if self._desk.behind:
                    await to_thread.run_sync(self._desk.catch_up)


@dataclass(frozen=True, slots=True)
class _Reply:
    """A reply as it is sent."""

    etag: str
    start: Message
    body: bytes


@dataclass(frozen=True, slots=True)
class _Question:
    """All that a reply depends on."""

    version: str
    headers: tuple[tuple[bytes, bytes], ...]
    body: bytes


class KeptReplies:
    """ASGI middleware: keeps the last replies to questions, as they were sent, and sends them again to whoever asks
    the same of the same version.  Of equal questions that come at the same time one is worked out.

    The pages keep what was told instead (`counter.Answers`): one answer is shown on them in many ways.
    """

    def __init__(self, app: ASGIApp, most: int, longest: int) -> None:
        """Keeps at most `most` bytes of questions and replies; questions may be `longest` bytes long."""
        self._app = app
        self._most = most
        self._longest = longest
        self._held: OrderedDict[_Question, _Reply] = OrderedDict()
        self._bytes = 0
        self._under_way: dict[_Question, Event] = {}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one connection."""
        if scope["type"] != "http" or not self._can_keep(scope):
            await self._app(scope, receive, send)
            return
        read, body = await self._read(receive)
        if body is None:
            await self._app(scope, _again(read, receive), send)
            return
        version = scope["state"]["desk"].holdings.version
        headers = tuple(header for header in scope["headers"] if header[0] in _DEPENDS_ON)
        question = _Question(version, headers, body)
        if question in self._under_way:
            await self._under_way[question].wait()
        reply = self._held.get(question)
        if reply is not None and not holds(_header(scope["headers"], b"if-none-match"), reply.etag):
            self._held.move_to_end(question)
            await send(reply.start)
            await send({"type": "http.response.body", "body": reply.body})
            return
        await self._work_out(question, scope, _again(read, receive), send)

    def _can_keep(self, scope: Scope) -> bool:
        """Whether this may be a question that is answered without looking at more than `_DEPENDS_ON` and the body."""
        length = _header(scope["headers"], b"content-length")
        too_long = length.isdecimal() and int(length) > self._longest
        return (scope["method"], scope["path"], scope["query_string"]) == ("POST", _ADDRESS, b"") and not too_long

    async def _read(self, receive: Receive) -> tuple[list[Message], bytes | None]:
        """What came, and the body in it; None where it is longer than allowed or did not come whole."""
        read: list[Message] = []
        size = 0
        while True:
            message = await receive()
            read.append(message)
            size += len(message.get("body", b""))
            if message["type"] != "http.request" or size > self._longest:
                return read, None
            if not message.get("more_body", False):
                return read, b"".join(m.get("body", b"") for m in read)

    async def _work_out(self, question: _Question, scope: Scope, receive: Receive, send: Send) -> None:
        """Let the address answer, and keep the reply if it is one that can be sent again."""
        starts: list[Message] = []
        pieces: list[bytes] = []

        async def send_on(message: Message) -> None:
            if message["type"] == "http.response.start":
                starts.append(message)
            else:
                pieces.append(message.get("body", b""))
            await send(message)

        first = self._under_way.setdefault(question, done := Event()) is done
        try:
            await self._app(scope, receive, send_on)
            for start in starts:
                if start["status"] == 200:
                    self._keep(question, start, b"".join(pieces))
        finally:
            if first:
                del self._under_way[question]
                done.set()

    def _keep(self, question: _Question, start: Message, body: bytes) -> None:
        etag = _header(start["headers"], b"etag")
        if not etag or question in self._held:
            return
        headers: Headers = [header for header in start["headers"] if header[0] != _AGAIN[0]]
        self._held[question] = _Reply(etag, {**start, "headers": [*headers, _AGAIN]}, body)
        self._bytes += _size(question, body)
        while self._bytes > self._most:
            gone, reply = self._held.popitem(last=False)
            self._bytes -= _size(gone, reply.body)


def _size(question: _Question, body: bytes) -> int:
    return len(question.body) + len(body)


def _header(headers: Headers, name: bytes) -> str:
    return next((value.decode("latin-1") for header, value in headers if header == name), "")


def _again(read: list[Message], receive: Receive) -> Receive:
    """What was read already, then what comes after it."""
    waiting = iter(read)

    async def receive_again() -> Message:
        message = next(waiting, None)
        return message if message is not None else await receive()

    return receive_again
