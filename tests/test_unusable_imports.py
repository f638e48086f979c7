"""What cannot be answered from is refused before it is in force, with the row that is at fault; and where an older
program has put it in force, there is a way out."""

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from shutil import copytree
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api_client import client_of
from crosspin import cli
from crosspin.answer.desk import Desk, open_library
from crosspin.api.app import create_app
from crosspin.catalog.library import Library
from crosspin.model.drafts import Refused
from refusals import own_client, refused, version
from seed import ROOT, seed_store

ONTOLOGY = ROOT / "ontology"
HEAD = "id,label,price,stock,lacks,gasketOutline.patternCode\n,,EUR,,,\n"
GASKETS = HEAD + "own-0,Gasket,9.40,1,,eleven-bolt-895\nown-1,Gasket,{price},{stock},,eleven-bolt-895\n"
TOO_MUCH = "999999999999.99"
"""The highest price that is taken in; the cost of a plan has no room for it beside prices with cents."""

KIT = """@prefix cp: <https://crosspin.example/def/> . @prefix part: <https://crosspin.example/id/part/> .
@prefix rdfs: <http://www.w3.org/2000/01/rdf-schema#> .
<https://crosspin.example/id/kit/own> a cp:Kit ; rdfs:label "own kit"@en ; cp:price {price} ;
  cp:hasLine [ cp:listsPart part:al-895-31 ; cp:quantity {quantity} ] .
"""
TRUCK = """@prefix cp: <https://crosspin.example/def/> . @prefix rdfs: <http://www.w3.org/2000/01/rdf-schema#> .
<https://crosspin.example/id/vehicle/own> a cp:Vehicle ; rdfs:label "own truck"@en ;
  cp:hasLayout <https://crosspin.example/id/layout/two-beam-axles> .
"""
ASK: dict[str, Any] = {"vehicle": "hill-patrol", "fit": [{"at": "front/cover", "part": "cv-815"}]}
FIT = ("fit", "al-895-31", "is-33-121-370-562")


@pytest.fixture(scope="module")
def client() -> Iterator[TestClient]:
    with own_client() as client:
        yield client


def send(client: TestClient, text: str, media: str = "text/csv", source: str = "own.csv") -> Any:
    query = {"source": source, **({"kind": "CoverGasket"} if media == "text/csv" else {})}
    return client.post("/v1/imports", params=query, content=text, headers={"Content-Type": media})


AMOUNTS = [
    ("price", "999999999999.99", "1", "decimal point"),
    ("price", "99999999.00", "1", "decimal point"),
    ("price", "9999999999999.00", "1", "999999999999.99"),
    ("price", "9" * 29 + ".00", "1", "decimal point"),
    ("price", "9" * 5000, "1", "decimal point"),
    ("price", '"9,40"', "1", "Write 9.40"),
    ("price", '"1,250.00"', "1", "Write 1250.00"),
    ("price", "9.405", "1", "Write 9.4"),
    ("stock", "1", "99999999999", "999999999"),
    ("stock", "1", "9" * 30, "999999999"),
    ("stock", "1", "9" * 5000, "decimal point"),
]


@pytest.mark.parametrize(("column", "price", "stock", "mend"), AMOUNTS)
def test_an_amount_with_a_slipped_decimal_point(
    client: TestClient, column: str, price: str, stock: str, mend: str
) -> None:
    """The row, the column and the value are named, and nothing in force has changed."""
    before, answer = version(client), client.post("/v1/knock-on", json=ASK)
    reply = send(client, GASKETS.format(price=price, stock=stock))
    (problem,) = refused(client, reply, before)
    assert problem["place"] == f"own.csv, row 4, column {column}"
    assert (price if column == "price" else stock).strip('"')[:100] in problem["wrong"]
    assert mend in problem["mend"]
    after = client.post("/v1/knock-on", json=ASK)
    assert (after.content, after.headers["etag"]) == (answer.content, answer.headers["etag"])
    found = client.get("/v1/parts", params={"text": "own-1"})
    assert found.json()["total"] == 0


