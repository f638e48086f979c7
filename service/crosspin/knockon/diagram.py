"""What a gauge tells apart: from its costs down to what is read off parts, elements alike are one class.

What a limit says of a figure mostly comes to two or three classes: within, beyond, open; so few remain on the way.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crosspin.knockon.figure_nodes import AsReceived, Leaf, Node
from crosspin.knockon.view import View

Table = npt.NDArray[np.int64]
Places = npt.NDArray[np.intp]

_MANY = 64
"""From how many slices on sorting them is the quicker way to tell which are alike."""


@dataclass(frozen=True, slots=True, eq=False)
class Branch:
    """A node as far as it matters: its `count` of classes, and which of them it comes to for each element of a leaf or,
    further up, for the classes of the branches below, an axis for each."""

    count: int
    classes: Places
    leaf: Leaf | None = None
    below: tuple["Branch", ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Diagram:
    """Packed costs for the classes of some branches, an axis for each."""

    costs: Table
    below: tuple[Branch, ...]


def told_apart(nodes: Sequence[Node], costs: Table, view: View) -> Diagram:
    """Costs over the elements of nodes as costs over the classes that matter; a node that always comes to the same
    class has no axis.  Raises SearchLimit."""
    below, small = _branches(nodes, costs, view)
    return Diagram(np.asarray(small, dtype=np.int64), below)


def _branches(
    nodes: Sequence[Node], table: npt.NDArray[np.integer], view: View
) -> tuple[tuple[Branch, ...], npt.NDArray[np.integer]]:
    found = []
    for place, node in enumerate(nodes):
        classes, first = alike(table, place)
        table = np.take(table, first, axis=place)
        if first.size > 1:
            found.append(_branch(node, classes, first.size, view))
    return tuple(found), table.reshape([branch.count for branch in found])


def _branch(node: Node, classes: Places, count: int, view: View) -> Branch:
    """What decides which class a node comes to; it comes to several."""
    if isinstance(node, Leaf):
        return Branch(count, classes, node)
    assert not isinstance(node, AsReceived), "what was received is one element"
    step = view.step(node)
    combined = step.combine(tuple(view.of(one) for one in step.below))
    below, table = _branches(step.below, classes[combined.table], view)
    return Branch(count, table.astype(np.intp), None, below)


def alike(table: npt.NDArray[np.integer], axis: int) -> tuple[Places, Places]:
    """Which slices along an axis are alike: the class of each, and the first slice of each class; classes are numbered
    as they are met."""
    slices = np.ascontiguousarray(np.moveaxis(table, axis, 0)).reshape(table.shape[axis], -1)
    if len(slices) >= _MANY:
        found = _sorted_classes(slices)
        if found is not None:
            return found
    numbered: dict[bytes, int] = {}
    classes = np.array([numbered.setdefault(one.tobytes(), len(numbered)) for one in slices], dtype=np.intp)
    first = np.zeros(len(numbered), dtype=np.intp)
    first[classes[::-1]] = np.arange(classes.size, dtype=np.intp)[::-1]
    return classes, first


def _sorted_classes(slices: npt.NDArray[np.integer]) -> tuple[Places, Places] | None:
    """The same, by sorting a fingerprint of each slice; None where two that differ have the same."""
    if slices.shape[1] == 1:
        prints = slices[:, 0]
    else:
        factors = np.random.default_rng(slices.shape[1]).integers(1 << 62, size=slices.shape[1])
        prints = slices.astype(np.int64) @ factors  # overflows wrap around, always alike
    _, met, classes = np.unique(prints, return_index=True, return_inverse=True)
    if slices.shape[1] > 1 and not np.array_equal(slices[met][classes], slices):
        return None
    order = np.argsort(met)
    number = np.empty_like(order)
    number[order] = np.arange(order.size)
    return number[classes], met[order]
