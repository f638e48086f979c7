"""The graph from version to version: whoever reads one is not disturbed by the next.

Every version is a folder of its own, `graph-1`, `graph-2` and so on, which shares its large files with the one
before; it is written under another name and takes its own when it is whole.
"""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from crosspin.store.graph import GraphStore
from crosspin.store.hold import take_away

_NAME = "graph-"
_UNFINISHED = ".unfinished"


class GraphVersions:
    """All versions of one graph; a writer must be alone."""

    def __init__(self, folder: Path) -> None:
        """`folder` holds the versions."""
        self._folder = folder

    def latest(self) -> str:
        """The name of the last version; "" where there is none."""
        numbers = [_number(path.name) for path in self._folder.glob(f"{_NAME}*") if not _unfinished(path)]
        return f"{_NAME}{max(numbers)}" if numbers else ""

    def open(self, name: str) -> GraphStore:
        """A version to read from; raises OSError where it is not there."""
        return GraphStore.to_read(self._folder / name)

    @contextmanager
    def following(self, name: str) -> Iterator[tuple[str, GraphStore]]:
        """The version after another one ("" for the first), to be changed; it is there when the context ends well."""
        fresh = f"{_NAME}{_number(name) + 1}"
        path = self._folder / f"{fresh}{_UNFINISHED}"
        shutil.rmtree(path, ignore_errors=True)
        shutil.rmtree(self._folder / fresh, ignore_errors=True)  # was never said to be in force
        if name:
            self.open(name).quads.backup(str(path))
        store = GraphStore(path)
        try:
            yield fresh, store
            store.quads.flush()
        except BaseException:
            del store
            shutil.rmtree(path, ignore_errors=True)
            raise
        store.close()
        path.rename(self._folder / fresh)

    def forget_before(self, name: str) -> None:
        """Delete what was in force before the version before this one, where nobody reads it any more."""
        for path in self._folder.glob(f"{_NAME}*"):
            if not _unfinished(path) and _number(path.name) < _number(name) - 1:
                take_away(path)


def _unfinished(path: Path) -> bool:
    return path.name.endswith(_UNFINISHED)


def _number(name: str) -> int:
    return int(name.removeprefix(_NAME)) if name else 0
