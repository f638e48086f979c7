"""What is kept on disk: opened again as it was, changed as a whole, and made again where it is spoilt."""

import sqlite3
from decimal import Decimal
from pathlib import Path
from shutil import copytree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyoxigraph import BlankNode, Quad

from api_client import client_of
from crosspin.answer.desk import Desk
from crosspin.api.app import create_app
from crosspin.catalog.library import Library
from crosspin.catalog.snapshot import Writer
from crosspin.model.drafts import Refused
from crosspin.model.schema import Part
from crosspin.store import graph as graphs
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


def test_an_ontology_that_is_read_again_leaves_nothing_of_what_it_said_before(tmp_path: Path) -> None:
    """Also of its blank nodes, which are named anew at each reading; counted against a reading by itself."""
    ontology = copytree(ONTOLOGY, tmp_path / "ontology")
    library = Library(ontology, tmp_path / "store")
    shop = ontology / "shop.ttl"
    shop.write_text(shop.read_text().replace("cp:hourlyRate 90 ", "cp:hourlyRate 91 "))
    for _ in range(2):
        library.reread()
    anew = Library(ontology, tmp_path / "anew")
    for name in (graphs.ONTOLOGY, graphs.DERIVED):
        held, read = (list(one.holdings.graph.triples(name)) for one in (library, anew))
        assert len(held) == len(read) > 10_000
        assert {t.triple for t in held if not has_blank(t)} == {t.triple for t in read if not has_blank(t)}


def has_blank(quad: Quad) -> bool:
    return isinstance(quad.subject, BlankNode) or isinstance(quad.object, BlankNode)


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


def lines(price: int) -> bytes:
    return LINES.replace(b"9.50", str(price).encode())


def test_what_others_put_on_record_is_noticed_and_taken_up(stored: Path) -> None:
    one, other = Library(ONTOLOGY, stored), Library(ONTOLOGY, stored)
    assert not one.behind
    for writer, reader, price in ((other, one, 11), (one, other, 12)):
        writer.import_text("new.csv", lines(price), "text/csv", "AirFitting")
        assert (writer.behind, reader.behind) == (False, True)
        assert reader.catch_up()
        assert not reader.behind
        assert reader.holdings.version == writer.holdings.version
        assert reader.holdings.catalog.parts["fit-one"].price == price


def test_a_version_of_the_graph_stays_as_long_as_somebody_reads_it(stored: Path) -> None:
    reader, writer = Library(ONTOLOGY, stored), Library(ONTOLOGY, stored)
    holdings = reader.holdings
    folder = holdings.graph.folder
    assert folder is not None
    for price in (21, 22, 23):
        writer.import_text("new.csv", lines(price), "text/csv", "AirFitting")
    assert len(holdings.graph.graphs("")) == len(writer.graph.graphs(""))
    assert folder.is_dir()
    del holdings
    reader.catch_up()
    writer.import_text("new.csv", lines(24), "text/csv", "AirFitting")
    assert not folder.exists()
    assert len(list(stored.glob("graph-*[0-9]"))) == 2


def test_nothing_stale_is_answered_from_a_store_that_others_put_under_another_ontology(stored: Path) -> None:
    winch = Path(__file__).parent / "packs" / "winch"
    with client_of(create_app(Desk(Library(ONTOLOGY, stored)))) as client:
        assert client.get("/v1/health").status_code == 200
        Library(ONTOLOGY, stored, [winch])
        for accept in ("application/json", "text/html"):
            reply = client.get("/v1/vehicles", headers={"Accept": accept})
            assert reply.status_code == 503
            assert "other packs" in reply.text
        again = Library(ONTOLOGY, stored)
        assert client.get("/v1/health").json()["version"] == again.holdings.version


@settings(max_examples=60, deadline=None)
@given(st.lists(st.dictionaries(st.text("abc", min_size=1, max_size=3), st.booleans(), max_size=12), max_size=5))
def test_what_is_found_stands_in_the_order_of_ids_however_it_came(imports: list[dict[str, bool]]) -> None:
    """Orderable parts first, then by id: found in that order without being sorted."""
    base = sqlite3.connect(":memory:", isolation_level=None)
    writer = Writer(base, {})
    known: dict[str, bool] = {}
    for number, parts in enumerate(imports):
        writer.begin(str(number), "")
        for name, sold in parts.items():
            if name not in known:
                price = Decimal(1) if sold else None
                writer.put_part(Part(id=name, kind="Part", label=f"part {name}", price=price))
                known[name] = sold
        writer.settle()
        found = writer.catalog.matching("part", 100)
        assert found == sorted(known, key=lambda name: (not known[name], name))
