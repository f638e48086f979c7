"""The seed data: opened once for all tests that only read it, copied for those that write."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from fcntl import LOCK_EX, flock
from functools import cache
from hashlib import sha256
from pathlib import Path
from shutil import copytree
from tempfile import TemporaryDirectory

from crosspin.answer.desk import Desk
from crosspin.catalog.library import Library
from crosspin.store.graph import folder_digest

ROOT = Path(__file__).parent.parent


@cache
def seed_library() -> Library:
    library = Library(ROOT / "ontology")
    library.import_folder(ROOT / "seed_data")
    return library


def orderable(library: Library, kind: str) -> list[str]:
    """Ids of the parts of a kind, or a kind below it, that can be ordered."""
    kinds = library.model.kinds_below[kind]
    return [part.id for part in library.holdings.catalog.listing(kinds, orderable=True, limit=10_000).parts]


@cache
def seed_desk() -> Desk:
    return Desk(seed_library())


def seed_store(*packs: Path) -> Path:
    """A store with the seed data, under packs that say this; made once a run, whatever process wants it first.

    It is to be copied, not opened.
    """
    name = sha256(b"".join(map(folder_digest, packs))).hexdigest()[:16]
    store = Path(os.environ["SHARED_BY_TESTS"]) / name
    with store.with_suffix(".lock").open("w") as lock:
        flock(lock, LOCK_EX)
        if not store.is_dir():
            unfinished = store.with_suffix(".unfinished")
            library = Library(ROOT / "ontology", unfinished, packs)
            library.import_folder(ROOT / "seed_data")
            library.take_in_data()
            del library
            unfinished.rename(store)
    return store


@contextmanager
def own_desk(*packs: Path) -> Iterator[Desk]:
    """A desk over a store of its own with the seed data, which may be written to."""
    with TemporaryDirectory() as folder:
        yield Desk.open(copytree(seed_store(*packs), Path(folder) / "store"), packs)
