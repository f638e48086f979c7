"""The address that tells how the service is: by what it answers, and what it did not take."""

from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response

from crosspin.answer.watch import Watch
from crosspin.api.accept import JSON, choose
from crosspin.api.negotiate import not_acceptable
from crosspin.api.problems import lines
from crosspin.api.shapes import Health, PackLine
from crosspin.api.wiring import TheDesk, TheSettings, errors, known_parameters

router = APIRouter(tags=["ontology"], dependencies=[Depends(known_parameters)])


async def _json_only(request: Request) -> str:
    """Without a tag: how the service is changes without the data."""
    if choose(request.headers.get("accept"), (JSON,)) is None:
        raise not_acceptable((JSON,))
    return JSON


@router.get("/v1/health", responses=errors())
def health(
    request: Request, response: Response, desk: TheDesk, settings: TheSettings, _: Annotated[str, Depends(_json_only)]
) -> Health:
    """The version that answers are given from, the packs in use with what they add and replace, and, where folders
    are watched, why the packs as they are now were not taken: `refused` is empty where they were."""
    watch: Watch = request.app.state.watch
    response.headers["Cache-Control"] = "no-store"
    return Health(
        version=desk.holdings.version,
        watches=settings.reload_seconds > 0,
        refused=tuple(lines(watch.refused)),
        packs=tuple(
            PackLine(
                name=pack.name,
                terms=pack.terms,
                additions=pack.additions,
                replacements=tuple(map(str, pack.replacements)),
            )
            for pack in desk.library.packs
        ),
    )
