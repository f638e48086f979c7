"""A lean HTTP client in a process of its own: keeps so many connections busy and says how long each answer took.

python -m benchmarks.client PORT CONNECTIONS PATH < asks, one JSON document a line
"""

import asyncio
import json
import sys
from collections import deque
from dataclasses import asdict, dataclass
from time import perf_counter


@dataclass(frozen=True)
class Load:
    """Seconds of every answer in the order of sending, seconds of all, and how many were no answer (not 200)."""

    each: list[float]
    all: float
    refused: int


async def _answered(reader: asyncio.StreamReader) -> tuple[int, bytes]:
    """Status and body of the next answer."""
    head = (await reader.readuntil(b"\r\n\r\n")).lower()
    status = int(head.split(b" ", 2)[1])
    length = next(line.split(b":")[1] for line in head.split(b"\r\n") if line.startswith(b"content-length:"))
    return status, await reader.readexactly(int(length))


async def load(port: int, connections: int, path: str, bodies: list[bytes]) -> Load:
    """Send every body once, over so many connections at a time."""
    waiting = deque(enumerate(bodies))
    each = [0.0] * len(bodies)
    refused = 0

    async def connection() -> None:
        nonlocal refused
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        while waiting:
            number, body = waiting.popleft()
            head = f"POST {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nContent-Type: application/json\r\n"
            head += f"Accept: application/json\r\nContent-Length: {len(body)}\r\n\r\n"
            sent = perf_counter()
            writer.write(head.encode() + body)
            status, _ = await _answered(reader)
            each[number] = perf_counter() - sent
            refused += status != 200
        writer.close()

    started = perf_counter()
    await asyncio.gather(*(connection() for _ in range(connections)))
    return Load(each, perf_counter() - started, refused)


def main() -> None:
    """Read the asks, and print the load as JSON."""
    port, connections, path = sys.argv[1:]
    bodies = [line.rstrip(b"\n") for line in sys.stdin.buffer]
    print(json.dumps(asdict(asyncio.run(load(int(port), int(connections), path, bodies)))))


if __name__ == "__main__":
    main()
