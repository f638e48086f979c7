"""The bounds of the search.  It is exact or it says which of these stopped it."""

TABLE_LIMIT = 1 << 22
"""Most entries of one table while variables are eliminated (32 MB of 64-bit numbers)."""

TALLY_LIMIT = 4096
"""Most states that the running sum of one resource may take."""

COST_BITS = 61
"""Bits for one packed cost; two infinite costs can still be added in a signed 64-bit number."""

INFINITE = 1 << COST_BITS
"""The packed cost of what is not allowed."""


class SearchLimit(Exception):
    """A stated bound was reached, so there is no answer; never a silent approximation.

    `bound` names the limit of this module, `needed` and `allowed` say by how much it was missed.
    """

    def __init__(self, bound: str, needed: int, allowed: int, about: str) -> None:
        super().__init__(f"{about}: {needed} needed, {allowed} allowed ({bound})")
        self.bound = bound
        self.needed = needed
        self.allowed = allowed
