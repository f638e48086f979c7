"""Why a function was neither lost nor gained in a plan."""

from collections.abc import Iterator

from crosspin.knockon.functions import counts_at, givers, place_of
from crosspin.model.judge import functions_of
from crosspin.model.schema import Function, Part
from crosspin.rules.trial import VEHICLE, Conditions, Place, Trial
from crosspin.vehicle.reach import Place as Where


class FunctionAsker(Conditions):
    """Tries the conditions of functions: one speaks where it is lost or gained."""

    def at_stake(self, function: Function) -> Iterator[Place]:
        """What became of a function at every place where some part could give it."""
        positions = self.layout.positions
        roles = {role for role in {p.role for p in positions} if function.id in givers(self.model, self.catalog, role)}
        received = (p for p in positions if function.id in functions_of(self.model, self._received(p.path)))
        could = [p for p in positions if p.role in roles]
        for where in dict.fromkeys(place_of(function, p) for p in (*could, *received)):
            trial = Trial("/".join(word for word in (where.station, where.side) if word) or VEHICLE)
            yield trial.done(self._moves(trial, function, where))

    def _received(self, path: str) -> Part | None:
        return self.standing.gone.get(path) if path in self.standing.changed else self.standing.parts[path]

    def _moves(self, trial: Trial, function: Function, where: Where) -> bool:
        """Whether the function is gained, where something new gives it, or else lost."""
        here = [p.path for p in self.layout.positions if counts_at(function, where, p)]
        old = {path: self._received(path) for path in here}
        gave = [path for path in here if function.id in functions_of(self.model, old[path])]
        gives = [path for path in here if function.id in functions_of(self.model, self.standing.parts[path])]
        comes = [path for path in gives if path in self.standing.fresh]
        goes = [path for path in gave if path in self.standing.changed]
        touched = sorted({*comes, *goes})
        if not trial.note("a part that gives it comes or goes", ", ".join(touched) or "neither", bool(touched)):
            return False
        if comes:
            could = [path for path in here if self._could_give(old[path], function)]
            return trial.note("nothing there gave it before, or could have", _parts(old, could), not could)
        return trial.note("nothing there gives it any more", _parts(self.standing.parts, gives), not gives)

    def _could_give(self, part: Part | None, function: Function) -> bool:
        """Whether a part gives the function, or could where nobody has looked at it: a narrower kind does."""
        if part is None or not part.unidentified:
            return function.id in functions_of(self.model, part)
        return any(function.id in self.model.kinds[kind].functions for kind in self.model.kinds_below[part.kind])


def _parts(parts: "dict[str, Part | None]", paths: list[str]) -> str:
    found = (f"{part.label} at {path}" for path in paths if (part := parts[path]) is not None)
    return ", ".join(found) or "nothing"
