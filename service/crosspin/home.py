"""Where the ontology and the seed data lie: beside the sources in a checkout, inside the package when installed."""

from pathlib import Path


def data_folder(name: str) -> Path:
    """The folder `ontology` or `seed_data`; raises FileNotFoundError where neither copy exists."""
    package = Path(__file__).resolve().parent
    for candidate in (package / "_data" / name, package.parent.parent / name):
        if candidate.is_dir():
            return candidate
    raise FileNotFoundError(f"no folder {name!r} in {package / '_data'} or {package.parent.parent}")
