"""The table of what the ontology knows is current, and says of everything in it how it was tried."""

from functools import cache
from pathlib import Path

from crosspin.answer.knowledge import knowledge
from seed import ROOT, seed_library

TABLE: Path = ROOT / "docs" / "knowledge.md"


@cache
def table() -> str:
    return knowledge()


def test_the_table_of_knowledge_is_current() -> None:
    current = TABLE.read_text(encoding="utf-8") == table()
    assert current, "docs/knowledge.md is not what the ontology says now; write it anew with: make knowledge"


def test_the_table_names_every_rule() -> None:
    model = seed_library().model
    rules = (*model.needs, *model.renewals, *model.resources, *model.remedies, *model.consequences)
    names = {*model.joint_kinds, *rules, *model.figures}
    criteria = {c.id for kind in model.joint_kinds.values() for c in kind.criteria}
    first_cells = {line.split(" | ")[0].strip("|* ") for line in table().splitlines() if line.startswith("| ")}
    assert sorted((names | criteria) - first_cells) == []


def test_no_rule_in_the_table_is_untried() -> None:
    rows = [line for line in table().splitlines() if line.startswith("| ")]
    counted = [row for row in rows if row.rstrip(" |").rpartition(" | ")[2].startswith("+")]
    assert len(counted) > 500
    assert [row for row in counted if "| +0 " in row or row.endswith(" -0 |")] == []
