"""The SPARQL address: the protocol, the formats, and that nothing a stranger asks does harm.

Results are read back by rdflib, which shares no code with what writes them.
"""

import csv
import io
import socket
import subprocess
import sys
from collections.abc import Iterator
from threading import Thread
from time import monotonic

import pytest
from fastapi.testclient import TestClient
from pyoxigraph import BlankNode, Literal, NamedNode
from rdflib import Graph, Variable
from rdflib.query import Result

from api_client import client_of, seed_client, settings
from crosspin.api.app import create_app
from crosspin.store.query_check import QueryRefused, check_query
from crosspin.store.results import WRITERS
from seed import seed_desk

ROWS = list(WRITERS)
COUNT = "SELECT (COUNT(*) AS ?n) WHERE { ?s a <https://crosspin.example/def/AirLocker> }"
LOCKERS = "SELECT ?s WHERE { ?s a <https://crosspin.example/def/AirLocker> }"


@pytest.fixture(scope="module")
def client() -> Iterator[TestClient]:
    with client_of(
        create_app(seed_desk(), settings(query_rows=5, query_seconds=2.0, query_memory=200 << 20))
    ) as client:
        yield client


def rows(client: TestClient, query: str) -> list[dict[str, str]]:
    reply = client.get("/sparql", params={"query": query})
    assert reply.status_code == 200, reply.text
    return [{name: term["value"] for name, term in row.items()} for row in reply.json()["results"]["bindings"]]


def refused(client: TestClient, query: str, status: int = 400) -> str:
    reply = client.get("/sparql", params={"query": query})
    assert reply.status_code == status, reply.text
    (problem,) = reply.json()["problems"]
    assert problem["mend"]
    return str(problem["wrong"])


# ---------------------------------------------------------------------- SPARQL 1.1 Protocol, section 2.1


def test_a_query_can_be_sent_in_three_ways(client: TestClient) -> None:
    by_get = client.get("/sparql", params={"query": COUNT})
    by_form = client.post("/sparql", data={"query": COUNT})
    by_body = client.post("/sparql", content=COUNT, headers={"Content-Type": "application/sparql-query"})
    assert by_get.json() == by_form.json() == by_body.json()
    lockers = [p for p in seed_desk().holdings.catalog.parts.values() if p.kind == "AirLocker"]
    assert by_get.json()["results"]["bindings"][0]["n"]["value"] == str(len(lockers))


def test_the_graphs_of_the_request_are_the_ones_queried(client: TestClient) -> None:
    query = "SELECT (COUNT(*) AS ?n) WHERE { ?s a <https://crosspin.example/def/Part> }"
    ontology = {"default-graph-uri": "https://crosspin.example/def/"}
    by_get = client.get("/sparql", params={"query": query, **ontology})
    by_form = client.post("/sparql", data={"query": query, **ontology})
    assert by_get.json() == by_form.json()
    assert by_get.json()["results"]["bindings"][0]["n"]["value"] == "0"
    other = client.get("/sparql", params={"query": query, "default-graph-uri": "file:///etc/passwd"})
    assert other.status_code == 400


@pytest.mark.parametrize(
    ("body", "media", "status"),
    [
        (b"", "application/sparql-query", 400),
        (b"\xff", "application/sparql-query", 400),
        (b"query=", "application/x-www-form-urlencoded", 400),
        (b"query=ASK%7B%7D&query=ASK%7B%7D", "application/x-www-form-urlencoded", 400),
        (b"update=CLEAR%20ALL", "application/x-www-form-urlencoded", 400),
        (b"question=ASK%7B%7D", "application/x-www-form-urlencoded", 400),
        (b"CLEAR ALL", "application/sparql-update", 415),
        (b"{}", "application/json", 415),
    ],
)
def test_what_is_no_query_is_refused(client: TestClient, body: bytes, media: str, status: int) -> None:
    reply = client.post("/sparql", content=body, headers={"Content-Type": media})
    assert reply.status_code == status
    assert reply.json()["problems"]


# ---------------------------------------------------------------------- formats


@pytest.mark.parametrize("media", ROWS)
def test_rows_come_in_every_format(client: TestClient, media: str) -> None:
    reply = client.get("/sparql", params={"query": LOCKERS + " ORDER BY ?s LIMIT 2"}, headers={"Accept": media})
    assert reply.headers["content-type"].split(";")[0] == media
    if media == "text/csv":
        found = [row["s"] for row in csv.DictReader(io.StringIO(reply.text))]
    else:
        read = Result.parse(
            io.BytesIO(reply.content), content_type=media, format={"text/tab-separated-values": "tsv"}.get(media)
        )
        found = [str(row[Variable("s")]) for row in read.bindings]
    assert len(found) == 2
    assert found == [row["s"] for row in rows(client, LOCKERS + " ORDER BY ?s LIMIT 2")]


