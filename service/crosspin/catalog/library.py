"""What is on record and where it came from: the graph, the model and the catalog, and imports into them."""

from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from time import perf_counter

from crosspin import __version__
from crosspin.catalog.catalog import Catalog
from crosspin.catalog.csv_file import read_csv
from crosspin.catalog.intake import Checked, check
from crosspin.model.drafts import Drafts, Problem, Refused
from crosspin.model.rdf_drafts import read_rdf
from crosspin.model.read import read_model
from crosspin.model.reader import BrokenOntology
from crosspin.model.records import Records, record_triples, source_digests, source_triples
from crosspin.model.schema import Model
from crosspin.model.terms import thing
from crosspin.store.graph import DERIVED, FORMATS, ONTOLOGY, SUFFIXES, GraphStore, folder_digest
from crosspin.store.packs import BrokenPack, Pack, languages, read_packs

SOURCES = thing("source", "")
LEDGER = thing("ledger", "sources")
OWN = "/ontology"  # what the ledger calls the ontology; no file has such a name
PACK_DATA = "/packs/"  # before the name of a pack whose data is on record


@dataclass(frozen=True, slots=True)
class Imported:
    """What one import put on record."""

    source: str
    parts: int
    kits: int
    vehicles: int


@dataclass(frozen=True, slots=True)
class Holdings:
    """The model and the catalog at one version of the graph; never changed, only replaced."""

    version: str
    model: Model
    catalog: Catalog


