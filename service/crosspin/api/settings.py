"""What the service can be told when it starts."""

import os
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path

from crosspin.home import folders_in
from crosspin.store.sparql import QueryLimits

PREFIX = "CROSSPIN_"


class WrongSetting(ValueError):
    """A setting in the environment that cannot be used; the message names it and says what would be right."""


@dataclass(frozen=True, slots=True)
class Settings:
    """Every setting; the environment variable is CROSSPIN_ and the name in capitals.

    api_key        what a writer must send as X-API-Key; empty: only this machine may write
    body_limit     bytes of a question or query
    import_limit   bytes of an import
    answers        answers worked out at the same time
    waiting        questions that may wait for their turn; more are sent away with 503
    kept_bytes     bytes of answers that are kept to be sent again, in each process
    query_seconds  time of one SPARQL query
    query_memory   bytes that one SPARQL query may take beyond the data
    query_rows     rows or triples of one SPARQL result; more are cut off and said to be
    query_workers  SPARQL queries at the same time
    store          folder of the store
    packs          folders of packs, one after the other like those of PATH
    asks           folders of saved asks, as JSON, beside those that are shipped
    reload_seconds how often it is looked whether the ontology or a pack has changed; 0: never
    """

    api_key: str = ""
    body_limit: int = 1024 * 1024
    import_limit: int = 64 * 1024 * 1024
    answers: int = 2
    waiting: int = 64
    kept_bytes: int = 64 * 1024 * 1024
    query_seconds: float = 10.0
    query_memory: int = 512 * 1024 * 1024
    query_rows: int = 10_000
    query_workers: int = 2
    store: str = ""
    packs: str = ""
    asks: str = ""
    reload_seconds: float = 0.0

    @classmethod
    def from_environment(cls, environment: Mapping[str, str] = os.environ) -> "Settings":
        """The settings that the environment gives, the rest as they are here.

        Raises WrongSetting for a name that is none of ours or a value that is not a number above nought.
        """
        known = {PREFIX + field.name.upper(): field for field in fields(cls)}
        values: dict[str, str | int | float] = {}
        for name, text in environment.items():
            if not name.startswith(PREFIX):
                continue
            if name not in known:
                raise WrongSetting(f"{name}: there is no such setting. Use one of {', '.join(known)}")
            field = known[name]
            values[field.name] = (
                text if field.type is str else _number(name, text, float if field.type is float else int)
            )
        return cls(**values)  # type: ignore[arg-type]

    @property
    def asks_folders(self) -> list[Path]:
        """The folders of saved asks."""
        return folders_in(self.asks)

    @property
    def query_limits(self) -> QueryLimits:
        """The limits of one SPARQL query."""
        return QueryLimits(self.query_seconds, self.query_memory, self.query_rows, self.query_workers)


def _number(name: str, text: str, sort: type[int] | type[float]) -> int | float:
    try:
        value = sort(text)
    except ValueError:
        raise WrongSetting(f"{name}: this is not a number. Write digits only") from None
    if not 0 < value < float("inf"):
        raise WrongSetting(f"{name}: this is not above nought. Write a number above nought")
    return value