@pytest.mark.parametrize(
    ("price", "quantity", "place"),
    [
        ("9999999999999.00", "1", "kit/own cp:price"),
        ("9" * 40, "1", "kit/own cp:price"),
        ("9.00", "10000000", "kit/own cp:quantity of al-895-31"),
        ("9.00", "9" * 40, "kit/own cp:quantity of al-895-31"),
        ("9.00", "0.5", "kit/own cp:quantity of al-895-31"),
        ("9.00", "0", "kit/own cp:quantity of al-895-31"),
    ],
)
def test_a_kit_with_a_slipped_decimal_point(client: TestClient, price: str, quantity: str, place: str) -> None:
    before = version(client)
    reply = send(client, KIT.format(price=price, quantity=quantity), "text/turtle", "own.ttl")
    (problem,) = refused(client, reply, before)
    assert place in problem["place"]


def test_the_highest_price_of_a_kit_is_answered_with() -> None:
    """Kits are no part of the search."""
    with own_client() as client:
        reply = send(client, KIT.format(price=TOO_MUCH, quantity="1000000"), "text/turtle", "own.ttl")
        assert reply.status_code == 201, reply.text
        assert client.post("/v1/knock-on", json=ASK).status_code == 200
        assert client.get("/v1/kits/own").json()["price"] == TOO_MUCH


def test_a_reading_that_cannot_be_summed_up(client: TestClient) -> None:
    """A current with 18 decimals is no number that a sum over a vehicle has room for."""
    text = "id,label,loadCircuits.circuitCount,loadCircuits.circuitCurrent\n,,,A\nown-1,Light,1,{current}\n"
    query = {"source": "own.csv", "kind": "BeaconLight"}
    headers = {"Content-Type": "text/csv"}
    current = "0.000000000000000001"
    reply = client.post("/v1/imports", params=query, content=text.format(current=current), headers=headers)
    (problem,) = refused(client, reply, version(client))
    assert problem["place"] == "own.csv, row 3, column loadCircuits.circuitCurrent"
    assert "decimals" in problem["wrong"]


def test_prices_that_do_not_go_together_are_refused_with_the_reason() -> None:
    """What is dear beside what is counted in hundredths: each would do alone."""
    library = Library(ONTOLOGY)
    desk = Desk(library)
    dear = (HEAD + "own-1,Gasket,7000000,1,,eleven-bolt-895\n").encode()
    cheap = (HEAD + "own-2,Gasket,0.01,1,,eleven-bolt-895\n").encode()
    desk.import_text("dear.csv", dear, "text/csv", "CoverGasket")
    before = desk.holdings.version
    with pytest.raises(Refused) as error:
        desk.import_text("cheap.csv", cheap, "text/csv", "CoverGasket")
    first, second = error.value.problems
    assert (first.place, second.place) == ("cheap.csv", "dear.csv, part own-1, price")
    assert desk.holdings.version == library.holdings.version == before


def test_an_hourly_rate_that_cannot_be_counted_with(tmp_path: Path) -> None:
    """Refused when it is read again; and a store opened under it says so, until it is put right."""
    ontology = copytree(ONTOLOGY, tmp_path / "ontology")
    shop = ontology / "shop.ttl"
    right = shop.read_text()
    assert "cp:hourlyRate 90 " in right
    store = tmp_path / "store"
    desk = Desk(Library(ontology, store))
    desk.import_text("truck.ttl", TRUCK.encode(), "text/turtle")
    before = desk.holdings.version
    shop.write_text(right.replace("cp:hourlyRate 90 ", f"cp:hourlyRate {'9' * 18}.99 "))
    with pytest.raises(Refused, match="hourlyRate"):
        desk.reread()
    assert desk.holdings.version == Library(ONTOLOGY, store).holdings.version == before
    wrong = Library(ontology, store)
    with pytest.raises(Refused, match="hourlyRate"):
        Desk(wrong)
    shop.write_text(right)
    assert Desk(Library(ontology, store)).holdings.version == before


