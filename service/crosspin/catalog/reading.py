"""What the files say that are imported, as drafts."""

from collections.abc import Iterator
from pathlib import Path

from crosspin.catalog.csv_file import read_csv
from crosspin.model.drafts import Drafts, KitDraft, PartDraft, Problem, Refused, VehicleDraft
from crosspin.model.rdf_drafts import read_rdf
from crosspin.model.schema import Model
from crosspin.store.digest import digest_of
from crosspin.store.graph import FORMATS, SUFFIXES, GraphStore

CSV = "text/csv"


def paths_in(folder: Path) -> list[Path]:
    """The files below a folder that can be imported."""
    return sorted(p for p in folder.rglob("*") if p.suffix == ".csv" or p.suffix in SUFFIXES)


def media_type_of(path: Path) -> str:
    """The media type of a file that can be imported, by its suffix; raises KeyError for any other."""
    return CSV if path.suffix == ".csv" else SUFFIXES[path.suffix]


def text_digest(text: bytes, media_type: str, kind: str) -> str:
    """The digest of all that the records of one text follow from, the ontology apart."""
    return digest_of(["text", media_type, kind, text])


def data_digest(folder: Path) -> str:
    """The digest of all that the records of a folder follow from, the ontology apart: its files, each with its name
    (and with that its kind), its media type and its text."""
    pieces: list[str] = []
    for path in paths_in(folder):
        pieces += [path.relative_to(folder).as_posix(), text_digest(path.read_bytes(), media_type_of(path), path.stem)]
    return digest_of(["folder", *pieces])


def folder_drafts(folder: Path, source: str, model: Model, graph: GraphStore) -> tuple[str, Drafts, str]:
    """A source, what it says and its digest; files are read while the drafts are gone through."""
    paths = paths_in(folder)
    kits: list[KitDraft] = []
    vehicles: list[VehicleDraft] = []

    def parts() -> Iterator[PartDraft | Problem]:
        for path in paths:
            name = path.relative_to(folder).as_posix()
            try:
                found = text_drafts(name, path.read_bytes(), media_type_of(path), path.stem, model, graph)
            except Refused as refused:
                yield from refused.problems
                continue
            yield from found.parts
            kits.extend(found.kits)
            vehicles.extend(found.vehicles)

    return source, Drafts(parts(), kits, vehicles), data_digest(folder)


def text_drafts(source: str, text: bytes, media_type: str, kind: str, model: Model, graph: GraphStore) -> Drafts:
    """What a text says, under the name of its source; `kind` is that of the parts in CSV, the graph holds the ontology.

    Raises Refused.
    """
    if media_type == CSV:
        if kind not in model.kinds:
            known = ", ".join(model.kinds)
            raise Refused([Problem(source, f"{kind!r} is no kind", f"Name the file after one of: {known}")])
        return Drafts(read_csv(text, kind, source))
    if media_type not in FORMATS:
        known = ", ".join([CSV, *FORMATS])
        raise Refused([Problem(source, f"the format {media_type!r} is not read", f"Use one of: {known}")])
    units = {unit.id: unit.symbol for unit in model.units.values()}
    return read_rdf(text, media_type, source, model, units, graph)
