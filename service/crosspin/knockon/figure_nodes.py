"""What a figure is worked out from, step by step: nodes, and the elements that each of them can come to.

A leaf is what is read off the part at one position; every other node is worked out from those below it.  What a node
can come to is an `Element`: its values, or why it has none.  Positions that bring the same element are the same to
every node above, so that few combinations remain; a node that has more than FIGURE_LIMIT of them says so (SearchLimit).
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from decimal import Decimal
from enum import Enum
from itertools import product
from math import prod
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from crosspin.catalog.catalog import Catalog
from crosspin.figures.exact import all_rounded
from crosspin.knockon.limits import FIGURE_LIMIT, SearchLimit
from crosspin.knockon.pairing import condition_code
from crosspin.model.figure import Figure, Gathering
from crosspin.model.judge import Judged, is_of_kind, may_have
from crosspin.model.schema import Model, Value
from crosspin.vehicle.figuring import calculate_all

Places = npt.NDArray[np.intp]

_MOST_KEPT = 4096
"""How many combinations of lists one node remembers."""


class Missing(Enum):
    """Why there is no value: no part could have it; it is not known; not known of a fresh part."""

    NOT_THERE = "not there"
    NOT_KNOWN = "not known"
    NOT_KNOWN_OF_FRESH = "not known of a fresh part"


@dataclass(frozen=True, slots=True)
class Several:
    """What several probes find on the same part."""

    elements: "Elements"


@dataclass(frozen=True, slots=True)
class Answer:
    """How what stands at a position answers a need (a code of `pairing`), and whether it is fresh."""

    code: int
    fresh: bool


Element: TypeAlias = tuple[Value, ...] | Missing | Several | Answer
Elements: TypeAlias = tuple[Element, ...]


@dataclass(frozen=True, slots=True)
class Probe:
    """What is read off one part: one dimension of a feature, whether it is, or could be, of a kind, how it answers a
    `need` that a figure triggers, or several of these."""

    feature: str = ""
    dimension: str = ""
    kind: str = ""
    need: str = ""
    several: tuple["Probe", ...] = ()

    @property
    def key(self) -> tuple[str, ...]:
        """What probes are put in order by."""
        return (
            self.feature,
            self.dimension,
            self.kind,
            self.need,
            *(word for probe in self.several for word in probe.key),
        )

    def read(self, model: Model, catalog: Catalog, part: Judged | None, fresh: bool) -> Element:
        """What it finds on a part, or where there is none."""
        if self.several:
            return Several(tuple(probe.read(model, catalog, part, fresh) for probe in self.several))
        if self.need:
            return Answer(condition_code(model, catalog, model.figure_needs[self.need].then, part), fresh)
        if part is None:
            return Missing.NOT_THERE
        if self.kind:
            return Missing.NOT_THERE if is_of_kind(model, part, self.kind) is False else (Decimal(1),)
        if not may_have(model, part, self.feature):
            return Missing.NOT_THERE
        spec = part.specs.get(self.feature)
        values = catalog.specs[spec].values.get(self.dimension, ()) if spec is not None else ()
        if len(values) == 1 or (values and self.dimension in model.many):
            return tuple(values)
        return Missing.NOT_KNOWN_OF_FRESH if fresh else Missing.NOT_KNOWN


@dataclass(frozen=True, slots=True, eq=False)
class Combined:
    """What a node comes to: its distinct elements, and which of them each combination of those below gives."""

    elements: Elements
    table: Places


class Node:
    """One step on the way to a figure; `parties` are the positions whose parts can bear on it."""

    parties: frozenset[str]

    def __init__(self, below: Sequence["Node"]) -> None:
        self.below = tuple(below)
        self.parties = frozenset(path for node in self.below for path in node.parties)
        self._combined: dict[tuple[Elements, ...], Combined] = {}
        self._applied: dict[Elements, Element] = {}

    def over(self, below: Sequence["Node"]) -> "Node":
        """The same step over other nodes below, which come to the same elements."""
        other = copy(self)
        Node.__init__(other, below)
        return other

    def apply(self, elements: Elements) -> Element:
        """What it comes to for one element of each node below."""
        raise NotImplementedError

    def combine(self, lists: tuple[Elements, ...]) -> Combined:
        """What it comes to for all combinations of these elements of the nodes below.  Raises SearchLimit."""
        known = self._combined.get(lists)
        if known is None:
            if len(self._combined) > _MOST_KEPT:
                self._combined, self._applied = {}, {}
            known = self._combined[lists] = self._combine(lists)
        return known

    def _combine(self, lists: tuple[Elements, ...]) -> Combined:
        shape = _check_size(lists)
        return _numbered(map(self.known, product(*lists)), shape)

    def known(self, elements: Elements) -> Element:
        """As `apply`, which is remembered."""
        known = self._applied.get(elements)
        if known is None:
            known = self._applied[elements] = self.apply(elements)
        return known


class Leaf(Node):
    """What a probe finds at a position."""

    def __init__(self, path: str, probe: Probe) -> None:
        super().__init__(())
        self.path = path
        self.probe = probe
        self.parties = frozenset((path,))


class Constant(Node):
    """An element that is always the same: a value that the ontology gives, or nothing."""

    def __init__(self, element: Element) -> None:
        super().__init__(())
        self._element = element

    def apply(self, _: Elements) -> Element:
        """See Node."""
        return self._element


class AsReceived(Node):
    """A node as it was when the vehicle was received, whatever the plan does."""

    def __init__(self, node: Node) -> None:
        super().__init__(())
        self.node = node


class Pair(Node):
    """Two findings of one input made one; gathering is associative, so that many are gathered pair by pair."""

    def __init__(self, how: Gathering, first: Node, second: Node) -> None:
        super().__init__((first, second))
        self._how = how

    def apply(self, elements: Elements) -> Element:
        """See Node."""
        first, second = elements
        if Missing.NOT_THERE in elements:
            return second if first is Missing.NOT_THERE else first
        if not (isinstance(first, tuple) and isinstance(second, tuple)):
            return _missing(elements)
        if self._how is Gathering.ALIKE:
            return first if first == second else Missing.NOT_KNOWN
        return _single(self._how, (*first, *second))


class Whole(Node):
    """All findings of one input: several values of one part made one, and what there is where nothing was found."""

    def __init__(self, how: Gathering, node: Node, where_none: Element) -> None:
        super().__init__((node,))
        self._how = how
        self._where_none = where_none

    def apply(self, elements: Elements) -> Element:
        """See Node."""
        found = elements[0]
        if found is Missing.NOT_THERE:
            return self._where_none
        return _single(self._how, found) if isinstance(found, tuple) and self._how is not Gathering.ALIKE else found


class Computed(Node):
    """A figure that stands on its way to another, or is the gauge's own: its formula over its inputs.

    The nodes behind the inputs say whether there is a part for which the figure is meant.
    """

    def __init__(self, figure: Figure, inputs: Mapping[str, Node], meant_for: Sequence[Node]) -> None:
        super().__init__((*inputs.values(), *meant_for))
        self._formula = figure.formula
        self._names = tuple(inputs)

    def apply(self, elements: Elements) -> Element:
        """See Node."""
        taken, meant_for = elements[: len(self._names)], elements[len(self._names) :]
        if not self._is_meant(meant_for) or Missing.NOT_THERE in taken:
            return Missing.NOT_THERE
        if any(isinstance(one, Missing) for one in taken):
            return _missing(taken)
        values = [tuple(one[0] for one in taken if isinstance(one, tuple))]
        return next(self._calculated(values))

    @staticmethod
    def _is_meant(meant_for: Sequence[Element]) -> bool:
        """Whether there is, or could be, a part for which the figure is meant."""
        return not meant_for or any(one is not Missing.NOT_THERE for one in meant_for)

    def _calculated(self, rows: Iterable[tuple[Value, ...]]) -> Iterator[Element]:
        for value in calculate_all(self._formula, self._names, rows):
            yield Missing.NOT_KNOWN if value is None else (value,)

    def _combine(self, lists: tuple[Elements, ...]) -> Combined:
        """See Node.  What is missing decides whatever is known beside it, so that it is looked at once for all that is
        known; the formula is worked out for every combination of that."""
        _check_size(lists)
        inputs, meant_for = lists[: len(self._names)], lists[len(self._names) :]
        known = [[place for place, one in enumerate(elements) if isinstance(one, tuple)] for elements in inputs]
        if not all(known):
            return super()._combine(lists)
        few = [
            (elements[places[0]], *(one for one in elements if isinstance(one, Missing)))
            for elements, places in zip(inputs, known, strict=True)
        ]
        small = super()._combine((*few, *meant_for))
        where = [
            [0 if isinstance(one, tuple) else those.index(one) for one in elements]
            for elements, those in zip(inputs, few, strict=True)
        ]
        table = small.table[np.ix_(*where, *(range(len(elements)) for elements in meant_for))]
        rows = product(*([one[0] for one in elements if isinstance(one, tuple)] for elements in inputs))
        numbered = {element: number for number, element in enumerate(small.elements)}
        results = [numbered.setdefault(one, len(numbered)) for one in self._calculated(rows)]
        block = np.array(results, dtype=np.intp).reshape([len(places) for places in known])
        for beside in product(*(range(len(elements)) for elements in meant_for)):
            if self._is_meant([elements[place] for elements, place in zip(meant_for, beside, strict=True)]):
                table[np.ix_(*known, *([place] for place in beside))] = block.reshape(*block.shape, *[1] * len(beside))
        elements = tuple(numbered)
        met, which = np.unique(table, return_inverse=True)
        return Combined(tuple(elements[number] for number in met.tolist()), which.reshape(table.shape))


class Kept(Node):
    """A result as it is told and compared: of the many that there may be, few are left."""

    def __init__(self, node: Node, decimals: int) -> None:
        super().__init__((node,))
        self._decimals = decimals

    def _combine(self, lists: tuple[Elements, ...]) -> Combined:
        """See Node; a gauge's own result is worked out for all combinations at once, never for one."""
        shape = _check_size(lists)
        numbers = [_number(one) for one in lists[0]]
        told = all_rounded((number for number in numbers if number is not None), self._decimals)
        pairs = zip(lists[0], numbers, strict=True)
        return _numbered([one if number is None else (next(told),) for one, number in pairs], shape)


