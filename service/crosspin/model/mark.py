"""Where something stands on the drawing of a vehicle."""

from decimal import Decimal

from crosspin.model.base import Frozen


class Mark(Frozen):
    """A rectangle on the drawing of a vehicle in plan view, in the sheet's own units.

    For a role: how far its middle lies from that of its station, `across` outward where the role is sided,
    else to the right, and `along` towards the middle of the vehicle (towards the rear, at a station in the
    middle).  For a station: `across` and `along` place it on the sheet, its front up; roles without a mark
    of their own stand in a strip as wide as `wide`, `long` farther towards the middle.
    """

    across: Decimal
    along: Decimal
    wide: Decimal
    long: Decimal
