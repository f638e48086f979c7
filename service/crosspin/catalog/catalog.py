"""The parts, specs, kits and vehicles on record, read from a snapshot as they are asked for.

Parts that are of one kind, have the same specs and lack the same features are alike: nothing that judges a
part can tell them apart.  There are far fewer classes of parts alike than parts, so whoever searches goes
through the classes.
"""

import json
import sqlite3
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from pathlib import Path
from typing import Generic, TypeVar

from crosspin.figures.exact import canonical
from crosspin.model.schema import Kit, Model, Part, Spec, Value, Vehicle

Record = TypeVar("Record", Part, Spec, Kit, Vehicle)

MAPPED = 1 << 34
"""Most bytes of a snapshot that are mapped into memory, which all processes share."""

MOST_KEPT = 20_000
"""How many records of one table are kept as objects once they were read."""

_OF_SOURCE = "WHERE source = (SELECT source FROM source WHERE name = ?)"
_PART = "SELECT part.id, kind, label, price, stock, holds, lacks, gives, published FROM part JOIN class USING (class)"


class Table(Mapping[str, Record], Generic[Record]):
    """One table of a snapshot, by id and in the order of ids; a record is read when it is asked for."""

    def __init__(self, base: sqlite3.Connection, name: str, one: str, every: str, read: Callable[..., Record]) -> None:
        self._base = base
        self._name = name
        self._every = every
        self._one = one
        self._read: Callable[..., Record] = read
        self._get: Callable[[str], Record | None] = lru_cache(maxsize=MOST_KEPT)(self._fetch)

    def _fetch(self, key: str) -> Record | None:
        row = self._base.execute(self._one, (key,)).fetchone()
        return None if row is None else self._read(*row)

    def __getitem__(self, key: str) -> Record:
        found = self._get(key)
        if found is None:
            raise KeyError(key)
        return found

    def __contains__(self, key: object) -> bool:
        return isinstance(key, str) and self._get(key) is not None

    def __iter__(self) -> Iterator[str]:
        return (record.id for record in self._all())

    def __len__(self) -> int:
        return int(self._base.execute(f"SELECT count(*) FROM {self._name}").fetchone()[0])

    def _all(self) -> Iterator[Record]:
        return (self._read(*row) for row in self._base.execute(self._every))


@dataclass(frozen=True, slots=True)
class Offer:
    """A part that can be ordered; `price` in hundredths of the currency."""

    price: int
    part: str

    @property
    def money(self) -> Decimal:
        """The price in the currency itself."""
        return canonical(Decimal(self.price).scaleb(-2))


@dataclass(frozen=True, slots=True)
class PartClass:
    """The orderable parts that are alike: what can be seen of them, how many there are, and which one is the
    cheapest (then the lowest id) of all and of those known to lie on the shelf."""

    number: int
    kind: str
    specs: Mapping[str, str]
    lacks: tuple[str, ...]
    functions: tuple[str, ...]
    count: int
    cheapest: Offer
    on_shelf: Offer | None
    dearest: int
    unidentified: bool = False


@dataclass(frozen=True, slots=True)
class Listing:
    """Some of the parts that were asked for, by id, and how many there are in all."""

    parts: tuple[Part, ...]
    total: int


