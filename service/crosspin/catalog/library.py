"""What is on record and where it came from: the graph, the model and the catalog, and imports into them."""

import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Lock
from time import perf_counter
from typing import TypeVar

from crosspin import __version__
from crosspin.catalog.catalog import Catalog, Changes
from crosspin.catalog.intake import TakenIn, take_in
from crosspin.catalog.reading import data_digest, folder_drafts, media_type_of, text_digest, text_drafts
from crosspin.catalog.snapshot import SCHEMA, Snapshot, Writer
from crosspin.catalog.usable import Check, problems_of
from crosspin.model.drafts import Drafts, Problem, Refused
from crosspin.model.read import read_model
from crosspin.model.reader import BrokenOntology
from crosspin.model.records import Records, record_triples, source_digests, source_triples
from crosspin.model.schema import Model
from crosspin.model.terms import term, thing
from crosspin.store.digest import digest_of
from crosspin.store.graph import DERIVED, ONTOLOGY, SUFFIXES, GraphStore, folder_digest
from crosspin.store.migrate import migrate
from crosspin.store.packs import BrokenPack, Pack, Reading, languages, read_packs
from crosspin.store.versions import GraphVersions

Counted = TypeVar("Counted")

SOURCES = thing("source", "")
LEDGER = thing("ledger", "sources")
PACK_DATA = "/packs/"  # before the name of a pack whose data is on record
OVERTAKEN = Problem(
    "the store",
    "another program has put it under another ontology or other packs",
    "Start this one again, with the packs of that one",
)
TOLD_EVERY = 50_000
"""After how many parts an import says again how far it is."""

_CATALOG = "catalog.sqlite"
_MODEL = "model/"  # before a language, in what the snapshot says of itself
_ONTOLOGY = "ontology"  # what it calls the text of the ontology and what is derived from it


@dataclass(frozen=True, slots=True)
class Imported:
    """What one import put on record."""

    source: str
    parts: int
    kits: int
    vehicles: int


@dataclass(frozen=True)
class Holdings:
    """The graph, the models and the catalog at one version; never changed, only replaced."""

    version: str
    models: dict[str, Model]
    """By language, English first."""
    catalog: Catalog
    graph: GraphStore

    @property
    def model(self) -> Model:
        """The model in English."""
        return self.models["en"]

    @property
    def ontology(self) -> str:
        """What tells one state of the ontology and its packs from another."""
        return self.catalog.said("state")

    def ontology_graph(self) -> GraphStore:
        """The ontology and what is derived from it by themselves, in memory: quick to read however large the graph
        is.  It is made each time."""
        return GraphStore.of_text(self.catalog.said(_ONTOLOGY))


