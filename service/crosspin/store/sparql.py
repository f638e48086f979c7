"""Runs read-only SPARQL queries of strangers: in worker processes with limits of time, memory and rows."""

import json
import os
import queue
import select
import struct
import subprocess
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from time import monotonic

from crosspin.store.graph import GraphStore
from crosspin.store.query_check import QueryRefused

ROW_FORMATS = (
    "application/sparql-results+json",
    "application/sparql-results+xml",
    "text/csv",
    "text/tab-separated-values",
)
"""Formats of SELECT and ASK results, the preferred one first."""

GRAPH_FORMATS = ("text/turtle", "application/n-triples", "application/ld+json")
"""Formats of CONSTRUCT and DESCRIBE results, the preferred one first."""


class QueryStopped(RuntimeError):
    """A query that was cut short; `bound` is "time" or "memory"."""

    def __init__(self, bound: str) -> None:
        super().__init__(f"the query was stopped: its {bound} was used up")
        self.bound = bound


class QueryBusy(RuntimeError):
    """Every worker is taken and none came free in time."""


class NotAcceptable(ValueError):
    """The query gives rows where the caller takes graphs only, or the other way round."""

    def __init__(self, available: Sequence[str]) -> None:
        super().__init__(f"the result comes as {', '.join(available)}")
        self.available = tuple(available)


@dataclass(frozen=True, slots=True)
class QueryLimits:
    """Seconds for one query, bytes above the data itself, rows or triples of one result, worker processes."""

    seconds: float = 10.0
    memory: int = 512 * 1024 * 1024
    rows: int = 10_000
    workers: int = 2


@dataclass(frozen=True, slots=True)
class QueryRequest:
    """A query with the formats that the caller takes (None: none of that sort) and its graph parameters."""

    query: str
    rows_as: str | None = ROW_FORMATS[0]
    graph_as: str | None = GRAPH_FORMATS[0]
    default_graphs: tuple[str, ...] = ()
    named_graphs: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class QueryResult:
    """A result as bytes; `truncated` where there were more rows than the limit lets through."""

    media_type: str
    body: bytes
    truncated: bool


class QueryPool:
    """A few worker processes that read the graph, renewed when there is a new version of it.  Thread-safe."""

    def __init__(self, limits: QueryLimits, graph: Callable[[], GraphStore]) -> None:
        """`graph` gives the graph as it is now, opened to read."""
        self._limits = limits
        self._graph = graph
        self._slots: queue.LifoQueue[_Worker | None] = queue.LifoQueue()
        for _ in range(limits.workers):
            self._slots.put(None)

    def run(self, request: QueryRequest) -> QueryResult:
        """The result of one query.  Raises QueryRefused, QueryStopped, QueryBusy or NotAcceptable."""
        try:
            worker = self._slots.get(timeout=self._limits.seconds)
        except queue.Empty:
            raise QueryBusy("every query worker is taken") from None
        try:
            worker = self._ready(worker)
            return worker.ask(request, self._limits.seconds)
        finally:
            if worker is not None and worker.gone:
                worker = None
            self._slots.put(worker)

    def close(self) -> None:
        """End the workers; a later query starts afresh."""
        for _ in range(self._limits.workers):
            try:
                worker = self._slots.get(timeout=self._limits.seconds)
            except queue.Empty:
                break  # its query is at its end, and so is the worker when this process goes
            if worker is not None:
                worker.end()
        while self._slots.qsize() < self._limits.workers:
            self._slots.put(None)

    def _ready(self, worker: "_Worker | None") -> "_Worker":
        """This worker, or a new one where it is gone or reads an old version."""
        graph = self._graph()
        if worker is not None:
            if worker.graph is graph and not worker.gone:
                return worker
            worker.end()
        return _Worker(graph, self._limits)


class _Worker:
    """One worker process, as seen from outside."""

    def __init__(self, graph: GraphStore, limits: QueryLimits) -> None:
        arguments = (str(graph.folder), str(limits.memory), str(limits.rows), str(limits.seconds))
        environment = {name: value for name, value in os.environ.items() if not name.startswith("CROSSPIN_")}
        self.graph = graph  # as long as we have it, its folder stays
        self.gone = False
        self._process = subprocess.Popen(
            [sys.executable, "-m", "crosspin.store.sparql_worker", *arguments],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=environment,
        )
        # Opening is our own work, not the query's: it has no limit.
        self._read(None)

    def ask(self, request: QueryRequest, seconds: float) -> QueryResult:
        """The worker's answer; ends the worker where it does not come in time."""
        deadline = monotonic() + seconds
        message = json.dumps(
            {
                "query": request.query,
                "rows_as": request.rows_as,
                "graph_as": request.graph_as,
                "default": request.default_graphs,
                "named": request.named_graphs,
            }
        ).encode()
        assert self._process.stdin is not None
        try:
            self._process.stdin.write(struct.pack(">I", len(message)) + message)
            self._process.stdin.flush()
            head = json.loads(self._read(deadline))
            body = self._read(deadline)
        except TimeoutError:
            self.end()
            raise QueryStopped("time") from None
        except (EOFError, OSError):
            # Out of memory, the engine aborts rather than raise.
            self.end()
            raise QueryStopped("memory") from None
        if "refused" in head:
            raise QueryRefused(head["refused"]["wrong"], head["refused"]["mend"])
        if "not_acceptable" in head:
            raise NotAcceptable(head["not_acceptable"])
        if "stopped" in head:
            self.end()
            raise QueryStopped(head["stopped"])
        return QueryResult(head["media"], body, head["truncated"])

    def end(self) -> None:
        """Kill the process and wait until it is gone."""
        self.gone = True
        self._process.kill()
        self._process.wait()
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe is not None:
                try:
                    pipe.close()
                except OSError:  # what was still to be written has nobody to read it
                    continue

    def _read(self, deadline: float | None) -> bytes:
        """The next message; raises TimeoutError after the deadline, EOFError where the process is gone."""
        size = struct.unpack(">I", self._take(4, deadline))[0]
        return self._take(size, deadline)

    def _take(self, count: int, deadline: float | None) -> bytes:
        assert self._process.stdout is not None
        pipe = self._process.stdout.fileno()
        pieces = []
        while count:
            left = None if deadline is None else max(0.0, deadline - monotonic())
            if not select.select([pipe], [], [], left)[0]:
                raise TimeoutError
            piece = os.read(pipe, count)
            if not piece:
                raise EOFError
            pieces.append(piece)
            count -= len(piece)
        return b"".join(pieces)
