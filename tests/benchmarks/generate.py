"""Makes catalogs of any size out of the ontology's vocabulary and a small catalog, for measuring and for tests.

    PYTHONPATH=tests python -m benchmarks.generate 100000 var/parts-100000

A real catalog has many sellers of few designs, so the catalog is built in three storeys:

designs    The first parts, as many as the smallest catalog has: parts of the small catalog, or such a part
           with every length larger or smaller in one ratio.  What goes together in the small catalog goes
           together within each such family too, and hardly ever across two.  Some lack a reading, or have one
           on which sources disagree.  No spec ever comes in after these: every size has the same specs.
signatures Then parts that put specs together which are there already: a part with one feature of another
           one is a bridge between their families; some have no reading at all at one feature.  Their number is
           bounded by `signatures`.
parts      Then the same again under other numbers, makes, prices and stocks.

Everything follows from the seed and nothing else; a larger catalog has the parts of a smaller one among its own.
"""

import argparse
import csv
import io
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from random import Random

from crosspin.catalog.catalog import Catalog
from crosspin.figures.exact import canonical, spell
from crosspin.model.schema import Datatype, Dimension, Model, Part, Spec, Value

SEED = 20_261
DESIGNS = 1_000
SIGNATURES = 10_000
LENGTH = "MilliM"
RATIOS = tuple(Decimal(100 + percent) / 100 for percent in (3, -3, 6, -6, 9))
DISPUTE = Decimal("1.03")
ROUNDED = Decimal("0.001")

Cells = Mapping[str, str]
"""The texts of one spec by dimension."""


@dataclass(frozen=True)
class Design:
    """What parts of one signature have in common.  `specs` by feature; `price` is what others vary around."""

    series: str
    price: Decimal | None
    lacks: tuple[str, ...]
    specs: Mapping[str, Cells]


@dataclass
class Heading:
    """The columns of one kind's file, and the unit of each."""

    model: Model
    kind: str
    columns: list[tuple[str, str]] = field(default_factory=list)

    def __post_init__(self) -> None:
        for feature in self.model.kinds[self.kind].features:
            feature_kind = self.model.feature_kinds[self.model.features[feature].feature_kind]
            self.columns += [(feature, dimension) for dimension in feature_kind.dimensions]

    def rows(self) -> list[list[str]]:
        """Names and units, as the import reads them."""
        units = [self.model.dimensions[dimension].unit for _, dimension in self.columns]
        names = [f"{feature}.{dimension}" for feature, dimension in self.columns]
        symbols = [self.model.units[unit].symbol if unit else "" for unit in units]
        return [["id", "label", "price", "stock", "lacks", *names], ["", "", "", "", "", *symbols]]

    def tail(self, design: Design) -> str:
        """The end of a row, from the lacking features on, as CSV text."""
        cells = [design.specs.get(feature, {}).get(dimension, "") for feature, dimension in self.columns]
        text = io.StringIO()
        csv.writer(text, lineterminator="\n").writerow(["|".join(design.lacks), *cells])
        return text.getvalue()


