"""Every address is described with an example that works on the seed data."""

from contextlib import nullcontext
from typing import Any

import pytest

from api_client import client_of, seed_app, seed_client
from crosspin.api.app import create_app
from seed import own_desk, seed_desk

DESCRIPTION = seed_app().openapi()
OPERATIONS = [(path, method) for path, operations in DESCRIPTION["paths"].items() for method in operations]


def example_of(parameter: dict[str, Any]) -> Any:
    examples = parameter.get("schema", {}).get("examples") or parameter.get("examples")
    return examples[0] if examples else None


def filled(path: str, operation: dict[str, Any]) -> tuple[str, dict[str, Any]]:
    """The address with its example parameters."""
    query = {}
    for parameter in operation.get("parameters", ()):
        example = example_of(parameter)
        if parameter["in"] == "path":
            assert example, f"{path}: {parameter['name']} has no example"
            path = path.replace("{" + parameter["name"] + "}", example)
        elif parameter["in"] == "query" and example is not None:
            query[parameter["name"]] = example
        else:
            assert not parameter.get("required"), f"{path}: {parameter['name']} has no example"
    return path, query


@pytest.mark.parametrize(("path", "method"), [o for o in OPERATIONS if o[1] == "get"])
def test_the_example_of_an_address_is_answered(path: str, method: str) -> None:
    operation = DESCRIPTION["paths"][path][method]
    address, query = filled(path, operation)
    reply = seed_client().request(method, address, params=query, follow_redirects=False)
    assert reply.status_code in (200, 303), reply.text
    if reply.status_code == 200 and reply.headers["content-type"] == "application/json":
        body = reply.json()
        assert body.get("items", True), "the example finds nothing"


@pytest.mark.parametrize(("path", "method"), [o for o in OPERATIONS if o[1] == "post"])
def test_the_example_of_a_body_is_answered(path: str, method: str) -> None:
    operation = DESCRIPTION["paths"][path][method]
    address, query = filled(path, operation)
    examples = [
        (media, example["value"])
        for media, content in operation["requestBody"]["content"].items()
        for example in content.get("examples", {}).values()
    ]
    assert examples
    # a request that changes the data has data of its own
    with (
        own_desk() if path == "/v1/imports" else nullcontext(seed_desk()) as desk,
        client_of(create_app(desk)) as client,
    ):
        for media, value in examples:
            body = (
                {"json": value}
                if media == "application/json"
                else {"content": value, "headers": {"Content-Type": media}}
            )
            reply = client.request(method, address, params=query, **body)
            assert reply.status_code in (200, 201), reply.text


def test_every_operation_says_what_it_does() -> None:
    for path, method in OPERATIONS:
        assert DESCRIPTION["paths"][path][method].get("description"), path
