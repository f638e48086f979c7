"""Functions: what parts let the driver do, and where it counts.

A function counts at a place: at one station and, where a sided part gave it, on one side; or once for the vehicle.
A part that nobody has looked at gives what its kind surely gives; what more it gave is not known and so not counted.
"""

from collections.abc import Collection

from crosspin.catalog.catalog import Catalog
from crosspin.model.schema import Function, Model, Position, Scope
from crosspin.vehicle.reach import Place

_VEHICLE = Place("")


def place_of(function: Function, position: Position) -> Place:
    """Where a function counts that is given at a position."""
    return _VEHICLE if function.scope is Scope.WHOLE_VEHICLE else Place(position.station, position.side)


def counts_at(function: Function, place: Place, position: Position) -> bool:
    """Whether what is given at a position counts at a place."""
    here = place_of(function, position)
    return here.station == place.station and (None in (place.side, here.side) or place.side == here.side)


def givers(model: Model, catalog: Catalog, role: str) -> frozenset[str]:
    """The functions that some part for a role could give, on sale or not."""
    kind = model.roles[role].kind
    of_kinds = (model.kinds[below].functions for below in model.kinds_below[kind])
    return catalog.given(model, kind).union(*of_kinds)


def most_lost(model: Model, catalog: Catalog, positions: Collection[Position]) -> int:
    """At how many places functions count, all together: the most that a plan can lose."""
    could = {role: givers(model, catalog, role) for role in {p.role for p in positions}}
    return len({(f, place_of(model.functions[f], p)) for p in positions for f in could[p.role]})