class Flat(Node):
    """A node whose nodes below rest on the same positions, worked out in one step over what they rest on.

    `by_steps` is the same node worked out from those just below it, each in its own best way.

    `taken` says of each node that is not looked into where its element is among those below, and where within it if
    several probes on one part are read together.
    """

    def __init__(
        self, root: Node, by_steps: Node, below: Sequence[Node], taken: Mapping[Node, tuple[int, int | None]]
    ) -> None:
        super().__init__(below)
        self.by_steps = by_steps
        self._root = root
        self._taken = taken

    def apply(self, elements: Elements) -> Element:
        """See Node."""
        return self._evaluate(self._root, elements)

    def _evaluate(self, node: Node, elements: Elements) -> Element:
        if node in self._taken:
            place, part = self._taken[node]
            return _part_of(elements[place], part)
        return node.known(tuple(self._evaluate(one, elements) for one in node.below))

    def _combine(self, lists: tuple[Elements, ...]) -> Combined:
        """See Node.  Each node on the way is worked out for the combinations that bear on it, however many others there
        are."""
        shape = _check_size(lists)
        if prod(shape) == 1:
            return super()._combine(lists)
        done: dict[Node, Combined] = {}
        found = self._tabled(self._root, lists, done)
        return Combined(found.elements, np.ascontiguousarray(np.broadcast_to(found.table, shape)))

    def _tabled(self, node: Node, lists: tuple[Elements, ...], done: dict[Node, Combined]) -> Combined:
        """What a node comes to, in a table with an axis for each list, of length 1 where that does not bear on it."""
        if node not in done:
            if node in self._taken:
                place, part = self._taken[node]
                shape = [1] * len(lists)
                shape[place] = len(lists[place])
                done[node] = _numbered([_part_of(one, part) for one in lists[place]], shape)
            else:
                done[node] = _over(node, [self._tabled(one, lists, done) for one in node.below], len(lists))
        return done[node]


