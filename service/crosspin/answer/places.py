"""Positions as people say them, and left and right of one place taken together."""

from collections.abc import Iterable, Sequence

from crosspin.answer.plan import Step

SIDES = ("left", "right")


def place(path: str) -> str:
    """A position in words: "front left inner shaft"."""
    return path.replace("/", " ").replace("-", " ")


def sideless(path: str) -> str:
    """A path without its side, the same for both sides."""
    return "/".join(word for word in path.split("/") if word not in SIDES)


def places(paths: Sequence[str]) -> str:
    """Positions that differ in their side alone, in words: "front hub, left and right"."""
    if len(paths) == 1:
        return place(paths[0])
    sides = [word for path in paths for word in path.split("/") if word in SIDES]
    return f"{place(sideless(paths[0]))}, {' and '.join(sides)}"


def places_by_side(paths: Iterable[str]) -> list[str]:
    """Any positions in words, left and right of one place together, in the order given."""
    groups: dict[str, list[str]] = {}
    for path in paths:
        groups.setdefault(sideless(path), []).append(path)
    return [places(group) for group in groups.values()]


def both_sides(steps: Iterable[Step]) -> list[list[Step]]:
    """The steps, with what is done alike on the left and on the right taken together."""
    groups: dict[object, list[Step]] = {}
    for step in steps:
        part, old = step.part and step.part.id, step.instead_of and step.instead_of.id
        groups.setdefault((sideless(step.position), step.action, part, old, step.asked, step.forced), []).append(step)
    return list(groups.values())