AWKWARD: list[NamedNode | Literal | BlankNode | None] = [
    Literal('tab\t quote" line\n return\r back\\slash'),
    Literal("<&>", language="en"),
    Literal("1.50", datatype=NamedNode("http://www.w3.org/2001/XMLSchema#decimal")),
    NamedNode("https://example.org/a?b=c&d=e"),
    BlankNode("b1"),
    None,
]


@pytest.mark.parametrize(
    "media", ["application/sparql-results+json", "application/sparql-results+xml", "text/tab-separated-values"]
)
def test_awkward_terms_survive(media: str) -> None:
    names = [f"v{i}" for i in range(len(AWKWARD))]
    text = WRITERS[media](names, [AWKWARD])
    read = Result.parse(io.BytesIO(text), content_type=media, format={"text/tab-separated-values": "tsv"}.get(media))
    (row,) = read.bindings
    told = {str(name): term for name, term in row.items() if term is not None}
    for name, term in zip(names, AWKWARD, strict=True):
        if term is None:
            assert told.get(name) is None
        elif isinstance(term, BlankNode):
            assert name in told
        else:
            assert str(told[name]) == term.value
            assert getattr(told[name], "language", None) == getattr(term, "language", None)


def test_characters_that_xml_cannot_hold_do_not_break_it() -> None:
    text = WRITERS["application/sparql-results+xml"](["v"], [[Literal("a\x00b\x1f")]])
    (row,) = Result.parse(io.BytesIO(text), content_type="application/sparql-results+xml").bindings
    assert [str(v) for v in row.values()] == ["a\ufffdb\ufffd"]


@pytest.mark.parametrize("media", ROWS)
def test_yes_and_no_come_in_every_format(client: TestClient, media: str) -> None:
    reply = client.get("/sparql", params={"query": "ASK { ?s ?p ?o }"}, headers={"Accept": media})
    assert reply.status_code == 200
    assert b"true" in reply.content


@pytest.mark.parametrize(
    ("media", "name"), [("text/turtle", "turtle"), ("application/n-triples", "nt"), ("application/ld+json", "json-ld")]
)
def test_triples_come_in_every_format(client: TestClient, media: str, name: str) -> None:
    query = "DESCRIBE <https://crosspin.example/def/Part>"
    reply = client.get("/sparql", params={"query": query}, headers={"Accept": media})
    assert reply.headers["content-type"].split(";")[0] == media
    assert len(Graph().parse(data=reply.text, format=name)) >= 3


def test_a_format_that_does_not_suit_the_query_is_refused_with_those_that_do(client: TestClient) -> None:
    as_graph = client.get("/sparql", params={"query": COUNT}, headers={"Accept": "text/turtle"})
    as_rows = client.get("/sparql", params={"query": "CONSTRUCT WHERE { ?s ?p ?o }"}, headers={"Accept": "text/csv"})
    neither = client.get("/sparql", params={"query": COUNT}, headers={"Accept": "image/png"})
    assert [r.status_code for r in (as_graph, as_rows, neither)] == [406, 406, 406]
    assert "text/csv" in as_graph.json()["problems"][0]["mend"]
    assert "text/turtle" in as_rows.json()["problems"][0]["mend"]


# ---------------------------------------------------------------------- limits


def test_rows_beyond_the_limit_are_cut_off_and_said_to_be(client: TestClient) -> None:
    for query in ("SELECT * WHERE { ?s ?p ?o }", "CONSTRUCT WHERE { ?s ?p ?o }"):
        assert client.get("/sparql", params={"query": query}).headers["crosspin-truncated"] == "true"
        assert client.get("/sparql", params={"query": query + " LIMIT 5"}).headers["crosspin-truncated"] == "false"
    assert len(rows(client, "SELECT * WHERE { ?s ?p ?o }")) == 5


def test_a_query_that_runs_too_long_is_stopped_and_the_next_is_answered(client: TestClient) -> None:
    started = monotonic()
    assert "time" in refused(client, "SELECT (COUNT(*) AS ?n) WHERE { ?a ?b ?c . ?d ?e ?f . ?g ?h ?i }", 422)
    assert monotonic() - started < 6
    assert rows(client, COUNT)


def test_a_query_that_takes_too_much_memory_is_stopped_and_the_next_is_answered() -> None:
    with client_of(create_app(seed_desk(), settings(query_seconds=60.0, query_memory=60 << 20))) as client:
        hungry = "SELECT * WHERE { ?a ?b ?c . ?d ?e ?f } ORDER BY ?f ?c"
        assert "memory" in refused(client, hungry, 422)
        assert rows(client, COUNT)


