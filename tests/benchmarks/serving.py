"""(d) Over HTTP: knock-on with 1, 8 and 32 connections, beside an endpoint that returns the same bytes precomputed.

Not cached: every ask comes once.  Cached: a few asks that have been answered come again and again.
"""

import json
import os
import socket
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from statistics import quantiles
from tempfile import TemporaryDirectory
from time import monotonic, perf_counter, sleep
from urllib.error import HTTPError, URLError
from urllib.request import Request, urlopen

from benchmarks.rows import Row

CONNECTIONS = (1, 8, 32)
ASKS = {1: 24, 8: 32, 32: 64}
"""How many asks are sent over so many connections."""

KNOWN = 8
"""Asks that are cached, and precomputed."""

AGAIN = 400
"""How many of these are sent, unless they take so long that they cannot have been cached."""

SLOW = 0.05
FEWER = 40

START = 120.0
PATH = "/v1/knock-on"
OURS, CACHED, PRECOMPUTED = "ours", "ours, cached", "precomputed"
P50, P99, RATE = "Median (p50)", "99 of 100 (p99)", "Answers a second"


def _free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        port: int = one.getsockname()[1]
        return port


@contextmanager
def _server(*command: str) -> Iterator[int]:
    """A server process; yields its port once it answers anything, and ends it afterwards."""
    port = _free_port()
    words = [word.replace("PORT", str(port)) for word in command]
    process = subprocess.Popen(
        [sys.executable, "-m", *words], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True
    )
    try:
        until = monotonic() + START
        while True:
            try:
                with urlopen(f"http://127.0.0.1:{port}/openapi.json", timeout=5):
                    break
            except HTTPError:
                break
            except (URLError, OSError):
                if process.poll() is not None or monotonic() > until:
                    raise RuntimeError(f"the server did not start: {' '.join(words)}") from None
                sleep(0.1)
        yield port
    finally:
        process.terminate()
        try:
            process.wait(20)
        except subprocess.TimeoutExpired:
            os.killpg(process.pid, 9)
            process.wait()


def _answer(port: int, body: bytes) -> str:
    request = Request(f"http://127.0.0.1:{port}{PATH}", body, {"Content-Type": "application/json"})
    with urlopen(request, timeout=600) as reply:
        text: str = reply.read().decode()
        return text


def _rows(port: int, connections: int, bodies: Sequence[bytes], engine: str, size: int) -> list[Row]:
    """What the client process saw."""
    client = subprocess.run(
        [sys.executable, "-m", "benchmarks.client", str(port), str(connections), PATH],
        input=b"\n".join(bodies),
        stdout=subprocess.PIPE,
        check=True,
    )
    seen = json.loads(client.stdout)
    each = sorted(seen["each"])
    p50, p99 = each[len(each) // 2], quantiles(each, n=100, method="inclusive")[98]
    note = f"{seen['refused']} of {len(each)} refused" if seen["refused"] else ""
    name = named(engine, connections)
    return [
        Row("d", P50, name, size, p50, note),
        Row("d", P99, name, size, p99, note),
        Row("d", RATE, name, size, len(each) / seen["all"], note, unit="/s"),
    ]


def named(engine: str, connections: int) -> str:
    """What a line of the table is called."""
    return f"{connections} connection{'s' if connections > 1 else ''}: {engine}"


def measure(store: Path, asks: Sequence[str], size: int, processes: int) -> list[Row]:
    """Rows for the service over a store that nobody else has open; `asks` are JSON documents, all different."""
    bodies = [ask.encode() for ask in asks]
    assert len(bodies) >= KNOWN + sum(ASKS.values()), "there are too few asks"
    known, bodies = bodies[:KNOWN], bodies[KNOWN:]
    rows: list[Row] = []
    with _server(*serve_command(store, processes)) as port:
        answers = {body.decode(): _answer(port, body) for body in known}
        for connections in CONNECTIONS:
            fresh, bodies = bodies[: ASKS[connections]], bodies[ASKS[connections] :]
            rows += _rows(port, connections, fresh, OURS, size)
        started = perf_counter()
        _answer(port, known[0])
        count = AGAIN if perf_counter() - started < SLOW else FEWER
        for connections in CONNECTIONS:
            rows += _rows(port, connections, known * (count // KNOWN), CACHED, size)
    with TemporaryDirectory() as folder:
        file = Path(folder) / "answers.json"
        file.write_text(json.dumps(answers))
        with _server("benchmarks.precomputed", "PORT", str(file)) as port:
            for connections in CONNECTIONS:
                rows += _rows(port, connections, known * (AGAIN // KNOWN), PRECOMPUTED, size)
    return rows


def serve_command(store: Path, processes: int) -> list[str]:
    """The command line of the service."""
    help_text = subprocess.run(
        [sys.executable, "-m", "crosspin.cli", "serve", "--help"], capture_output=True, text=True
    )
    several = ["--processes", str(processes)] if "--processes" in help_text.stdout else []
    return ["crosspin.cli", "serve", "--store", str(store), "--port", "PORT", *several]
