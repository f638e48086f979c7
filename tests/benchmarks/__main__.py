"""Measures everything and writes the tables: `make bench`, or `make bench SIZES="1000 10000"`.

Every size is loaded, opened and asked in processes of its own, so that memory is that of one size.
"""

import argparse
import json
import shutil
import subprocess
import sys
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict
from pathlib import Path
from tempfile import TemporaryDirectory
from time import monotonic

from benchmarks import asks, keeping, one_hop, optimum, rules, serving
from benchmarks.generate import Generator
from benchmarks.report import report
from benchmarks.rows import Row
from crosspin.answer.desk import Desk
from crosspin.collector import collect_seldom
from crosspin.knockon.ask import Ask

SIZES = (1_000, 10_000, 100_000, 1_000_000)
SERVED = (100_000, 1_000_000)
QUESTIONS = "abcde"


def _say(text: str, started: float) -> None:
    print(f"{monotonic() - started:7.0f} s  {text}", file=sys.stderr, flush=True)


def _rows(text: str | bytes) -> list[Row]:
    return [Row(**row) for row in json.loads(text)]


def _dump(rows: Iterable[Row]) -> str:
    return json.dumps([asdict(row) for row in rows])


def inside(given: argparse.Namespace) -> list[Row]:
    """One size, in the process that has it open: opening again, then the questions that need no server.

    Python collects garbage as seldom as in the service, for everybody that is measured."""
    collect_seldom()
    size, folder = given.size, given.folder
    shipped = asks.shipped()
    usual = Ask.model_validate_json((folder.parent / "asks").read_text().splitlines()[0])
    stopped: set[str] = set(given.stopped)
    desk, rows = keeping.reopen(folder / "store", usual, size)
    for letter, name in (("a", "one hop"), ("b", "the optimum"), ("c", "the rules"), ("e", "one part more")):
        if letter not in given.questions:
            continue
        _say(f"{size:,} parts: {name}", given.started)
        if letter == "a":
            rows += one_hop.measure(desk, list(shipped.values()), size, stopped)
        elif letter == "b":
            rows += optimum.measure(desk, shipped, size, stopped)
        elif letter == "c":
            rows += rules.measure(desk, next(iter(shipped.values())), size)
        else:
            rows += keeping.patch(desk, folder / "parts", usual, size)
    return rows


def _one_size(size: int, place: Path, given: argparse.Namespace, letters: str, stopped: set[str]) -> Iterator[Row]:
    """Load a size, put the questions to it, and clear it away."""
    folder = place / str(size)
    _say(f"{size:,} parts: making and importing them", given.started)
    seed = Desk.open()
    Generator(seed.holdings.model, seed.holdings.catalog).write(size, folder / "parts")
    yield from keeping.load(folder / "parts", folder / "store", size)
    command = [sys.executable, "-m", "benchmarks", "--size", str(size), "--folder", str(folder), "--out", str(place)]
    command += ["--questions", letters, "--started", str(given.started), "--stopped", *sorted(stopped)]
    asked = subprocess.run(command, stdout=subprocess.PIPE, check=True)
    yield from _rows(asked.stdout)
    if "d" in letters:
        _say(f"{size:,} parts: over HTTP", given.started)
        documents = (place / "asks").read_text().splitlines()
        yield from serving.measure(folder / "store", documents[1:], size, given.processes)
    shutil.rmtree(folder)


def every_size(given: argparse.Namespace) -> bool:
    """All sizes, the small ones first; an engine that was stopped is left out at the larger ones.

    The page is written after each, so that nothing is lost; whether every size came to an end.
    """
    rows: list[Row] = []
    whole = True
    stopped: set[str] = set()
    sizes = sorted(given.sizes)
    served = [size for size in sizes if size in SERVED] or sizes[-1:]
    with TemporaryDirectory(dir=given.work) as name:
        place = Path(name)
        if "d" in given.questions or "e" in given.questions:
            _say("choosing asks", given.started)
        count = 1 + serving.KNOWN + sum(serving.ASKS.values()) if "d" in given.questions else 1
        chosen = asks.typical(Desk.open(), count)
        (place / "asks").write_text("\n".join(ask.model_dump_json() for ask in chosen))
        for size in sizes:
            letters = "".join(
                letter
                for letter in given.questions
                if (letter != "c" or size == sizes[0]) and (letter != "d" or size in served)
            )
            try:
                for row in _one_size(size, place, given, letters, stopped):
                    rows.append(row)
            except (subprocess.CalledProcessError, RuntimeError) as error:
                _say(f"{size:,} parts: {error}", given.started)
                whole = False
            given.out.write_text(report(rows))
            stopped |= {row.engine for row in rows if row.value is None and row.question in "ab"}
    return whole


def main(arguments: Sequence[str] | None = None) -> None:
    """Measure, and write the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", type=int, nargs="*", default=SIZES)
    parser.add_argument("--questions", default=QUESTIONS, help="letters of those to put (default: all)")
    parser.add_argument("--processes", type=int, default=2, help="worker processes of the service")
    parser.add_argument("--out", type=Path, default=Path("docs/benchmarks.md"))
    parser.add_argument("--work", type=Path, help="where catalogs are laid meanwhile (default: the system's place)")
    parser.add_argument("--size", type=int, help=argparse.SUPPRESS)
    parser.add_argument("--folder", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--stopped", nargs="*", default=[], help=argparse.SUPPRESS)
    parser.add_argument("--started", type=float, default=monotonic(), help=argparse.SUPPRESS)
    given = parser.parse_args(arguments)
    if given.size is not None:
        print(_dump(inside(given)))
        return
    whole = every_size(given)
    _say(f"written to {given.out}", given.started)
    if not whole:
        sys.exit("some sizes did not come to an end; their figures are missing")


if __name__ == "__main__":
    main()
