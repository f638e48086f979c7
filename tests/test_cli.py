"""The command line: what it prints, where, and with which exit code."""

import io
import json
import subprocess
import sys
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from crosspin import cli
from crosspin.answer.plan import AlternativeLine, Contradiction, Cost, Plan, Reason, Step, WayOutLine, WishLine
from crosspin.answer.text import WIDTH, tell_text
from crosspin.catalog import library
from crosspin.knockon.ask import Ask, Fit
from seed import ROOT, seed_desk

# The cover that is there already.
NOTHING_NEW = Ask(vehicle="hill-patrol", fit=(Fit(at="front/cover", part="cv-815"),))
DEMO = str(ROOT / "seed_data/asks/hill-patrol.json")


@pytest.fixture(autouse=True)
def seeded(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without a store the questions are asked of the demo catalog; opening it once is enough."""
    real = cli._desk
    monkeypatch.setattr(cli, "_desk", lambda given: real(given) if given.store else seed_desk())


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    code = cli.main(arguments)
    captured = capsys.readouterr()
    return code, captured.out, captured.err


def refused(capsys: pytest.CaptureFixture[str], *arguments: str) -> list[str]:
    """The lines on standard error of a command that cannot use its input."""
    code, out, err = run(capsys, *arguments)
    assert (code, out) == (2, "")
    lines = err.splitlines()
    assert lines
    assert all(": " in line and ". " in line for line in lines), lines
    return lines


# ---------------------------------------------------------------------- ask


def test_the_demo_is_answered_in_text(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys, "ask", DEMO)
    assert (code, err) == (0, "")
    headings = [line for line in out.splitlines() if line.isupper()]
    # what the customer gains or loses is said first
    assert headings[:3] == ["GAINED", "ASKED", "ALSO NEEDED"]
    assert {"TO DO", "ORDER", "CAUTIONS", "STAYS", "TOTALS"} <= set(headings)
    assert max(map(len, out.splitlines())) <= WIDTH


def test_json_is_the_same_answer(capsys: pytest.CaptureFixture[str]) -> None:
    _, text, _ = run(capsys, "ask", DEMO)
    code, out, _ = run(capsys, "ask", DEMO, "--json")
    assert code == 0
    assert tell_text(Plan.model_validate_json(out)) == text


def test_an_ask_by_options_is_the_ask_in_a_file(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    file = tmp_path / "ask.json"
    file.write_text(
        json.dumps({"vehicle": "hill-patrol", "fit": [{"at": "front/cover", "part": "cv-815"}], "keep": ["rear/*"]})
    )
    by_file = run(capsys, "ask", str(file))
    by_options = run(capsys, "ask", "--vehicle", "hill-patrol", "--fit", "front/cover=cv-815", "--keep", "rear/*")
    assert by_file == by_options
    assert by_file[0] == 0


def test_an_ask_on_standard_input(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(Path(DEMO).read_bytes())))
    assert run(capsys, "ask", "-")[0] == 0


def test_times_go_to_standard_error(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, err = run(capsys, "ask", DEMO, "--times")
    assert "search" in err
    assert " ms" in err
    assert " ms" not in out


def test_a_contradiction_is_printed_and_told_by_the_exit_code(capsys: pytest.CaptureFixture[str]) -> None:
    arguments = ("ask", "--vehicle", "hill-patrol", "--fit", "front/cover=cv-895", "--keep", "front/housing")
    code, out, err = run(capsys, *arguments)
    assert (code, err) == (1, "")
    assert "cannot all be had" in out
    assert json.loads(run(capsys, *arguments, "--json")[1])["verdict"] == "contradiction"


@pytest.mark.parametrize(
    ("arguments", "begins"),
    [
        (("ask",), "ask: "),
        (("ask", "no-such-file.json"), "no-such-file.json: "),
        (("ask", "--vehicle", "hill-patroll"), "vehicle: "),
        (("ask", "--vehicle", "hill-patrol", "--fit", "front/carrier"), "--fit front/carrier: "),
        (("ask", "--vehicle", "hill-patrol", "--fit", "front/carrier=nothing"), "fit/0/part: "),
        (("ask", "--vehicle", "hill-patrol", "--fit", "front/cover=cv-815", "--keep", "nowhere"), "keep/0: "),
        (("fit", "al-895-33", "nothing"), "on record: "),
        (("mates", "nothing"), "on record: "),
        (("mates", "al-895-33", "--vehicle", "nothing"), "on record: "),
    ],
)
def test_wrong_input_says_where_what_and_what_would_be_right(
    capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], begins: str
) -> None:
    assert refused(capsys, *arguments)[0].startswith(begins)


def test_an_ask_that_is_no_ask_is_told_line_by_line(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    file = tmp_path / "ask.json"
    file.write_text('{"vehicle": 7, "colour": "red"}')
    assert [line.split(":")[0] for line in refused(capsys, "ask", str(file))] == ["vehicle", "colour"]


# ---------------------------------------------------------------------- fit and mates


def test_two_parts(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "fit", "al-895-31", "is-33-121-370-562")
    assert code == 0
    assert out.splitlines()[0].endswith(": clashes")
    told = json.loads(run(capsys, "fit", "al-895-31", "is-33-121-370-562", "--json")[1])
    assert len(out.splitlines()) == 1 + len(told["criteria"])


def test_parts_that_meet_nowhere_are_not_said_to_fit(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "fit", "cv-895", "al-tube-6")
    assert code == 0
    assert "unknown" in out
    assert "nowhere" in out


def test_mates_of_a_part(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = run(capsys, "mates", "al-895-33")
    told: list[Any] = json.loads(run(capsys, "mates", "al-895-33", "--json")[1])
    assert len(out.splitlines()) == len(told)
    _, in_vehicle, _ = run(capsys, "mates", "al-895-33", "--vehicle", "hill-patrol")
    assert "rear/" in in_vehicle or "front/" in in_vehicle


# ---------------------------------------------------------------------- import and stores


def test_a_store_keeps_what_was_imported(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    store = str(tmp_path / "store")
    code, out, err = run(capsys, "import", str(ROOT / "seed_data"), "--store", store)
    assert code == 0
    assert out.startswith("seed_data: ")
    assert "seed_data ..." in err
    more = tmp_path / "gaskets.csv"
    more.write_text(
        "id,label,price,stock,lacks,gasketOutline.patternCode\n,,EUR,,,\ncg-own,Own gasket,3,1,,eleven-bolt-895\n"
    )
    code, out, _ = run(capsys, "import", str(more), "--store", store, "--kind", "CoverGasket", "--json")
    assert code == 0
    assert json.loads(out) == [{"source": "gaskets.csv", "parts": 1, "kits": 0, "vehicles": 0}]
    code, out, _ = run(capsys, "fit", "cg-own", "cv-895", "--store", store)
    assert code == 0


def test_a_long_import_says_how_far_it_is(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(library, "TOLD_EVERY", 2)
    more = tmp_path / "CoverGasket.csv"
    more.write_text("id,label,price,stock,lacks\n,,,,\n" + "".join(f"cg-{n},plain gasket,4,1,\n" for n in range(5)))
    _, _, err = run(capsys, "import", str(more), "--store", str(tmp_path / "store"))
    told = [" ".join(words) for words in zip(err.split(), err.split()[1:], strict=False)]
    assert [pair for pair in told if pair.endswith(("read", "written"))] == [
        "2 read",
        "4 read",
        "2 written",
        "4 written",
    ]


def test_an_import_that_is_refused_changes_nothing(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    store = str(tmp_path / "store")
    bad = tmp_path / "CoverGasket.csv"
    bad.write_text("id,label,price\n,,EUR\ncg-1,A,3\ncg-2,B,-3\n")
    code, out, err = run(capsys, "import", str(bad), "--store", store)
    assert (code, out) == (2, "")
    assert err.splitlines()[-1].startswith("CoverGasket.csv, row 4, column price: ")
    code, _, err = run(capsys, "fit", "cg-1", "cg-1", "--store", store)
    assert code == 2


def test_a_path_that_is_not_there(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert "no such file" in refused(capsys, "import", str(tmp_path / "x.csv"), "--store", str(tmp_path / "store"))[0]


def test_a_wrong_setting_stops_the_service(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("CROSSPIN_EVERY_CASE", raising=False)  # which is for the tests, and none of the service's
    monkeypatch.setenv("CROSSPIN_BODY_LIMIT", "much")
    assert refused(capsys, "serve")[0].startswith("CROSSPIN_BODY_LIMIT: ")


@pytest.mark.parametrize(
    "arguments", [(), ("dance",), ("ask", "--loud"), ("serve", "--port", "many"), ("serve", "--processes", "0")]
)
def test_a_command_that_is_none(capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...]) -> None:
    with pytest.raises(SystemExit) as stopped:
        cli.main(arguments)
    assert stopped.value.code == 2
    assert "usage: " in capsys.readouterr().err


def test_the_program_itself_runs() -> None:
    done = subprocess.run([sys.executable, "-m", "crosspin.cli", "--help"], capture_output=True, text=True, check=True)
    assert "ask" in done.stdout


# ---------------------------------------------------------------------- text


def step(position: str, **more: Any) -> Step:
    given = {"action": "remove", "part": None, "instead_of": None, "asked": False, "forced": True}
    reason = Reason(position=position, source=None, rule=None, criterion=None, sentence="It is so.")
    return Step.model_validate({"position": position, "reasons": (reason,), **given, **more})


def plan_with(steps: tuple[Step, ...]) -> str:
    told = seed_desk().ask(Ask.model_validate_json(Path(DEMO).read_bytes()))
    assert isinstance(told, Plan)
    return tell_text(told.model_copy(update={"steps": steps}))


def test_what_is_alike_on_both_sides_is_told_once() -> None:
    text = plan_with((step("front/left/rotor"), step("front/right/rotor"), step("rear/left/rotor")))
    assert text.count("It is so.") == 2
    assert "front rotor, left and right" in text


def test_sides_that_differ_are_told_apart() -> None:
    text = plan_with((step("front/left/rotor"), step("front/right/rotor", forced=False)))
    assert "front left rotor" in text
    assert "front right rotor" in text
    assert text.count("Chosen, not forced") == 1


def test_nothing_to_do_is_a_short_plan() -> None:
    told = seed_desk().ask(NOTHING_NEW)
    assert isinstance(told, Plan)
    text = tell_text(told)
    assert "ALSO NEEDED" not in text
    assert "ORDER" not in text
    assert "STAYS" in text


def test_an_alternative_tells_what_the_whole_plan_would_cost_with_it() -> None:
    cost = Cost(unsafe_unknowns=0, lost_functions=0, extra_positions=3, unknowns=1, money=Decimal(10))
    other = AlternativeLine(
        part=None,
        stays=True,
        cost=cost,
        more_lost=1,
        more_positions=2,
        more_unknowns=-1,
        more_money=Decimal("-12.5"),
    )
    text = plan_with((step("front/cover", alternatives=(other,)),))
    told = "Or leaving it as it is: -12.50 EUR, +1 function lost, +2 positions, -1 unknown for the whole plan."
    assert told in " ".join(text.split())


def test_long_words_do_not_break_and_nothing_is_lost() -> None:
    word = "x" * 150
    wish = WishLine(id="fit/0", sentence=f"Fit {word} somewhere.")
    cost = Cost(unsafe_unknowns=1, lost_functions=0, extra_positions=1, unknowns=2, money=Decimal("1234.5"))
    told = Contradiction(
        version="v",
        vehicle="a",
        vehicle_label="A",
        ask=Ask(vehicle="a"),
        wishes=(wish, wish),
        why=("Because.",),
        ways_out=(WayOutLine(give_up=(wish,), cost=cost),),
    )
    text = tell_text(told)
    assert text.count(word) == 3
    assert "Because." in text
    assert "1,234.50" in text
    assert "1 of them safety-critical" in " ".join(text.split())