def _over(node: Node, below: Sequence[Combined], axes: int) -> Combined:
    """What a node comes to over what those below it come to, worked out once for each combination that is met."""
    code = np.zeros([1] * axes, dtype=np.intp)
    for one in below:
        # The codes met are few and are numbered anew each time, so that none grows too large.
        met = np.unique(code * len(one.elements) + one.table, return_inverse=True)[1]
        code = met.reshape(np.broadcast_shapes(code.shape, one.table.shape))
    _, first, which = np.unique(code, return_index=True, return_inverse=True)
    columns = [np.broadcast_to(one.table, code.shape).ravel()[first].tolist() for one in below]
    elements = [one.elements for one in below]
    results = [
        node.known(tuple(of[place] for of, place in zip(elements, places, strict=True)))
        for places in (zip(*columns, strict=True) if below else [()])
    ]
    few = _numbered(results, [len(results)])
    return Combined(few.elements, few.table[which].reshape(code.shape))


def _part_of(element: Element, part: int | None) -> Element:
    return element.elements[part] if isinstance(element, Several) and part is not None else element


def _check_size(lists: tuple[Elements, ...]) -> tuple[int, ...]:
    """The shape of a table over these lists.  Raises SearchLimit."""
    shape = tuple(map(len, lists))
    if prod(shape) > FIGURE_LIMIT:
        raise SearchLimit("FIGURE_LIMIT", prod(shape), FIGURE_LIMIT, "combinations of readings of one figure")
    return shape


def _numbered(elements: Iterable[Element], shape: Sequence[int]) -> Combined:
    """Elements in a table of some shape."""
    numbered: dict[Element, int] = {}
    places = [numbered.setdefault(one, len(numbered)) for one in elements]
    return Combined(tuple(numbered), np.array(places, dtype=np.intp).reshape(shape))


def _number(element: Element) -> Decimal | None:
    value = element[0] if isinstance(element, tuple) else None
    return value if isinstance(value, Decimal) else None


def _missing(elements: Elements) -> Missing:
    return Missing.NOT_KNOWN_OF_FRESH if Missing.NOT_KNOWN_OF_FRESH in elements else Missing.NOT_KNOWN


def _single(how: Gathering, values: tuple[Value, ...]) -> Element:
    numbers = [value for value in values if isinstance(value, Decimal)]
    match how:
        case Gathering.SUM:
            return (sum(numbers, Decimal(0)),)
        case Gathering.LEAST:
            return (min(numbers),)
        case Gathering.MOST:
            return (max(numbers),)
    return values


NOTHING = Constant(Missing.NOT_THERE)
"""What an input finds that nothing in the layout could give."""
