"""What the documents show is what the program does."""

import re

import pytest

from crosspin.catalog.library import Library
from crosspin.cli import main
from seed import ROOT, seed_library


def blocks(document: str, language: str) -> list[str]:
    """The fenced blocks of one language in a document."""
    text = (ROOT / document).read_text(encoding="utf-8")
    return re.findall(rf"^```{language}\n(.*?)^```", text, flags=re.DOTALL | re.MULTILINE)


def test_the_turtle_in_the_data_guide_can_be_imported() -> None:
    library = Library(ROOT / "ontology")
    (turtle,) = blocks("docs/data.md", "turtle")
    imported = library.import_text("guide.ttl", turtle.encode(), "text/turtle")
    assert (imported.parts, imported.kits, imported.vehicles) == (1, 1, 1)
    vehicle = library.holdings.catalog.vehicles["yard-truck"]
    assert vehicle.parts == {"rear/carrier": "locker-27"}
    assert "front/housing" in vehicle.unseen


def test_every_comparator_is_explained() -> None:
    explained = (ROOT / "docs/model.md").read_text(encoding="utf-8")
    used = {c.comparator for kind in seed_library().model.joint_kinds.values() for c in kind.criteria}
    assert all(f"`{comparator}`" in explained for comparator in used)


def test_every_dependency_is_explained() -> None:
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    wanted = [*project["project"]["dependencies"], *(d for g in project["dependency-groups"].values() for d in g)]
    explained = (ROOT / "docs/dependencies.md").read_text(encoding="utf-8").lower().replace("or-tools", "ortools")
    missing = [name for d in wanted if (name := re.split(r"[<>=\[]", d)[0]) not in explained]
    assert not missing


def test_every_path_in_the_developers_guide_is_there() -> None:
    named = re.findall(
        r"`((?:ontology|service|seed_data)/[^`<]*)`", (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    )
    assert named
    assert all((ROOT / path).exists() for path in named)


def test_the_readme_shows_a_real_answer(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["ask", str(ROOT / "seed_data" / "asks" / "hill-patrol.json")]) == 0
    answer = capsys.readouterr().out
    (shown,) = blocks("README.md", "text")
    place = 0
    for excerpt in shown.split("  ...\n"):
        place = answer.find(excerpt, place)
        assert place >= 0, f"the answer does not say, or not here:\n{excerpt}"