def test_other_questions_are_answered_while_a_query_runs(client: TestClient) -> None:
    slow = Thread(
        target=refused, args=(client, "SELECT (COUNT(*) AS ?n) WHERE { ?a ?b ?c . ?d ?e ?f . ?g ?h ?i }", 422)
    )
    slow.start()
    started = monotonic()
    assert client.get("/v1/vehicles").status_code == 200
    assert monotonic() - started < 1
    slow.join()


# ---------------------------------------------------------------------- harm


def test_no_other_server_is_asked(client: TestClient) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(0.2)
        address = f"<http://127.0.0.1:{server.getsockname()[1]}/>"
        for query in (
            f"SELECT * WHERE {{ SERVICE {address} {{ ?s ?p ?o }} }}",
            f"SELECT * WHERE {{ SERVICE SILENT {address} {{ ?s ?p ?o }} }}",
            f"SELECT * WHERE {{ \\u0053ERVICE {address} {{ ?s ?p ?o }} }}",
            f"SELECT * WHERE {{ ?s ?p ?o FILTER NOT EXISTS {{ SERVICE {address} {{ ?s ?p ?o }} }} }}",
            f"SELECT * WHERE {{ {{ SELECT * WHERE {{ OPTIONAL {{ SERVICE {address} {{ ?s ?p ?o }} }} }} }} }}",
            f"CONSTRUCT WHERE {{ ?s ?p ?o }} VALUES ?s {{ {address} }} SERVICE {address} {{ }}",
            f"SELECT * FROM {address} WHERE {{ ?s ?p ?o }}",
            f"SELECT * FROM NAMED {address} WHERE {{ GRAPH ?g {{ ?s ?p ?o }} }}",
            f"LOAD {address}",
            f"LOAD SILENT {address} INTO GRAPH <https://crosspin.example/def/>",
        ):
            refused(client, query)
        with pytest.raises(TimeoutError):
            server.accept()


def test_a_query_worker_reaches_no_network() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        address = server.getsockname()
        text = f"""
import os, socket
from crosspin.store.sparql_worker import leave_network
before = os.readlink("/proc/self/ns/net")
leave_network()
print("left" if os.readlink("/proc/self/ns/net") != before else "stayed")
try:
    socket.create_connection({address}, 5)
except OSError:
    print("alone")
"""
        done = subprocess.run([sys.executable, "-c", text], capture_output=True, text=True, check=True)
    if done.stdout.startswith("stayed"):
        pytest.skip("the system lets nobody leave the network")
    assert done.stdout.split() == ["left", "alone"]


@pytest.mark.parametrize("file", ["file:///etc/passwd", "/etc/passwd", "../../etc/passwd"])
def test_no_file_is_read(client: TestClient, file: str) -> None:
    assert "graph" in refused(client, f"SELECT * FROM <{file}> WHERE {{ ?s ?p ?o }}")


@pytest.mark.parametrize(
    "update", ["INSERT DATA { <a:a> <a:b> <a:c> }", "DELETE WHERE { ?s ?p ?o }", "CLEAR ALL", "DROP ALL"]
)
def test_nothing_is_changed(client: TestClient, update: str) -> None:
    before = rows(client, COUNT)
    refused(client, update)
    assert rows(client, COUNT) == before


def test_words_that_look_dangerous_are_harmless_where_they_are_only_words(client: TestClient) -> None:
    assert rows(client, "# SERVICE <http://example.org/>\nSELECT ?x WHERE { BIND('SERVICE <a:a> LOAD' AS ?x) }")
    named = "SELECT (COUNT(*) AS ?n) FROM <https://crosspin.example/def/> WHERE { ?s ?p ?o }"
    assert int(rows(client, named)[0]["n"]) > 100


def test_a_query_nested_too_deeply_is_refused() -> None:
    with pytest.raises(QueryRefused, match="deep"):
        check_query("SELECT * WHERE " + "{" * 5000 + "}" * 5000, "https://crosspin.example/", set())


def test_what_is_imported_can_be_queried_at_once() -> None:
    from crosspin.answer.desk import Desk
    from crosspin.api.examples import CSV, CSV_KIND

    query = "ASK { <https://crosspin.example/id/part/cg-895-cork> ?p ?o }"
    with client_of(create_app(Desk.open())) as client:
        assert client.get("/sparql", params={"query": query}).json()["boolean"] is False
        client.post(
            "/v1/imports",
            params={"source": "a.csv", "kind": CSV_KIND},
            content=CSV,
            headers={"Content-Type": "text/csv"},
        )
        assert client.get("/sparql", params={"query": query}).json()["boolean"] is True


def test_the_seed_client_is_untouched() -> None:
    assert seed_client().get("/v1/parts/cg-895-cork").status_code == 404
