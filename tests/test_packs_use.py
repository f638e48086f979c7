"""Packs change answers, say openly what they replace, and start from a template that passes every check."""

import json
from collections.abc import Iterator
from pathlib import Path
from shutil import copytree, rmtree

import pytest
from fastapi import FastAPI

from api_client import client_of
from crosspin.answer.desk import Desk
from crosspin.answer.plan import Plan
from crosspin.api.app import served
from crosspin.catalog.library import Library
from crosspin.cli import main
from crosspin.home import data_folder
from crosspin.knockon.ask import Ask, AskError, Fit
from crosspin.model.drafts import Refused
from crosspin.model.reader import BrokenOntology
from crosspin.rules.inspection import Inspection
from crosspin.rules.template import start_pack
from crosspin.store.packs import BrokenPack, read_packs
from seed import own_desk, seed_desk, seed_store

ONTOLOGY = data_folder("ontology")
WINCH = Path(__file__).parent / "packs" / "winch"
WISH = Ask(vehicle="hill-patrol", fit=(Fit(at="winch", part="hw-6t"),))


@pytest.fixture(scope="module")
def desk() -> Iterator[Desk]:
    with own_desk(WINCH) as opened:
        yield opened


def test_a_pack_changes_the_answer_to_an_ask(desk: Desk) -> None:
    with pytest.raises(AskError) as refused:
        seed_desk().ask(WISH)
    assert "winch" in str(refused.value.problems)
    plan = desk.ask(WISH)
    assert isinstance(plan, Plan)
    # the pump of 40 L/min is cheaper and does not do for a winch that asks for 58 L/min
    assert {s.position: s.part.id for s in plan.steps if s.part} == {"winch": "hw-6t", "winch-pump": "wp-60"}
    (pump,) = [s for s in plan.steps if s.position == "winch-pump"]
    assert pump.reasons[0].sentence == "Hydraulic winch, 6 t is driven by oil, so there must be a pump."
    (ruled_out,) = [r for r in pump.ruled_out if r.part.id == "wp-40"]
    assert ruled_out.because == ("The winch asks for 58 L/min, the pump gives 40 L/min.",)
    # nobody has looked at the take-off of the transfer case: not known is never "fits"
    assert [(m.position, m.dimension) for m in plan.measurements] == [("transfer-case", "tooth count")]


def test_a_pack_leaves_other_answers_alone(desk: Desk) -> None:
    ask = Ask.model_validate_json((ONTOLOGY.parent / "seed_data/asks/hill-patrol.json").read_text())
    with_pack, without = desk.ask(ask), seed_desk().ask(ask)
    assert isinstance(with_pack, Plan)
    assert isinstance(without, Plan)
    assert with_pack.steps == without.steps
    assert with_pack.version != without.version


def test_the_cases_of_the_winch_notice_every_mutant() -> None:
    inspection = Inspection(ONTOLOGY, [WINCH])
    found = inspection.mutants()
    assert len(found) >= 4
    assert [m.name for m in inspection.hunt(found).survivors] == []
    assert inspection.disagreements() == ()


def test_what_a_pack_adds_to_others_is_told(desk: Desk) -> None:
    (pack,) = desk.library.packs
    assert pack.name == "winch"
    assert pack.additions == ("cp:TransferCase: cp:hasFeature cp:takeOffSpline",)
    assert pack.replacements == ()


# ---------------------------------------------------------------------- replacing what others say

REPLACED = """@prefix cp: <https://crosspin.example/def/> . @prefix rdfs: <http://www.w3.org/2000/01/rdf-schema#> .
@prefix skos: <http://www.w3.org/2004/02/skos/core#> .
cp:ourHoses a cp:Replacement ; cp:replacesTerm cp:hoseOnVent-barbDiameter ; cp:replacesProperty cp:lower ;
  cp:because "Ours are stiffer: forty of them were tried." .
cp:hoseOnVent-barbDiameter cp:lower -0.2 .
"""


