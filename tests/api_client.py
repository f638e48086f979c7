"""A client of the service over the seed data, as if from this machine."""

from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache

from fastapi import FastAPI
from fastapi.testclient import TestClient

from crosspin.api.app import create_app
from crosspin.api.settings import Settings
from seed import seed_desk

LOCAL = ("127.0.0.1", 50000)


@cache
def seed_app() -> FastAPI:
    """The service over the seed data, for tests that only read."""
    return create_app(seed_desk())


@contextmanager
def client_of(
    app: FastAPI, *, address: tuple[str, int] = LOCAL, host: str = "http://localhost"
) -> Iterator[TestClient]:
    """A client from an address, by a host name."""
    with TestClient(app, base_url=host, client=address, raise_server_exceptions=False) as client:
        yield client


def seed_client() -> TestClient:
    """A client without start-up and shut-down, for tests that only read."""
    return TestClient(seed_app(), base_url="http://localhost", client=LOCAL, raise_server_exceptions=False)


def settings(**values: int | float | str) -> Settings:
    """Settings that differ from the usual ones as given."""
    return Settings(**values)  # type: ignore[arg-type]
