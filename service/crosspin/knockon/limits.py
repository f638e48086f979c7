"""The bounds of the search.  It is exact or it says which of these stopped it."""

TABLE_LIMIT = 1 << 26
"""Most numbers in one table while variables are eliminated (rows times columns; 256 MB)."""

QUICK_LIMIT = 1 << 20
"""Most numbers in one table of the first try; beyond it, the network is handed over."""

WAYS_LIMIT = 200
"""Most questions asked to find the ways out of a conflict."""

BACKTRACK_LIMIT = 100_000
"""Most wrong turns of the solver that large networks are handed to, for one cost."""

KEY_LIMIT = 1 << 62
"""Most combinations of values that one table may tell apart, whether they are allowed or not."""

TALLY_LIMIT = 4096
"""Most states that the running sum of one resource may take."""

FIGURE_LIMIT = 1 << 18
"""Most combinations of readings, told apart, that one step of a figure may have."""

FLAT_LIMIT = 1 << 13
"""From how many combinations on a figure is no longer worked out in one step over all the parts it rests on."""

SHARE_LIMIT = 1 << 62
"""Most that one part may draw or supply of a resource, in units of the last decimal of all that do."""

COST_BITS = 61
"""Bits for one packed cost; two infinite costs can still be added in a signed 64-bit number."""

INFINITE = 1 << COST_BITS
"""The packed cost of what is not allowed."""

FAR = INFINITE - 1
"""Stands for the cost of a value that costs more than enough others, or has no plan at all: nobody looked."""


class SearchLimit(Exception):
    """A stated bound was reached, so there is no answer; never a silent approximation.

    `bound` names the limit of this module, `needed` and `allowed` say by how much it was missed.
    """

    def __init__(self, bound: str, needed: int, allowed: int, about: str) -> None:
        super().__init__(f"{about}: {needed} needed, {allowed} allowed ({bound})")
        self.bound = bound
        self.needed = needed
        self.allowed = allowed