def pack_of(folder: Path, text: str, name: str = "ours") -> Path:
    pack = folder / name
    pack.mkdir()
    (pack / "terms.ttl").write_text(text, encoding="utf-8")
    return pack


def test_a_declared_replacement_holds_and_is_told(tmp_path: Path) -> None:
    library = Library(ONTOLOGY, packs=[pack_of(tmp_path, REPLACED)])
    (criterion,) = library.model.joint_kinds["hoseOnVent"].criteria
    assert f"{criterion.lower}" == "-0.2"
    ((told,),) = [pack.replacements for pack in library.packs]
    assert str(told) == (
        'ours replaces cp:hoseOnVent-barbDiameter cp:lower: "-0.5" becomes "-0.2".'
        " Ours are stiffer: forty of them were tried."
    )


@pytest.mark.parametrize(
    ("right", "wrong", "said"),
    [
        ('cp:because "Ours are stiffer: forty of them were tried."', "cp:hasEvidence cp:commonPractice", "no reason"),
        ("cp:hoseOnVent-barbDiameter cp:lower -0.2 .", "", "leaves nothing in its place"),
        ("cp:replacesTerm cp:hoseOnVent-barbDiameter", "cp:replacesTerm cp:ourHoses", "nothing to replace"),
    ],
)
def test_a_replacement_that_is_not_whole_is_refused(tmp_path: Path, right: str, wrong: str, said: str) -> None:
    assert right in REPLACED
    with pytest.raises(BrokenPack) as broken:
        Library(ONTOLOGY, packs=[pack_of(tmp_path, REPLACED.replace(right, wrong))])
    assert said in str(broken.value)


def test_two_packs_may_not_replace_the_same(tmp_path: Path) -> None:
    packs = [pack_of(tmp_path, REPLACED), pack_of(tmp_path, REPLACED.replace("ourHoses", "theirHoses"), "theirs")]
    assert any("ours replaces the same already" in fault.wrong for fault in read_packs(ONTOLOGY, packs).faults)


def test_a_whole_term_may_be_replaced(tmp_path: Path) -> None:
    text = REPLACED.replace(" ; cp:replacesProperty cp:lower", "").replace(
        "cp:lower -0.2 .",
        "cp:leftDimension cp:barbDiameter ; cp:rightDimension cp:barbDiameter ; cp:comparesBy cp:equals ;"
        ' cp:saysClash "{left} is not {right}."@en .',
    )
    library = Library(ONTOLOGY, packs=[pack_of(tmp_path, text)])
    (criterion,) = library.model.joint_kinds["hoseOnVent"].criteria
    assert (criterion.comparator, criterion.lower, criterion.says_clash) == ("equals", None, "{left} is not {right}.")


# ---------------------------------------------------------------------- coming and going


def test_the_data_of_a_pack_comes_and_goes_with_it(tmp_path: Path) -> None:
    with_pack = Library(ONTOLOGY, tmp_path / "store", [WINCH])
    with_pack.take_in_data()
    assert "hw-6t" in with_pack.holdings.catalog.parts
    del with_pack
    without = Library(ONTOLOGY, tmp_path / "store")
    without.take_in_data()
    assert "hw-6t" not in without.holdings.catalog.parts
    assert "HydraulicWinch" not in without.model.kinds


def test_a_pack_that_breaks_is_not_taken_and_the_last_good_one_goes_on(tmp_path: Path) -> None:
    pack = copytree(WINCH, tmp_path / "winch")
    library = Library(ONTOLOGY, packs=[pack])
    library.take_in_data()
    before = library.holdings
    terms = (pack / "terms.ttl").read_text(encoding="utf-8")
    (pack / "terms.ttl").write_text(terms.replace("cp:takesKind cp:WinchPump", "cp:takesKind cp:WinchPmup"))
    with pytest.raises(ValueError, match="WinchPmup"):
        library.reread()
    assert library.holdings is before
    (pack / "terms.ttl").write_text(terms, encoding="utf-8")
    (pack / "data/parts/WinchPump.csv").write_text("id,label\n", encoding="utf-8")
    with pytest.raises(Refused):
        library.reread()
    assert library.holdings is before
    rmtree(pack / "data")
    library.reread()
    assert "wp-60" not in library.holdings.catalog.parts
    assert "WinchPump" in library.model.kinds