class Catalog:
    """Everything on record at one version.  Safe to share between threads; what is written meanwhile is not seen.

    `parts` holds orderable parts (with a price) and those that exist only in vehicles (without).
    """

    def __init__(self, base: sqlite3.Connection) -> None:
        self._base = base
        self.parts: Table[Part] = Table(base, "part", f"{_PART} WHERE part.id = ?", f"{_PART} ORDER BY id", _part)
        self.specs: Table[Spec] = Table(base, "spec", *_queries("spec", "id, feature_kind, readings"), _spec)
        self.kits: Table[Kit] = Table(base, "kit", *_queries("kit", "body"), Kit.model_validate_json)
        self.vehicles: Table[Vehicle] = Table(
            base, "vehicle", *_queries("vehicle", "body"), Vehicle.model_validate_json
        )
        self._classes: dict[str, tuple[PartClass, ...]] = {}
        self._seen: dict[str, dict[str, list[str]]] = {}
        self._given: dict[str, frozenset[str]] = {}
        self._stamps: dict[str, int] = {}
        self._offers = lru_cache(maxsize=MOST_KEPT)(self._fetch_offers)

    @classmethod
    def open(cls, path: Path, before: "Catalog | None" = None) -> "Catalog":
        """The catalog of a snapshot as it is now, whatever is written to it later; what has not changed since the
        one `before` is taken over from it."""
        base = _to_read(path)
        base.execute(f"PRAGMA mmap_size = {MAPPED}")
        catalog = cls(base)
        catalog._base.execute("BEGIN")  # held as long as the connection: every read sees what the first one saw
        catalog._stamps = dict(catalog._base.execute("SELECT kind, stamp FROM stamp"))
        if before is not None and before.said("state") == catalog.said("state"):
            stamps = before._stamps
            same = {kind for kind, stamp in catalog._stamps.items() if stamps.get(kind) == stamp}
            catalog._classes = {kind: found for kind, found in before._classes.items() if kind in same}
            catalog._seen = {kind: found for kind, found in before._seen.items() if kind in same}
            catalog._given = {kind: found for kind, found in before._given.items() if kind in same}
        return catalog

    @property
    def base(self) -> sqlite3.Connection:
        """The connection to read more from, at the same version."""
        return self._base

    def said(self, name: str) -> str:
        """What the snapshot says of itself under a name; "" where it says nothing."""
        row = self._base.execute("SELECT text FROM said WHERE name = ?", (name,)).fetchone()
        return "" if row is None else str(row[0])

    # ------------------------------------------------------------------ parts alike

    def classes(self, model: Model, kind: str) -> tuple[PartClass, ...]:
        """The classes of the orderable parts of this kind or a kind below it, by kind and number."""
        return tuple(found for below in model.kinds_below[kind] for found in self._of_one_kind(below))

    def _of_one_kind(self, kind: str) -> tuple[PartClass, ...]:
        if kind not in self._classes:
            rows = self._base.execute(
                "SELECT class, kind, holds, lacks, gives, orderable, cheapest, cheapest_part, shelf, shelf_part,"
                " dearest FROM class WHERE kind = ? AND orderable > 0 ORDER BY class",
                (kind,),
            )
            self._classes[kind] = tuple(_class(*row) for row in rows)
        return self._classes[kind]

    def class_of(self, part: str) -> int:
        """The number of the class of a part that is on record."""
        return int(self._base.execute("SELECT class FROM part WHERE id = ?", (part,)).fetchone()[0])

    def offers(self, classes: tuple[int, ...], most: int, in_stock_only: bool = False) -> tuple[Offer, ...]:
        """The cheapest orderable parts of some classes, by price and id."""
        return self._offers(classes, most, in_stock_only)

    def _fetch_offers(self, classes: tuple[int, ...], most: int, in_stock_only: bool) -> tuple[Offer, ...]:
        stocked = "AND stock > 0" if in_stock_only else ""
        rows: list[tuple[int, str]] = []
        for number in classes:
            rows += self._base.execute(
                f"SELECT cents, id FROM part WHERE class = ? AND cents IS NOT NULL {stocked}"
                " ORDER BY cents, id LIMIT ?",
                (number, most),
            )
        return tuple(Offer(*row) for row in sorted(rows)[:most])

    def offer_of(self, part: str) -> Offer:
        """An orderable part as an offer."""
        return Offer(*self._base.execute("SELECT cents, id FROM part WHERE id = ?", (part,)).fetchone())

    def alike(self, part: str, most: int) -> tuple[Part, ...]:
        """Other parts that are alike, orderable ones first, cheapest first, then by id."""
        rows = self._base.execute(
            f"{_PART} WHERE class = ? AND part.id <> ? ORDER BY price IS NULL, cents, part.id LIMIT ?",
            (self.class_of(part), part, most),
        )
        return tuple(_part(*row) for row in rows)

    def count(self, model: Model, kind: str) -> int:
        """How many orderable parts there are of this kind or a kind below it."""
        return sum(found.count for found in self.classes(model, kind))

    def held(self, model: Model, kind: str, feature: str) -> list[str]:
        """Ids, sorted, of the specs that parts of this kind, or a kind below it, have at a feature."""
        found: set[str] = set()
        for below in model.kinds_below[kind]:
            found.update(self._seen_of(below).get(feature, ()))
        return sorted(found)

    def given(self, model: Model, kind: str) -> frozenset[str]:
        """The functions that parts of this kind, or a kind below it, give by themselves, whatever their kinds give."""
        return frozenset(function for below in model.kinds_below[kind] for function in self._given_of(below))

    def _given_of(self, kind: str) -> frozenset[str]:
        if kind not in self._given:
            rows = self._base.execute("SELECT DISTINCT gives FROM class WHERE kind = ?", (kind,))
            self._given[kind] = frozenset(function for (gives,) in rows for function in json.loads(gives))
        return self._given[kind]

    def _seen_of(self, kind: str) -> dict[str, list[str]]:
        """The specs that parts of just this kind have, by feature."""
        if kind not in self._seen:
            seen: dict[str, list[str]] = {}
            for feature, spec in self._base.execute("SELECT feature, spec FROM seen WHERE kind = ?", (kind,)):
                seen.setdefault(feature, []).append(spec)
            self._seen[kind] = seen
        return self._seen[kind]

    # ------------------------------------------------------------------ sources

    def sources(self) -> dict[str, str]:
        """The digest of every source on record, by name."""
        return dict(self._base.execute("SELECT name, digest FROM source ORDER BY name"))

    def parts_of(self, source: str) -> Iterator[Part]:
        """The parts of one source, by id."""
        return (_part(*row) for row in self._base.execute(f"{_PART} {_OF_SOURCE} ORDER BY part.id", (source,)))

    def specs_in(self, source: str) -> Iterator[Spec]:
        """The specs that parts of one source have, by id."""
        rows = self._base.execute(
            "SELECT id, feature_kind, readings FROM spec WHERE id IN (SELECT spec FROM holding WHERE class IN"
            f" (SELECT class FROM part {_OF_SOURCE})) ORDER BY id",
            (source,),
        )
        return (_spec(*row) for row in rows)

    def kits_of(self, source: str) -> Iterator[Kit]:
        """The kits of one source, by id."""
        rows = self._base.execute(f"SELECT body FROM kit {_OF_SOURCE} ORDER BY id", (source,))
        return (Kit.model_validate_json(body) for (body,) in rows)

    def vehicles_of(self, source: str) -> Iterator[Vehicle]:
        """The vehicles of one source, by id."""
        rows = self._base.execute(f"SELECT body FROM vehicle {_OF_SOURCE} ORDER BY id", (source,))
        return (Vehicle.model_validate_json(body) for (body,) in rows)

    # ------------------------------------------------------------------ lists

    def having(self, specs: Collection[tuple[str, str]]) -> list[int]:
        """The classes that have one of these specs at its feature."""
        rows = self._base.execute(
            "SELECT DISTINCT class FROM holding WHERE (feature, spec) IN (SELECT json_extract(value, '$[0]'),"
            " json_extract(value, '$[1]') FROM json_each(?)) ORDER BY class",
            (json.dumps(sorted(specs)),),
        )
        return [number for (number,) in rows]

    def listing(
        self,
        kinds: Collection[str] | None = None,
        classes: Collection[int] | None = None,
        words: Sequence[str] = (),
        orderable: bool | None = None,
        in_stock: bool | None = None,
        after: str = "",
        limit: int = 50,
    ) -> Listing:
        """Parts of some kinds and classes whose id or label has all these words (in lower case), by id; the first
        ones behind `after`."""
        where = ["1"]
        values: list[str | int] = []
        for column, some in (("class.kind", kinds), ("part.class", classes)):
            if some is not None:
                where.append(f"{column} IN (SELECT value FROM json_each(?))")
                values.append(json.dumps(sorted(some)))
        for word in words:
            where.append("instr(folded, ?)")
            values.append(word)
        if orderable is not None:
            where.append("part.cents IS NOT NULL" if orderable else "part.cents IS NULL")
        if in_stock is not None:
            where.append("part.stock > 0" if in_stock else "coalesce(part.stock, 0) = 0")
        which = f"FROM part JOIN class USING (class) WHERE {' AND '.join(where)}"
        total = self._base.execute(f"SELECT count(*) {which}", values).fetchone()[0]
        rows = self._base.execute(
            f"SELECT part.id, kind, label, price, stock, holds, lacks, gives, published {which}"
            " AND part.id > ? ORDER BY part.id LIMIT ?",
            (*values, after, limit),
        )
        return Listing(tuple(_part(*row) for row in rows), int(total))

    def ids_near(self, name: str, most: int = 2000) -> list[str]:
        """Ids of parts that stand nearest to an id, whether or not it is on record, in their order."""
        before = self._base.execute("SELECT id FROM part WHERE id < ? ORDER BY id DESC LIMIT ?", (name, most // 2))
        behind = self._base.execute("SELECT id FROM part WHERE id >= ? ORDER BY id LIMIT ?", (name, most // 2))
        return sorted(found for (found,) in (*before, *behind))

    def matching(self, query: str, limit: int) -> list[str]:
        """Ids of parts that go with a full-text query, the orderable ones first, then by id."""
        rows = self._base.execute(
            "SELECT id FROM words JOIN part ON part.rank = words.rowid"
            " WHERE words MATCH ? ORDER BY words.rowid LIMIT ?",
            (query, limit),
        )
        return [name for (name,) in rows]

    def marks(self) -> list[tuple[str, str, str]]:
        """For every spec that some part has at some feature, the mark that stands for it in full-text queries."""
        rows = self._base.execute(
            "SELECT feature, spec, 'q' || mark FROM mark WHERE spec IN (SELECT spec FROM seen) ORDER BY feature, spec"
        )
        return rows.fetchall()

    def kits_with(self, parts: Collection[str]) -> list[Kit]:
        """The kits that contain any of these parts, by id."""
        rows = self._base.execute(
            "SELECT DISTINCT kit FROM kit_line WHERE part IN (SELECT value FROM json_each(?)) ORDER BY kit",
            (json.dumps(sorted(parts)),),
        )
        return [self.kits[kit] for (kit,) in rows]

    def specs_of(self, feature_kind: str) -> list[Spec]:
        """The specs of one kind of feature, by id."""
        rows = self._base.execute(
            "SELECT id, feature_kind, readings FROM spec WHERE feature_kind = ? ORDER BY id", (feature_kind,)
        )
        return [_spec(*row) for row in rows]


def _to_read(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True, check_same_thread=False, isolation_level=None)


class Changes:
    """Tells whether anything was put into a snapshot, by whatever process, since this was made; in microseconds."""

    def __init__(self, path: Path) -> None:
        # No transaction is ever begun here, so that each look sees what is there now.
        self._base = _to_read(path)
        self._before = self._count()

    def _count(self) -> int:
        return int(self._base.execute("PRAGMA data_version").fetchone()[0])

    @property
    def any(self) -> bool:
        """Whether there was a change."""
        return self._count() != self._before


def _queries(table: str, columns: str) -> tuple[str, str]:
    return f"SELECT {columns} FROM {table} WHERE id = ?", f"SELECT {columns} FROM {table} ORDER BY id"


def _class(
    number: int,
    kind: str,
    holds: str,
    lacks: str,
    gives: str,
    count: int,
    cheapest: int,
    part: str,
    shelf: int | None,
    shelf_part: str | None,
    dearest: int,
) -> PartClass:
    on_shelf = None if shelf is None or shelf_part is None else Offer(shelf, shelf_part)
    lacking, given = tuple(json.loads(lacks)), tuple(json.loads(gives))
    return PartClass(number, kind, json.loads(holds), lacking, given, count, Offer(cheapest, part), on_shelf, dearest)


def _part(
    name: str,
    kind: str,
    label: str,
    price: str | None,
    stock: int | None,
    holds: str,
    lacks: str,
    gives: str,
    published: str,
) -> Part:
    return Part(
        id=name,
        kind=kind,
        label=label,
        price=None if price is None else canonical(Decimal(price)),
        stock=stock,
        specs=json.loads(holds),
        lacks=tuple(json.loads(lacks)),
        functions=tuple(json.loads(gives)),
        published=json.loads(published),
    )


def _spec(name: str, feature_kind: str, readings: str) -> Spec:
    values: dict[str, tuple[Value, ...]] = {}
    for dimension, found in json.loads(readings).items():
        values[dimension] = tuple(value if isinstance(value, str) else Decimal(value[0]) for value in found)
    return Spec(id=name, feature_kind=feature_kind, values=values)
