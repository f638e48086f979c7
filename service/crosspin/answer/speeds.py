"""Tells speed tables: a formula gone through for every value of those of its inputs that have several."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from decimal import Decimal
from itertools import product

from crosspin.answer.figure_lines import SpeedRow, SpeedSeries, SpeedTableLine
from crosspin.answer.figure_words import FigureWords
from crosspin.figures.exact import spell
from crosspin.model.figure import FigureInput, Sense, Source, SpeedTable
from crosspin.model.schema import Value
from crosspin.vehicle.figuring import Figuring, Found, calculate, kept

_Rows = dict[Decimal, Decimal | None]


def speed_table(table: SpeedTable, before: Figuring, after: Figuring) -> SpeedTableLine | None:
    """A table for the vehicle as received and as planned; None where that has not the parts for it."""
    return _Speeds(before, after).line(table)


class _Speeds:
    def __init__(self, before: Figuring, after: Figuring) -> None:
        self.before = before
        self.after = after
        self.say = FigureWords(after.model)

    def line(self, table: SpeedTable) -> SpeedTableLine | None:
        before, after = self._found(table, self.before), self._found(table, self.after)
        if after is None:
            return None
        swept = [one for one in table.inputs if len(after[one.name].values) > 1]
        along = swept[-1] if swept else table.inputs[-1]
        was = {} if before is None else dict(self._series(table, self.before, before, along))
        now = dict(self._series(table, self.after, after, along))
        series = []
        for label in dict.fromkeys((*was, *now)):
            old, new = was.get(label, {}), now.get(label, {})
            rows = [SpeedRow(along=x, before=old.get(x), after=new.get(x)) for x in sorted({*old, *new})]
            series.append(SpeedSeries(label=label, rows=tuple(rows)))
        formula = self.after.model.formulas[table.formula]
        return SpeedTableLine(
            id=table.id,
            label=table.label,
            definition=table.definition,
            along_label=self.say.label(along.name, along.source),
            along_unit=self.say.unit_of(along.source),
            result_label=formula.label,
            result_unit=self.say.symbol(table.unit),
            formula=formula.expression,
            series=tuple(series),
            why_not=next((f"It is not known: {f.why_not}." for f in after.values() if not f.values), ""),
        )

    def _found(self, table: SpeedTable, figuring: Figuring) -> dict[str, Found] | None:
        """What every input gives, for the whole vehicle; None where no part could have one of them."""
        place = figuring.reach.whole_vehicle()
        found = {one.name: figuring.find(one.source, place) for one in table.inputs}
        known = {name: one for name, one in found.items() if one is not None}
        return known if len(known) == len(found) else None

    def _series(
        self, table: SpeedTable, figuring: Figuring, found: Mapping[str, Found], along: FigureInput
    ) -> Iterator[tuple[str, _Rows]]:
        """Label and rows of each line; none where an input is not known."""
        if any(not one.values for one in found.values()):
            return
        others = [one for one in table.inputs if one is not along]
        within = self._limits(table, figuring)
        for values in product(*(_downwards(one.source, found[one.name].values) for one in others)):
            taken = dict(zip((one.name for one in others), values, strict=True))
            rows: _Rows = {}
            for x in found[along.name].values:
                assert isinstance(x, Decimal), "a table runs along numbers"
                value, _ = calculate(table.formula, {**taken, along.name: x})
                rows[x] = kept(value, table.decimals) if value is not None and within(value) else None
            named = [one for one in others if len(found[one.name].values) > 1]
            yield ", ".join(self._named(one, taken[one.name]) for one in named), rows

    def _limits(self, table: SpeedTable, figuring: Figuring) -> Callable[[Decimal], bool]:
        """Whether a result is within those limits of the table that are known."""
        place = figuring.reach.whole_vehicle()
        bounds: list[tuple[Sense, Decimal]] = []
        for limit in table.limits:
            found = figuring.limit(limit, place)
            value = found.values[0] if found is not None and found.values else None
            if isinstance(value, Decimal):
                bounds.append((limit.sense, value))
        return lambda value: all(value <= bound if sense is Sense.MOST else value >= bound for sense, bound in bounds)

    def _named(self, one: FigureInput, value: Value) -> str:
        text = spell(value) if isinstance(value, Decimal) else value
        return f"{self.say.label(one.name, one.source)} {text}"


def _downwards(source: Source, values: Sequence[Value]) -> Sequence[Value]:
    """Readings from the largest down, so that first gear and low range come first; constants as they rise."""
    return (
        values
        if source.constants
        else sorted(values, key=lambda v: v if isinstance(v, Decimal) else Decimal(0), reverse=True)
    )
