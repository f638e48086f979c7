"""Without a folder named, commands use the user's own store: made at first use, kept, and renewed with the program."""

from pathlib import Path
from shutil import copytree

import pytest

from crosspin import cli
from crosspin.home import data_folder, user_store
from seed import ROOT

FIT = ("fit", "al-895-31", "is-33-121-370-562")
KIT = """@prefix cp: <https://crosspin.example/def/> . @prefix part: <https://crosspin.example/id/part/> .
@prefix rdfs: <http://www.w3.org/2000/01/rdf-schema#> .
<https://crosspin.example/id/kit/own> a cp:Kit ; rdfs:label "own kit"@en ; cp:price 9.00 ;
  cp:hasLine [ cp:listsPart part:al-895-31 ; cp:quantity 1 ] .
"""


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The data folder of a user who has used nothing yet."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    return tmp_path / "data"


@pytest.fixture
def shipped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The demo catalog as it is shipped, to be changed."""
    folder = copytree(ROOT / "seed_data", tmp_path / "seed_data")
    monkeypatch.setattr(cli, "data_folder", lambda name: folder if name == "seed_data" else data_folder(name))
    return folder


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    code = cli.main(arguments)
    captured = capsys.readouterr()
    return code, captured.out, captured.err


def test_the_folder_follows_the_base_directory_specification(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HOME", "/home/somebody")
    usual = Path("/home/somebody/.local/share/crosspin")
    for told, folder in (("/data", Path("/data/crosspin")), ("", usual), ("data", usual)):
        monkeypatch.setenv("XDG_DATA_HOME", told)  # "All paths set in these environment variables must be absolute"
        assert user_store() == folder
    monkeypatch.delenv("XDG_DATA_HOME")
    assert user_store() == usual


def test_the_store_is_made_once_and_keeps_what_is_imported(
    home: Path, shipped: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, first, made = run(capsys, *FIT)
    assert (code, made) == (0, f"Putting the demo catalog into {home / 'crosspin'} ...\n")
    assert run(capsys, *FIT) == (0, first, "")

    own = tmp_path / "own.csv"
    own.write_text("id,label,price,stock,lacks\n,,EUR,,\nal-own,Own locker,700,1,\n")
    assert run(capsys, "import", str(own), "--kind", "AirLocker")[:2] == (0, "own.csv: 1 parts, 0 kits, 0 vehicles\n")
    assert run(capsys, "fit", "al-own", "is-33-121-370-562")[0] == 0

    # The demo catalog of a later version takes the place of this one; what else is there stays.
    lockers = shipped / "parts" / "AirLocker.csv"
    lockers.write_text(lockers.read_text().replace("al-895-31,", "al-895-31-b,", 1))
    assert run(capsys, *FIT)[0] == cli.BAD_INPUT
    assert run(capsys, "fit", "al-895-31-b", "is-33-121-370-562")[0] == 0
    assert run(capsys, "fit", "al-own", "is-33-121-370-562")[0] == 0


def test_a_demo_catalog_that_cannot_be_renewed_stays_and_the_reason_is_told(
    home: Path, shipped: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    own = tmp_path / "own.ttl"
    own.write_text(KIT)
    assert run(capsys, "import", str(own))[0] == 0
    lockers = shipped / "parts" / "AirLocker.csv"
    lockers.write_text(lockers.read_text().replace("al-895-31,", "al-895-31-b,", 1))
    code, _, told = run(capsys, *FIT)
    assert code == 0
    assert "'al-895-31' would be gone, but kit own has it" in told
    assert str(home) in told


def test_another_store_begins_empty(home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, _, told = run(capsys, *FIT, "--store", str(tmp_path / "other"))
    assert code == cli.BAD_INPUT
    assert told.startswith("on record: there is no part 'al-895-31'")
    assert not home.exists()


def test_the_environment_names_the_store(
    home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("CROSSPIN_STORE", str(tmp_path / "other"))
    assert run(capsys, *FIT)[0] == cli.BAD_INPUT
    assert (tmp_path / "other").is_dir()
    assert not home.exists()


def test_a_store_that_cannot_be_made_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "file").write_text("")
    code, _, told = run(capsys, *FIT, "--store", str(tmp_path / "file"))
    assert code == cli.BAD_INPUT
    assert told.startswith(f"{tmp_path / 'file'}: it cannot be opened")
