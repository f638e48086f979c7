"""The question: what the customer wants fitted, kept, removed and renewed."""

from collections.abc import Sequence
from decimal import Decimal

from pydantic import BaseModel, ConfigDict, Field

from crosspin.model.drafts import Problem


class _Closed(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class ReadingWish(_Closed):
    """A condition on one reading, in the dimension's own unit: `equals` a code or number, or between
    `least` and `most`."""

    feature: str
    dimension: str
    equals: str | None = None
    least: Decimal | None = Field(default=None, strict=False)
    most: Decimal | None = Field(default=None, strict=False)


class Fit(_Closed):
    """Fit something at every position that the pattern `at` names.

    Exactly one of: `part` (a part id), `kit` (a kit id: each of its parts goes to the positions under
    `at` whose role takes its kind), or a description by `kind` and `readings`.
    In a pattern, `*` stands for any run of characters: `front/*/caliper`, `rear/*`.
    """

    at: str
    part: str | None = None
    kit: str | None = None
    kind: str | None = None
    readings: tuple[ReadingWish, ...] = ()


class Ask(_Closed):
    """One question about one vehicle.

    `keep`, `remove` and `renew` are position patterns; what is renewed is replaced by a fresh part that is as good in
    everything that is on record of it.  With `in_stock_only` no part is proposed whose recorded
    stock is nought or not known, except where it is asked for by id.
    """

    vehicle: str
    fit: tuple[Fit, ...] = ()
    keep: tuple[str, ...] = ()
    remove: tuple[str, ...] = ()
    renew: tuple[str, ...] = ()
    in_stock_only: bool = False


class AskError(Exception):
    """The ask cannot be understood; `problems` lists everything that is wrong with it, in its own order."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        super().__init__("; ".join(f"{p.place}: {p.wrong}" for p in problems))
        self.problems = tuple(problems)