class Generator:
    """Makes parts like those of a small catalog."""

    def __init__(
        self,
        model: Model,
        seed_catalog: Catalog,
        seed: int = SEED,
        designs: int = DESIGNS,
        signatures: int = SIGNATURES,
    ) -> None:
        self._model = model
        self._catalog = seed_catalog
        self._seed = seed
        self._designs = designs
        self._signatures = max(signatures, designs)
        self._bases: dict[str, list[Part]] = {}
        for part in seed_catalog.parts.values():
            self._bases.setdefault(part.kind, []).append(part)

    def counts(self, size: int) -> dict[str, int]:
        """How many parts of each kind a catalog of that size has: `size` in all, and some of every kind."""
        wanted = {kind: len(bases) + 3 for kind, bases in sorted(self._bases.items())}
        total = sum(wanted.values())
        found = {kind: size * share // total for kind, share in wanted.items()}
        by_rest = sorted(wanted, key=lambda kind: (-(size * wanted[kind] % total), kind))
        for kind in by_rest[: size - sum(found.values())]:
            found[kind] += 1
        return found

    def write(self, size: int, folder: Path) -> int:
        """Write one CSV file for each kind, `size` parts in all, and return the number of bytes written."""
        folder.mkdir(parents=True, exist_ok=True)
        written = 0
        for kind, count in self.counts(size).items():
            heading = Heading(self._model, kind)
            path = folder / f"{kind}.csv"
            with path.open("w", newline="", encoding="utf-8") as file:
                csv.writer(file, lineterminator="\n").writerows(heading.rows())
                file.writelines(self._rows(heading, count))
            written += path.stat().st_size
        return written

    def _rows(self, heading: Heading, count: int) -> Iterator[str]:
        kind = heading.kind
        designs = self.designs(kind)
        tails = [heading.tail(design) for design in designs[:count]]
        label = self._model.kinds[kind].label
        stem = re.sub(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])", "-", kind).lower()
        random = Random(f"{self._seed} offers of {kind}")
        for number in range(count):
            place = number if number < len(tails) else random.randrange(len(tails))
            price = designs[place].price
            asked = "" if price is None else f"{price * random.randrange(70, 161) / 100:.2f}"
            kept = random.randrange(10)
            stock = "" if kept == 0 else "0" if kept < 3 else str(random.randrange(1, 41))
            make = f"make {random.randrange(1, 400)}"
            yield f'{stem}-{number:06},"{label}, series {designs[place].series}, {make}",{asked},{stock},{tails[place]}'

    def designs(self, kind: str) -> list[Design]:
        """Every signature that parts of a kind can have, those that bring new specs first."""
        random = Random(f"{self._seed} designs of {kind}")
        bases = self._bases[kind]
        found = [self._new(place, bases, random) for place in range(self.counts(self._designs)[kind])]
        known = [self._as_is(part, "0") for part in bases] + found
        while len(found) < self.counts(self._signatures)[kind]:
            found.append(_put_together(known, len(found), random))
        return found

    def _new(self, place: int, bases: list[Part], random: Random) -> Design:
        """A part of a family, perhaps with a gap or a dispute."""
        base = bases[place % len(bases)]
        family = (place + place // len(bases)) % len(RATIOS)
        design = self._resized(base, RATIOS[family], f"{family + 1}-{place % len(bases) + 1}")
        specs = dict(design.specs)
        feature = random.choice(sorted(specs)) if specs else ""
        luck = random.randrange(12)
        if feature and luck < 2:
            specs[feature] = self._gap(specs[feature], random) if luck else self._dispute(specs[feature])
        return Design(design.series, design.price, design.lacks, {f: cells for f, cells in specs.items() if cells})

    def _as_is(self, part: Part, series: str) -> Design:
        specs = {feature: self._cells(self._catalog.specs[spec].values) for feature, spec in part.specs.items()}
        return Design(series, part.price, part.lacks, specs)

    def _resized(self, part: Part, ratio: Decimal, series: str) -> Design:
        specs = {feature: self._resize(self._catalog.specs[spec], ratio) for feature, spec in part.specs.items()}
        return Design(series, part.price, part.lacks, specs)

    def _resize(self, spec: Spec, ratio: Decimal) -> Cells:
        """The spec with every length in another ratio; as it is where that would be beyond belief."""
        values: dict[str, tuple[Value, ...]] = {}
        for name, found in spec.values.items():
            dimension = self._model.dimensions[name]
            if dimension.unit != LENGTH or dimension.datatype is not Datatype.DECIMAL:
                values[name] = found
                continue
            if dimension.formula is not None and all(given in spec.values for given in dimension.derived_from):
                continue
            resized = tuple(canonical((Decimal(value) * ratio).quantize(ROUNDED)) for value in found)
            if not all(_credible(dimension, value) for value in resized):
                return self._cells(spec.values)
            values[name] = resized
        return self._cells(values)

    def _cells(self, values: Mapping[str, tuple[Value, ...]]) -> Cells:
        cells = {}
        for name, found in values.items():
            between = "|" if self._model.dimensions[name].many else ";"
            cells[name] = between.join(value if isinstance(value, str) else spell(value) for value in found)
        return cells

    def _gap(self, cells: Cells, random: Random) -> Cells:
        """The readings without one of them, and without what the import works out itself."""
        given = {name: text for name, text in cells.items() if self._model.dimensions[name].formula is None}
        if given:
            del given[random.choice(sorted(given))]
        return given

    def _dispute(self, cells: Cells) -> Cells:
        """The readings with two sources that disagree on a length, where there is one."""
        for name, text in sorted(cells.items()):
            dimension = self._model.dimensions[name]
            if dimension.unit == LENGTH and not dimension.many and ";" not in text:
                other = canonical((Decimal(text) * DISPUTE).quantize(ROUNDED))
                if _credible(dimension, other) and other != Decimal(text):
                    rest = {n: t for n, t in cells.items() if self._model.dimensions[n].formula is None}
                    return {**rest, name: f"{text};{spell(other)}"}
        return cells


def _credible(dimension: Dimension, value: Decimal) -> bool:
    return (dimension.least is None or value >= dimension.least) and (dimension.most is None or value <= dimension.most)


def _put_together(known: list[Design], place: int, random: Random) -> Design:
    """A part made of what is there: one as it is, a bridge between two, or one with nothing read at a feature."""
    one, other = random.choice(known), random.choice(known)
    specs, lacks = dict(one.specs), one.lacks
    shared = sorted(feature for feature in other.specs if feature not in lacks)
    if shared and random.randrange(3):
        feature = random.choice(shared)
        specs[feature] = other.specs[feature]
    elif specs and not random.randrange(4):
        del specs[random.choice(sorted(specs))]
    return Design(f"b-{place}", one.price, lacks, specs)


def main() -> None:
    """Write a catalog like the seed data into a folder."""
    from crosspin.catalog.library import Library
    from crosspin.home import data_folder

    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("size", type=int)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--designs", type=int, default=DESIGNS)
    parser.add_argument("--signatures", type=int, default=SIGNATURES)
    asked = parser.parse_args()
    library = Library(data_folder("ontology"))
    library.import_folder(data_folder("seed_data"))
    generator = Generator(library.holdings.model, library.holdings.catalog, asked.seed, asked.designs, asked.signatures)
    written = generator.write(asked.size, asked.folder)
    print(f"{asked.size} parts, {written / 1e6:.1f} MB in {asked.folder}")


if __name__ == "__main__":
    main()
