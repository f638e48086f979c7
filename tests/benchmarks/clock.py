"""Times what is to be compared: median of several runs, peers in a process of their own that is ended in time."""

import multiprocessing
import os
import resource
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from time import perf_counter
from typing import Generic, TypeVar

LIMIT = 60.0
"""Seconds after which a peer is stopped."""

MEMORY = 6 << 30
"""Bytes that a peer may take beyond what it starts with."""

Result = TypeVar("Result")


@dataclass(frozen=True)
class Timed(Generic[Result]):
    """The median of the seconds that a question took, and its answer."""

    seconds: float
    answer: Result


@dataclass(frozen=True)
class Stopped:
    """Why there is no answer: too slow, too large, or what the engine itself says."""

    why: str


def timed(ask: Callable[[], Result], runs: int = 5, enough: float = 5.0) -> Timed[Result]:
    """Ask several times, but no more once it took `enough` seconds together."""
    took: list[float] = []
    while True:
        started = perf_counter()
        answer = ask()
        took.append(perf_counter() - started)
        if len(took) == runs or sum(took) > enough:
            return Timed(median(took), answer)


def limited(ask: Callable[[], Result], seconds: float = LIMIT) -> Result | Stopped:
    """The answer of a child process that shares what is in memory now; it is stopped after some seconds.

    The answer must be picklable.  What the child prints is dropped: some engines talk.
    """
    context = multiprocessing.get_context("fork")
    receiver, sender = context.Pipe(duplex=False)

    def work() -> None:
        silence = os.open(os.devnull, os.O_WRONLY)
        os.dup2(silence, 1)
        os.dup2(silence, 2)
        taken = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
        resource.setrlimit(resource.RLIMIT_AS, (taken + MEMORY, taken + MEMORY))
        try:
            sender.send(ask())
        except MemoryError:
            sender.send(Stopped(f"more than {MEMORY >> 30} GB"))
        except Exception as error:
            sender.send(Stopped(f"{type(error).__name__}: {error}"))

    child = context.Process(target=work)
    child.start()
    sender.close()
    try:
        if not receiver.poll(seconds):
            return Stopped(f"> {seconds:g} s")
        found: Result | Stopped = receiver.recv()
        return found
    except EOFError:
        return Stopped("ended by itself, most likely for want of memory")
    finally:
        child.kill()
        child.join()
