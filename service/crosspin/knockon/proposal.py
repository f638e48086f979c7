"""What the search proposes: plain data, to be proved by the rules and told by `answer`."""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum


@dataclass(frozen=True, slots=True, order=True)
class Cost:
    """What a plan is ranked by, in this order.

    unsafe   safety-critical joints and figures that are unknown because a *new* part's reading is missing or disputed
    lost     functions that the vehicle had as received and the plan does not give, whoever asked for that
    extra    positions changed beyond those asked
    unknown  joints and needs left unknown where a part on either side is new, or a position was changed; figures
             with limits that became unknown
    money    price of new parts, adapters and the hours of remedies, in the shop's currency
    """

    unsafe: int
    lost: int
    extra: int
    unknown: int
    money: Decimal


class State(StrEnum):
    """What a plan does with a position."""

    RECEIVED = "received"  # the received part (or nothing, where nothing was) stays
    FRESH = "fresh"  # a part from the catalog comes in
    EMPTIED = "emptied"  # the received part goes, nothing comes


@dataclass(frozen=True, slots=True)
class Choice:
    """What stands at a position: the part id, or None where it is empty.

    A received part that nobody has looked at goes by the id of its stand-in (`received.stand_in`).
    """

    state: State
    part: str | None


@dataclass(frozen=True, slots=True)
class Mending:
    """A remedy applied to one failing criterion of one joint, with the adapter part where it takes one; or to a
    limit of a figure, where `joint` names the figure and its place (`reach.instance`)."""

    joint: str
    criterion: str
    remedy: str
    adapter: str | None


@dataclass(frozen=True, slots=True)
class Cause:
    """Why the received state of a position cannot stay beside what the plan has elsewhere.

    `source` is the path of the position that drags this one along; `rule` the id of the joint, pairing,
    resource or figure (`reach.instance`) that says so, or of the function that would be lost and that the part
    received at the source gave; `criterion` the criterion of a joint, or limit of a figure, that fails or, where it is
    safety-critical, would stay unknown because of a new part.
    """

    source: str
    rule: str
    criterion: str | None = None


@dataclass(frozen=True, slots=True)
class Alternative:
    """Another choice for a position and the cost of the best *whole* plan that has it."""

    choice: Choice
    cost: Cost


@dataclass(frozen=True, slots=True)
class RuledOut:
    """A part that cannot stand here in any plan, or only in one that also changes what this one does not reach, and
    what speaks against it in this one.

    Where a resource speaks and nothing else has changed, the sources are whoever else draws or supplies.
    """

    part: str
    against: tuple[Cause, ...]


@dataclass(frozen=True, slots=True)
class Proposal:
    """A whole plan.  Every table is keyed by position path and sorted by it.

    Of plans that cost the same it is the one that prefers, position by position in the order of their paths,
    to leave it as received, then to empty it, then the fresh part with the lowest id.

    choices       every position of the layout
    asked         positions that a wish names, with the index of that wish ("fit/0", "keep/1", "remove/0")
    causes        for each changed position that no wish to fit or remove names: the chain's next link first,
                  then whatever else drags it along.  Following first links always ends at a named position.
    forced        changed positions that no plan under this ask leaves as received
    alternatives  for each changed position: what else would serve, cheapest whole plan first, at most a hundred;
                  of a large network none that changes over `solve.FAR_STEPS` more positions than the best plan
    ruled_out     for each changed position: parts of the kind, or of those a wish admits, that no plan has,
                  nearest miss first (fewest clashes beside this plan, then price, then id), at most twelve
    """

    choices: dict[str, Choice]
    asked: dict[str, tuple[str, ...]]
    mendings: tuple[Mending, ...]
    cost: Cost
    causes: dict[str, tuple[Cause, ...]]
    forced: frozenset[str]
    alternatives: dict[str, tuple[Alternative, ...]]
    ruled_out: dict[str, tuple[RuledOut, ...]]


@dataclass(frozen=True, slots=True)
class WayOut:
    """Wishes to give up, and the cost of the best plan without them."""

    give_up: tuple[str, ...]
    cost: Cost


@dataclass(frozen=True, slots=True)
class Barrier:
    """A limit of a figure (`reach.instance`), or a need that a figure triggers (`reach.Call`), that the wishes of a
    conflict cannot keep, whatever else is bought.

    choices     one build of those that it forbids: every position that it rests on, as received where it may be
    in_vain     of these, the positions where something else could be had that no wish names
    """

    rule: str
    choices: dict[str, Choice]
    in_vain: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Conflict:
    """No plan: a minimal set of wishes that contradict each other, and the ways out.

    Each member's way out gives up that wish, and as few more as it must; the first way out is the
    cheapest: fewest wishes, then least cost.  `barriers` are the figures that these wishes cannot keep; `exhausted` is
    a position where nothing, on sale or received, goes together with the neighbours that are left.
    """

    wishes: tuple[str, ...]
    ways_out: tuple[WayOut, ...]
    barriers: tuple[Barrier, ...] = ()
    exhausted: str | None = None
