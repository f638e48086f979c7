"""Addresses that answer questions: do two parts go together, and what follows from fitting something."""

from time import perf_counter
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request, Response
from pydantic import ValidationError

from crosspin.answer.desk import NoPlan
from crosspin.answer.plan import Contradiction, Fit, Plan
from crosspin.answer.text import tell_text
from crosspin.api import examples
from crosspin.api.accept import JSON, JSON_LD, PLAIN, TURTLE
from crosspin.api.language import TheLanguage, language_of, say_language
from crosspin.api.negotiate import offer, tagged
from crosspin.api.problems import ProblemLine, Refusal, unreadable
from crosspin.api.wiring import TheDesk, TheSettings, TheTurns, errors, known_parameters, media_type, read_body
from crosspin.knockon.ask import Ask

router = APIRouter(tags=["questions"], dependencies=[Depends(known_parameters)])


@router.get("/v1/fit", dependencies=[Depends(offer(JSON))], responses=errors(404))
def two_parts(
    desk: TheDesk,
    one: Annotated[str, Query(description="A part's id.", examples=[examples.PART])],
    other: Annotated[str, Query(description="Another part's id.", examples=[examples.OTHER_PART])],
    language: TheLanguage,
) -> Fit:
    """Do these two parts go together, criterion by criterion, with both readings and what to measure."""
    return desk.fit(one, other, language)


async def asked(request: Request, settings: TheSettings) -> Ask:
    """The ask in the body; raises Refusal (413, 415, 422)."""
    media_type(request, JSON)
    body = await read_body(request, settings.body_limit)
    try:
        return Ask.model_validate_json(body)
    except ValidationError as error:
        raise unreadable(error) from None


def no_plan(error: NoPlan) -> Refusal:
    """The refusal of a question about a plan that there is not."""
    mend = f"Ask /v1/knock-on for {JSON} to see which"
    line = ProblemLine(place="the ask", wrong="its wishes contradict each other", mend=mend)
    return Refusal(409, "no-plan", str(error), line)


ASK_BODY: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "content": {
            JSON: {"schema": {"$ref": "#/components/schemas/Ask"}, "examples": {"ask": {"value": examples.ASK}}}
        },
    }
}
_CONTENT: dict[str, Any] = {
    JSON: {"schema": {"anyOf": [{"$ref": f"#/components/schemas/{m.__name__}"} for m in (Plan, Contradiction)]}},
    PLAIN: {"schema": {"type": "string"}},
    TURTLE: {"schema": {"type": "string"}},
    JSON_LD: {"schema": {"type": "array"}},
}


@router.post(
    "/v1/knock-on",
    openapi_extra=ASK_BODY,
    response_model=None,
    responses={
        200: {"description": "A plan, or the wishes that contradict each other.", "content": _CONTENT},
        409: {"description": "There is no plan to be written as RDF."},
        412: {"description": "The caller holds this answer already (If-None-Match)."},
        **errors(413, 415, 503),
    },
)
async def knock_on(
    request: Request,
    desk: TheDesk,
    turns: TheTurns,
    media: Annotated[str, Depends(offer(JSON, PLAIN, TURTLE, JSON_LD))],
    ask: Annotated[Ask, Depends(asked)],
) -> Response:
    """The cheapest complete change that goes together, in the fewest extra positions: what to buy, what to
    do, what to measure first, what stays, each with its reason; or the wishes that contradict each other
    and the ways out.  The Server-Timing header says how long each stage took."""
    language = language_of(request)
    tagged(request, desk.holdings.version, media, language, ask.model_dump_json())
    timings: dict[str, float] = {}

    def work() -> bytes:
        if media in (TURTLE, JSON_LD):
            try:
                return desk.plan_graph(ask, media)
            except NoPlan as error:
                raise no_plan(error) from None
        told = desk.ask(ask, timings, language=language)
        started = perf_counter()
        body = (told.model_dump_json() if media == JSON else tell_text(told)).encode()
        timings["write"] = perf_counter() - started
        return body

    body = await turns.run(work)
    reply = Response(body, media_type=media)
    say_language(reply, language)
    if timings:
        reply.headers["Server-Timing"] = ", ".join(f"{stage};dur={s * 1000:.2f}" for stage, s in timings.items())
    return reply
