"""What may stand at one position under one question."""

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from crosspin.knockon.compiled import Batch, Candidates, Codes, Compiled, Facet, Link
from crosspin.knockon.figure_nodes import Element, Probe
from crosspin.knockon.limits import INFINITE
from crosspin.knockon.proposal import Choice, State
from crosspin.knockon.tally import Adds, Tally
from crosspin.knockon.wishes import Question, Want
from crosspin.model.schema import Part
from crosspin.vehicle.access import Access

Force = Mapping[str, Choice]

_MOST_DOMAINS = 8192
"""How many domains are kept for other asks."""

_MOST_CELLS = 1 << 23
"""How many costs between kept domains are kept, 8 bytes each."""


@dataclass(frozen=True, slots=True)
class Value:
    """One value of a domain: the state and, where fresh, the parts that are one as good as the other."""

    state: State
    batch: Batch | None = None


class Domain:
    """The values of one position, best of equals first: as received, emptied, then fresh parts by id."""

    def __init__(
        self,
        path: str,
        received: Part | None,
        candidates: Candidates,
        values: list[Value],
        compiled: Compiled,
        disturbs: frozenset[str],
    ) -> None:
        """`disturbs` are the positions at which something comes off for a change at this one."""
        self.path = path
        self.disturbs = disturbs
        self.received = received
        self.candidates = candidates
        self.values = values
        self._catalog = compiled.catalog
        self._model = compiled.model
        self._weights = compiled.weights
        self._batches = [value.batch for value in values if value.batch is not None]
        self._fresh = np.array([batch.place for batch in self._batches], dtype=np.intp)
        self._indices: dict[str, Codes] = {}
        self._adds: dict[str, Adds] = {}
        self._seen: dict[Probe, list[Element]] = {}

    def __len__(self) -> int:
        return len(self.values)

    @cached_property
    def prices(self) -> npt.NDArray[np.int64]:
        """Packed price of every value, that of the cheapest part where fresh."""
        fresh = np.array([batch.best.price for batch in self._batches], dtype=np.int64)
        still = np.zeros(len(self.values) - fresh.size, dtype=np.int64)
        return np.concatenate([still, self._weights.cents(fresh)])

    @cached_property
    def counts(self) -> npt.NDArray[np.int64]:
        """How many parts every value stands for, at least; 1 for one that brings none."""
        fresh = [batch.count for batch in self._batches]
        return np.array([1] * (len(self.values) - len(fresh)) + fresh, dtype=np.int64)

    @cached_property
    def spread(self) -> npt.NDArray[np.int64]:
        """By how much the packed price of the dearest part of every value exceeds that of the cheapest, at most."""
        fresh = [self._weights.cents(batch.dearest - batch.best.price) for batch in self._batches]
        return np.array([0] * (len(self.values) - len(fresh)) + fresh, dtype=np.int64)

    @cached_property
    def changed(self) -> npt.NDArray[np.bool_]:
        """Which values are a change from what was received."""
        return np.array([v.state is not State.RECEIVED for v in self.values], dtype=bool)

    def part_of(self, value: Value) -> Part | None:
        """The part that a value puts there; the best of a batch."""
        if value.state is State.RECEIVED:
            return self.received
        return self._catalog.parts[value.batch.best.part] if value.batch is not None else None

    def choice(self, value: Value) -> Choice:
        """A value as a choice; the best of a batch."""
        if value.state is State.RECEIVED:
            return Choice(State.RECEIVED, None if self.received is None else self.received.id)
        return Choice(value.state, None if value.batch is None else value.batch.best.part)

    def best_offer(self, batch: Batch) -> tuple[int, str]:
        """The cheapest part of a batch, with its packed price."""
        return self._weights.cents(batch.best.price), batch.best.part

    def offers(self, value: Value, most: int) -> Iterator[tuple[int, str]]:
        """The parts of a value that is fresh, cheapest first, each with its packed price."""
        if value.batch is not None:
            yield self.best_offer(value.batch)
            for offer in self.candidates.offers(value.batch, most)[1:]:
                yield self._weights.cents(offer.price), offer.part

    def indices(self, facet: Facet) -> Codes:
        """Every value's row or column in the matrix of the rule whose facet this is."""
        known = self._indices.get(facet.name)
        if known is None:
            still = [facet.index(self.part_of(value), value.state) for value in self.values if value.batch is None]
            known = np.concatenate([np.array(still, dtype=np.int64), self.candidates.columns[facet.name][self._fresh]])
            self._indices[facet.name] = known
        return known

    def adds(self, tally: Tally) -> Adds:
        """What every value adds to a resource."""
        known = self._adds.get(tally.resource.id)
        if known is None:
            known = self._adds[tally.resource.id] = self._count(tally)
        return known

    def seen(self, probe: Probe) -> list[Element]:
        """What a probe finds with every value."""
        known = self._seen.get(probe)
        if known is None:
            fresh = self.candidates.seen.get(probe, ())
            known = self._seen[probe] = [
                fresh[value.batch.place]
                if value.batch is not None
                else probe.read(self._model, self._catalog, self.part_of(value), fresh=False)
                for value in self.values
            ]
        return known

    def _count(self, tally: Tally) -> Adds:
        shares = self.candidates.shares[tally.resource.id]
        received = tally.share(self.received)
        return Adds.of(
            [
                shares[v.batch.place] if v.batch is not None else received if v.state is State.RECEIVED else None
                for v in self.values
            ],
            self.changed.tolist(),
            received,
        )


