"""The application: every address, every error, every header."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from threading import Event, Thread
from typing import Any

from anyio import CapacityLimiter
from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi
from fastapi.routing import APIRoute
from pydantic.json_schema import models_json_schema

from crosspin import __version__
from crosspin.answer.desk import Desk
from crosspin.answer.plan import Contradiction, Plan
from crosspin.answer.saved import ASKS, SavedPlans
from crosspin.answer.watch import Watch
from crosspin.api import (
    counter,
    finding,
    health,
    imports,
    ontology,
    problems,
    questions,
    records,
    rules,
    sparql,
    terms,
    whence,
)
from crosspin.api.kept import KeptReplies, UpToDate
from crosspin.api.negotiate import NotModified, not_modified
from crosspin.api.settings import Settings
from crosspin.api.wiring import Envelope, Turns
from crosspin.collector import collect_seldom
from crosspin.home import data_folder, folders_in
from crosspin.knockon.ask import Ask
from crosspin.page.render import Pages
from crosspin.store.sparql import QueryPool

_DESCRIPTION = """Which parts of a 4x4 driveline go together, and what else must change when one is fitted.
Prices are in the shop's currency; decimals are written as strings so that none loses a digit.
Every error is a problem document (RFC 9457) whose `problems` say where, what, and what would be right.
"""


def create_app(desk: Desk, settings: Settings | None = None) -> FastAPI:
    """The service over a desk."""
    used = settings or Settings()
    pool = QueryPool(used.query_limits, lambda: desk.holdings.graph)

    @asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        # The index of what is typed is made beside the first answers, so that nobody waits for it.
        Thread(target=desk.find, args=("",), daemon=True).start()
        stop = Event()
        if used.reload_seconds:
            Thread(target=app.state.watch.run, args=(used.reload_seconds, stop), daemon=True).start()
        yield
        stop.set()
        pool.close()

    app = FastAPI(
        title="Crosspin",
        version=__version__,
        description=_DESCRIPTION,
        license_info={"name": "MIT", "identifier": "MIT"},
        docs_url=None,
        redoc_url=None,
        lifespan=lifespan,
        generate_unique_id_function=_operation_id,
        separate_input_output_schemas=False,
    )
    app.state.desk = desk
    app.state.settings = used
    app.state.turns = Turns(used.answers, used.waiting)
    app.state.queries = pool
    app.state.query_turns = CapacityLimiter(used.query_workers)
    app.state.model_text = ontology.ModelText()
    app.state.pages = Pages()
    app.state.answers = counter.Answers()
    app.state.watch = Watch(desk)
    app.state.casebooks = rules.Casebooks()
    app.state.saved_plans = SavedPlans(desk, [data_folder("seed_data") / ASKS, *used.asks_folders])
    for module in (counter, finding, questions, whence, records, ontology, rules, terms, health, imports, sparql):
        app.include_router(module.router)
    app.add_middleware(Envelope)
    app.add_middleware(KeptReplies, most=used.kept_bytes, longest=used.body_limit)
    app.add_middleware(UpToDate, desk=desk)
    problems.install(app)
    app.add_exception_handler(NotModified, not_modified)
    app.openapi = lambda: _description(app)  # type: ignore[method-assign]
    return app


def served() -> FastAPI:
    """The service over the store that the environment names; what each process of it makes for itself.

    Raises WrongSetting, BrokenText, BrokenOntology or Refused.
    """
    settings = Settings.from_environment()
    desk = Desk.open(Path(settings.store), folders_in(settings.packs))
    collect_seldom()
    Thread(target=desk.warm_up, daemon=True).start()
    return create_app(desk, settings)


def _operation_id(route: APIRoute) -> str:
    return route.name


def _description(app: FastAPI) -> dict[str, Any]:
    """The OpenAPI description, with the models that only bodies read or written by hand have."""
    if app.openapi_schema is None:
        described = get_openapi(
            title=app.title,
            version=app.version,
            description=app.description,
            license_info=app.license_info,
            routes=app.routes,
        )
        models: list[Any] = [(m, "serialization") for m in (Plan, Contradiction, problems.ProblemDocument)]
        models.append((Ask, "validation"))
        _, definitions = models_json_schema(models, ref_template="#/components/schemas/{model}")
        schemas = described.setdefault("components", {}).setdefault("schemas", {})
        for name, schema in definitions["$defs"].items():
            schemas.setdefault(name, schema)
        # FastAPI describes its own 422 body, which this service never sends.
        for path in described["paths"].values():
            for operation in path.values():
                _drop_default_error(operation["responses"])
        for name in ("HTTPValidationError", "ValidationError"):
            schemas.pop(name, None)
        app.openapi_schema = described
    return app.openapi_schema


def _drop_default_error(responses: dict[str, Any]) -> None:
    content = responses.get("422", {}).get("content", {})
    if "application/problem+json" in content:
        content.pop("application/json", None)
    elif content:
        del responses["422"]
