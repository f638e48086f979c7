"""What has changed in the ontology from version to version.

`ontology/changes` has a list of the terms of each version that was given out; the log is made by comparing them, and
the last with the terms that there are now.
"""

import sys
from collections.abc import Collection, Mapping
from pathlib import Path

from crosspin.home import data_folder
from crosspin.model.base import Frozen
from crosspin.store.packs import read_packs, terms_of


class Release(Frozen):
    """One version of the ontology ("" for what is not given out yet): terms that came, terms that went, and, by
    term deprecated since, the one in its place."""

    version: str
    added: tuple[str, ...]
    gone: tuple[str, ...]
    deprecated: dict[str, str]


def change_log(
    folder: Path, terms: Collection[str], since: Mapping[str, str], replaced: Mapping[str, str]
) -> tuple[Release, ...]:
    """The versions of which the folder has lists, oldest first, and what came after; `terms` are those of now,
    `since` tells from which version a term is deprecated, `replaced` what is written in its place."""
    lists = {path.stem: frozenset(path.read_text(encoding="utf-8").split()) for path in folder.glob("*.txt")}
    before: frozenset[str] = frozenset()
    log = []
    for version, now in [*sorted(lists.items(), key=lambda pair: _number(pair[0])), ("", frozenset(terms))]:
        log.append(
            Release(
                version=version,
                added=tuple(sorted(now - before)),
                gone=tuple(sorted(before - now)),
                deprecated={term: replaced[term] for term in sorted(replaced) if since.get(term) == version},
            )
        )
        before = now
    return tuple(log)


def _number(version: str) -> tuple[int, ...]:
    return tuple(int(part) for part in version.split("."))


def main(path: Path) -> None:
    """Write the terms of the shipped ontology down, as the list of a version that is given out."""
    path.write_text("\n".join(terms_of(read_packs(data_folder("ontology")))) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
