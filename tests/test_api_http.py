"""What HTTP itself asks of every address: formats, tags, methods, sizes, problem documents, headers."""

import pytest
from fastapi.testclient import TestClient

from api_client import client_of, seed_app, seed_client, settings
from crosspin.api.accept import choose
from crosspin.api.app import create_app
from crosspin.api.examples import ASK, PART, VEHICLE
from crosspin.api.problems import PROBLEM_JSON
from seed import seed_desk

JSON, TURTLE = "application/json", "text/turtle"


@pytest.fixture(scope="module")
def client() -> TestClient:
    return seed_client()


def problems(reply: object) -> list[dict[str, str]]:
    """The problems of a problem document, whose shape is held against RFC 9457, section 3.1."""
    assert reply.headers["content-type"] == PROBLEM_JSON  # type: ignore[attr-defined]
    body = reply.json()  # type: ignore[attr-defined]
    assert body["status"] == reply.status_code  # type: ignore[attr-defined]
    assert body["type"].startswith("https://")
    assert body["title"]
    assert body["detail"]
    assert all(p["place"] and p["wrong"] and p["mend"] for p in body["problems"])
    return list(body["problems"])


# ---------------------------------------------------------------------- formats


# The weights are those of the example in RFC 9110, section 12.5.1.
RFC_ACCEPT = (
    "text/*;q=0.3, text/plain;q=0.7, text/plain;format=flowed, text/html;level=1, text/html;level=2;q=0.4, */*;q=0.5"
)


@pytest.mark.parametrize(
    ("accept", "offers", "chosen"),
    [
        (None, (JSON, TURTLE), JSON),
        ("", (JSON, TURTLE), JSON),
        ("*/*", (JSON, TURTLE), JSON),
        ("text/*", (JSON, TURTLE), TURTLE),
        ("TEXT/Turtle", (JSON, TURTLE), TURTLE),
        ("application/json;q=0.5, text/turtle", (JSON, TURTLE), TURTLE),
        ("application/json;q=0, */*", (JSON, TURTLE), TURTLE),
        ("image/png", (JSON, TURTLE), None),
        ("application/json;q=0", (JSON,), None),
        ("application/json;q=many", (JSON,), None),
        (RFC_ACCEPT, ("text/csv", "image/jpeg"), "image/jpeg"),
        (RFC_ACCEPT, ("image/jpeg", "text/plain"), "text/plain"),
    ],
)
def test_the_format_that_the_caller_likes_best(accept: str | None, offers: tuple[str, ...], chosen: str | None) -> None:
    assert choose(accept, offers) == chosen


def test_a_format_that_there_is_not_is_refused_with_those_that_there_are(client: TestClient) -> None:
    reply = client.get(f"/v1/parts/{PART}", headers={"Accept": "image/png"})
    assert reply.status_code == 406
    (problem,) = problems(reply)
    assert problem["place"] == "Accept"
    assert TURTLE in problem["mend"]


# ---------------------------------------------------------------------- tags


def test_an_answer_that_the_caller_holds_is_not_sent_again(client: TestClient) -> None:
    first = client.get(f"/v1/parts/{PART}")
    again = client.get(f"/v1/parts/{PART}", headers={"If-None-Match": f'"other", W/{first.headers["etag"]}'})
    assert (again.status_code, again.content) == (304, b"")
    assert again.headers["etag"] == first.headers["etag"]
    other_format = client.get(f"/v1/parts/{PART}", headers={"If-None-Match": first.headers["etag"], "Accept": TURTLE})
    assert other_format.status_code == 200
    assert other_format.headers["vary"] == "Accept"


def test_the_tag_changes_with_the_data() -> None:
    from crosspin.answer.desk import Desk
    from crosspin.api.examples import CSV, CSV_KIND

    with client_of(create_app(Desk.open())) as client:
        before = client.get("/v1/parts").headers["etag"]
        done = client.post(
            "/v1/imports",
            params={"source": "more.csv", "kind": CSV_KIND},
            content=CSV,
            headers={"Content-Type": "text/csv"},
        )
        assert done.status_code == 201
        after = client.get("/v1/parts", headers={"If-None-Match": before})
        assert after.status_code == 200
        assert after.headers["etag"] != before


# ---------------------------------------------------------------------- methods


def test_head_is_get_without_the_body(client: TestClient) -> None:
    get, head = client.get("/v1/kinds"), client.head("/v1/kinds")
    assert head.content == b""
    assert dict(head.headers) == dict(get.headers)


@pytest.mark.parametrize(
    ("method", "path", "allow"),
    [
        ("DELETE", "/v1/parts", "GET, HEAD"),
        ("PUT", f"/v1/parts/{PART}", "GET, HEAD"),
        ("GET", "/v1/knock-on", "POST"),
        ("PATCH", "/sparql", "GET, HEAD, POST"),
    ],
)
def test_a_method_that_an_address_does_not_take(client: TestClient, method: str, path: str, allow: str) -> None:
    reply = client.request(method, path)
    assert reply.status_code == 405
    assert reply.headers["allow"] == allow
    assert problems(reply)[0]["place"] == "method"


# ---------------------------------------------------------------------- problems


