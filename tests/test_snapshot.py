"""What is kept on disk: opened again as it was, changed as a whole, and made again where it is spoilt."""

from pathlib import Path
from shutil import copytree

import pytest

from crosspin.catalog.library import Library
from crosspin.model.drafts import Refused
from seed import ROOT, seed_store

ONTOLOGY = ROOT / "ontology"
LINES = b"id,label,price,stock,lacks\n,,,,\nfit-one,plain fitting,9.50,3,\n"


@pytest.fixture(scope="module")
def stored(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the seed data on record."""
    return copytree(seed_store(), tmp_path_factory.mktemp("kept") / "store")


def test_a_store_opens_again_as_it_was_without_reading_the_ontology(stored: Path) -> None:
    first, second = Library(ONTOLOGY, stored), Library(ONTOLOGY, stored)
    assert "read the ontology" not in second.timings
    assert second.holdings.version == first.holdings.version
    assert second.model == first.model
    assert dict(second.holdings.catalog.parts) == dict(first.holdings.catalog.parts)


def test_a_reader_goes_on_reading_what_it_opened(stored: Path) -> None:
    reader, writer = Library(ONTOLOGY, stored), Library(ONTOLOGY, stored)
    before = reader.holdings
    writer.import_text("new.csv", LINES, "text/csv", "AirFitting")
    assert "fit-one" in writer.holdings.catalog.parts
    assert "fit-one" not in before.catalog.parts
    assert len(before.catalog.parts) + 1 == len(writer.holdings.catalog.parts)
    assert "fit-one" in Library(ONTOLOGY, stored).holdings.catalog.parts


def test_a_refused_import_leaves_nothing(stored: Path) -> None:
    library = Library(ONTOLOGY, stored)
    version, folders = library.holdings.version, sorted(path.name for path in stored.glob("graph-*"))
    with pytest.raises(Refused, match="is taken already"):
        library.import_text("twice.csv", LINES + b"fit-two,x,1,1,\nfit-two,x,1,1,\n", "text/csv", "AirFitting")
    assert Library(ONTOLOGY, stored).holdings.version == version
    assert "fit-two" not in Library(ONTOLOGY, stored).holdings.catalog.parts
    assert sorted(path.name for path in stored.glob("graph-*")) == folders


@pytest.mark.parametrize("spoil", ["removed", "overwritten"])
def test_a_spoilt_snapshot_is_made_again_from_the_graph(stored: Path, spoil: str) -> None:
    before = Library(ONTOLOGY, stored).holdings
    parts, kits, vehicles = dict(before.catalog.parts), dict(before.catalog.kits), dict(before.catalog.vehicles)
    specs, sources, version = dict(before.catalog.specs), before.catalog.sources(), before.version
    for path in stored.glob("catalog.sqlite*"):
        path.unlink()
    if spoil == "overwritten":
        (stored / "catalog.sqlite").write_bytes(b"this is no database" * 1000)
    again = Library(ONTOLOGY, stored).holdings
    assert again.version == version
    assert again.catalog.sources() == sources
    assert dict(again.catalog.specs) == specs
    assert dict(again.catalog.parts) == parts
    assert (dict(again.catalog.kits), dict(again.catalog.vehicles)) == (kits, vehicles)


def test_a_graph_that_was_cut_off_is_not_taken(stored: Path) -> None:
    before = Library(ONTOLOGY, stored).holdings.version
    (stored / "graph-99.unfinished").mkdir()
    assert Library(ONTOLOGY, stored).holdings.version == before
