"""The address that takes parts, kits and vehicles in."""

from difflib import get_close_matches
from ipaddress import ip_address
from secrets import compare_digest
from typing import Annotated

from fastapi import APIRouter, Depends, Header, Query, Request

from crosspin.answer.desk import Desk
from crosspin.api import examples
from crosspin.api.accept import CSV, JSON, JSON_LD, N_TRIPLES, TURTLE
from crosspin.api.negotiate import offer
from crosspin.api.problems import ProblemLine, Refusal
from crosspin.api.settings import Settings
from crosspin.api.shapes import ImportDone
from crosspin.api.wiring import TheDesk, TheSettings, TheTurns, errors, known_parameters, media_type, read_body

router = APIRouter(tags=["imports"], dependencies=[Depends(known_parameters)])

_TEXTS = {
    CSV: {"schema": {"type": "string"}, "examples": {"one gasket": {"value": examples.CSV}}},
    TURTLE: {"schema": {"type": "string"}},
    JSON_LD: {"schema": {}},
    N_TRIPLES: {"schema": {"type": "string"}},
}


def _is_local(request: Request) -> bool:
    """Whether the request comes from this very machine and was meant for it.

    The Host header is looked at because a page elsewhere can point its own name at this machine; a
    forwarded request comes from a proxy, whoever stands behind it.
    """
    if request.client is None or "forwarded" in request.headers or "x-forwarded-for" in request.headers:
        return False
    try:
        local = ip_address(request.client.host).is_loopback
    except ValueError:
        return False
    return local and request.url.hostname in ("localhost", "127.0.0.1", "::1")


def _may_write(request: Request, settings: Settings, key: str | None) -> None:
    if settings.api_key:
        if key is None or not compare_digest(key.encode(), settings.api_key.encode()):
            line = ProblemLine(
                place="X-API-Key", wrong="the key is missing or wrong", mend="Send the key of this service"
            )
            raise Refusal(
                401, "key", "Only holders of the key may write.", line, headers={"WWW-Authenticate": "ApiKey"}
            )
    elif not _is_local(request):
        line = ProblemLine(
            place="address",
            wrong="the request comes from elsewhere",
            mend="Set CROSSPIN_API_KEY and send it as X-API-Key",
        )
        raise Refusal(403, "elsewhere", "Without a key, only this machine may write.", line)


def _known_kind(kind: str, known: list[str]) -> None:
    """Raises Refusal, naming the kinds that are nearest."""
    if kind in known:
        return
    nearest = ", ".join(get_close_matches(kind, known, n=5))
    line = ProblemLine(
        place="kind",
        wrong="there is no such kind" if kind else "a CSV file does not say of which kind its parts are",
        mend=f"Did you mean {nearest}?" if nearest else "Add kind=... to the address; the kinds are under /v1/kinds",
    )
    raise Refusal(422, "unreadable", "The request cannot be understood as it stands.", line)


@router.post(
    "/v1/imports",
    status_code=201,
    dependencies=[Depends(offer(JSON))],
    openapi_extra={"requestBody": {"required": True, "content": _TEXTS}},
    responses={
        401: {"description": "The key is missing or wrong."},
        403: {"description": "Without a key, only this machine may write."},
        **errors(413, 415, 503),
    },
)
async def take_in(
    request: Request,
    desk: TheDesk,
    settings: TheSettings,
    turns: TheTurns,
    source: Annotated[
        str,
        Query(
            description="The name of the source; what it held before is replaced.",
            pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,99}$",
            examples=[examples.SOURCE],
        ),
    ],
    kind: Annotated[str, Query(description="The kind of the parts, for CSV.", examples=[examples.CSV_KIND])] = "",
    x_api_key: Annotated[str | None, Header()] = None,
) -> ImportDone:
    """Take in parts (CSV, one kind a file), or parts, kits and vehicles (RDF): all of it, or nothing."""
    _may_write(request, settings, x_api_key)
    media = media_type(request, CSV, TURTLE, JSON_LD, N_TRIPLES)
    if media == CSV:
        _known_kind(kind, list(desk.holdings.model.kinds))
    text = await read_body(request, settings.import_limit)
    living: Desk = request.app.state.desk
    done = await turns.run(lambda: living.import_text(source, text, media, kind))
    return ImportDone(
        source=done.source, parts=done.parts, kits=done.kits, vehicles=done.vehicles, version=living.holdings.version
    )
