"""Whatever is sent, the service answers as its own description says and never fails.

The requests are made up by schemathesis from the OpenAPI description; its checks are those of the
HTTP and OpenAPI standards (no server error, status, media type and body as described, Allow on 405,
what the description forbids is refused).
"""

from typing import Any

import schemathesis
from hypothesis import HealthCheck, Phase, settings
from schemathesis.specs.openapi.checks import positive_data_acceptance

from api_client import seed_app


@schemathesis.serializer("application/sparql-query", "application/n-triples")
def as_text(_: schemathesis.SerializationContext, value: object) -> bytes:
    return str(value).encode()


schema = schemathesis.openapi.from_asgi("/openapi.json", seed_app())


@schema.parametrize()
@settings(
    max_examples=8,
    deadline=None,
    derandomize=True,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=list(HealthCheck),
)
def test_every_address_keeps_to_its_description(case: schemathesis.Case[Any]) -> None:
    # A well-formed question about a part that is not on record is refused; no description can tell it apart.
    case.call_and_validate(excluded_checks=[positive_data_acceptance])