class Library:
    """The graph with what is compiled from it.  One writer at a time; readers keep the `Holdings` they took."""

    def __init__(
        self,
        ontology: Path,
        folder: Path | None = None,
        packs: Sequence[Path] = (),
        beside: GraphStore | None = None,
    ) -> None:
        """Open the store in `folder`, or one in memory, under the ontology (layouts and shop settings included)
        with these packs laid upon it.  A store in memory takes over what is imported into the one `beside`.

        Raises BrokenText (BrokenPack, where packs do not go together) or BrokenOntology where these cannot be
        read.
        """
        self.timings: dict[str, float] = {}
        started = perf_counter()
        self.folders = (ontology, *packs)
        self.graph = GraphStore(folder)
        if beside is not None:
            self.graph.take_over(beside, {LEDGER, *beside.graphs(SOURCES)})
        self.packs: tuple[Pack, ...] = ()
        texts = " ".join(folder_digest(one).hex() for one in self.folders)
        self._ontology_digest = sha256(f"{__version__} {texts}".encode()).hexdigest()
        if packs or source_digests(self.graph.facts([LEDGER])).get(OWN) != self._ontology_digest:
            self._read_ontology()
        self._time("read the ontology", started)
        started = perf_counter()
        self.model = read_model(self.graph.facts([ONTOLOGY, DERIVED]), version="")
        self._time("compile the model", started)
        for source in self.sources():
            if source.startswith(PACK_DATA):
                self.graph.remove(SOURCES + source)  # taken in again where the pack is still there
        self.holdings = self._compile()

    def _read_ontology(self) -> None:
        """Put the ontology in the graph; last of all note its digest, so that a broken start is begun again."""
        reading = read_packs(self.folders[0], self.folders[1:])
        if reading.faults:
            raise BrokenPack(reading.faults)
        self.packs = reading.packs
        self.graph.replace(ONTOLOGY, reading.quads)
        started = perf_counter()
        self.graph.derive_layouts()
        self._time("derive positions and joints", started)
        self._note(OWN, self._ontology_digest)

    def take_in_data(self) -> None:
        """Put the data of the packs on record; raises Refused where it cannot be taken."""
        for pack in self.packs:
            if pack.data is not None:
                self.import_folder(pack.data, PACK_DATA + pack.name)

    def reread(self) -> None:
        """Read the ontology and its packs again from their folders, all or nothing.

        Raises BrokenText, BrokenOntology or Refused; nothing has changed then.
        """
        fresh = Library(self.folders[0], packs=self.folders[1:], beside=self.graph)
        fresh.take_in_data()
        sources = {*self.graph.graphs(SOURCES), *fresh.graph.graphs(SOURCES)}
        self.graph.take_over(fresh.graph, {LEDGER, ONTOLOGY, DERIVED, *sources})
        self.packs, self.model, self.holdings = fresh.packs, fresh.model, fresh.holdings
        self._ontology_digest = fresh._ontology_digest

    @property
    def languages(self) -> tuple[str, ...]:
        """The languages that the ontology has words in, English first."""
        return languages(self.graph.facts([ONTOLOGY]))

    def model_in(self, language: str) -> Model:
        """The model with its words in a language, where they are written in it."""
        return read_model(self.graph.facts([ONTOLOGY, DERIVED]), self.holdings.version, language)

    def _note(self, source: str, digest: str) -> None:
        digests = source_digests(self.graph.facts([LEDGER])) | {source: digest}
        self.graph.replace(LEDGER, source_triples(digests))

    def _time(self, stage: str, started: float) -> None:
        self.timings[stage] = perf_counter() - started

    def sources(self) -> list[str]:
        """The names of the sources on record."""
        return [graph.removeprefix(SOURCES) for graph in self.graph.graphs(SOURCES)]

    def _compile(self, without: str | None = None) -> Holdings:
        started = perf_counter()
        names = [name for name in self.sources() if name != without]
        try:
            records = Records(self.graph.facts([SOURCES + name for name in names]), self.model)
        except KeyError as error:
            raise BrokenOntology(
                f"something on record is described by {error}, which the ontology has no longer;"
                " lay the pack that defines it upon the ontology, as before"
            ) from error
        digests = source_digests(self.graph.facts([LEDGER]))
        digest = sha256(self._ontology_digest.encode())
        for name in names:
            digest.update(f"{name} {digests.get(name)}".encode())
        version = digest.hexdigest()[:16]
        catalog = Catalog(parts=records.parts, specs=records.specs, kits=records.kits, vehicles=records.vehicles)
        self._time("compile the catalog", started)
        return Holdings(version, self.model.model_copy(update={"version": version}), catalog)

    def import_file(self, path: Path, kind: str | None = None) -> Imported:
        """Import a CSV file (of the kind that it is named after, or `kind`) or an RDF file, all or nothing.

        Raises Refused with every problem found.
        """
        media_type = "text/csv" if path.suffix == ".csv" else SUFFIXES.get(path.suffix)
        if media_type is None:
            known = ", ".join([".csv", *SUFFIXES])
            raise Refused([Problem(path.name, f"the suffix {path.suffix!r} is not known", f"Use one of: {known}")])
        return self.import_text(path.name, path.read_bytes(), media_type, kind or path.stem)

    def import_text(self, source: str, text: bytes, media_type: str, kind: str = "") -> Imported:
        """Import one text under a source name, in place of what that source held, all or nothing.

        Raises Refused with every problem found.
        """
        return self._put(source, self._drafts(source, text, media_type, kind), text)

    def import_folder(self, folder: Path, source: str | None = None) -> Imported:
        """Import every CSV and RDF file below a folder as one source, named after it, all or nothing."""
        drafts = Drafts()
        problems: list[Problem] = []
        digest = sha256()
        for path in sorted(p for p in folder.rglob("*") if p.suffix == ".csv" or p.suffix in SUFFIXES):
            text = path.read_bytes()
            digest.update(text)
            media_type = "text/csv" if path.suffix == ".csv" else SUFFIXES[path.suffix]
            try:
                found = self._drafts(path.relative_to(folder).as_posix(), text, media_type, path.stem)
            except Refused as refused:
                problems.extend(refused.problems)
                continue
            drafts.parts.extend(found.parts)
            drafts.kits.extend(found.kits)
            drafts.vehicles.extend(found.vehicles)
        if problems:
            raise Refused(problems)
        return self._put(source or folder.name, drafts, digest.digest())

    def _drafts(self, source: str, text: bytes, media_type: str, kind: str) -> Drafts:
        if media_type == "text/csv":
            if kind not in self.model.kinds:
                known = ", ".join(self.model.kinds)
                raise Refused([Problem(source, f"{kind!r} is no kind", f"Name the file after one of: {known}")])
            return read_csv(text, kind, source)
        if media_type not in FORMATS:
            known = ", ".join(["text/csv", *FORMATS])
            raise Refused([Problem(source, f"the format {media_type!r} is not read", f"Use one of: {known}")])
        units = {unit.id: unit.symbol for unit in self.model.units.values()}
        return read_rdf(text, media_type, source, self.model, units)

    def _put(self, source: str, drafts: Drafts, text: bytes) -> Imported:
        started = perf_counter()
        others = self._compile(without=source).catalog if source in self.sources() else self.holdings.catalog
        checked: Checked = check(drafts, self.model, others)
        _refuse_loose_ends(checked, others, source)
        self._time("check what is imported", started)
        started = perf_counter()
        triples = record_triples(
            self.model, checked.parts.values(), checked.specs.values(), checked.kits.values(), checked.vehicles.values()
        )
        self.graph.replace(SOURCES + source, triples)
        self._note(source, sha256(text).hexdigest())
        self._time("write what is imported", started)
        self.holdings = self._compile()
        return Imported(source, len(checked.parts), len(checked.kits), len(checked.vehicles))


def _refuse_loose_ends(checked: Checked, others: Catalog, source: str) -> None:
    """A part that left its source may still be in a kit or a vehicle of another source."""
    parts = {*checked.parts, *others.parts}
    used = [(f"kit {k.id}", line.part) for k in others.kits.values() for line in k.lines]
    used += [(f"vehicle {v.id}, {path}", part) for v in others.vehicles.values() for path, part in v.parts.items()]
    problems = [
        Problem(
            f"{source}", f"the part {part!r} would be gone, but {where} has it", "Keep the part, or change that first"
        )
        for where, part in used
        if part not in parts
    ]
    if problems:
        raise Refused(problems)