# ---------------------------------------------------------------------- commands


def test_a_pack_from_the_template_passes_every_check(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "tow-hook"
    assert main(["pack", "new", str(folder)]) == 0
    capsys.readouterr()
    assert main(["pack", "check", "--thorough", "--json", str(folder)]) == 0
    told = capsys.readouterr()
    assert json.loads(told.out) == {"faults": [], "mutants": 8, "noticed_percent": "100.0", "survivors": []}
    assert "mutants: 8 of 8" in told.err
    library = Library(ONTOLOGY, packs=[folder])
    library.take_in_data()
    assert library.holdings.catalog.parts["tow-hook-120"].kind == "TowHook"


def test_a_pack_is_started_only_where_nothing_is(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    start_pack(tmp_path / "hook")
    assert main(["pack", "new", str(tmp_path / "hook")]) == 2
    assert main(["pack", "new", str(tmp_path / "Tow Hook")]) == 2
    assert "Name it in lower case with hyphens" in capsys.readouterr().err


def test_the_check_says_what_is_wrong_and_fails(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pack = pack_of(tmp_path, REPLACED.replace("cp:Replacement", "cp:Replacment"))
    assert main(["pack", "check", str(pack)]) == 1
    told = capsys.readouterr().out
    assert "cp:Replacment is not defined anywhere. Did you mean cp:Replacement?" in told
    assert "faults" in told


def test_the_packs_in_use_are_listed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    pack = pack_of(tmp_path, REPLACED)
    monkeypatch.setenv("CROSSPIN_PACKS", f"{WINCH}:{pack}")
    assert main(["pack", "list"]) == 0
    told = capsys.readouterr().out
    assert "adds to cp:TransferCase: cp:hasFeature cp:takeOffSpline" in told
    assert 'ours replaces cp:hoseOnVent-barbDiameter cp:lower: "-0.5" becomes "-0.2".' in told


@pytest.mark.parametrize("by", ["environment", "option"])
def test_the_service_takes_packs(by: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    apps: list[FastAPI] = []

    def serve(app: str, *, factory: bool, **_: object) -> None:
        assert (app, factory) == ("crosspin.api.app:served", True)
        apps.append(served())

    monkeypatch.setattr("uvicorn.run", serve)
    monkeypatch.setenv("CROSSPIN_STORE", str(tmp_path / "store"))
    monkeypatch.setenv("CROSSPIN_PACKS", "")
    copytree(seed_store(), tmp_path / "store")
    monkeypatch.delenv("CROSSPIN_EVERY_CASE", raising=False)  # which is for the tests, and none of the service's
    if by == "environment":
        monkeypatch.setenv("CROSSPIN_PACKS", str(WINCH))
    assert main(["serve", *(() if by == "environment" else ("--packs", str(WINCH)))]) == 0
    (app,) = apps
    with client_of(app) as client:
        assert client.get("/v1/kinds/HydraulicWinch").json()["kind"]["label"] == "hydraulic winch"
        assert client.get("/v1/parts/hw-6t").status_code == 200


def test_parts_of_a_kind_that_went_with_its_pack_are_told(tmp_path: Path) -> None:
    library = Library(ONTOLOGY, tmp_path / "store", [WINCH])
    library.import_file(WINCH / "data/parts/HydraulicWinch.csv")
    del library
    with pytest.raises(BrokenOntology, match=r"HydraulicWinch.*lay the pack that defines it upon the ontology"):
        Library(ONTOLOGY, tmp_path / "store")
