"""Every request that docs/api.md shows is answered as it says."""

import json
import re
from contextlib import nullcontext
from urllib.parse import parse_qsl, urlencode

import pytest

from api_client import client_of, seed_app
from crosspin.api.app import create_app
from seed import ROOT, own_desk, seed_desk

GUIDE = (ROOT / "docs/api.md").read_text(encoding="utf-8")
REQUESTS = re.findall(r"^```http\n(\w+) (.+?)\n(.*?)^```", GUIDE, flags=re.DOTALL | re.MULTILINE)


@pytest.mark.parametrize(("method", "target", "rest"), REQUESTS)
def test_a_request_of_the_guide_is_answered(method: str, target: str, rest: str) -> None:
    head, _, body = rest.partition("\n\n") if rest.strip() else ("", "", "")
    headers = dict(line.split(": ", 1) for line in head.splitlines() if line)
    path, _, query = target.partition("?")
    # a request that changes the data has data of its own
    with (
        own_desk() if path == "/v1/imports" else nullcontext(seed_desk()) as desk,
        client_of(create_app(desk)) as client,
    ):
        reply = client.request(method, f"{path}?{urlencode(parse_qsl(query))}", headers=headers, content=body or None)
    assert reply.status_code in (200, 201), reply.text
    assert reply.json().get("verdict") in (None, "plan", "fits")


def test_the_guide_names_every_address() -> None:
    for path in seed_app().openapi()["paths"]:
        assert path in GUIDE, path


def test_the_problem_of_the_guide_has_the_shape_of_a_real_one() -> None:
    (shown,) = (json.loads(text) for text in re.findall(r"^```json\n(.*?)^```", GUIDE, flags=re.DOTALL | re.MULTILINE))
    ask = {"vehicle": "hill-patrol", "fit": [{"at": "front/carrier", "part": "no-such-part"}]}
    with client_of(seed_app()) as client:
        real = client.post("/v1/knock-on", json=ask).json()
    assert {k: real[k] for k in ("type", "status", "detail")} == {k: shown[k] for k in ("type", "status", "detail")}
    assert real["problems"][0]["place"] == shown["problems"][0]["place"]


def test_every_problem_type_is_in_the_guide() -> None:
    source = "".join(path.read_text(encoding="utf-8") for path in (ROOT / "service/crosspin/api").glob("*.py"))
    sorts = set(re.findall(r'Refusal\(\s*\d+,\s*"([a-z-]+)"', source)) - {"http"}
    assert sorts
    assert {sort for sort in sorts if f"`{sort}`" not in GUIDE} == set()
