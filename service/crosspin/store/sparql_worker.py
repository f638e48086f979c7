"""Answers SPARQL queries in a process of its own, so that one that runs wild can be killed.

Started as `python -m crosspin.store.sparql_worker FOLDER MEMORY ROWS SECONDS`.  It leaves the network, opens the
graph in the folder, limits its own memory, gives up the means of opening more files than those of the graph, and then
answers one query after another over its standard input and output.  A message is its length in four bytes, then JSON;
an answer is a JSON message, then a message of bytes.
"""

import contextlib
import ctypes
import json
import math
import signal
import struct
import sys
from itertools import islice
from pathlib import Path
from typing import Any, BinaryIO

from pyoxigraph import (
    NamedNode,
    QueryBoolean,
    QueryResultsFormat,
    QuerySolutions,
    QueryTriples,
    RdfFormat,
    Store,
    serialize,
)

from crosspin.store.graph import GraphStore
from crosspin.store.query_check import QueryRefused, check_query
from crosspin.store.results import WRITERS

try:
    import resource
except ImportError:  # no POSIX limits here; the time limit still holds, the caller kills
    resource = None  # type: ignore[assignment]

BASE = "https://crosspin.example/"
GRAPH_FORMATS = {
    "text/turtle": RdfFormat.TURTLE,
    "application/n-triples": RdfFormat.N_TRIPLES,
    "application/ld+json": RdfFormat.JSON_LD,
}
_PREFIXES = {
    "cp": "https://crosspin.example/def/",
    "rdfs": "http://www.w3.org/2000/01/rdf-schema#",
    "skos": "http://www.w3.org/2004/02/skos/core#",
    "unit": "http://qudt.org/vocab/unit/",
    "xsd": "http://www.w3.org/2001/XMLSchema#",
}


_NEW_USER, _NEW_NETWORK = 0x10000000, 0x40000000  # of Linux, see unshare(2)


class NotAcceptable(Exception):
    """No format that the caller takes suits the query's form; holds those that would."""


def read_message(stream: BinaryIO) -> bytes | None:
    """The next message; None at the end of the stream."""
    head = stream.read(4)
    if len(head) < 4:
        return None
    return stream.read(struct.unpack(">I", head)[0])


def write_message(stream: BinaryIO, body: bytes) -> None:
    """Send one message."""
    stream.write(struct.pack(">I", len(body)))
    stream.write(body)
    stream.flush()


def answer(store: Store, request: dict[str, Any], rows: int) -> tuple[dict[str, Any], bytes]:
    """The head and body of the answer to one request.

    Raises QueryRefused, or NotAcceptable where the caller takes no format that the query's form has.
    """
    graphs = {g.value for g in store.named_graphs() if isinstance(g, NamedNode)}
    for graph in (*request["default"], *request["named"]):
        if graph not in graphs:
            raise QueryRefused("the request names a graph that is not on record", "Leave the graph parameters out")
    own_dataset = check_query(request["query"], BASE, graphs)
    dataset: dict[str, Any] = {}
    if request["default"] or request["named"]:
        dataset = {
            "default_graph": [NamedNode(g) for g in request["default"]],
            "named_graphs": [NamedNode(g) for g in request["named"]],
        }
    elif not own_dataset:
        dataset = {"use_default_graph_as_union": True}
    try:
        found = store.query(request["query"], base_iri=BASE, **dataset)
    except (SyntaxError, ValueError):
        raise QueryRefused("the query cannot be read", "Write it as SPARQL 1.1") from None
    if isinstance(found, QueryTriples):
        return _triples(found, request["graph_as"], rows)
    if request["rows_as"] is None:
        raise NotAcceptable(*WRITERS)
    media = str(request["rows_as"])
    if isinstance(found, QueryBoolean):
        body = found.serialize(format=QueryResultsFormat.from_media_type(media)) or b""
        return {"media": media, "truncated": False}, body
    assert isinstance(found, QuerySolutions)
    names = [variable.value for variable in found.variables]
    solutions = [list(solution) for solution in islice(found, rows + 1)]
    return {"media": media, "truncated": len(solutions) > rows}, WRITERS[media](names, solutions[:rows])


def _triples(found: QueryTriples, media: str | None, rows: int) -> tuple[dict[str, Any], bytes]:
    if media is None:
        raise NotAcceptable(*GRAPH_FORMATS)
    triples = list(islice(found, rows + 1))
    body = serialize(triples[:rows], format=GRAPH_FORMATS[media], prefixes=_PREFIXES)
    return {"media": media, "truncated": len(triples) > rows}, body or b""


def leave_network() -> None:
    """Live in a network of our own, in which there is nobody, where the system lets us."""
    with contextlib.suppress(OSError, AttributeError):
        ctypes.CDLL(None).unshare(_NEW_USER | _NEW_NETWORK)


def _limit(memory: int, folder: Path) -> None:
    """Bound memory to `memory` bytes above what is in use, and open no more from now on than the graph needs."""
    if resource is None:
        return
    with contextlib.suppress(OSError, ValueError):  # where the system has no /proc, the memory stays unbounded
        in_use = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
        resource.setrlimit(resource.RLIMIT_AS, (in_use + memory, in_use + memory))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    files = _files(folder)
    resource.setrlimit(resource.RLIMIT_NOFILE, (files, files))


def _files(folder: Path) -> int:
    """How many files may be open at once: those that are, and those of the graph that are opened when first read."""
    opened = []
    for link in Path("/proc/self/fd").iterdir() if Path("/proc/self/fd").is_dir() else ():
        with contextlib.suppress(OSError):  # the one that lists them is closed again
            opened.append(link.readlink())
    waiting = set(folder.glob("*.sst")) - set(opened)
    return max(3, len(opened)) + len(waiting) if waiting else 3


def _warm_up(store: Store) -> None:
    """Load whatever the libraries load late, while files can still be opened."""
    request = {"default": [], "named": [], "rows_as": "application/sparql-results+json", "graph_as": "text/turtle"}
    for query in ("SELECT * { ?s ?p ?o } LIMIT 1", "CONSTRUCT { ?s ?p ?o } { ?s ?p ?o } LIMIT 1", "SELECT *"):
        with contextlib.suppress(QueryRefused):
            answer(store, {"query": query, **request}, 1)


def main(folder: Path, memory: int, rows: int, seconds: float) -> None:
    """Open, tighten the limits, say that we are ready, and answer until the input ends."""
    leave_network()
    graph = GraphStore.to_read(folder)
    store = graph.quads
    _warm_up(store)
    _limit(memory, folder)
    source, sink = sys.stdin.buffer, sys.stdout.buffer
    write_message(sink, b"ready")
    while (message := read_message(source)) is not None:
        # The caller kills us in time; the alarm is for the case that the caller itself is gone.
        if hasattr(signal, "alarm"):
            signal.alarm(math.ceil(seconds) + 2)
        body = b""
        try:
            head, body = answer(store, json.loads(message), rows)
        except QueryRefused as refused:
            head = {"refused": {"wrong": refused.wrong, "mend": refused.mend}}
        except NotAcceptable as error:
            head = {"not_acceptable": list(error.args)}
        except MemoryError:
            head = {"stopped": "memory"}
        if hasattr(signal, "alarm"):
            signal.alarm(0)
        write_message(sink, json.dumps(head).encode())
        write_message(sink, body)


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]), float(sys.argv[4]))
