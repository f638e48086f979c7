"""A rule's page: what it says, the cases that try it, and what became of it in the plans for saved asks."""

from pathlib import Path

import pytest
from pyoxigraph import RdfFormat, parse
from rdflib import Graph, URIRef
from rdflib.namespace import SKOS

from api_client import client_of, seed_client, settings
from crosspin.answer.saved import SavedPlans, read_saved
from crosspin.api.app import create_app
from crosspin.knockon.ask import Ask
from crosspin.page.address import address_of, read_address
from crosspin.rules.casebook import Casebook
from page_client import get
from rules.support import cases_below
from seed import ROOT, seed_desk
from test_rules_prover import ASK, proof

client = seed_client()
DEF = "https://crosspin.example/def/"


def test_every_case_is_told_at_what_it_tries() -> None:
    model = seed_desk().holdings.model
    book = Casebook([ROOT / "ontology"])
    rules = {name for table in (model.joint_kinds, model.needs, model.renewals, model.resources) for name in table}
    rules |= {*model.remedies, *model.consequences, *model.rules}
    told = {line.id: line for rule in rules for line in book.of(model, rule)}
    cases = {case.iri.rpartition("/case/")[2]: case for case in cases_below()}
    assert len(told) > 0.95 * len(cases)
    prefixes = f"@prefix cp: <{DEF}> . @prefix case: <https://crosspin.example/case/> .\n"
    for name in sorted(told)[::97]:
        given = {quad.triple for quad in parse(prefixes + told[name].given, format=RdfFormat.TURTLE)}
        assert given == {*cases[name].given}
        assert bool(told[name].refuses) is bool(cases[name].refuses)
        assert (ROOT / told[name].file).is_file()


def test_a_rule_is_told_with_its_cases_and_the_plans_that_it_spoke_in() -> None:
    sheet = client.get("/v1/rules/innerShaftInSideGear").json()
    assert {"innerShaftInSideGear-toothCount"} <= {tried for case in sheet["cases"] for tried in case["tests"]}
    (patrol,) = [fired for fired in sheet["saved_plans"] if fired["name"] == "hill-patrol"]
    assert patrol["spoke"] is True
    assert set(patrol["at"]) == {
        name.partition("/")[2]
        for name, joint in proof().joints.items()
        if joint.judged and name.startswith("innerShaftInSideGear/")
    }


def test_a_need_that_did_not_speak_is_said_not_to() -> None:
    model = seed_desk().holdings.model
    silent = sorted(set(model.needs) - {need.rule for need in proof().needs.values()})[0]
    (patrol,) = [f for f in client.get(f"/v1/rules/{silent}").json()["saved_plans"] if f["name"] == "hill-patrol"]
    assert (patrol["spoke"], patrol["at"], patrol["problem"]) == (False, [], None)


def test_a_rule_written_as_a_query_has_its_sheet_and_its_page() -> None:
    sheet = client.get("/v1/rules/bringByFresh").json()
    assert sheet["sort"] == "written"
    assert sheet["rule"]["query"].startswith("CONSTRUCT")
    assert sheet["cases"]
    assert any(fired["spoke"] for fired in sheet["saved_plans"])
    page = get("/v1/rules/bringByFresh").text
    assert "CONSTRUCT { ?outcome a cp:Outcome" in page
    assert "for every member of Placement" in page


def test_the_page_shows_the_cases_and_the_plans() -> None:
    page = get("/v1/rules/innerShaftInSideGear").text
    assert "cp:toothCount" in page
    assert 'href="/?vehicle=hill-patrol' in page
    assert "it spoke, at front/left/inner-shaft with front/carrier" in page


def test_a_rule_as_turtle_is_what_the_ontology_says_of_it() -> None:
    reply = client.get("/v1/rules/innerShaftInSideGear", headers={"Accept": "text/turtle"})
    graph = Graph().parse(data=reply.text, format="turtle")
    assert graph.value(URIRef(f"{DEF}innerShaftInSideGear"), SKOS.definition)


# ------------------------------------------------------------------ saved asks


def test_asks_are_saved_as_files(tmp_path: Path) -> None:
    (tmp_path / "patrol.json").write_text(ASK.read_text())
    (tmp_path / "nonsense.json").write_text("{}")
    (tmp_path / "elsewhere.json").write_text('{"vehicle": "no-such-vehicle"}')
    assert {saved.name: saved.ask is not None for saved in read_saved([tmp_path])} == {
        "elsewhere": True,
        "nonsense": False,
        "patrol": True,
    }
    fired = {one.name: one for one in SavedPlans(seed_desk(), [tmp_path]).fired("freshWheelIsTightened")}
    assert fired["patrol"].spoke
    assert fired["nonsense"].problem == "The file is no ask."
    assert "no-such-vehicle" in (fired["elsewhere"].problem or "")


def test_the_service_is_told_of_more_saved_asks(tmp_path: Path) -> None:
    (tmp_path / "mine.json").write_text('{"vehicle": "hill-patrol", "keep": ["*"]}')
    with client_of(create_app(seed_desk(), settings(asks=str(tmp_path)))) as own:
        names = [fired["name"] for fired in own.get("/v1/rules/bringByFresh").json()["saved_plans"]]
    assert names == ["farm-hauler", "hill-patrol", "mine"]


@pytest.mark.parametrize("name", ["hill-patrol", "farm-hauler"])
def test_a_saved_ask_is_reopened_by_its_address(name: str) -> None:
    ask = Ask.model_validate_json((ROOT / f"seed_data/asks/{name}.json").read_text())
    assert read_address(address_of(ask).pairs()).ask() == ask