@pytest.mark.parametrize("path", ["/v1", "/v1/nothing", "/v1/parts/", "/docs"])
def test_an_address_that_there_is_not(client: TestClient, path: str) -> None:
    reply = client.get(path, follow_redirects=False)
    assert reply.status_code in (307, 404)
    if reply.status_code == 404:
        problems(reply)


@pytest.mark.parametrize(
    ("path", "place"),
    [
        ("/v1/parts?in_stok=true", "in_stok"),
        ("/v1/parts?kind=Carrier&kind=Tyre", "kind"),
        ("/v1/parts?limit=0", "limit"),
        ("/v1/parts?limit=1000", "limit"),
        ("/v1/parts?orderable=perhaps", "orderable"),
        ("/v1/parts?next=!", "next"),
        ("/v1/parts?kind=Nothing", "kind"),
        ("/v1/parts?reading=x", "reading"),
        ("/v1/parts?reading=x.y=1", "reading"),
        ("/v1/parts?reading=sideGearSpline.y=1", "reading"),
        ("/v1/parts?reading=sideGearSpline.toothCount=many", "reading"),
        ("/v1/rules?sort=law", "sort"),
        ("/v1/fit?one=x", "other"),
        ("/v1/model?pretty=1", "pretty"),
    ],
)
def test_a_parameter_that_cannot_be_understood(client: TestClient, path: str, place: str) -> None:
    reply = client.get(path)
    assert reply.status_code == 422
    assert [p["place"] for p in problems(reply)] == [place]


@pytest.mark.parametrize(
    "path",
    [
        "/v1/parts/nothing",
        "/v1/parts/nothing/mates",
        f"/v1/parts/{PART}/mates?vehicle=nothing",
        "/v1/parts/nothing/equals",
        "/v1/parts/nothing/takers",
        "/v1/specs/nothing",
        "/v1/kits/nothing",
        "/v1/vehicles/nothing",
        "/v1/kinds/nothing",
        "/v1/kinds/nothing/csv",
        "/v1/kinds/nothing/csv-metadata",
        "/v1/rules/nothing",
        "/def/nothing",
        "/def/%3E%20",
        "/id/part/nothing",
        "/id/nothing/nothing",
        f"/v1/fit?one={PART}&other=nothing",
    ],
)
def test_what_is_not_on_record_is_not_found_and_the_way_there_is_told(client: TestClient, path: str) -> None:
    reply = client.get(path)
    assert reply.status_code == 404
    assert "/" in problems(reply)[0]["mend"] or VEHICLE in problems(reply)[0]["mend"]


def test_our_own_failures_say_nothing_of_themselves() -> None:
    app = create_app(seed_desk())

    @app.get("/fails")
    def fails() -> None:
        raise RuntimeError("a secret")

    with client_of(app) as client:
        reply = client.get("/fails")
    assert reply.status_code == 500
    assert problems(reply) == []
    assert "secret" not in reply.text
    assert reply.headers["x-content-type-options"] == "nosniff"


def test_security_headers_are_everywhere(client: TestClient) -> None:
    for reply in (client.get("/v1/kinds"), client.get("/nothing"), client.post("/v1/knock-on")):
        assert reply.headers["x-content-type-options"] == "nosniff"
        assert "default-src 'none'" in reply.headers["content-security-policy"]
        assert reply.headers["referrer-policy"] == "no-referrer"


# ---------------------------------------------------------------------- bodies


def test_a_body_that_is_too_large_is_refused_before_it_is_read() -> None:
    with client_of(create_app(seed_desk(), settings(body_limit=100, import_limit=100))) as client:
        large = b" " * 101
        for path, media in (
            ("/v1/knock-on", JSON),
            ("/sparql", "application/sparql-query"),
            ("/v1/imports?source=a", TURTLE),
        ):
            announced = client.post(path, content=large, headers={"Content-Type": media})
            streamed = client.post(path, content=iter([large]), headers={"Content-Type": media})
            for reply in (announced, streamed):
                assert reply.status_code == 413
                assert problems(reply)[0]["place"] == "the body"


@pytest.mark.parametrize("media", ["", "text/plain", "application/rdf+xml", "application/json; charset=utf-16"])
def test_a_body_in_another_format_is_refused(client: TestClient, media: str) -> None:
    reply = client.post("/v1/knock-on", content=b"{}", headers={"Content-Type": media} if media else {})
    assert reply.status_code == 415
    assert problems(reply)[0]["place"] == "Content-Type"


def test_too_many_questions_are_sent_away() -> None:
    import anyio

    from crosspin.api.problems import Refusal
    from crosspin.api.wiring import Turns

    async def crowd() -> list[object]:
        turns, gate, answers = Turns(at_once=1, waiting=1), anyio.Event(), list[object]()

        def work() -> str:
            anyio.from_thread.run(gate.wait)
            return "answered"

        async def one() -> None:
            try:
                answers.append(await turns.run(work))
            except Refusal as refusal:
                answers.append(refusal.status)
                gate.set()

        async with anyio.create_task_group() as group:
            for _ in range(3):
                group.start_soon(one)
                await anyio.wait_all_tasks_blocked()
        return answers

    assert anyio.run(crowd) == [503, "answered", "answered"]


def test_the_seed_app_was_not_changed() -> None:
    assert seed_app().state.desk.holdings.version == seed_desk().holdings.version
    assert ASK["vehicle"] in seed_desk().holdings.catalog.vehicles
