"""Resources: what each choice adds to a sum over the whole vehicle, and the exact chain of running sums."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
import numpy.typing as npt

from crosspin.catalog.catalog import Catalog
from crosspin.knockon.limits import INFINITE, SHARE_LIMIT, TALLY_LIMIT, SearchLimit
from crosspin.knockon.relation import Numbers, Relation
from crosspin.knockon.weights import Weights, decimals_of, whole
from crosspin.model.judge import Judged, may_have
from crosspin.model.schema import Model, Resource

Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Share:
    """What a part adds: draw less supply in units of the last decimal; None where a reading is missing."""

    net: int | None


class Tally:
    """One resource over the parts of one catalog; shares are counted in units of the last of `decimals`."""

    def __init__(self, model: Model, catalog: Catalog, resource: Resource) -> None:
        self.resource = resource
        self._model = model
        self._catalog = catalog
        self._ends = (
            (resource.draw_feature, resource.draw_dimension, 1),
            (resource.supply_feature, resource.supply_dimension, -1),
        )
        readings = [
            value
            for feature, dimension, _ in self._ends
            for spec in catalog.specs_of(model.features[feature].feature_kind)
            for value in spec.values.get(dimension, ())
            if isinstance(value, Decimal)
        ]
        self.decimals = decimals_of(readings)
        most = 2 * max((abs(whole(value, self.decimals)) for value in readings), default=0)
        if most > SHARE_LIMIT:
            raise SearchLimit("SHARE_LIMIT", most, SHARE_LIMIT, f"steps of the last decimal in {resource.label}")

    def share(self, part: Judged | None) -> Share | None:
        """What the part adds, or None where it takes no part in the resource.

        A part that nobody has looked at takes part, its reading missing, where it could be of a kind that does.
        """
        if part is None:
            return None
        takes_part, known, net = False, True, 0
        for feature, dimension, sign in self._ends:
            if not may_have(self._model, part, feature):
                continue
            takes_part = True
            spec = part.specs.get(feature)
            values = self._catalog.specs[spec].values.get(dimension, ()) if spec is not None else ()
            if len(values) == 1 and isinstance(values[0], Decimal):
                net += sign * whole(values[0], self.decimals)
            else:
                known = False
        if not takes_part:
            return None
        return Share(net if known else None)


@dataclass(frozen=True, slots=True)
class Adds:
    """What every value of one variable adds to a resource: the net draw, whether a reading is missing,
    and whether the value changes a position that takes part."""

    net: Numbers
    missing: Flags
    changes: Flags

    @classmethod
    def of(cls, shares: Sequence[Share | None], changed: Sequence[bool], received: Share | None) -> "Adds":
        """From the share of every value, and whether that value is a change from what was received."""
        return cls(
            np.array([0 if s is None or s.net is None else s.net for s in shares], dtype=np.int64),
            np.array([s is not None and s.net is None for s in shares], dtype=bool),
            np.array(
                [now and (s is not None or received is not None) for s, now in zip(shares, changed, strict=True)],
                dtype=bool,
            ),
        )

    def take(self, chosen: npt.NDArray[np.intp]) -> "Adds":
        """The same for some of the values."""
        return Adds(self.net[chosen], self.missing[chosen], self.changes[chosen])

    def key(self, value: int) -> tuple[int, bool, bool]:
        """All that the resource can see of one value."""
        return int(self.net[value]), bool(self.missing[value]), bool(self.changes[value])

    @property
    def least(self) -> int:
        """The least net draw among values whose reading is known; 0 where none is."""
        known = self.net[~self.missing]
        return int(known.min()) if known.size else 0

    @property
    def most(self) -> int:
        """The greatest net draw among values whose reading is known; 0 where none is."""
        known = self.net[~self.missing]
        return int(known.max()) if known.size else 0

    @property
    def silent(self) -> bool:
        """Whether no value adds anything."""
        return not (self.net.any() or self.missing.any() or self.changes.any())


# A running sum: the net draw so far (None once a reading was missing, so that the sum no longer matters),
# and whether a position that takes part has been changed.
_Sum = tuple[int | None, bool]


class Chain:
    """The variables of one resource, with the sum carried from one to the next.

    Those that can supply come last, and sums that come to the same whatever follows are one state; so there are
    few of them: the draws that each supply would do for.  `exceeding` is what it costs to draw more than there is.
    """

    def __init__(
        self,
        weights: Weights,
        variables: Sequence[int],
        adds: Sequence[Adds],
        start: _Sum,
        exceeding: int = INFINITE,
    ) -> None:
        self._weights = weights
        self._exceeding = exceeding
        order = sorted(range(len(adds)), key=lambda place: adds[place].least < 0)
        self._variables = [variables[place] for place in order]
        self._adds = [adds[place] for place in order]
        self._start = start

    def factors(self, fresh_variable: int) -> tuple[list[Relation], list[int]]:
        """Relations over the variables and over running sums, which are numbered from `fresh_variable`; and
        how many states each running sum has."""
        variables = self._variables
        steps, prices = self._merged(*self._steps())
        if not variables:
            return [Relation((), (), prices)], []
        if len(variables) == 1:
            return [Relation.of_table(variables, prices[steps[0][0]])], []
        # The first two variables meet in one relation: a sum over one variable would only copy it.
        ends, scope = steps[1][steps[0][0]], variables[:2]
        factors: list[Relation] = []
        sizes: list[int] = []
        for variable, following in zip(variables[2:], steps[2:], strict=True):
            carried = fresh_variable + len(sizes)
            sizes.append(len(following))
            free = Relation.of_table(scope, np.zeros_like(ends))
            factors.append(Relation((*scope, carried), (*free.columns, ends.ravel().astype(np.int32)), free.costs))
            ends, scope = following, [carried, variable]
        return [*factors, Relation.of_table(scope, prices[ends])], sizes

    def _steps(self) -> tuple[list[Numbers], list[_Sum]]:
        """For every variable the state that is reached from every state with every value, and the last states."""
        states = [self._start]
        steps = []
        for step, add in enumerate(self._adds, start=1):
            keys = [add.key(value) for value in range(add.net.size)]
            after = self._adds[step:]
            least, most = sum(a.least for a in after), sum(a.most for a in after)
            numbered: dict[_Sum, int] = {}
            columns: dict[tuple[int, bool, bool], list[int]] = {}
            for key in dict.fromkeys(keys):
                reached = (_sum(state, key, least, most) for state in states)
                columns[key] = [numbered.setdefault(state, len(numbered)) for state in reached]
            if len(numbered) > TALLY_LIMIT:
                raise SearchLimit("TALLY_LIMIT", len(numbered), TALLY_LIMIT, "running sums of one resource")
            steps.append(np.array([columns[key] for key in keys], dtype=np.int64).T)
            states = list(numbered)
        return steps, states

    def _merged(self, steps: list[Numbers], states: list[_Sum]) -> tuple[list[Numbers], Numbers]:
        """The same with states that come to the same made one, and the price of each of the last."""
        prices, merged = np.unique(np.array([self._price(state) for state in states]), return_inverse=True)
        found: list[Numbers] = []
        for ends in reversed(steps):
            rows, merged = np.unique(merged[ends], axis=0, return_inverse=True)
            found.insert(0, rows)
        return found, prices

    def _price(self, state: _Sum) -> int:
        net, changed = state
        if not changed:
            return 0
        if net is None:
            return self._weights.unknown
        return self._exceeding if net > 0 else 0


def _sum(state: _Sum, key: tuple[int, bool, bool], least: int, most: int) -> _Sum:
    """A running sum after one more value; `least` and `most` can still follow.

    Sums that can no longer turn are told apart no further: those that stay within the supply whatever follows, and
    those that exceed it.
    """
    net, changed = state
    amount, missing, changes = key
    net = None if net is None or missing else net + amount
    if net is not None and net + most <= 0:
        net = -most
    elif net is not None and net + least > 0:
        net = 1 - least
    return net, changed or changes
