"""What one vehicle has to lose: the functions that it gave as received, and which choices go on giving them.

What gives a function in a plan may sit elsewhere than what gave it, so each is a sum over the positions that count
there: one is drawn, every part that gives the function supplies one, and where none does one function is lost
(`tally.Chain`).
"""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crosspin.knockon.compiled import Facet
from crosspin.knockon.domain import Domain
from crosspin.knockon.functions import counts_at, place_of
from crosspin.knockon.proposal import State
from crosspin.knockon.tally import Adds
from crosspin.model.judge import functions_of
from crosspin.model.schema import Model, Part, Position
from crosspin.vehicle.reach import Place

Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Stake:
    """A function that the vehicle had at a place: the positions that gave it there, and all at which a part could."""

    function: str
    place: Place
    gave: tuple[str, ...]
    paths: tuple[str, ...]


class Stakes:
    """What one vehicle has to lose; `roles` names what the parts for each role could give, `facets` see that of a part.

    Facets are compiled with the roles (`Compiled`), domains belong to one question (`Opening`).
    """

    def __init__(
        self,
        model: Model,
        positions: Mapping[str, Position],
        received: Mapping[str, Part | None],
        roles: Mapping[str, Collection[str]],
        facets: Mapping[str, Facet],
    ) -> None:
        self._model = model
        self._received = {path: functions_of(model, part) for path, part in received.items()}
        self._could = {path: {*roles[position.role], *self._received[path]} for path, position in positions.items()}
        self._facets = facets
        self.all = tuple(self._found(positions))

    def _found(self, positions: Mapping[str, Position]) -> Iterator[Stake]:
        functions = self._model.functions
        had = {
            (name, place_of(functions[name], position)): None
            for path, position in positions.items()
            for name in sorted(self._received[path])
        }
        for name, place in had:
            paths = [p for p in positions if name in self._could[p] and counts_at(functions[name], place, positions[p])]
            yield Stake(name, place, tuple(p for p in paths if name in self._received[p]), tuple(paths))

    def given(self, stake: Stake, parts: Mapping[str, Part | None]) -> bool:
        """Whether something among these parts gives the function there."""
        return any(self.gives(stake, parts[path]) for path in stake.paths)

    def gives(self, stake: Stake, part: Part | None) -> bool:
        """Whether a part gives the function."""
        return stake.function in functions_of(self._model, part)

    def endangered(self, domains: Mapping[str, Domain], live: Mapping[str, Flags]) -> set[str]:
        """Closed positions that could give back a function which live values of the open ones could lose."""
        found: set[str] = set()
        for stake in self.all:
            closed = [path for path in stake.paths if path not in domains]
            if any(path in stake.gave for path in closed):
                continue
            opened = (path for path in stake.paths if path in domains)
            if any(self._gives(stake.function, domains[path])[live[path]].all() for path in opened):
                continue
            found.update(closed)
        return found

    def sums(self, domains: Mapping[str, Domain]) -> Iterator[dict[str, Adds]]:
        """For every function that open positions could lose, what each value of each of them supplies of the one that
        is drawn."""
        for stake in self.all:
            if any(path not in domains for path in stake.gave):
                continue
            given = {path: self._gives(stake.function, domains[path]) for path in stake.paths if path in domains}
            none = {path: np.zeros(gives.size, dtype=bool) for path, gives in given.items()}
            yield {path: Adds(-gives.astype(np.int64), none[path], none[path]) for path, gives in given.items()}

    def _gives(self, function: str, domain: Domain) -> Flags:
        """Which values of a position give a function."""
        facet = self._facets[function]
        if facet.name in domain.candidates.columns:
            return np.asarray(domain.indices(facet) >= facet.states, dtype=bool)
        received = function in self._received[domain.path]
        return np.array([received and value.state is State.RECEIVED for value in domain.values], dtype=bool)
