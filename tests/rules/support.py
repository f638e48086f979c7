"""What the tests of the rules share: the rules on their own."""

from collections.abc import Iterable
from pathlib import Path

from pyoxigraph import Quad

from crosspin.home import data_folder
from crosspin.rules.cases import Bench
from crosspin.store.graph import parse_text


def read_quads(paths: Iterable[Path]) -> list[Quad]:
    return [quad for path in paths for quad in parse_text(path.read_bytes(), "text/turtle", path.name)]


def rule_files() -> list[Path]:
    """The core words and the rules, without packs and layouts."""
    ontology = data_folder("ontology")
    core = [ontology / f"{name}.ttl" for name in ("core", "comparators", "proof")]
    return core + sorted((ontology / "rules").glob("*.ttl"))


def rule_bench() -> Bench:
    return Bench(read_quads(rule_files()))
