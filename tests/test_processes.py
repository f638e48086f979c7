"""Several processes serve one store: what one takes in all answer by, at once, whole, and whatever dies."""

import json
import os
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from shutil import copytree
from threading import Event
from time import monotonic, sleep
from typing import Any
from urllib.parse import urlencode
from urllib.request import Request, urlopen

import pytest

from seed import seed_store

pytestmark = pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="processes are found in /proc")

PATIENCE = 120.0  # seconds
ASK = {"vehicle": "hill-patrol", "fit": [{"at": "front/cover", "part": "cv-own"}]}
COVER = """id,label,price,stock,lacks,coverOutline.patternCode,coverDepth.standOut,coverRim.coverFlange
,,EUR,,,,mm,mm
cv-own,Own cover,{price},1,,eleven-bolt-815,70,3
"""
PRICE = "SELECT ?p { <https://crosspin.example/id/part/cv-own> <https://crosspin.example/def/price> ?p }"


class Service:
    """A service of two processes."""

    def __init__(self, process: "subprocess.Popen[bytes]", port: int) -> None:
        self.process = process
        self.port = port

    def workers(self) -> list[int]:
        """The processes that answer."""
        children = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children").read_text().split()
        return [int(c) for c in children if b"spawn_main" in Path(f"/proc/{c}/cmdline").read_bytes()]

    @contextmanager
    def only(self, worker: int) -> Iterator[None]:
        """Let nobody but one process answer meanwhile."""
        others = [other for other in self.workers() if other != worker]
        for other in others:
            os.kill(other, signal.SIGSTOP)
        try:
            yield
        finally:
            for other in others:
                os.kill(other, signal.SIGCONT)

    def send(self, path: str, body: bytes | None = None, media: str = "application/json") -> Any:
        """What an address answers, over a connection of its own; raises OSError where it does not."""
        request = Request(f"http://127.0.0.1:{self.port}{path}", body, {"Content-Type": media})
        with urlopen(request, timeout=PATIENCE) as reply:
            return json.loads(reply.read())

    def take_in(self, price: int) -> str:
        """The version after the part has got a price."""
        query = urlencode({"source": "cover.csv", "kind": "DifferentialCover"})
        text = COVER.format(price=price).encode()
        return str(self.send(f"/v1/imports?{query}", text, "text/csv")["version"])

    def answer(self) -> tuple[str, int]:
        """The version of an answer, and the price in it."""
        plan = self.send("/v1/knock-on", json.dumps(ASK).encode())
        (line,) = (line for line in plan["order"] if line["id"] == "cv-own")
        return plan["version"], int(float(line["each"]))

    def queried(self) -> int:
        """The price that a query finds."""
        rows = self.send(f"/sparql?{urlencode({'query': PRICE})}")["results"]["bindings"]
        (price,) = (row["p"]["value"] for row in rows)
        return int(float(price))


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    store = copytree(seed_store(), tmp_path_factory.mktemp("processes") / "store")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = ["serve", "--store", str(store), "--port", str(port), "--processes", "2"]
    environment = {name: value for name, value in os.environ.items() if not name.startswith("CROSSPIN_")}
    with subprocess.Popen([sys.executable, "-m", "crosspin.cli", *command], env=environment) as process:
        running = Service(process, port)
        try:
            settled(running)
            yield running
        finally:
            process.terminate()


def settled(service: Service) -> list[int]:
    """The two processes, once each of them answers."""
    end = monotonic() + PATIENCE
    while True:
        try:
            workers = service.workers()
            if len(workers) == 2:
                for worker in workers:
                    with service.only(worker):
                        service.send("/v1/health")
                return workers
        except OSError:
            pass  # not yet
        assert service.process.poll() is None, "the service has ended"
        assert monotonic() < end, "the service does not answer"
        sleep(0.2)


def test_what_one_process_takes_in_the_other_answers_by_at_once(service: Service) -> None:
    one, other = settled(service)
    for price, (writer, reader) in ((61, (one, other)), (62, (other, one))):
        with service.only(writer):
            version = service.take_in(price)
        with service.only(reader):
            assert service.answer() == (version, price)
            assert service.queried() == price
        with service.only(writer):
            assert service.answer() == (version, price)


def test_what_is_read_while_others_write_is_whole(service: Service) -> None:
    settled(service)
    told = {service.take_in(70): 70}
    done = Event()

    def read() -> list[tuple[str, int]]:
        seen = []
        while not done.is_set():
            seen.append(service.answer())
            assert service.queried() >= 70
        return seen

    with ThreadPoolExecutor(4) as threads:
        readers = [threads.submit(read) for _ in range(3)]
        try:
            for price in range(71, 75):
                told[service.take_in(price)] = price
        finally:
            done.set()
        seen = [answer for reader in readers for answer in reader.result()]
    assert len(told) == 5
    assert {told[version] for version, _ in seen} == {price for _, price in seen}
    assert all(told[version] == price for version, price in seen)
    for worker in service.workers():
        with service.only(worker):
            assert service.answer()[1] == 74


def test_a_killed_process_loses_nothing_that_was_acknowledged_and_is_replaced(service: Service) -> None:
    worker, other = settled(service)
    with service.only(worker):
        version = service.take_in(81)
    with ThreadPoolExecutor(1) as threads:
        with service.only(worker):
            cut_off = threads.submit(service.take_in, 99)
            sleep(0.05)  # it is taken in now, or is on record already, but not acknowledged
            os.kill(worker, signal.SIGKILL)
        try:
            acknowledged = cut_off.result()  # who is left took it, as it had not been begun
        except ConnectionError:
            acknowledged = ""
    now = service.answer()  # of who is left
    assert now == (acknowledged, 99) if acknowledged else now == (version, 81) or now[1] == 99
    assert other in settled(service)
    assert worker not in service.workers()
    assert service.answer() == now
    version = service.take_in(82)
    assert service.answer() == (version, 82)
