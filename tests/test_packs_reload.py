"""A running service takes packs as they change, refuses broken ones with reasons, and goes on meanwhile."""

import os
from collections.abc import Callable, Iterator
from pathlib import Path
from shutil import copytree, rmtree
from time import monotonic, sleep
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api_client import client_of, settings
from crosspin.answer.desk import Desk
from crosspin.answer.watch import Watch
from crosspin.api.app import create_app
from seed import own_desk

WINCH = Path(__file__).parent / "packs" / "winch"
WISH = {"vehicle": "hill-patrol", "fit": [{"at": "winch", "part": "hw-6t"}]}
PATIENCE = 120.0  # seconds; it takes three on an idle machine


@pytest.fixture
def pack(tmp_path: Path) -> Path:
    return copytree(WINCH, tmp_path / "winch")


@pytest.fixture
def client(pack: Path) -> Iterator[TestClient]:
    with own_desk(pack) as desk, client_of(create_app(desk, settings(reload_seconds=0.1))) as running:
        yield running


def health(client: TestClient) -> dict[str, Any]:
    told: dict[str, Any] = client.get("/v1/health").json()
    return told


def wait(client: TestClient, until: Callable[[dict[str, Any]], bool]) -> dict[str, Any]:
    end = monotonic() + PATIENCE
    while not until(health(client)):
        assert monotonic() < end, "nothing was taken"
        sleep(0.05)
    return health(client)


def change(path: Path, right: str, wrong: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert right in text
    path.write_text(text.replace(right, wrong), encoding="utf-8")


def pumps(client: TestClient) -> list[str]:
    plan = client.post("/v1/knock-on", json=WISH).json()
    return [step["part"]["id"] for step in plan["steps"] if step["position"] == "winch-pump"]


def test_a_running_service_takes_a_changed_pack_and_refuses_a_broken_one(client: TestClient, pack: Path) -> None:
    first = health(client)
    assert (first["watches"], first["refused"]) == (True, [])
    assert [(p["name"], p["additions"]) for p in first["packs"]] == [
        ("winch", ["cp:TransferCase: cp:hasFeature cp:takeOffSpline"])
    ]
    assert pumps(client) == ["wp-60"]

    # broken: a name that nothing defines; the last good one goes on, and the reason is told
    change(pack / "rules.ttl", "cp:rightDimension cp:oilFlow", "cp:rightDimension cp:oilFlwo")
    broken = wait(client, lambda told: bool(told["refused"]))
    assert broken["version"] == first["version"]
    assert broken["refused"][0]["wrong"] == "cp:oilFlwo is not defined anywhere"
    assert broken["refused"][0]["mend"] == "Did you mean cp:oilFlow?"
    assert pumps(client) == ["wp-60"]

    # mended, and the limit another: the smaller pump may now give 20 L/min less than the winch asks for
    change(pack / "rules.ttl", "cp:rightDimension cp:oilFlwo", "cp:rightDimension cp:oilFlow")
    change(pack / "rules.ttl", "cp:upper 0 ;", "cp:upper 20 ;")
    change(pack / "cases.trig", "cp:oilFlow 40.1", "cp:oilFlow 60.1")
    change(pack / "cases.trig", "cp:given case:flow-40 ;", "cp:given case:flow-60 ;")
    change(pack / "cases.trig", "GRAPH case:flow-40 {", "GRAPH case:flow-60 {")
    change(pack / "cases.trig", "case:l40 a cp:Spec ; cp:oilFlow 40.0", "case:l40 a cp:Spec ; cp:oilFlow 60.0")
    wait(client, lambda told: told["version"] != first["version"] and not told["refused"])
    assert pumps(client) == ["wp-40"]
    sheet = client.get("/v1/rules/winchOnPump").json()
    assert any("60.1" in case["given"] for case in sheet["cases"])


@pytest.fixture
def desk(pack: Path) -> Iterator[Desk]:
    with own_desk(pack) as opened:
        yield opened


def test_a_rule_that_cannot_be_run_is_refused_before_it_is_asked(pack: Path, desk: Desk) -> None:
    watch = Watch(desk)
    before = desk.holdings
    (pack / "more.ttl").write_text(
        """@prefix cp: <https://crosspin.example/def/> . @prefix sh: <http://www.w3.org/ns/shacl#> .
cp:WinchRules a sh:NodeShape ; sh:targetClass cp:Contact ; sh:order 51 ; sh:rule cp:markWinch .
cp:markWinch a sh:SPARQLRule ; sh:order 51 ; sh:prefixes cp:prefixes ;
  sh:construct "CONSTRUCT { $this cp:isBarred true } WHERE { $this cp:ofJointKind" .
""",
        encoding="utf-8",
    )
    assert watch.look()
    assert any("parse" in problem.wrong for problem in watch.refused)
    assert desk.holdings is before
    (pack / "more.ttl").unlink()
    assert watch.look()
    assert (watch.refused, watch.look()) == ((), False)


def test_data_of_a_pack_that_cannot_be_taken_is_refused(pack: Path, desk: Desk) -> None:
    watch = Watch(desk)
    before = desk.holdings
    change(pack / "data/parts/WinchPump.csv", "wp-40", "hw-6t")
    assert watch.look()
    assert watch.refused
    assert desk.holdings is before
    rmtree(pack)
    assert watch.look()
    assert [problem.wrong for problem in watch.refused] == ["there is no such folder"]
    assert desk.holdings is before


def test_nothing_is_watched_unless_it_is_asked_for(pack: Path, desk: Desk) -> None:
    with client_of(create_app(desk)) as client:
        first = health(client)
        assert first["watches"] is False
        os.utime(pack / "rules.ttl", (0, 0))
        change(pack / "rules.ttl", "cp:upper 0 ;", "cp:upper 20 ;")
        sleep(0.5)
        assert health(client) == first


def test_data_that_comes_to_a_pack_is_taken(pack: Path, tmp_path: Path) -> None:
    (pack / "data").rename(tmp_path / "put-by")
    desk = Desk.open(None, [pack])
    watch = Watch(desk)
    assert "wp-40" not in desk.holdings.catalog.parts
    (tmp_path / "put-by").rename(pack / "data")
    assert watch.look()
    assert watch.refused == ()
    assert "wp-40" in desk.holdings.catalog.parts
