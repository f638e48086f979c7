"""Holds on folders: nobody takes away what somebody, in whatever process, still reads."""

import os
import shutil
from contextlib import suppress
from pathlib import Path
from weakref import finalize

try:
    import fcntl
except ImportError:  # no holds here; such systems do not delete a file that is open anyway
    fcntl = None  # type: ignore[assignment]


class Hold:
    """A hold on a folder, shared with others, until this object is gone or its process is, however it ends."""

    def __init__(self, folder: Path) -> None:
        """Raises FileNotFoundError where the folder is not there, or is taken away just now."""
        if fcntl is None:
            return
        place = os.open(folder, os.O_RDONLY)
        finalize(self, os.close, place)
        fcntl.flock(place, fcntl.LOCK_SH)
        if not os.path.samestat(folder.stat(), os.fstat(place)):
            raise FileNotFoundError(f"{folder} was taken away")


def take_away(folder: Path) -> None:
    """Delete a folder with all that is in it, unless somebody holds it."""
    if fcntl is None:
        shutil.rmtree(folder, ignore_errors=True)
        return
    with suppress(OSError):
        place = os.open(folder, os.O_RDONLY)
        try:
            fcntl.flock(place, fcntl.LOCK_EX | fcntl.LOCK_NB)
            shutil.rmtree(folder, ignore_errors=True)
        finally:
            os.close(place)
