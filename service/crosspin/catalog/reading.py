"""What the files say that are imported, as drafts."""

from collections.abc import Iterable, Iterator
from hashlib import sha256
from pathlib import Path

from crosspin.catalog.csv_file import read_csv
from crosspin.model.drafts import Drafts, KitDraft, PartDraft, Problem, Refused, VehicleDraft
from crosspin.model.rdf_drafts import read_rdf
from crosspin.model.schema import Model
from crosspin.store.graph import FORMATS, SUFFIXES, GraphStore


def paths_in(folder: Path) -> list[Path]:
    """The files below a folder that can be imported."""
    return sorted(p for p in folder.rglob("*") if p.suffix == ".csv" or p.suffix in SUFFIXES)


def digest_of(paths: Iterable[Path]) -> str:
    """The digest of what some files say."""
    digest = sha256()
    for path in paths:
        digest.update(sha256(path.read_bytes()).digest())
    return digest.hexdigest()


def folder_drafts(folder: Path, source: str, model: Model, graph: GraphStore) -> tuple[str, Drafts, str]:
    """A source, what it says and its digest; files are read while the drafts are gone through."""
    paths = paths_in(folder)
    kits: list[KitDraft] = []
    vehicles: list[VehicleDraft] = []

    def parts() -> Iterator[PartDraft | Problem]:
        for path in paths:
            media_type = "text/csv" if path.suffix == ".csv" else SUFFIXES[path.suffix]
            name = path.relative_to(folder).as_posix()
            try:
                found = text_drafts(name, path.read_bytes(), media_type, path.stem, model, graph)
            except Refused as refused:
                yield from refused.problems
                continue
            yield from found.parts
            kits.extend(found.kits)
            vehicles.extend(found.vehicles)

    return source, Drafts(parts(), kits, vehicles), digest_of(paths)


def text_drafts(source: str, text: bytes, media_type: str, kind: str, model: Model, graph: GraphStore) -> Drafts:
    """What a text says, under the name of its source; `kind` is that of the parts in CSV, the graph holds the ontology.

    Raises Refused.
    """
    if media_type == "text/csv":
        if kind not in model.kinds:
            known = ", ".join(model.kinds)
            raise Refused([Problem(source, f"{kind!r} is no kind", f"Name the file after one of: {known}")])
        return Drafts(read_csv(text, kind, source))
    if media_type not in FORMATS:
        known = ", ".join(["text/csv", *FORMATS])
        raise Refused([Problem(source, f"the format {media_type!r} is not read", f"Use one of: {known}")])
    units = {unit.id: unit.symbol for unit in model.units.values()}
    return read_rdf(text, media_type, source, model, units, graph)
