"""Which figures stand in the way of wishes that have no plan: judged against what was asked, not what was there.

A figure is named only where it is beyond a limit that decides, or calls for what is not there, with everything that may
be at each position under these wishes.
"""

from collections.abc import Iterator, Mapping

import numpy as np

from crosspin.knockon.figure_nodes import Elements, Leaf
from crosspin.knockon.gauge import Gauge
from crosspin.knockon.limits import INFINITE, SearchLimit
from crosspin.knockon.opening import Opening
from crosspin.knockon.proposal import Barrier, Choice, State
from crosspin.knockon.view import View


class Barriers:
    """The figures that forbid whatever could be had in an opening that is not dead."""

    def __init__(self, opening: Opening) -> None:
        self._opening = opening
        self._view = opening.view()
        self._live = {path: np.flatnonzero(live).tolist() for path, live in opening.live.items()}
        self._gauges = [gauge for gauge in opening.touched() if gauge.id in opening.barring]

    def all(self) -> tuple[Barrier, ...]:
        """Each figure that forbids everything; where none does so alone, those that together leave nothing at some
        position."""
        alone = [self._barrier(gauge, {}) for gauge in self._gauges if self._forbids(gauge, self._view)]
        if alone:
            return tuple(alone)
        together = (tuple(self._at(path)) for path in sorted(self._live))
        return next((found for found in together if found), ())

    def _at(self, path: str) -> Iterator[Barrier]:
        """Figures one of which forbids each value of a position; none where some value is not forbidden."""
        gauges = [gauge for gauge in self._gauges if path in gauge.parties]
        probes = {leaf.probe for gauge in gauges for leaf in gauge.leaves if leaf.path == path}
        columns = [self._opening.domains[path].seen(probe) for probe in probes]
        alike = {tuple(column[value] for column in columns): value for value in reversed(self._live[path])}
        found: dict[str, Barrier] = {}
        for value in sorted(alike.values()) if gauges else ():
            view = self._with(path, value)
            gauge = next((one for one in gauges if self._forbids(one, view)), None)
            if gauge is None:
                return
            found.setdefault(gauge.id, self._barrier(gauge, {path: value}))
        yield from found.values()

    def _with(self, path: str, value: int) -> View:
        """What nodes come to with one value of a position."""
        domain, view = self._opening.domains[path], self._view

        def elements(leaf: Leaf) -> Elements:
            return (domain.seen(leaf.probe)[value],) if leaf.path == path else view.of(leaf)

        return View(elements, self._opening.came, (view, frozenset((path,))))

    def _forbids(self, gauge: Gauge, view: View) -> bool:
        try:
            return int(gauge.costs(view, self._opening.before(gauge)).min()) >= INFINITE
        except SearchLimit:  # too many to tell
            return False

    def _barrier(self, gauge: Gauge, chosen: Mapping[str, int]) -> Barrier:
        opening = self._opening
        choices = {path: self._choice(path, chosen.get(path)) for path in sorted(gauge.parties)}
        others = (path for path in choices if len(self._live.get(path, ())) > 1 and not opening.named(path))
        return Barrier(gauge.id, choices, tuple(others))

    def _choice(self, path: str, value: int | None) -> Choice:
        """What a position holds: a value, else as received, else the first that may be there."""
        domain = self._opening.domains.get(path)
        if domain is None:
            return self._opening.received(path).choice(self._opening.received(path).values[0])
        live = self._live[path]
        received = (one for one in live if domain.values[one].state is State.RECEIVED)
        return domain.choice(domain.values[next(received, live[0]) if value is None else value])


def exhausted(opening: Opening) -> str | None:
    """The first position of a dead opening where nothing is left."""
    return next((path for path in sorted(opening.live) if not opening.live[path].any()), None)
