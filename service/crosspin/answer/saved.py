"""Saved asks, and which rules spoke in their plans.

A saved ask is a JSON file, named after what it is called, in a folder of asks: the one that is shipped with the seed
data, `data/asks` of a pack, and those that the service is told of.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from threading import Lock

from pydantic import ValidationError

from crosspin.answer.desk import Desk, NoPlan
from crosspin.knockon.ask import Ask, AskError
from crosspin.knockon.limits import SearchLimit
from crosspin.model.base import Frozen
from crosspin.rules.proof import Disproved

ASKS = "asks"


@dataclass(frozen=True, slots=True)
class SavedAsk:
    """An ask and what it is called; without an ask where the file cannot be read as one."""

    name: str
    ask: Ask | None


class Fired(Frozen):
    """What became of a rule in the plan for a saved ask: the places where it `spoke` ("" for the whole vehicle),
    none where it did not; or why there is no plan to look at."""

    name: str
    vehicle: str
    spoke: bool
    at: tuple[str, ...]
    problem: str | None = None


@dataclass(frozen=True, slots=True)
class _Spoken:
    """Which rules spoke in one plan, and where."""

    saved: SavedAsk
    rules: Mapping[str, tuple[str, ...]]
    problem: str | None


def read_saved(folders: Sequence[Path]) -> tuple[SavedAsk, ...]:
    """The asks saved in these folders, by name; of two with one name the later folder's."""
    found: dict[str, SavedAsk] = {}
    for folder in folders:
        for path in sorted(folder.glob("*.json")):
            try:
                ask = Ask.model_validate_json(path.read_bytes())
            except (ValidationError, OSError):
                ask = None
            found[path.stem] = SavedAsk(path.stem, ask)
    return tuple(found[name] for name in sorted(found))


class SavedPlans:
    """The plans for saved asks, worked out when first looked at and again for each version of the graph.  Safe to
    share between threads."""

    def __init__(self, desk: Desk, folders: Sequence[Path]) -> None:
        self._desk = desk
        self._folders = tuple(folders)
        self._lock = Lock()
        self._held: tuple[str, tuple[_Spoken, ...]] | None = None

    @property
    def asks(self) -> tuple[SavedAsk, ...]:
        """The saved asks: of the folders given, and of the packs in use."""
        packs = [pack.data / ASKS for pack in self._desk.library.packs if pack.data is not None]
        return read_saved([*self._folders, *packs])

    def fired(self, rule: str) -> tuple[Fired, ...]:
        """What became of a rule in each saved plan, by name."""
        return tuple(
            Fired(
                name=one.saved.name,
                vehicle=one.saved.ask.vehicle if one.saved.ask is not None else "",
                spoke=rule in one.rules,
                at=one.rules.get(rule, ()),
                problem=one.problem,
            )
            for one in self._spoken()
        )

    def _spoken(self) -> tuple[_Spoken, ...]:
        desk = self._desk.as_it_is()
        version = desk.holdings.version
        with self._lock:
            if self._held is None or self._held[0] != version:
                self._held = (version, tuple(_look_at(desk, saved) for saved in self.asks))
            return self._held[1]


def _look_at(desk: Desk, saved: SavedAsk) -> _Spoken:
    if saved.ask is None:
        return _Spoken(saved, {}, "The file is no ask.")
    try:
        told = desk.derivations(saved.ask)
    except (AskError, NoPlan, SearchLimit, Disproved) as error:
        return _Spoken(saved, {}, str(error))
    places: dict[str, dict[str, None]] = defaultdict(dict)
    for line in told.conclusions:
        places[line.rule][line.at] = None
    for fact in told.facts:
        if fact.rule is not None:
            places.setdefault(fact.rule, {})
    return _Spoken(saved, {rule: tuple(at) for rule, at in places.items()}, None)