class KnownDomains:
    """What may stand at the positions of a layout, and what the rules say between them: the same in every ask that says
    the same of a position, so that it is kept from one to the next.  Threads may share it."""

    def __init__(self, compiled: Compiled) -> None:
        self.compiled = compiled
        self._domains: dict[Hashable, Domain] = {}
        self._costs: dict[tuple[Domain, Domain], Codes] = {}
        self._cells = 0

    def domain(self, key: Hashable, make: Callable[[], Domain]) -> Domain:
        """The domain of a key, made when it is first asked for."""
        known = self._domains.get(key)
        if known is None:
            if len(self._domains) > _MOST_DOMAINS:
                self._domains, self._costs, self._cells = {}, {}, 0
            known = self._domains[key] = make()
        return known

    def costs(self, here: Domain, there: Domain) -> Codes:
        """Packed costs of all rules between the values of one domain (rows) and those of another that is linked."""
        key = here, there
        known = self._costs.get(key)
        if known is None:
            known = np.zeros((len(here), len(there)), dtype=np.int64)
            for link in self.compiled.links[here.path][there.path]:
                if holds(link, here, there):
                    known = np.minimum(known + _link_costs(link, here, there), INFINITE)
            if self._cells > _MOST_CELLS:
                self._costs, self._cells = {}, 0
            self._cells += known.size
            self._costs[key] = known
        return known


def holds(link: Link, here: Domain, there: Domain) -> bool:
    """Whether a link between two positions says anything in this vehicle."""
    return link.through is None or link.through in (here if here.path == link.first else there).disturbs


def _link_costs(link: Link, here: Domain, there: Domain) -> Codes:
    return link.costs(here.path, here.indices(link.facet_at(here.path)), there.indices(link.facet_at(there.path)))


class Domains:
    """The domains of one question; `force` pins positions to one choice."""

    def __init__(self, known: KnownDomains, question: Question, force: Force) -> None:
        self._known = known
        self._compiled = known.compiled
        self._question = question
        self._force = force
        self._access = Access(known.compiled.places, question.received)

    def kept(self, path: str) -> Domain:
        """The position with nothing but what was received."""
        return self._domain(path, State.RECEIVED, lambda: [Value(State.RECEIVED)])

    def of(self, path: str) -> Domain:
        """The position with all that it may hold."""
        question = self._question
        if path in self._force:
            choice = self._force[path]
            return self._domain(path, choice, lambda: self._forced(path, choice))
        wishes = question.by_path.get(path, ())
        if wishes and wishes[0].keeps:
            return self.kept(path)
        if wishes:
            # Several wishes name one position only where they all say the same of it.
            want = wishes[0].wants[path]
            return self._domain(path, (want, question.in_stock_only), lambda: self._wished(path, want))
        spared = tuple(question.spared.get(path, ()))
        free = path in question.vacated, question.in_stock_only, spared
        return self._domain(path, free, lambda: self._free(path))

    def _domain(self, path: str, admitted: Hashable, values: Callable[[], list[Value]]) -> Domain:
        """The domain of a position, which follows from what was received there and what is `admitted`."""
        received = self._question.received[path]
        candidates = self._candidates(path)
        disturbs = self._access.disturbed(path)
        key = path, None if received is None else received.id, disturbs, admitted
        return self._known.domain(key, lambda: Domain(path, received, candidates, values(), self._compiled, disturbs))

    def _candidates(self, path: str) -> Candidates:
        return self._compiled.candidates[self._question.positions[path].role]

    def _free(self, path: str) -> list[Value]:
        """Leave it, take it out where the role or the ask lets the position be empty, or bring any part."""
        role = self._compiled.model.roles[self._question.positions[path].role]
        values = [Value(State.RECEIVED)]
        if (role.may_be_empty or path in self._question.vacated) and self._question.received[path] is not None:
            values.append(Value(State.EMPTIED))
        candidates = self._candidates(path)
        spared = self._question.spared.get(path, ())
        return values + _fresh(candidates.all(self._question.in_stock_only, spared))

    def _wished(self, path: str, want: Want | None) -> list[Value]:
        """What a wish admits."""
        if want is None:
            return [Value(State.RECEIVED if self._question.received[path] is None else State.EMPTIED)]
        candidates = self._candidates(path)
        wanted = candidates.select(want.classes, want.parts, self._question.in_stock_only)
        return ([Value(State.RECEIVED)] if want.received else []) + _fresh(wanted)

    def _forced(self, path: str, choice: Choice) -> list[Value]:
        if choice.state is not State.FRESH:
            return [Value(choice.state)]
        assert choice.part is not None
        return _fresh(self._candidates(path).select((), (choice.part,), stocked=False))


def _fresh(batches: Iterable[Batch]) -> list[Value]:
    return [Value(State.FRESH, batch) for batch in batches]
