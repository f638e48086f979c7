"""The snapshot: everything on record, compiled for reading, in one SQLite file beside the graph.

It is derived from the graph and may be thrown away at any time.  One writer changes it in place, an import at
a time; readers, in whatever process, go on reading what was there when they opened it.
"""

import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path

from crosspin.catalog.catalog import Catalog
from crosspin.catalog.text_index import TextIndex
from crosspin.figures.exact import spell
from crosspin.model.schema import Kit, Part, Spec, Vehicle

SCHEMA = """
CREATE TABLE said (name TEXT PRIMARY KEY, text TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE spec (id TEXT PRIMARY KEY, feature_kind TEXT NOT NULL, readings TEXT NOT NULL) WITHOUT ROWID;
CREATE INDEX spec_of ON spec (feature_kind, id);
CREATE TABLE class (
    class INTEGER PRIMARY KEY, kind TEXT NOT NULL, holds TEXT NOT NULL, lacks TEXT NOT NULL,
    gives TEXT NOT NULL, orderable INTEGER NOT NULL DEFAULT 0,
    cheapest INTEGER, cheapest_part TEXT, shelf INTEGER, shelf_part TEXT,
    dearest INTEGER, UNIQUE (kind, holds, lacks, gives)
);
CREATE TABLE holding (
    class INTEGER NOT NULL, feature TEXT NOT NULL, spec TEXT NOT NULL, PRIMARY KEY (class, feature)
) WITHOUT ROWID;
CREATE INDEX holding_spec ON holding (feature, spec, class);
CREATE TABLE seen (
    kind TEXT NOT NULL, feature TEXT NOT NULL, spec TEXT NOT NULL, PRIMARY KEY (kind, feature, spec)
) WITHOUT ROWID;
CREATE TABLE part (
    id TEXT PRIMARY KEY, class INTEGER NOT NULL, source INTEGER NOT NULL, label TEXT NOT NULL,
    price TEXT, cents INTEGER, stock INTEGER, published TEXT NOT NULL, folded TEXT NOT NULL, rank INTEGER
) WITHOUT ROWID;
CREATE INDEX part_offer ON part (class, cents, id, stock);
CREATE INDEX part_source ON part (source);
CREATE INDEX part_order ON part ((cents IS NULL), id, rank);
CREATE UNIQUE INDEX part_rank ON part (rank) WHERE rank IS NOT NULL;
CREATE TABLE kit (id TEXT PRIMARY KEY, source INTEGER NOT NULL, body TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE kit_line (part TEXT NOT NULL, kit TEXT NOT NULL, PRIMARY KEY (part, kit)) WITHOUT ROWID;
CREATE TABLE vehicle (id TEXT PRIMARY KEY, source INTEGER NOT NULL, body TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE placed (part TEXT NOT NULL, vehicle TEXT NOT NULL, path TEXT NOT NULL, PRIMARY KEY (vehicle, path))
    WITHOUT ROWID;
CREATE INDEX placed_part ON placed (part);
CREATE TABLE source (source INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE, digest TEXT NOT NULL);
CREATE TABLE stamp (kind TEXT PRIMARY KEY, stamp INTEGER NOT NULL) WITHOUT ROWID;
CREATE TABLE mark (mark INTEGER PRIMARY KEY, feature TEXT NOT NULL, spec TEXT NOT NULL, UNIQUE (feature, spec));
CREATE VIRTUAL TABLE words USING fts5 (
    name, kind, marks, content = '', prefix = '1 2 3', tokenize = "unicode61 tokenchars './'"
);
"""

_TICK = "tick"  # how often it was written, in what it says of itself

TURN = 600.0
"""Seconds to wait for another writer."""

CACHE = 256 * 1024
"""Most kibibytes of the file that a writer keeps in memory."""

MOST_REMEMBERED = 200_000
"""Classes and specs that a writer knows by heart."""

_SUM_UP = """
UPDATE class SET
    orderable = (SELECT count(*) FROM part WHERE class = :class AND cents IS NOT NULL),
    (cheapest, cheapest_part) = (
        SELECT cents, id FROM part WHERE class = :class AND cents IS NOT NULL ORDER BY cents, id LIMIT 1
    ),
    (shelf, shelf_part) = (
        SELECT cents, id FROM part WHERE class = :class AND cents IS NOT NULL AND stock > 0 ORDER BY cents, id LIMIT 1
    ),
    dearest = (SELECT max(cents) FROM part WHERE class = :class)
WHERE class = :class"""

_SEE = """
INSERT INTO seen SELECT DISTINCT kind, feature, spec FROM class JOIN holding USING (class) WHERE kind = ?"""


class Taken(ValueError):
    """An id, `name`, that is on record already."""

    def __init__(self, name: str) -> None:
        super().__init__(name)
        self.name = name


@dataclass
class _Touched:
    """What an import has changed so far."""

    sources: set[int] = field(default_factory=set)
    classes: set[int] = field(default_factory=set)
    kinds: set[str] = field(default_factory=set)


