"""The cases of an ontology with its packs, by what they try, as people read them."""

from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property
from pathlib import Path

from pyoxigraph import RdfFormat, Triple, serialize

from crosspin.model.base import Frozen
from crosspin.model.schema import JointKind, Model, Remedy
from crosspin.model.terms import CASE, DEF, identifier, term
from crosspin.rules.cases import Case, read_cases

_PREFIXES = {"cp": DEF, "case": CASE}


class CaseLine(Frozen):
    """One case: what it tries, the file that it stands in, and as Turtle what is given, what must follow from it,
    and what must not."""

    id: str
    label: str
    tests: tuple[str, ...]
    file: str
    given: str
    expects: str
    refuses: str


class Casebook:
    """The cases below some folders, read when they are first asked for."""

    def __init__(self, folders: Sequence[Path]) -> None:
        self._folders = folders

    @cached_property
    def _by_term(self) -> Mapping[str, list[tuple[str, Case]]]:
        found: dict[str, list[tuple[str, Case]]] = {}
        for folder in self._folders:
            for path in sorted(folder.rglob("cases.trig")):
                name = path.relative_to(folder.parent).as_posix()
                for case in read_cases(path.read_bytes(), str(path)):
                    for tried in case.tests:
                        found.setdefault(identifier(tried), []).append((name, case))
        return found

    def of(self, model: Model, rule: str) -> tuple[CaseLine, ...]:
        """The cases of a rule, and those of the criteria and remedies that it is made of."""
        cases = {case.iri: (name, case) for tried in _parts(model, rule) for name, case in self._by_term.get(tried, ())}
        return tuple(_line(name, case) for name, case in cases.values())


def _parts(model: Model, rule: str) -> Iterable[str]:
    yield rule
    joint: JointKind | None = model.joint_kinds.get(rule)
    for criterion in joint.criteria if joint is not None else ():
        yield criterion.id
    remedy: Remedy | None = model.remedies.get(rule)
    if remedy is not None:
        for adapter in (remedy.adapter_left_criterion, remedy.adapter_right_criterion):
            if adapter is not None:
                yield adapter.id


def _line(name: str, case: Case) -> CaseLine:
    return CaseLine(
        id=case.iri.removeprefix(CASE),
        label=case.label,
        tests=tuple(identifier(term(tried)) for tried in case.tests),
        file=name,
        given=_turtle(case.given),
        expects=_turtle(triple for _, triples in case.expects for triple in triples),
        refuses=_turtle(triple for _, triples in case.refuses for triple in triples),
    )


def _turtle(triples: Iterable[Triple]) -> str:
    text = serialize(sorted(triples, key=str), format=RdfFormat.TURTLE, prefixes=_PREFIXES) or b""
    return "\n".join(line for line in text.decode().splitlines() if not line.startswith("@prefix"))
