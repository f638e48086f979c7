"""Which format a caller takes, and whether it holds the answer already."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from fastapi import Request, Response

from crosspin.api.accept import HTML, choose
from crosspin.api.html import PAGE_HEADERS, page_tag
from crosspin.api.language import language_of
from crosspin.api.problems import ProblemLine, Refusal
from crosspin.store.digest import digest_of


def not_acceptable(offers: Sequence[str]) -> Refusal:
    """The refusal of an Accept header that takes none of these."""
    wrong = ProblemLine(
        place="Accept", wrong="this comes in none of the formats asked for", mend=f"Take {', '.join(offers)}"
    )
    return Refusal(406, "not-acceptable", "There is no format that suits.", wrong)


class NotModified(Exception):
    """The caller holds this very answer; `headers` are those that the answer has and that are kept with it."""

    def __init__(self, headers: Mapping[str, str]) -> None:
        super().__init__()
        self.headers = headers


async def not_modified(request: Request, error: Exception) -> Response:
    """The empty answer to a caller that holds the answer; its tag is added where all tags are."""
    assert isinstance(error, NotModified)
    return Response(status_code=304 if request.method in ("GET", "HEAD") else 412, headers=error.headers)


def holds(if_none_match: str, tag: str) -> bool:
    """Whether a caller who sends this as If-None-Match holds the answer of this tag."""
    return tag in (held.strip().removeprefix("W/") for held in if_none_match.split(","))


def tagged(request: Request, *of: str, headers: Mapping[str, str] | None = None) -> None:
    """Tag the answer to this request by what it depends on; raises NotModified where the caller holds it.

    `headers` are those of the answer that must come with "not modified" too, as callers put them in place of what
    they hold (RFC 9111, 3.2).
    """
    tag = f'"{digest_of(of)[:24]}"'
    request.state.etag = tag
    if holds(request.headers.get("if-none-match", ""), tag):
        raise NotModified(headers or {})


@dataclass(frozen=True)
class Offer:
    """A dependency: the format to answer in, of those that an address has.

    The answer to a GET depends on the address and on the version of the graph, and is tagged by it.
    """

    media_types: tuple[str, ...]

    async def __call__(self, request: Request) -> str:
        """Raises Refusal (406) or NotModified."""
        chosen = choose(request.headers.get("accept"), self.media_types)
        if chosen is None:
            raise not_acceptable(self.media_types)
        if request.method in ("GET", "HEAD"):
            shown = page_tag(request) if chosen == HTML else ()
            headers = PAGE_HEADERS if chosen == HTML else None
            tagged(request, request.state.desk.holdings.version, chosen, language_of(request), *shown, headers=headers)
        return chosen


def offer(*media_types: str) -> Offer:
    """The dependency that chooses among these formats, the first being preferred."""
    return Offer(media_types)
