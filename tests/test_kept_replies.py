"""Answers that are sent again as they were: the same bytes, of the version that is on record, and never more than
may be kept."""

import json
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from shutil import copytree
from threading import Event
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api_client import client_of, settings
from crosspin.answer.desk import Bench, Desk
from crosspin.api.app import create_app
from seed import own_desk

WINCH = Path(__file__).parent / "packs" / "winch"
ASK: dict[str, Any] = {"vehicle": "hill-patrol", "fit": [{"at": "front/cover", "part": "cv-815"}]}
OTHER: dict[str, Any] = {"vehicle": "hill-patrol", "fit": [{"at": "winch", "part": "hw-6t"}]}
COVER = "id,label,price,stock,lacks\n,,EUR,,\ncv-own,Own cover,{price},1,\n"


@pytest.fixture(scope="module")
def desk() -> Iterator[Desk]:
    with own_desk(WINCH) as opened:
        yield opened


@pytest.fixture
def client(desk: Desk) -> Iterator[TestClient]:
    """A service that has not answered anything yet."""
    with client_of(create_app(desk)) as client:
        yield client


@pytest.fixture
def worked_out(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """The asks that were worked out."""
    asks: list[Any] = []
    real = Desk.ask

    def ask(self: Desk, asked: Any, *more: Any, **named: Any) -> Any:
        asks.append(asked)
        return real(self, asked, *more, **named)

    monkeypatch.setattr(Desk, "ask", ask)
    return asks


def ask(client: TestClient, asked: dict[str, Any] = ASK, **headers: str) -> Any:
    return client.post("/v1/knock-on", json=asked, headers={name.replace("_", "-"): v for name, v in headers.items()})


def take_in(client: TestClient, price: int) -> str:
    """The version after an import."""
    query = {"source": "cover.csv", "kind": "DifferentialCover"}
    reply = client.post(
        "/v1/imports", params=query, content=COVER.format(price=price), headers={"Content-Type": "text/csv"}
    )
    assert reply.status_code == 201, reply.text
    return str(reply.json()["version"])


def test_an_answer_is_sent_again_as_it_was(client: TestClient, worked_out: list[Any]) -> None:
    first, again = ask(client), ask(client)
    assert first.status_code == again.status_code == 200
    assert first.content == again.content
    assert len(worked_out) == 1
    told = [{name: value for name, value in r.headers.items() if name != "server-timing"} for r in (first, again)]
    assert told[0] == told[1]
    assert "search;dur=" in first.headers["server-timing"]
    assert again.headers["server-timing"] == "kept"


def test_after_an_import_the_answer_is_that_of_the_new_version(client: TestClient, worked_out: list[Any]) -> None:
    before = ask(client)
    version = take_in(client, 70)
    after = ask(client)
    assert after.json()["version"] == version != before.json()["version"]
    assert after.headers["etag"] != before.headers["etag"]
    assert ask(client).content == after.content
    assert len(worked_out) == 2


def test_an_import_while_an_answer_is_worked_out_does_not_come_into_it(
    client: TestClient, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = take_in(client, 80)
    real = Desk.ask
    later: list[str] = []

    def slow(self: Desk, *asked: Any, **named: Any) -> Any:
        if not later:
            desk.import_text("cover.csv", COVER.format(price=81).encode(), "text/csv", "DifferentialCover")
            later.append(desk.holdings.version)
        return real(self, *asked, **named)

    monkeypatch.setattr(Desk, "ask", slow)
    during, after = ask(client), ask(client)
    assert (during.json()["version"], after.json()["version"]) == (first, later[0])
    # What was on record comes back, and with it the answer of that time.
    assert take_in(client, 80) == first
    assert ask(client).content == during.content


def test_formats_and_languages_are_told_apart(client: TestClient) -> None:
    asked = [
        {"Accept": "application/json"},
        {"Accept": "text/plain"},
        {"Accept": "text/turtle"},
        {"Accept": "application/json", "Accept-Language": "de"},
        {"Accept": "text/plain", "Accept-Language": "de"},
    ]
    first = [ask(client, OTHER, **headers) for headers in asked]
    again = [ask(client, OTHER, **headers) for headers in asked]
    assert [r.headers["server-timing"] for r in again] == ["kept"] * len(asked)
    assert [r.content for r in first] == [r.content for r in again]
    assert len({r.content for r in first}) == len({r.headers["etag"] for r in first}) == len(asked)
    assert [(r.headers["content-type"].split(";")[0], r.headers["content-language"]) for r in again] == [
        ("application/json", "en"),
        ("text/plain", "en"),
        ("text/turtle", "en"),
        ("application/json", "de"),
        ("text/plain", "de"),
    ]


def test_who_holds_an_answer_is_told_so_whether_or_not_it_is_kept(client: TestClient, worked_out: list[Any]) -> None:
    tag = ask(client).headers["etag"]
    for asked in (ASK, {**ASK, "keep": []}):  # the second means the same, but has not been asked
        held = ask(client, asked, If_None_Match=f'"other", W/{tag}')
        assert (held.status_code, held.content, held.headers["etag"]) == (412, b"", tag)
        assert ask(client, asked, If_None_Match='"other"').status_code == 200
        assert ask(client, asked).headers["etag"] == tag
    assert len(worked_out) == 2


def test_no_more_is_kept_than_may_be(desk: Desk) -> None:
    with client_of(create_app(desk)) as client:
        size = len(ask(client).content)
        other = len(ask(client, OTHER).content)
    for most, kept in ((size - 1, "search"), (max(size, other) + 200, "search"), (size + other + 400, "kept")):
        with client_of(create_app(desk, settings(kept_bytes=most))) as client:
            for asked in (ASK, OTHER):
                ask(client, asked)
            assert ask(client).headers["server-timing"].startswith(kept), most


def test_equal_questions_at_one_time_are_worked_out_once(
    client: TestClient, worked_out: list[Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    begun, all_sent = Event(), Event()
    counted = Desk.ask

    def slow(self: Desk, *asked: Any, **named: Any) -> Any:
        begun.set()
        all_sent.wait(60)
        return counted(self, *asked, **named)

    monkeypatch.setattr(Desk, "ask", slow)
    with ThreadPoolExecutor(4) as threads:
        first = threads.submit(ask, client)
        assert begun.wait(60)
        others = [threads.submit(ask, client) for _ in range(3)]
        assert client.get("/v1/health").status_code == 200  # they came in before this, and wait
        all_sent.set()
        replies = [one.result() for one in (first, *others)]
    assert {r.content for r in replies} == {replies[0].content}
    assert len(worked_out) == 1


def test_refusals_are_not_kept(client: TestClient) -> None:
    wrong = {"vehicle": "hill-patrol", "fit": [{"at": "front/carrier", "part": "none"}]}
    assert [ask(client, wrong).status_code for _ in range(2)] == [422, 422]
    ask(client)
    as_text = client.post("/v1/knock-on", content=json.dumps(ASK), headers={"Content-Type": "text/plain"})
    assert as_text.status_code == 415
    assert client.post("/v1/knock-on?loud=1", json=ASK).status_code == 422
    assert ask(client, Accept="image/png").status_code == 406


def test_a_question_that_is_too_long_is_refused_as_before(desk: Desk) -> None:
    with client_of(create_app(desk, settings(body_limit=200))) as client:
        text = json.dumps(ASK).encode()
        assert client.post("/v1/knock-on", content=iter([text[:9], text[9:]])).status_code == 415  # it says no type
        json_type = {"Content-Type": "application/json"}
        pieces = iter([text[:9], text[9:]])
        assert client.post("/v1/knock-on", content=pieces, headers=json_type).status_code == 200
        for body in (b" " * 201, iter([b" " * 150, b" " * 150])):
            assert client.post("/v1/knock-on", content=body, headers=json_type).status_code == 413


def test_nobody_is_answered_by_the_old_while_the_new_is_made_ready(
    tmp_path: Path, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    copytree(desk.library.folder, tmp_path / "store")
    here, there = Desk.open(tmp_path / "store", [WINCH]), Desk.open(tmp_path / "store", [WINCH])
    begun, may_end = Event(), Event()
    real = Desk._compile

    def slow(self: Desk, before: Bench | None) -> Bench:
        if self is here and before is not None:
            begun.set()
            may_end.wait(60)
        return real(self, before)

    monkeypatch.setattr(Desk, "_compile", slow)
    with client_of(create_app(here)) as client, ThreadPoolExecutor(2) as threads:
        there.import_text("cover.csv", COVER.format(price=90).encode(), "text/csv", "DifferentialCover")
        first = threads.submit(client.get, "/v1/health")
        assert begun.wait(60)
        second = threads.submit(client.get, "/v1/health")
        with pytest.raises(TimeoutError):
            second.result(0.3)
        may_end.set()
        assert {one.result().json()["version"] for one in (first, second)} == {there.holdings.version}