# ---------------------------------------------------------------------- put in force by an older program


def unchecked(store: Path, name: str, price: str, number: int = 1) -> None:
    """Import as programs did that did not check what they put in force."""
    text = HEAD + f"own-{number},Gasket,{price},1,,eleven-bolt-895\n"
    Library(ONTOLOGY, store).import_text(name, text.encode(), "text/csv", "CoverGasket")


@pytest.fixture
def broken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A store that nothing can be answered from."""
    store = copytree(seed_store(), tmp_path / "store")
    unchecked(store, "CoverGasket.csv", TOO_MUCH)
    monkeypatch.setenv("CROSSPIN_STORE", str(store))
    return store


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str]:
    code = cli.main(arguments)
    return code, capsys.readouterr().err


def gaskets(folder: Path, price: str, number: int = 1, name: str = "CoverGasket.csv") -> str:
    path = folder / name
    path.write_text(HEAD + (f"own-{number},Gasket,{price},1,,eleven-bolt-895\n" if price else ""))
    return str(path)


@pytest.mark.parametrize("price", ["9.40", ""], ids=["replaced", "removed"])
@pytest.mark.usefixtures("broken")
def test_a_store_that_cannot_be_answered_from_is_put_right_by_an_import(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], price: str
) -> None:
    for command in (FIT, ("mates", "al-895-31"), ("ask", "--vehicle", "hill-patrol"), ("serve", "--port", "1")):
        code, told = run(capsys, *command)
        assert code == cli.BAD_INPUT
        assert told.startswith(f"CoverGasket.csv, part own-1, price: {TOO_MUCH} is too high")
        assert "import CoverGasket.csv again" in told
    assert run(capsys, "import", gaskets(tmp_path, TOO_MUCH))[0] == cli.BAD_INPUT
    assert run(capsys, "import", gaskets(tmp_path, price))[0] == cli.ANSWERED
    assert run(capsys, *FIT)[0] == cli.ANSWERED


def test_several_sources_are_put_right_one_after_another(
    broken: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    unchecked(broken, "other.csv", TOO_MUCH, 2)
    third = gaskets(tmp_path, TOO_MUCH, 3, "third.csv")
    assert run(capsys, "import", third, "--kind", "CoverGasket")[0] == cli.BAD_INPUT
    assert run(capsys, "import", gaskets(tmp_path, "9.40"))[0] == cli.ANSWERED
    code, told = run(capsys, *FIT)
    assert (code, told.startswith("other.csv, part own-2, price: ")) == (cli.BAD_INPUT, True)
    other = gaskets(tmp_path, "9.40", 2, "other.csv")
    assert run(capsys, "import", other, "--kind", "CoverGasket")[0] == cli.ANSWERED
    assert run(capsys, *FIT)[0] == cli.ANSWERED


@pytest.mark.usefixtures("broken")
def test_no_traceback_reaches_whoever_starts_the_service() -> None:
    command = [sys.executable, "-m", "crosspin.cli", "serve", "--port", "0"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == cli.BAD_INPUT
    assert "Traceback" not in done.stderr
    assert done.stderr.startswith("CoverGasket.csv, part own-1, price: ")


def test_a_service_says_what_is_wrong_until_it_is_put_right(tmp_path: Path) -> None:
    """Another program, an older one, writes into the store of a service that is running."""
    store = copytree(seed_store(), tmp_path / "store")
    with client_of(create_app(Desk(open_library(store)))) as client:
        answer = client.post("/v1/knock-on", json=ASK)
        unchecked(store, "own.csv", TOO_MUCH)
        for _ in range(2):
            reply = client.post("/v1/knock-on", json=ASK)
            assert reply.status_code == 503
            assert reply.json()["problems"][0]["place"] == "own.csv, part own-1, price"
        open_library(store).import_text("own.csv", HEAD.encode(), "text/csv", "CoverGasket")
        again = client.post("/v1/knock-on", json=ASK)
        assert (again.status_code, again.json()["order"]) == (200, answer.json()["order"])
