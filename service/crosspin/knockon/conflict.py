"""When there is no plan: which wishes contradict each other, and the cheapest ways out."""

from collections.abc import Callable, Iterable, Iterator
from itertools import combinations

from crosspin.knockon.limits import WAYS_LIMIT, SearchLimit
from crosspin.knockon.proposal import Conflict, WayOut
from crosspin.knockon.weights import Weights

Granted = frozenset[str]


class Conflicts:
    """Finds the conflict among wishes that have no plan together.

    `best` says what the best plan costs that grants some of the wishes, None where there is none; without
    any wish there always is one, to leave everything as received.  `names` are the wishes in the order of
    the ask.  To give up a wish only takes a restriction away, so whatever holds a conflict is one and need
    not be tried.  Every set of wishes is tried at most once.  Raises SearchLimit after WAYS_LIMIT of them.
    """

    def __init__(self, names: Iterable[str], best: Callable[[Granted], int | None], weights: Weights) -> None:
        self._names = tuple(names)
        self._best = best
        self._weights = weights
        self._tried: dict[Granted, int | None] = {}
        self._minimal: list[Granted] = []

    def find(self) -> Conflict:
        """A minimal conflict, with a way out for each member, the cheapest first."""
        wishes = self._shrink(frozenset(self._names))
        ways = {self._way_out(wish) for wish in wishes}
        return Conflict(
            tuple(name for name in self._names if name in wishes),
            tuple(sorted(ways, key=lambda way: (len(way.give_up), way.cost, self._places(way.give_up)))),
        )

    def _places(self, names: Iterable[str]) -> list[int]:
        return [self._names.index(name) for name in names]

    def _known(self, granted: Granted) -> bool:
        return any(conflict <= granted for conflict in self._minimal)

    def _cost(self, granted: Granted) -> int | None:
        if self._known(granted):
            return None
        if granted not in self._tried:
            if len(self._tried) >= WAYS_LIMIT:
                raise SearchLimit("WAYS_LIMIT", WAYS_LIMIT + 1, WAYS_LIMIT, "questions about one conflict")
            self._tried[granted] = self._best(granted)
        return self._tried[granted]

    def _shrink(self, granted: Granted) -> Granted:
        """A minimal conflict within one: take wishes away, the last first, as long as the rest is one."""
        for name in reversed(self._names):
            if name in granted and self._cost(granted - {name}) is None:
                granted -= {name}
        self._minimal.append(granted)
        return granted

    def _way_out(self, wish: str) -> WayOut:
        """The best plan without that wish: fewest wishes given up, then least cost; of equals, the one that
        gives up the earlier wishes last."""
        for count in range(1, len(self._names) + 1):
            found = []
            for lost in self._to_give_up(wish, count):
                granted = frozenset(self._names) - lost
                cost = self._cost(granted)
                if cost is not None:
                    give_up = tuple(name for name in self._names if name in lost)
                    found.append((cost, [-place for place in self._places(reversed(give_up))], give_up))
                elif not self._known(granted):
                    self._shrink(granted)
            if found:
                cost, _, give_up = min(found)
                return WayOut(give_up, self._weights.cost(cost))
        raise AssertionError("a vehicle left as it was received is always a plan")

    def _to_give_up(self, wish: str, count: int) -> Iterator[Granted]:
        """Sets of so many wishes, `wish` among them, that break every conflict known when their turn comes."""
        others = [name for name in self._names if name != wish]
        for more in combinations(others, count - 1):
            lost = frozenset((wish, *more))
            if all(lost & conflict for conflict in self._minimal):
                yield lost
