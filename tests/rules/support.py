"""What the tests of the rules share: the rules on their own, and the whole ontology with its cases."""

from collections.abc import Iterable
from functools import cache
from pathlib import Path

from pyoxigraph import Quad

from crosspin.home import data_folder
from crosspin.rules.cases import Bench, Case, find_cases
from crosspin.store.graph import parse_text, read_folder


def read_quads(paths: Iterable[Path]) -> list[Quad]:
    return [quad for path in paths for quad in parse_text(path.read_bytes(), "text/turtle", path.name)]


def rule_files() -> list[Path]:
    """The core words and the rules, without packs and layouts."""
    ontology = data_folder("ontology")
    core = [ontology / f"{name}.ttl" for name in ("core", "comparators", "proof")]
    return core + sorted((ontology / "rules").glob("*.ttl"))


def rule_bench() -> Bench:
    return Bench(read_quads(rule_files()))


@cache
def full_bench() -> Bench:
    """The whole ontology; who changes it changes it back."""
    return Bench(read_folder(data_folder("ontology"))[0])


@cache
def cases_below(folder: str = "") -> tuple[Case, ...]:
    """The cases below a folder of the ontology, all of them by default."""
    return find_cases(data_folder("ontology") / folder)
