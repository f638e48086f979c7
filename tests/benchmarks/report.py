"""The page that is written of one run: machine, versions, a table for each question, and the goals."""

import os
import platform
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from benchmarks import optimum, rules, serving
from benchmarks.clock import LIMIT
from benchmarks.rows import Goal, Row, fastest, of, seconds, table, value

PACKAGES = (
    "pyoxigraph",
    "rdflib",
    "oxrdflib",
    "pyshacl",
    "ortools",
    "clingo",
    "pytoulbar2",
    "numpy",
    "fastapi",
    "uvicorn",
)
TITLES = {
    "a": "One hop: which installed parts do not mate with this one, and which catalog parts would",
    "b": "The whole optimum",
    "c": "The rules",
    "d": "Over HTTP",
    "e": "Load, open again, patch, memory, disk",
}
TEXTS = {
    "a": """Seconds for one question, the mean of several; each engine has the same triples in one graph in memory.
Ours: the desk's answer on installed parts, with its sentences, and what the classes of parts alike offer instead.""",
    "b": """Ours: the optimum and what the best whole plan costs with every alternative at every changed position.
The peers find the optimum only; the line "and every alternative" says what the fastest one that is not raw takes
to solve the reduced problem again for each. *raw*: a value for each part. *collapsed*: one for all parts of equal
kind and specs. *reduced*: then without what cannot matter (arc consistency, positions that need not be touched,
values that every rule sees alike). In all three the rules are tabulated by spec beforehand, which is not in the
peers' time; reducing, building the model and solving is.""",
    "c": """Running the rules only, not loading; whoever comes to an end derives the same triples. *helped*: rdflib is
made to parse each query once and to join its patterns in a good order, which it does not do by itself. For the
thousand builds ours keeps what it knows of parts and of the vehicle as received, as the service does; working that
out is in its time.""",
    "d": """One client process on the same machine, connections kept open. *ours*: every ask comes once, each for one
part at one position. *ours, cached*: eight asks again and again. *precomputed*: an endpoint of the same framework
and server that returns the same bytes from a dictionary, one process.""",
    "e": """Import by the command line, its start included, on top of the seed data. Memory is what the process takes
more once the store is open and one ask answered.""",
}


def _machine() -> str:
    cpu = "unknown processor"
    info = Path("/proc/cpuinfo")
    if info.exists():
        names = [
            line.partition(":")[2].strip() for line in info.read_text().splitlines() if line.startswith("model name")
        ]
        cpu = names[0] if names else cpu
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / (1 << 30)
    return f"{cpu}, {os.cpu_count()} cores, {memory:.0f} GiB; {platform.system()} {platform.release()}"


def _versions() -> Iterator[str]:
    yield f"Python {platform.python_version()}"
    for name in PACKAGES:
        try:
            yield f"{name} {version(name)}"
        except PackageNotFoundError:
            yield f"{name} not there"


def report(rows: Sequence[Row]) -> str:
    """The page, as Markdown."""
    lines = [
        "# Scale and speed, measured",
        "",
        "Written by `make bench`; do not edit. The parts are made by `tests/benchmarks/generate.py` out of the seed"
        " data: every size has the same 3,300 or so specs, and at most about 10,000 different signatures, as a catalog"
        " has in which many sellers list the same designs.",
        "",
        f"{datetime.now(UTC):%Y-%m-%d %H:%M} UTC. {_machine()}. {', '.join(_versions())}.",
        "",
        f"Figures are medians of several runs in one go. A peer is stopped after {LIMIT:g} s and left out of larger"
        " sizes; every answer of a peer was compared with ours and was equal.",
    ]
    for letter, title in TITLES.items():
        here = of(rows, letter)
        if not here:
            continue
        lines += ["", f"## ({letter}) {title}", "", TEXTS[letter]]
        for case in dict.fromkeys(row.case for row in here):
            lines += ["", *([f"### {case}", ""] if case else []), *table(of(here, letter, case))]
        lines += ["", "Goals:", "", *(goal.line() for goal in GOALS[letter](rows))]
    return "\n".join(lines) + "\n"