class Snapshot:
    """The snapshot file, to be written.  Writers of all processes take turns."""

    def __init__(self, path: Path, words_of_kinds: Mapping[str, str]) -> None:
        """`words_of_kinds` says in which words somebody may look for a kind."""
        self.path = path
        self._words = words_of_kinds
        with self._connection() as base:
            base.execute("PRAGMA journal_mode = WAL")

    @contextmanager
    def _connection(self) -> Iterator[sqlite3.Connection]:
        base = sqlite3.connect(self.path, isolation_level=None, timeout=TURN)
        try:
            yield base
        finally:
            base.close()

    @contextmanager
    def writing(self) -> Iterator["Writer"]:
        """All that is written while the context lasts comes into force at its end, or none of it."""
        with self._connection() as base:
            base.execute("PRAGMA synchronous = FULL")
            base.execute(f"PRAGMA cache_size = -{CACHE}")
            base.execute("BEGIN IMMEDIATE")
            try:
                yield Writer(base, self._words)
                base.execute("COMMIT")
            except BaseException:
                base.execute("ROLLBACK")
                raise


class Writer:
    """Puts one import after another on record; see `Snapshot.writing`."""

    def __init__(self, base: sqlite3.Connection, words_of_kinds: Mapping[str, str]) -> None:
        self.catalog = Catalog(base)
        self._base = base
        self._text = TextIndex(base, words_of_kinds)
        self._source = 0
        self._touched = _Touched()
        self._classes: dict[tuple[str, str, str, str], int] = {}
        self._specs: set[str] = set()
        empty = not base.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
        self._tick = 1 if empty else int(self.catalog.said(_TICK) or 0) + 1
        if empty:
            self.clear()

    def clear(self) -> None:
        """Make it empty, whatever it held and however that was laid out."""
        for (name,) in self._base.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall():
            if not name.startswith(("words_", "sqlite_")):
                self._base.execute(f"DROP TABLE {name}")
        for statement in SCHEMA.split(";"):
            self._base.execute(statement)

    def say(self, name: str, text: str) -> None:
        """Have the snapshot say something of itself."""
        self._base.execute("INSERT OR REPLACE INTO said VALUES (?, ?)", (name, text))

    # ------------------------------------------------------------------ one source

    def begin(self, source: str, digest: str) -> None:
        """Begin a source, in place of whatever it held."""
        self.drop(source)
        cursor = self._base.execute("INSERT INTO source (name, digest) VALUES (?, ?)", (source, digest))
        self._source = int(cursor.lastrowid or 0)
        self._touched.sources.add(self._source)

    def drop(self, source: str) -> None:
        """Forget a source and all that it holds."""
        row = self._base.execute("SELECT source FROM source WHERE name = ?", (source,)).fetchone()
        if row is None:
            return
        gone = self._base.execute("SELECT DISTINCT class FROM part WHERE source = ?", row).fetchall()
        self._touched.classes.update(number for (number,) in gone)
        self._text.take_out(row[0])
        self._base.execute("DELETE FROM kit_line WHERE kit IN (SELECT id FROM kit WHERE source = ?)", row)
        self._base.execute("DELETE FROM placed WHERE vehicle IN (SELECT id FROM vehicle WHERE source = ?)", row)
        for table in ("part", "kit", "vehicle", "source"):
            self._base.execute(f"DELETE FROM {table} WHERE source = ?", row)

    def put_spec(self, spec: Spec) -> None:
        """Put a spec on record, if it is not there yet."""
        if spec.id in self._specs:
            return
        if len(self._specs) > MOST_REMEMBERED:
            self._specs.clear()
        self._specs.add(spec.id)
        readings = {
            name: [value if isinstance(value, str) else [spell(value)] for value in values]
            for name, values in sorted(spec.values.items())
        }
        self._base.execute(
            "INSERT OR IGNORE INTO spec VALUES (?, ?, ?)", (spec.id, spec.feature_kind, json.dumps(readings))
        )

    def put_part(self, part: Part) -> None:
        """Put a part on record, whose specs are there already; raises Taken where its id is."""
        number = self._class(part)
        self._touched.classes.add(number)
        cents = None if part.price is None else int(part.price.scaleb(2))
        if cents is not None and part.price != Decimal(cents).scaleb(-2):
            raise ValueError(f"the price of {part.id} has more than two decimals")
        price = None if part.price is None else spell(part.price)
        folded = f"{part.id} {part.label}".casefold()
        published = json.dumps(part.published) if part.published else "{}"
        values = (part.id, number, self._source, part.label, price, cents, part.stock, published, folded)
        self._insert("INSERT INTO part VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, NULL)", values)

    def put_kit(self, kit: Kit) -> None:
        """Put a kit on record; raises Taken where its id is."""
        self._insert("INSERT INTO kit VALUES (?, ?, ?)", (kit.id, self._source, kit.model_dump_json()))
        lines = {(line.part, kit.id) for line in kit.lines}
        self._base.executemany("INSERT INTO kit_line VALUES (?, ?)", sorted(lines))

    def put_vehicle(self, vehicle: Vehicle) -> None:
        """Put a vehicle on record; raises Taken where its id is."""
        body = vehicle.model_dump_json()
        self._insert("INSERT INTO vehicle VALUES (?, ?, ?)", (vehicle.id, self._source, body))
        placed = [(part, vehicle.id, path) for path, part in sorted(vehicle.parts.items())]
        self._base.executemany("INSERT INTO placed VALUES (?, ?, ?)", placed)

    def _insert(self, statement: str, values: tuple[str | int | None, ...]) -> None:
        try:
            self._base.execute(statement, values)
        except sqlite3.IntegrityError:
            raise Taken(str(values[0])) from None

    def _class(self, part: Part) -> int:
        held, lacking, given = dict(sorted(part.specs.items())), sorted(part.lacks), sorted(part.functions)
        key = part.kind, json.dumps(held), json.dumps(lacking), json.dumps(given)
        number = self._classes.get(key)
        if number is None:
            if len(self._classes) > MOST_REMEMBERED:
                self._classes.clear()
            number = self._classes[key] = self._class_on_record(key, part)
        return number

    def _class_on_record(self, key: tuple[str, str, str, str], part: Part) -> int:
        which = "(kind, holds, lacks, gives) = (?, ?, ?, ?)"
        row = self._base.execute(f"SELECT class FROM class WHERE {which}", key).fetchone()
        if row is not None:
            return int(row[0])
        made = self._base.execute("INSERT INTO class (kind, holds, lacks, gives) VALUES (?, ?, ?, ?)", key).lastrowid
        number = int(made or 0)
        held = sorted(part.specs.items())
        self._base.executemany("INSERT INTO holding VALUES (?, ?, ?)", [(number, f, s) for f, s in held])
        self._base.executemany("INSERT OR IGNORE INTO mark (feature, spec) VALUES (?, ?)", held)
        return number

    def kind_of(self, part: str) -> str | None:
        """The kind of a part; None where it is not on record."""
        row = self._base.execute("SELECT kind FROM part JOIN class USING (class) WHERE id = ?", (part,)).fetchone()
        return None if row is None else str(row[0])

    # ------------------------------------------------------------------ what follows

    def loose_ends(self) -> list[tuple[str, str, str]]:
        """Where a part is named that is not on record: in a "kit" or "vehicle", its id, and the part."""
        loose = "part NOT IN (SELECT id FROM part)"
        kits = self._base.execute(f"SELECT 'kit', kit, part FROM kit_line WHERE {loose} ORDER BY kit, part")
        there = "SELECT 'vehicle', vehicle || ', ' || path, part FROM placed"
        return [*kits, *self._base.execute(f"{there} WHERE {loose} ORDER BY vehicle, path")]

    def settle(self) -> None:
        """Bring everything up to date that follows from the records; to be called when all are written."""
        touched = self._touched
        for number in sorted(touched.classes):
            row = self._base.execute("SELECT kind FROM class WHERE class = ?", (number,)).fetchone()
            touched.kinds.update(row)
            self._base.execute(_SUM_UP, {"class": number})
        gone = [(number,) for number in sorted(touched.classes) if not self._has_parts(number)]
        for table in ("class", "holding"):
            self._base.executemany(f"DELETE FROM {table} WHERE class = ?", gone)
        for kind in sorted(touched.kinds):
            self._base.execute("DELETE FROM seen WHERE kind = ?", (kind,))
            self._base.execute(_SEE, (kind,))
            self._base.execute("INSERT OR REPLACE INTO stamp VALUES (?, ?)", (kind, self._tick))
        self.say(_TICK, str(self._tick))
        if gone:
            self._base.execute("DELETE FROM spec WHERE id NOT IN (SELECT spec FROM seen)")
        self._text.put_in(touched.sources)
        self._touched = _Touched()
        self._classes.clear()
        self._specs.clear()

    def _has_parts(self, number: int) -> bool:
        return self._base.execute("SELECT 1 FROM part WHERE class = ? LIMIT 1", (number,)).fetchone() is not None


def in_memory(
    parts: Iterable[Part], specs: Iterable[Spec], kits: Iterable[Kit] = (), vehicles: Iterable[Vehicle] = ()
) -> Catalog:
    """A catalog of these records and nothing else."""
    writer = Writer(sqlite3.connect(":memory:", check_same_thread=False, isolation_level=None), {})
    writer.begin("memory", "")
    for spec in specs:
        writer.put_spec(spec)
    for part in parts:
        writer.put_part(part)
    for kit in kits:
        writer.put_kit(kit)
    for vehicle in vehicles:
        writer.put_vehicle(vehicle)
    writer.settle()
    return writer.catalog
