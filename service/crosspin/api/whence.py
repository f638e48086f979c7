"""Addresses that say from what a plan follows: each conclusion traced to facts, and why a rule did not speak."""

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request, Response

from crosspin.answer.desk import NoPlan
from crosspin.api import examples
from crosspin.api.accept import JSON, JSON_LD, TURTLE
from crosspin.api.negotiate import offer, tagged
from crosspin.api.questions import ASK_BODY, asked, no_plan
from crosspin.api.wiring import TheDesk, TheTurns, errors, known_parameters
from crosspin.knockon.ask import Ask
from crosspin.rules.derivation import Derivations
from crosspin.rules.prov import as_prov
from crosspin.rules.trial import WhyNot

router = APIRouter(tags=["questions"], dependencies=[Depends(known_parameters)])

_NO_PLAN: dict[int | str, dict[str, Any]] = {
    409: {"description": "There is no plan to be explained."},
    412: {"description": "The caller holds this answer already (If-None-Match)."},
}
_GRAPHS: dict[str, Any] = {TURTLE: {"schema": {"type": "string"}}, JSON_LD: {"schema": {"type": "array"}}}
TheAsk = Annotated[Ask, Depends(asked)]


@router.post(
    "/v1/knock-on/derivations",
    openapi_extra=ASK_BODY,
    response_model=None,
    responses={200: {"model": Derivations, "content": _GRAPHS}, **_NO_PLAN, **errors(404, 413, 415, 503)},
)
async def derivations(
    request: Request,
    desk: TheDesk,
    turns: TheTurns,
    media: Annotated[str, Depends(offer(JSON, TURTLE, JSON_LD))],
    ask: TheAsk,
    about: Annotated[
        str | None,
        Query(
            max_length=200,
            description="Only conclusions of this rule, at this position, or that say this.",
            examples=[examples.POSITION],
        ),
    ] = None,
) -> Response:
    """From what each finding, need, operation, check and caution of the plan follows: the rule, what stood in its
    variables, the facts that it used and where they are from, down to what is on record.  As RDF in the words of
    PROV-O.  Everything is derived anew for this question."""

    tagged(request, desk.holdings.version, media, about or "", ask.model_dump_json())

    def work() -> bytes:
        try:
            told = desk.derivations(ask, about)
        except NoPlan as error:
            raise no_plan(error) from None
        return told.model_dump_json().encode() if media == JSON else as_prov(told, media)

    return Response(await turns.run(work), media_type=media)


@router.post(
    "/v1/knock-on/why-not",
    openapi_extra=ASK_BODY,
    dependencies=[Depends(offer(JSON))],
    responses={**_NO_PLAN, **errors(404, 413, 415, 503)},
)
async def why_not(
    request: Request,
    desk: TheDesk,
    turns: TheTurns,
    ask: TheAsk,
    rule: Annotated[str, Query(max_length=200, description="A rule or criterion.", examples=[examples.RULE])],
    about: Annotated[
        str | None,
        Query(
            max_length=400,
            description="Only at this position, between these two (`one--other`), or at this place of a figure.",
        ),
    ] = None,
) -> WhyNot:
    """Why a rule did not speak in the plan: its conditions in order, with the values found, up to the first that
    failed, at each place where it could have spoken."""

    tagged(request, desk.holdings.version, rule, about or "", ask.model_dump_json())

    def work() -> WhyNot:
        try:
            return desk.why_not(ask, rule, about)
        except NoPlan as error:
            raise no_plan(error) from None

    return await turns.run(work)
