"""The seed data, opened once for all tests that only read it."""

from functools import cache
from pathlib import Path

from crosspin.answer.desk import Desk
from crosspin.catalog.library import Library

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
