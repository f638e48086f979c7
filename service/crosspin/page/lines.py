"""The lines of a plan as the counter shows them: left and right together, alternatives as links to other asks."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from crosspin.answer.places import SIDES, both_sides, place, places
from crosspin.answer.plan import Action, AlternativeLine, PartLine, Plan, RuledOutLine, Step
from crosspin.page.address import AskAddress, matching

_VERBS = {
    Action.KEEP: "Stays",
    Action.CARRY_OVER: "Carry over",
    Action.REPLACE: "Replace",
    Action.ADD: "Add",
    Action.REMOVE: "Take out",
}


@dataclass(frozen=True, slots=True)
class Difference:
    """What the whole plan would cost more or less with an alternative."""

    money: Decimal
    positions: int
    unknowns: int


@dataclass(frozen=True, slots=True)
class Other:
    """Another choice for a line: `takes` are links to the asks that have it, by the words on them."""

    label: str
    part: PartLine | None
    difference: Difference
    one_side: bool
    takes: tuple[tuple[str, AskAddress], ...]


@dataclass(frozen=True, slots=True)
class Link:
    """One link of a chain back to the ask: at which place, what is said, and what stands behind it."""

    path: str
    where: str
    sentence: str
    rule: str | None
    evidence: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Line:
    """What is done at a position, or alike at two."""

    id: str
    paths: tuple[str, ...]
    where: str
    verb: str
    action: Action
    part: PartLine | None
    old: PartLine | None
    asked: bool
    swapped: bool
    forced: bool
    chain: tuple[Link, ...]
    also: tuple[str, ...]
    notes: tuple[str, ...]
    others: tuple[Other, ...]
    ruled_out: tuple[RuledOutLine, ...]

    @property
    def quantity(self) -> int:
        """How many of the part this line takes."""
        return len(self.paths)

    @property
    def chain_paths(self) -> tuple[str, ...]:
        """The positions of the chain, from this line back to the ask."""
        return tuple(dict.fromkeys(link.path for link in self.chain))


class Lines:
    """The lines of one plan under the ask at one address."""

    def __init__(self, plan: Plan, address: AskAddress, layout: Sequence[str]) -> None:
        self.plan = plan
        self.address = address
        self.layout = layout
        self.swapped = {path for text in address.swaps for path in matching(text.partition(":")[0], layout)}

    def asked(self) -> list[Line]:
        """What was asked for."""
        return self._lines([s for s in self.plan.steps if s.asked and s.position not in self.swapped])

    def needed(self) -> list[Line]:
        """What else must change, with what was swapped in among it."""
        return self._lines([s for s in self.plan.steps if not s.asked or s.position in self.swapped])

    def stays(self) -> list[Line]:
        """What stays."""
        return self._lines(self.plan.stays)

    def _lines(self, steps: Sequence[Step]) -> list[Line]:
        return [self._line(alike) for alike in both_sides(steps)]

    def _line(self, steps: Sequence[Step]) -> Line:
        step = steps[0]
        paths = tuple(s.position for s in steps)
        return Line(
            id="line-" + step.position.replace("/", "-"),
            paths=paths,
            where=places(paths),
            verb=_VERBS[step.action],
            action=step.action,
            part=step.part,
            old=step.instead_of,
            asked=step.asked,
            swapped=step.position in self.swapped,
            forced=step.forced,
            chain=_chain(step),
            also=tuple(dict.fromkeys(r.sentence for r in step.also_because)),
            notes=tuple(dict.fromkeys(note for s in steps for note in s.notes)),
            others=self._others(steps),
            ruled_out=step.ruled_out,
        )

    def _others(self, steps: Sequence[Step]) -> tuple[Other, ...]:
        """The alternatives of all steps of a line, each once for all sides that it costs the same on."""
        sides: dict[tuple[str | None, bool, Difference], dict[str, AlternativeLine]] = {}
        for step in steps:
            for a in step.alternatives:
                difference = Difference(a.more_money, a.more_positions, a.more_unknowns)
                key = (a.part.id if a.part else None, a.stays, difference)
                sides.setdefault(key, {})[step.position] = a
        received = {s.position: s.instead_of for s in steps}
        return tuple(
            self._other(difference, found, len(steps), received) for (_, _, difference), found in sides.items()
        )

    def _other(
        self,
        difference: Difference,
        found: Mapping[str, AlternativeLine],
        of: int,
        received: Mapping[str, PartLine | None],
    ) -> Other:
        paths = list(found)
        first = found[paths[0]]
        label = "leave it as it is" if first.stays else first.part.label if first.part else "leave it empty"
        takes = [("swap" if of == 1 else _side(path), self._taking(first, [path], received)) for path in paths]
        if len(paths) > 1:
            takes.insert(0, ("both", self._taking(first, paths, received)))
        return Other(label, None if first.stays else first.part, difference, of > 1, tuple(takes))

    def _taking(
        self, other: AlternativeLine, paths: Sequence[str], received: Mapping[str, PartLine | None]
    ) -> AskAddress:
        address = self.address
        if other.part is not None and not other.stays:
            return address.with_swap(both_sides_of(paths), other.part.id, self.layout)
        for path in paths:
            empties = not other.stays and received[path] is not None
            address = address.with_wish("remove" if empties else "keep", path)
        return address


def both_sides_of(paths: Sequence[str]) -> str:
    """The pattern that names left and right of one place, or the one position itself."""
    return paths[0] if len(paths) == 1 else "/".join("*" if word in SIDES else word for word in paths[0].split("/"))


def _side(path: str) -> str:
    return next((word for word in path.split("/") if word in SIDES), place(path))


def _chain(step: Step) -> tuple[Link, ...]:
    return tuple(
        Link(
            path=r.position,
            where=place(r.position),
            sentence=r.sentence,
            rule=r.rule,
            evidence=r.evidence,
        )
        for r in step.reasons
    )
