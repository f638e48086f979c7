"""What stands at a position of a vehicle as it was received."""

from crosspin.catalog.catalog import Catalog
from crosspin.model.schema import Model, Part, Position, Vehicle


def stand_in(model: Model, position: Position) -> Part:
    """The part that nobody has looked at: of the role's kind, with no reading at all."""
    kind = model.roles[position.role].kind
    label = f"unseen {model.kinds[kind].label}"
    return Part(id=f"unseen:{position.path}", kind=kind, label=label, unidentified=True)


def received_part(model: Model, catalog: Catalog, vehicle: Vehicle, position: Position) -> Part | None:
    """The received part, its stand-in where nobody has looked, or None where nothing stands."""
    if position.path in vehicle.parts:
        return catalog.parts[vehicle.parts[position.path]]
    return stand_in(model, position) if position.path in vehicle.unseen else None