# ---------------------------------------------------------------------- goals


def _ratio(over: float | None, under: float | None) -> float | None:
    return None if over is None or under is None else over / under


def _ahead(rows: Sequence[Row], own: str, size: int, endings: tuple[str, ...] = ("",)) -> tuple[float | None, str]:
    """How many times as long the fastest peer takes whose name ends so, and which that is."""
    mine = value(rows, own, size)
    best = fastest(rows, size, lambda engine: engine != own and engine.endswith(endings), LIMIT)
    return (None, "") if mine is None or best is None else (best[0] / mine, best[1])


def _one_hop(rows: Sequence[Row]) -> Iterator[Goal]:
    here = of(rows, "a")
    found, who = _ahead(here, "ours", 100_000)
    yield Goal("times faster than the fastest peer at 100,000 parts (at least 20)", found, 20, because=who)
    grown = _ratio(value(here, "ours", 1_000_000), value(here, "ours", 1_000))
    yield Goal("time at 1,000,000 parts over that at 1,000, same specs (at most 1.5)", grown, 1.5, at_least=False)


def _optimum(rows: Sequence[Row]) -> Iterator[Goal]:
    for case in dict.fromkeys(row.case for row in of(rows, "b")):
        here = of(rows, "b", case)
        for size, forms, wanted in (
            (10_000, (optimum.RAW,), 50.0),
            (100_000, (optimum.COLLAPSED, optimum.REDUCED), 3.0),
        ):
            found, who = _ahead(here, optimum.OURS, size, forms)
            named = " or ".join(forms)
            said = f"{case}: times faster than the fastest {named} peer at {size:,} parts (at least {wanted:g})"
            yield Goal(said, found, wanted, because=who)


def _rules(rows: Sequence[Row]) -> Iterator[Goal]:
    for case in (rules.PLAN, rules.MANY):
        here = of(rows, "c", case)
        if here:
            limit = LIMIT if case == rules.PLAN else LIMIT * rules.BUILDS
            for peer in ("pySHACL on rdflib", "pySHACL on rdflib, helped"):
                mine, theirs = value(here, "ours", here[0].size), value(here, peer, here[0].size)
                said = f"{case}: times faster than {peer} (at least 100)"
                why = "" if theirs is not None else f"at least; it was stopped after {LIMIT:g} s"
                yield Goal(said, _ratio(limit if theirs is None else theirs, mine), 100, because=why)


def _http(rows: Sequence[Row]) -> Iterator[Goal]:
    p50, p99 = of(rows, "d", serving.P50), of(rows, "d", serving.P99)
    for size in sorted({row.size for row in p50}):
        for engine, wanted in ((serving.OURS, 5.0), (serving.CACHED, 1.2)):
            mine, theirs = (value(p50, serving.named(one, 1), size) for one in (engine, serving.PRECOMPUTED))
            said = f"{size:,} parts, {engine}: p50 over that of the same bytes precomputed (at most {wanted:g})"
            yield Goal(said, _ratio(mine, theirs), wanted, at_least=False)
        name = serving.named(serving.OURS, 32)
        found = _ratio(value(p99, name, size), value(p50, name, size))
        yield Goal(f"{size:,} parts, 32 connections: p99 over p50 (at most 10)", found, 10.0, at_least=False)


def _keeping(rows: Sequence[Row]) -> Iterator[Goal]:
    here = of(rows, "e")
    for said, engine, wanted in (
        ("open again at 1,000,000 parts in less than 2 s", "open again", 2.0),
        ("patch one part and answer at 1,000,000 parts within 100 ms", "patch one part and answer", 0.1),
    ):
        yield Goal(said, value(here, engine, 1_000_000), wanted, at_least=False, spell=seconds)


GOALS: dict[str, Callable[[Sequence[Row]], Iterator[Goal]]] = {
    "a": _one_hop,
    "b": _optimum,
    "c": _rules,
    "d": _http,
    "e": _keeping,
}
