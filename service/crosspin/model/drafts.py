"""Records as somebody wrote them, not yet checked: every value is text, every text knows its place."""

from collections.abc import Iterable
from dataclasses import dataclass, field

COLUMN, PROPERTY = "{}, column {}", "{} cp:{}"
"""How places inside a record are written: of a table, of a graph."""


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong with something that was handed in.

    `place` names where (a row and column, a subject and property, a field of a request), `wrong` what is
    wrong there, `mend` what would be right.
    """

    place: str
    wrong: str
    mend: str

    def __str__(self) -> str:
        return f"{self.place}: {self.wrong}. {self.mend}"


class Refused(ValueError):
    """Something handed in was refused whole; `problems` lists every reason."""

    def __init__(self, problems: list[Problem]) -> None:
        self.problems = problems
        super().__init__("\n".join(map(str, problems)))


@dataclass(frozen=True, slots=True)
class Cell:
    """One reading as written: `unit` is the symbol it was published in, None where the unit is understood.

    Several `texts` are several accepted values; where `disputed`, they are sources that disagree.
    """

    feature: str
    dimension: str
    texts: tuple[str, ...]
    unit: str | None
    place: str
    disputed: bool = False


@dataclass(frozen=True, slots=True)
class PartDraft:
    """A part as written; `column` makes the place of its price, say, out of its own."""

    place: str
    id: str
    kind: str
    label: str
    price: str | None = None
    stock: str | None = None
    lacks: tuple[str, ...] = ()
    functions: tuple[str, ...] = ()
    cells: tuple[Cell, ...] = ()
    column: str = PROPERTY


@dataclass(frozen=True, slots=True)
class KitDraft:
    """A kit as written: lines of part id and quantity."""

    place: str
    id: str
    label: str
    price: str | None
    stock: str | None
    lines: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class VehicleDraft:
    """A vehicle as written: part ids by path, the roles nobody looked at."""

    place: str
    id: str
    label: str
    layout: str
    parts: tuple[tuple[str, str], ...]
    lists_all: bool
    leaves_open: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Drafts:
    """All that one source holds; `parts` may be read while they are gone through, and has what is wrong between
    them."""

    parts: Iterable[PartDraft | Problem] = ()
    kits: list[KitDraft] = field(default_factory=list)
    vehicles: list[VehicleDraft] = field(default_factory=list)
