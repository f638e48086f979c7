"""The parts, specs and kits on record, as plain objects."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from crosspin.model.schema import Kit, Model, Part, Spec, Vehicle


@dataclass(frozen=True)
class Catalog:
    """Everything on record, each table keyed by id and sorted by it.

    `parts` holds orderable parts (with a price) and those that exist only in vehicles (without).
    """

    parts: Mapping[str, Part]
    specs: Mapping[str, Spec]
    kits: Mapping[str, Kit]
    vehicles: Mapping[str, Vehicle]
    _by_kind: dict[str, tuple[str, ...]] = field(default_factory=dict, compare=False, repr=False)

    def of_kind(self, model: Model, kind: str) -> tuple[str, ...]:
        """Ids of the orderable parts of this kind or a kind below it, sorted by id."""
        if kind not in self._by_kind:
            self._by_kind[kind] = tuple(
                part.id
                for part in self.parts.values()
                if part.price is not None and kind in model.kinds[part.kind].ancestors
            )
        return self._by_kind[kind]
