"""Whether what is recorded can be answered from: the amounts that decide it, and what is said of those at fault.

What answers need is known further up; a `Check` asks there before a write comes into force.
"""

import json
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import TypeAlias

from crosspin.catalog.catalog import Catalog
from crosspin.figures.exact import canonical, spell
from crosspin.model.drafts import Problem
from crosspin.model.schema import Model

MOST_NAMED = 20
"""Most parts named as at fault."""

_ZEROS = 12  # of a price in cents, at most, that are counted


@dataclass(frozen=True, slots=True)
class Unusable:
    """Why there would be no answers: what is `wrong` with a part of a source and how to `mend` it; without a `part`,
    with all that is recorded.  `column` says what of the part is at fault."""

    wrong: str
    mend: str
    source: str = ""
    part: str = ""
    column: str = ""

    def problem(self, places: Mapping[str, str]) -> Problem:
        """The problem to report; `places` leads from a part to where the import has its price."""
        place = f"{self.source}, part {self.part}, {self.column}" if self.part else self.source or "the catalog"
        return Problem(places.get(self.part, place) if self.column == "price" else place, self.wrong, self.mend)


Check: TypeAlias = Callable[[Model, Catalog], tuple[Unusable, ...]]


def problems_of(faults: Collection[Unusable], source: str, places: Mapping[str, str]) -> list[Problem]:
    """What to report of an import of a source: what that source is at fault for, or else, why it does not go together
    with what is recorded."""
    own = [fault for fault in faults if fault.source == source]
    if own:
        return [fault.problem(places) for fault in own]
    together = Problem(
        source,
        "with it, the cost of a plan has no room: some prices are very high, and some have decimals",
        "Check the decimal points, or round all prices alike",
    )
    return [together, *(fault.problem({}) for fault in faults)]


def price_decimals(catalog: Catalog) -> int:
    """How many decimals hold every price exactly; below zero where all are whole tens, hundreds and so on."""
    zeros = 0
    while zeros < _ZEROS and not _one(catalog, f"SELECT 1 FROM part WHERE cents % {10 ** (zeros + 1)} <> 0 LIMIT 1"):
        zeros += 1
    return 2 - zeros


def dear_parts(catalog: Catalog, kinds: Collection[str], above: Decimal) -> list[tuple[str, str, Decimal]]:
    """The parts of some kinds that cost more than a bound, with source and price, the dearest first."""
    rows = catalog.base.execute(
        "SELECT source.name, part.id, cents FROM part JOIN class USING (class) JOIN source USING (source)"
        " WHERE class.kind IN (SELECT value FROM json_each(?)) AND cents > ? ORDER BY cents DESC, part.id LIMIT ?",
        (json.dumps(sorted(kinds)), int(above.scaleb(2)), MOST_NAMED),
    )
    return [(source, part, canonical(Decimal(cents).scaleb(-2))) for source, part, cents in rows]


def finest_readings(catalog: Catalog, feature_kind: str, dimension: str, decimals: int) -> list[tuple[str, str]]:
    """The parts, with their sources, that have a reading with more decimals than that."""
    found: list[tuple[str, str]] = []
    for spec in catalog.specs_of(feature_kind):
        values = [value for value in spec.values.get(dimension, ()) if isinstance(value, Decimal)]
        if any(len(spell(value).partition(".")[2]) > decimals for value in values):
            rows = catalog.base.execute(
                "SELECT DISTINCT source.name, part.id FROM part JOIN holding USING (class) JOIN source USING (source)"
                " WHERE holding.spec = ? ORDER BY part.id LIMIT ?",
                (spec.id, MOST_NAMED),
            )
            found += rows.fetchall()
    return found[:MOST_NAMED]


def _one(catalog: Catalog, query: str) -> bool:
    return catalog.base.execute(query).fetchone() is not None
