"""(e) Loading, opening again, patching one part, memory and disk."""

import os
import subprocess
import sys
from pathlib import Path
from statistics import median
from time import perf_counter

from benchmarks.rows import Row
from crosspin.answer.desk import Desk
from crosspin.home import data_folder
from crosspin.knockon.ask import Ask

PATCH = "benchmark-patch.csv"
PATCHES = 7
PEAK = "memory at most while importing"


def load(parts: Path, store: Path, size: int) -> list[Row]:
    """Import the seed data and a folder of parts by the command line, in a process of its own."""
    command = [sys.executable, "-m", "crosspin.cli", "import", "--store", str(store)]
    subprocess.run([*command, str(data_folder("seed_data"))], check=True, stdout=subprocess.DEVNULL)
    started = perf_counter()
    child = subprocess.Popen([*command, str(parts)], stdout=subprocess.DEVNULL)
    _, status, used = os.wait4(child.pid, 0)
    took = perf_counter() - started
    if status:
        raise subprocess.CalledProcessError(status, command)
    most = used.ru_maxrss * 1024
    files = {found.st_ino: found.st_blocks * 512 for found in (path.stat() for path in store.rglob("*"))}
    disk = sum(files.values())
    return [
        Row("e", "", "import, all in", size, took),
        Row("e", "", PEAK, size, most, unit="bytes"),
        Row("e", "", "disk", size, disk, unit="bytes"),
        Row("e", "", "disk for each part", size, disk / size, unit="bytes"),
    ]


def _memory() -> int:
    return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")


def reopen(store: Path, ask: Ask, size: int) -> tuple[Desk, list[Row]]:
    """Open a store that is there, and answer once."""
    before = _memory()
    started = perf_counter()
    desk = Desk.open(store)
    opened = perf_counter()
    desk.ask(ask)
    answered = perf_counter()
    taken = _memory() - before
    return desk, [
        Row("e", "", "open again", size, opened - started),
        Row("e", "", "first answer after that", size, answered - opened),
        Row("e", "", "memory", size, taken, unit="bytes"),
        Row("e", "", "memory for each part", size, taken / size, unit="bytes"),
    ]


def patch(desk: Desk, parts: Path, ask: Ask, size: int) -> list[Row]:
    """Import one part more, a copy of one that is there, and answer; several times."""
    desk.ask(ask)
    kind = "InnerShaft"
    heading, units, part = (parts / f"{kind}.csv").read_text().splitlines()[:3]
    patched, answered = [], []
    for number in range(PATCHES):
        text = "\n".join([heading, units, f"patched-part-{number},{part.split(',', 1)[1]}"])
        started = perf_counter()
        desk.import_text(PATCH, text.encode(), "text/csv", kind)
        patched.append(perf_counter() - started)
        desk.ask(ask)
        answered.append(perf_counter() - started)
    return [
        Row("e", "", "patch one part", size, median(patched)),
        Row("e", "", "patch one part and answer", size, median(answered)),
    ]
