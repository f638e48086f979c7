"""Where the ontology and the seed data lie, beside the sources in a checkout, inside the package when installed; and
where a user's own data is kept."""

import os
from pathlib import Path


def data_folder(name: str) -> Path:
    """The folder `ontology` or `seed_data`; raises FileNotFoundError where neither copy exists."""
    package = Path(__file__).resolve().parent
    for candidate in (package / "_data" / name, package.parent.parent / name):
        if candidate.is_dir():
            return candidate
    raise FileNotFoundError(f"no folder {name!r} in {package / '_data'} or {package.parent.parent}")


def user_store() -> Path:
    """The folder of the user's own store, whether or not it is there (XDG Base Directory Specification 0.8)."""
    data = Path(os.environ.get("XDG_DATA_HOME", ""))
    return (data if data.is_absolute() else Path.home() / ".local" / "share") / "crosspin"


def folders_in(text: str) -> list[Path]:
    """Folders as they stand in a setting, one after the other like those of PATH."""
    return [Path(one) for one in text.split(os.pathsep) if one]
