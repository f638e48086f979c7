"""Which language an Accept-Language header likes best."""

from collections.abc import Sequence
from typing import Annotated

from fastapi import Depends, Request, Response


def choose_language(header: str | None, offers: Sequence[str]) -> str:
    """The offered language that the header likes best (RFC 9110, 12.5.4; a range fits the tags that begin with it,
    and a tag with a region the language alone); the first one offered where it likes none."""
    best, most = offers[0], 0.0
    for item in (header or "").split(","):
        wanted, *parameters = (piece.strip().lower() for piece in item.split(";"))
        weight = 1.0
        for parameter in parameters:
            name, _, value = parameter.partition("=")
            if name.strip() == "q":
                try:
                    weight = float(value)
                except ValueError:
                    weight = 0.0
        fitting = [o for o in offers if wanted in (o, "*") or wanted.split("-")[0] == o or o.startswith(f"{wanted}-")]
        if fitting and most < weight <= 1:
            best, most = fitting[0], weight
    return best


def language_of(request: Request) -> str:
    """The language in which a caller is answered, of those that the ontology has words in."""
    return choose_language(request.headers.get("accept-language"), request.state.desk.languages)


def say_language(reply: Response, language: str) -> None:
    """Let a reply say in which language it is."""
    reply.headers["Content-Language"] = language
    reply.headers["Vary"] = "Accept, Accept-Language"


async def _language(request: Request, response: Response) -> str:
    language = language_of(request)
    say_language(response, language)
    return language


TheLanguage = Annotated[str, Depends(_language)]
"""The language of an answer that is not a Response of its own."""
