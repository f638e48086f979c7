"""The tutorial is executed: its text is the winch's pack, which passes every check and changes an answer."""

import re
from pathlib import Path

import pytest

from crosspin.cli import main
from seed import ROOT

TEXT = (ROOT / "docs/extending.md").read_text(encoding="utf-8")
WINCH = Path(__file__).parent / "packs" / "winch"
MOST_LINES = 80


def files() -> dict[str, str]:
    """The files that the tutorial writes, put together from its blocks; a blank line stands between two, save where
    the file has none."""
    found: dict[str, str] = {}
    for name, text in re.findall(r"^```\w+ (\S+)\n(.*?)^```", TEXT, flags=re.DOTALL | re.MULTILINE):
        between = "\n" if name in found and not name.endswith(".trig") else ""
        found[name] = found.get(name, "") + between + text
    return found


@pytest.fixture
def pack(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for name, text in files().items():
        path = tmp_path / "winch" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path / "winch"


def test_the_text_is_the_pack() -> None:
    held = {path.relative_to(WINCH).as_posix(): path for path in WINCH.rglob("*") if path.is_file()}
    assert files() == {name: path.read_text(encoding="utf-8") for name, path in held.items()}


def test_it_takes_less_than_eighty_lines_and_no_python() -> None:
    lines = sum(text.count("\n") for name, text in files().items() if name.endswith((".ttl", ".trig")))
    assert lines < MOST_LINES
    assert f"in {lines} lines of Turtle" in TEXT
    assert not any(name.endswith(".py") for name in files())


def consoles() -> list[tuple[list[str], list[str]]]:
    """The commands that the tutorial shows, each with the lines of output that it shows."""
    found: list[tuple[list[str], list[str]]] = []
    for block in re.findall(r"^```console\n(.*?)^```", TEXT, flags=re.DOTALL | re.MULTILINE):
        for line in block.splitlines():
            if line.startswith("$ "):
                found.append((line.split()[2:], []))
            else:
                found[-1][1].append(line)
    return found


@pytest.mark.usefixtures("pack")
@pytest.mark.parametrize(("arguments", "shown"), consoles(), ids=lambda value: " ".join(value[:3]))
def test_what_the_tutorial_shows_is_what_is_said(
    arguments: list[str], shown: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(arguments) == 0
    said = capsys.readouterr().out.splitlines()
    place = 0
    for line in shown:
        assert line in said[place:], line
        place = said.index(line, place) + 1


@pytest.mark.usefixtures("pack")
def test_without_the_pack_there_is_no_such_place(capsys: pytest.CaptureFixture[str]) -> None:
    (arguments,) = (given for given, _ in consoles() if given[0] == "ask")
    assert main([word for word in arguments if word not in ("--packs", "winch")]) == 2
    assert "winch" in capsys.readouterr().err
