"""Refusals: what every one of them must say, and that nothing was changed by what was refused."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from fastapi.testclient import TestClient

from api_client import client_of, settings
from crosspin.api.app import create_app
from seed import own_desk


@contextmanager
def own_client() -> Iterator[TestClient]:
    """A client of a service with data of its own."""
    with own_desk() as desk, client_of(create_app(desk, settings(import_limit=20_000))) as client:
        yield client


def version(client: TestClient) -> str:
    """The version of the data now."""
    return str(client.get("/v1/model").json()["version"])


def refused(client: TestClient, reply: Any, before: str, status: int = 422) -> list[dict[str, str]]:
    """The problems of a refusal; the data is as it was before."""
    assert reply.status_code == status, reply.text
    problems: list[dict[str, str]] = reply.json()["problems"]
    assert problems
    assert all(p["place"] and p["wrong"] and p["mend"] for p in problems)
    assert version(client) == before
    return problems
