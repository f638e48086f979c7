"""A vehicle as it was received, and what every plan says of it where nothing changes."""

from crosspin.answer.arrangement import Arrangement
from crosspin.answer.figure_lines import FigureLine, SpeedTableLine
from crosspin.answer.figure_teller import FigureTeller
from crosspin.answer.fit import line
from crosspin.answer.plan import Action, Step
from crosspin.answer.speeds import speed_table
from crosspin.catalog.catalog import Catalog
from crosspin.model.figure import Figure, SpeedTable
from crosspin.model.schema import Model, Part, Vehicle
from crosspin.vehicle.access import Access
from crosspin.vehicle.figuring import Figuring
from crosspin.vehicle.reach import Place
from crosspin.vehicle.received import received_part


class AsReceived:
    """One vehicle as it came.  Threads may share it; at worst two of them work the same line out.

    Lines are kept as they are asked for: at most one for each position, for each figure at each of its places, and
    for each table.
    """

    def __init__(self, model: Model, catalog: Catalog, vehicle: Vehicle, arrangement: Arrangement) -> None:
        self.arrangement = arrangement
        self.reach = arrangement.reach
        self.parts: dict[str, Part | None] = {
            path: received_part(model, catalog, vehicle, position) for path, position in arrangement.positions.items()
        }
        self.access = Access(arrangement.places, self.parts)
        self.figuring = Figuring(self.reach, catalog, self.parts)
        self.teller = FigureTeller(self.figuring)
        self._steps: dict[str, Step | None] = {}
        self._figures: dict[tuple[str, Place], FigureLine | None] = {}
        self._tables: dict[str, SpeedTableLine | None] = {}

    def step(self, path: str) -> Step | None:
        """The line of a position that stays, unasked and with nothing to be noted; None where nothing stands."""
        if path not in self._steps:
            self._steps[path] = self._step(path)
        return self._steps[path]

    def _step(self, path: str) -> Step | None:
        part = self.parts[path]
        if part is None:
            return None
        return Step(
            position=path, action=Action.KEEP, part=line(part), instead_of=None, asked=False, forced=False, reasons=()
        )

    def figure(self, figure: Figure, place: Place) -> FigureLine | None:
        """The line of a figure that no change can reach; None where it has no meaning."""
        key = (figure.id, place)
        if key not in self._figures:
            result = self.figuring.result(figure, place)
            self._figures[key] = None if result is None else self.teller.line(figure, place, result, moved=False)
        return self._figures[key]

    def table(self, table: SpeedTable) -> SpeedTableLine | None:
        """A speed table that no change can reach; None where there are no parts for it."""
        if table.id not in self._tables:
            self._tables[table.id] = speed_table(table, self.figuring, self.figuring)
        return self._tables[table.id]
