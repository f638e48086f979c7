"""Which format a caller takes, and whether it holds the answer already."""

from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256

from fastapi import Request, Response

from crosspin.api.problems import ProblemLine, Refusal

JSON = "application/json"
JSON_LD = "application/ld+json"
TURTLE = "text/turtle"
N_TRIPLES = "application/n-triples"
PLAIN = "text/plain"
CSV = "text/csv"
CSVW = "application/csvm+json"


def _ranges(accept: str) -> list[tuple[str, str, float]]:
    """The media ranges of an Accept header with their weights; what cannot be read weighs nothing."""
    found = []
    for item in accept.split(","):
        media, *parameters = (piece.strip() for piece in item.split(";"))
        main, _, sub = media.lower().partition("/")
        weight = 1.0
        for parameter in parameters:
            name, _, value = parameter.partition("=")
            if name.strip().lower() == "q":
                try:
                    weight = min(1.0, max(0.0, float(value)))
                except ValueError:
                    weight = 0.0
        if main and sub:
            found.append((main, sub, weight))
    return found


def choose(accept: str | None, offers: Sequence[str]) -> str | None:
    """The offer that an Accept header likes best, the earlier one where it likes two alike; None if none.

    The most exact range decides the weight of an offer (RFC 9110, 12.5.1).
    """
    if accept is None or not accept.strip():
        return offers[0]
    ranges = _ranges(accept)

    def weight(offer: str) -> float:
        main, _, sub = offer.partition("/")
        fitting = [(m != "*", s != "*", q) for m, s, q in ranges if m in ("*", main) and s in ("*", sub)]
        return max(fitting)[2] if fitting else 0.0

    best = max(offers, key=weight)  # max keeps the first of equals
    return best if weight(best) > 0 else None


def not_acceptable(offers: Sequence[str]) -> Refusal:
    """The refusal of an Accept header that takes none of these."""
    wrong = ProblemLine(
        place="Accept", wrong="this comes in none of the formats asked for", mend=f"Take {', '.join(offers)}"
    )
    return Refusal(406, "not-acceptable", "There is no format that suits.", wrong)


class NotModified(Exception):
    """The caller holds this very answer."""


async def not_modified(request: Request, _: Exception) -> Response:
    """The empty answer to a caller that holds the answer; its tag is added where all tags are."""
    return Response(status_code=304 if request.method in ("GET", "HEAD") else 412)


def tagged(request: Request, *of: str) -> None:
    """Tag the answer to this request by what it depends on; raises NotModified where the caller holds it."""
    tag = f'"{sha256("|".join(of).encode()).hexdigest()[:24]}"'
    request.state.etag = tag
    held = [t.strip().removeprefix("W/") for t in request.headers.get("if-none-match", "").split(",")]
    if tag in held:
        raise NotModified


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
            tagged(request, request.app.state.desk.holdings.version, chosen)
        return chosen


def offer(*media_types: str) -> Offer:
    """The dependency that chooses among these formats, the first being preferred."""
    return Offer(media_types)