class Library:
    """The graph with what is compiled from it.  One writer at a time, of whatever process; readers keep the
    `Holdings` they took, until they catch up."""

    def __init__(self, ontology: Path, folder: Path | None = None, packs: Sequence[Path] = ()) -> None:
        """Open what is kept in `folder`, or a library that is gone when it is closed, under the ontology (layouts
        and shop settings included) with these packs laid upon it.

        Raises BrokenText (BrokenPack, where packs do not go together) or BrokenOntology where these cannot be
        read.
        """
        self.timings: dict[str, float] = {}
        self.progress: Callable[[int, str], None] = lambda *_: None
        """Told during an import how many parts have been "read", and later "written"."""
        self.check: Check = lambda *_: ()
        """Asked what would be wrong with what is about to come into force; what it names is refused."""
        self.folders = (ontology, *packs)
        if folder is None:
            self._temporary = TemporaryDirectory(prefix="crosspin-")  # goes with us
            folder = Path(self._temporary.name)
        self.folder = folder.resolve()
        self.folder.mkdir(parents=True, exist_ok=True)
        self._versions = GraphVersions(self.folder)
        self._looking = Lock()
        self._state = self._state_now()
        started = perf_counter()
        if self.catch_up():
            self._time("open the snapshot", started)
        else:
            self._reread(lambda *_: ())  # what is recorded has to be opened, for it to be put right

    # ------------------------------------------------------------------ reading

    @property
    def model(self) -> Model:
        """The model in English."""
        return self.holdings.model

    @property
    def graph(self) -> GraphStore:
        """The graph as it is now; only to be read."""
        return self.holdings.graph

    @cached_property
    def _reading(self) -> Reading:
        return read_packs(self.folders[0], self.folders[1:])

    @property
    def packs(self) -> tuple[Pack, ...]:
        """The packs that are laid upon the ontology."""
        return self._reading.packs if len(self.folders) > 1 else ()

    @property
    def languages(self) -> tuple[str, ...]:
        """The languages that the ontology has words in, English first."""
        return tuple(self.holdings.models)

    def sources(self) -> list[str]:
        """The names of the sources on record."""
        return list(self.holdings.catalog.sources())

    def _state_now(self) -> str:
        """What a snapshot must be made from to be ours."""
        return digest_of([__version__, SCHEMA, _ONTOLOGY, *map(folder_digest, self.folders)])

    @property
    def behind(self) -> bool:
        """Whether something was put on record, by whatever process, since what there is was last taken up."""
        return self._changes.any

    def catch_up(self) -> bool:
        """Take up what is on record now; False where there is nothing, or it was made from another ontology."""
        with self._looking:
            found = self._look()
            if found is not None:
                self.holdings = found
        return found is not None

    def _look(self) -> Holdings | None:
        """What the snapshot has; None where there is none, or one that was made from something else."""
        path = self.folder / _CATALOG
        if not path.is_file():
            return None
        before = self.__dict__.get("holdings")
        try:
            changes = Changes(path)  # first, so that nothing is missed that is written meanwhile
            catalog = Catalog.open(path, before.catalog if before is not None else None)
        except sqlite3.OperationalError:
            raise  # it may be sound, but cannot be reached now
        except sqlite3.DatabaseError:
            for spoilt in self.folder.glob(f"{_CATALOG}*"):
                spoilt.unlink()  # it is made again from the graph
            return None
        if not self._is_ours(catalog.said("state")):
            return None
        try:
            graph = self._versions.open(catalog.said("graph"))
        except FileNotFoundError:
            if changes.any:  # others have written so much meanwhile that it is gone already
                return self._look()
            raise
        version = catalog.said("version")
        if before is not None and before.catalog.said("state") == catalog.said("state"):
            models = {name: model.model_copy(update={"version": version}) for name, model in before.models.items()}
        else:
            names = catalog.said("models").split()
            read = {name: Model.model_validate_json(catalog.said(_MODEL + name)) for name in names}
            models = {name: model.model_copy(update={"version": version}) for name, model in read.items()}
        self._changes = changes
        return Holdings(version, models, catalog, graph)

    def _is_ours(self, state: str) -> bool:
        """Whether a snapshot was made from our ontology, as it was read or as it stands in its folders now."""
        if state != self._state and state == self._state_now():
            self._state = state  # another process has read it again
            self.__dict__.pop("_reading", None)
        return state == self._state

    # ------------------------------------------------------------------ writing

    @contextmanager
    def _writing(self, words: Model | None = None) -> Iterator[tuple[Writer, GraphStore]]:
        """Everything on record, to be changed; it comes into force as a whole when the context ends well."""
        model = words or self.holdings.model
        with Snapshot(self.folder / _CATALOG, _words_of_kinds(model)).writing() as writer:
            last = writer.catalog.said("graph") or self._versions.latest()
            with self._versions.following(last) as (name, graph):
                yield writer, graph
                sources = writer.catalog.sources()
                graph.replace(LEDGER, source_triples(sources))
                writer.say("version", version_of(writer.catalog.said("state"), sources))
                writer.say("graph", name)
        self._versions.forget_before(name)
        self.catch_up()

    def reread(self) -> None:
        """Read the ontology and its packs again from their folders, all or nothing, and compile all anew.

        Raises BrokenText, BrokenOntology or Refused; nothing has changed then.
        """
        self._reread(self.check)

    def _reread(self, check: Check) -> None:
        state = self._state_now()
        started = perf_counter()
        reading = read_packs(self.folders[0], self.folders[1:])
        if reading.faults:
            raise BrokenPack(reading.faults)
        fresh = GraphStore()
        fresh.replace(ONTOLOGY, reading.quads)
        self._time("read the ontology", started)
        started = perf_counter()
        fresh.derive_layouts()
        self._time("derive positions and joints", started)
        started = perf_counter()
        facts = fresh.facts([ONTOLOGY, DERIVED])
        models = {name: read_model(facts, "", name) for name in languages(facts)}
        self._time("compile the model", started)
        started = perf_counter()
        model = models["en"]
        with self._writing(model) as (writer, graph):
            sources = source_digests(graph.facts([LEDGER]))
            writer.clear()
            writer.say("state", state)
            writer.say("models", " ".join(models))
            for name, translated in models.items():
                writer.say(_MODEL + name, translated.model_dump_json())
            writer.say(_ONTOLOGY, fresh.text())
            graph.take_over((ONTOLOGY, DERIVED), fresh)
            self._put_back(writer, graph, model, sources)
            for pack in reading.packs:
                if pack.data is not None and sources:  # else there is nothing yet that it could refer to
                    self._write(writer, graph, model, *folder_drafts(pack.data, PACK_DATA + pack.name, model, graph))
            faults = check(model, Catalog(writer.catalog.base))
            if faults:
                raise Refused([fault.problem({}) for fault in faults])
            self._state = state
        self._reading = reading
        self._time("compile the catalog", started)

    def _put_back(self, writer: Writer, graph: GraphStore, model: Model, digests: dict[str, str]) -> None:
        """Fill the snapshot with what the graph has on record."""
        for name in graph.graphs(SOURCES):
            source = name.removeprefix(SOURCES)
            if source.startswith(PACK_DATA):
                graph.remove(name)  # taken in again where the pack is still there
                continue
            migrate(graph, name, [term(word) for word in model.deprecated])
            records = Records(graph, name, model)
            writer.begin(source, digests.get(source, ""))
            try:
                for spec in records.specs():
                    writer.put_spec(spec)
                for part in records.parts():
                    writer.put_part(part)
            except KeyError as error:
                raise BrokenOntology(
                    f"something on record is described by {error}, which the ontology has no longer;"
                    " lay the pack that defines it upon the ontology, as before"
                ) from error
            for kit in records.kits():
                writer.put_kit(kit)
            for vehicle in records.vehicles():
                writer.put_vehicle(vehicle)
        writer.settle()

    def _time(self, stage: str, started: float) -> None:
        self.timings[stage] = perf_counter() - started

    # ------------------------------------------------------------------ imports

    def take_in_data(self) -> None:
        """Put the data of the packs on record that are new; raises Refused where it cannot be taken."""
        for pack in self.packs:
            if pack.data is not None and PACK_DATA + pack.name not in self.sources():
                self.import_folder(pack.data, PACK_DATA + pack.name)

    def import_path(self, path: Path, kind: str | None = None) -> Imported:
        """Import a file or a folder, all or nothing.  Raises Refused with every problem found."""
        return self.import_folder(path) if path.is_dir() else self.import_file(path, kind)

    def import_file(self, path: Path, kind: str | None = None) -> Imported:
        """Import a CSV file (of the kind that it is named after, or `kind`) or an RDF file, all or nothing.

        Raises Refused with every problem found.
        """
        try:
            media_type = media_type_of(path)
        except KeyError:
            known = ", ".join([".csv", *SUFFIXES])
            raise Refused(
                [Problem(path.name, f"the suffix {path.suffix!r} is not known", f"Use one of: {known}")]
            ) from None
        return self.import_text(path.name, path.read_bytes(), media_type, kind or path.stem)

    def import_text(self, source: str, text: bytes, media_type: str, kind: str = "") -> Imported:
        """Import one text under a source name, in place of what that source held, all or nothing.

        Raises Refused with every problem found.
        """
        drafts = text_drafts(source, text, media_type, kind, self.model, self.graph)
        return self._put(source, drafts, text_digest(text, media_type, kind))

    def has(self, folder: Path) -> bool:
        """Whether a folder is on record as a source just as it is now."""
        return self.holdings.catalog.sources().get(folder.name) == data_digest(folder)

    def import_folder(self, folder: Path, source: str | None = None) -> Imported:
        """Import every CSV and RDF file below a folder as one source, named after it, all or nothing.

        Raises Refused with every problem found.
        """
        return self._put(*folder_drafts(folder, source or folder.name, self.model, self.graph))

    def _put(self, source: str, drafts: Drafts, digest: str) -> Imported:
        with self._writing() as (writer, graph):
            if writer.catalog.said("state") != self._state:
                raise Refused([OVERTAKEN])
            taken = self._write(writer, graph, self.model, source, drafts, digest)
            self._refuse_unusable(Catalog(writer.catalog.base), source, taken.places)
        return Imported(source, taken.parts, taken.kits, taken.vehicles)

    def _refuse_unusable(self, catalog: Catalog, source: str, places: Mapping[str, str]) -> None:
        """Raises Refused where there would be no answers once a source is in force as a catalog has it; but not where
        there are none now and other sources are at fault, which have to be put right one after another."""
        faults = self.check(self.model, catalog)
        if not faults:
            return
        is_at_fault = any(fault.source == source for fault in faults)
        if is_at_fault or not self.check(self.model, Catalog.open(self.folder / _CATALOG)):
            raise Refused(problems_of(faults, source, places))

    def _write(
        self, writer: Writer, graph: GraphStore, model: Model, source: str, drafts: Drafts, digest: str
    ) -> TakenIn:
        """Put one source on record, in place of whatever it held."""
        started = perf_counter()
        writer.begin(source, digest)
        taken = take_in(replace(drafts, parts=self._counted(drafts.parts, "read")), model, writer)
        _refuse_loose_ends(writer, source)
        self._time("check what is imported", started)
        started = perf_counter()
        writer.settle()
        self._time("index what is imported", started)
        started = perf_counter()
        catalog = writer.catalog
        parts = self._counted(catalog.parts_of(source), "written")
        records = (parts, catalog.specs_in(source), catalog.kits_of(source), catalog.vehicles_of(source))
        graph.replace(SOURCES + source, record_triples(model, *records))
        self._time("write what is imported", started)
        return taken

    def _counted(self, parts: Iterable[Counted], stage: str) -> Iterator[Counted]:
        for number, part in enumerate(parts, start=1):
            if number % TOLD_EVERY == 0:
                self.progress(number, stage)
            yield part


def version_of(state: str, sources: Mapping[str, str]) -> str:
    """The version of all that is recorded: the ontology with its packs, and every source with the digest of what went
    in under its name, whatever was first."""
    return digest_of([state, *(piece for source in sorted(sources.items()) for piece in source)])[:16]


def _words_of_kinds(model: Model) -> dict[str, str]:
    """For every kind, in which words somebody may look for it."""
    words = {}
    for kind in model.kinds.values():
        above = [(model.kinds[a].label, *model.other_words.get(a, ())) for a in kind.ancestors]
        words[kind.id] = " ; ".join(word for names in above for word in names)
    return words


def _refuse_loose_ends(writer: Writer, source: str) -> None:
    """A part that left its source may still be in a kit or a vehicle of another source."""
    problems = [
        Problem(
            f"{source}",
            f"the part {part!r} would be gone, but {sort} {where} has it",
            "Keep the part, or change that first",
        )
        for sort, where, part in writer.loose_ends()
    ]
    if problems:
        raise Refused(problems)
