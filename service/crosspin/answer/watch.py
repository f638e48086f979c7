"""Watches the folders of the ontology and its packs, and lets a desk answer by what they say now.

For people who write packs: where others work with the answers, what they follow from should change at a start only.
"""

import logging
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from threading import Event

from crosspin.answer.desk import Desk
from crosspin.model.drafts import Problem, Refused
from crosspin.model.reader import BrokenOntology
from crosspin.rules.inspection import inspect
from crosspin.store.graph import BrokenText
from crosspin.store.packs import BrokenPack, Fault

_log = logging.getLogger("crosspin.watch")

Stamp = tuple[tuple[str, int, int], ...]


@dataclass(frozen=True, slots=True)
class Look:
    """What the folders were like when last looked at, and why what they said was refused: nothing where it was
    taken."""

    stamp: Stamp
    refused: tuple[Problem, ...] = ()


class Watch:
    """Looks for changes of the folders that a desk answers by.  What is broken is refused with the reasons, and the
    desk goes on with the last that was whole."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._look = Look(stamp_of(desk.library.folders))

    @property
    def refused(self) -> tuple[Problem, ...]:
        """Why the folders as they are now were not taken; empty where they were."""
        return self._look.refused

    def run(self, seconds: float, stop: Event) -> None:
        """Look every so many seconds until told to stop."""
        while not stop.wait(seconds):
            try:
                self.look()
            except Exception:  # whatever it is, the next change has to be seen
                _log.exception("the folders could not be looked at")

    def look(self) -> bool:
        """Take what the folders say if anything has changed since last time; whether something had."""
        folders = self._desk.library.folders
        stamp = stamp_of(folders)
        if stamp == self._look.stamp:
            return False
        refused = self._take(folders)
        for problem in refused:
            _log.warning("not taken: %s: %s. %s.", problem.place, problem.wrong, problem.mend)
        if not refused:
            _log.info("taken: version %s", self._desk.holdings.version)
        self._look = Look(stamp, refused)
        return True

    def _take(self, folders: tuple[Path, ...]) -> tuple[Problem, ...]:
        ontology, *packs = folders
        faults = inspect(ontology, packs) if packs else ()
        if faults:
            return _problems(faults)
        try:
            self._desk.reread()
        except BrokenPack as error:
            return _problems(error.faults)
        except Refused as error:
            return tuple(error.problems)
        except (BrokenText, BrokenOntology) as error:
            return (Problem("the ontology with its packs", str(error), "Mend the text there"),)
        return ()


def _problems(faults: Iterable[Fault]) -> tuple[Problem, ...]:
    return tuple(Problem(fault.place, fault.wrong, fault.right) for fault in faults)


def stamp_of(folders: Iterable[Path]) -> Stamp:
    """Every file below some folders with the time of its last change and its size."""
    found = []
    for folder in folders:
        for path in sorted(folder.rglob("*")):
            try:
                status = path.stat()
            except OSError:
                continue  # gone since the folder was listed
            if path.is_file():
                found.append((str(path), status.st_mtime_ns, status.st_size))
    return tuple(found)
