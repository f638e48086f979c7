"""What is typed is looked up here: the text index of a snapshot, and the order in which parts are found."""

import sqlite3
from collections.abc import Collection, Mapping

MANY = 100_000
"""From how many parts on it is quicker to index all anew than to take them out one by one."""

GAP = 1 << 36
"""How far the ranks of neighbours lie apart at first, so that there is room for others between them."""

_FIRST, _BEYOND = (-1, ""), (2, "")
"""Where nothing stands in the order of parts (unpriced, id): before all, and behind all."""

_INDEXED = """
SELECT rank, part.id, label, class.kind, (
    SELECT group_concat('q' || mark, ' ') FROM (
        SELECT mark FROM holding JOIN mark USING (feature, spec) WHERE holding.class = part.class ORDER BY mark
    )
) FROM part JOIN class USING (class)"""


class TextIndex:
    """The table of words in a snapshot.  Every part in it has a rank: orderable parts first, then by id."""

    def __init__(self, base: sqlite3.Connection, words_of_kinds: Mapping[str, str]) -> None:
        self._base = base
        self._words = words_of_kinds
        self._anew = False

    def _text(self, name: str, label: str, kind: str, marks: str | None) -> tuple[str, str, str]:
        """What stands in the text index for a part."""
        return f"{name} ; {label}", self._words.get(kind, ""), marks or ""

    def take_out(self, source: int) -> None:
        """Take out the parts of a source; of many, empty the index, to be filled anew."""
        number = self._base.execute("SELECT count(*) FROM part WHERE source = ?", (source,)).fetchone()[0]
        if number > MANY:
            self._anew = True
            return
        rows = self._base.execute(f"{_INDEXED} WHERE source = ? AND rank IS NOT NULL", (source,)).fetchall()
        for rank, *said in rows:
            self._base.execute(
                "INSERT INTO words (words, rowid, name, kind, marks) VALUES ('delete', ?, ?, ?, ?)",
                (rank, *self._text(*said)),
            )

    def put_in(self, sources: Collection[int]) -> None:
        """Give every part of some sources, which are new, its rank between those of its neighbours, and put it in."""
        fresh_sources = f"source IN ({', '.join(map(str, sorted(sources)))})"
        if self._anew or not self._rank_new(fresh_sources):
            self._base.execute("INSERT INTO words (words) VALUES ('delete-all')")
            self._base.execute("UPDATE part SET rank = NULL")
            self._rank_new("rank IS NULL")
            fresh = "WHERE rank IS NOT NULL"
        else:
            fresh = "WHERE part.id IN (SELECT id FROM fresh)"
        self._anew = False
        rows = self._base.execute(f"{_INDEXED} {fresh} ORDER BY rank")
        filling = self._base.cursor()
        filling.executemany(
            "INSERT INTO words (rowid, name, kind, marks) VALUES (?, ?, ?, ?)",
            ((rank, *self._text(*said)) for rank, *said in rows),
        )

    def _rank_new(self, which: str) -> bool:
        """Rank the parts that have none yet, `which` they are in SQL; False where there is no room between two
        neighbours."""
        self._base.execute("DROP TABLE IF EXISTS temp.fresh")
        self._base.execute("CREATE TEMP TABLE fresh (id TEXT PRIMARY KEY, rank INTEGER) WITHOUT ROWID")
        ranked = self._base.execute("SELECT 1 FROM part WHERE rank IS NOT NULL LIMIT 1").fetchone() is not None
        new = self._base.execute(f"SELECT cents IS NULL, id FROM part WHERE {which} ORDER BY cents IS NULL, id")
        waiting: list[str] = []
        low, high, end = 0, None, _FIRST
        for unpriced, name in new.fetchall():
            if (unpriced, name) > end:  # new ones up to there have the same neighbours
                if not self._spread(waiting, low, high):
                    return False
                waiting = []
                high, end = self._neighbour(unpriced, name) if ranked else (None, _BEYOND)
                low = self._below(high) if ranked else 0
            waiting.append(name)
        if not self._spread(waiting, low, high):
            return False
        rank = "SELECT rank FROM temp.fresh AS fresh WHERE fresh.id = part.id"
        self._base.execute(f"UPDATE part SET rank = ({rank}) WHERE id IN (SELECT id FROM temp.fresh)")
        return True

    def _neighbour(self, unpriced: int, name: str) -> tuple[int | None, tuple[int, str]]:
        """The rank of the next ranked part behind this one, and where it stands in the order."""
        for group, after in ((unpriced, name), (1, "")) if not unpriced else ((1, name),):
            row = self._base.execute(
                "SELECT rank, id FROM part WHERE rank IS NOT NULL AND (cents IS NULL) = ? AND id > ?"
                " ORDER BY id LIMIT 1",
                (group, after),
            ).fetchone()
            if row is not None:
                return int(row[0]), (group, str(row[1]))
        return None, _BEYOND

    def _below(self, high: int | None) -> int:
        """The rank of the last ranked part before a rank, or of the very last one."""
        where, values = ("rank IS NOT NULL", ()) if high is None else ("rank < ?", (high,))
        row = self._base.execute(f"SELECT rank FROM part WHERE {where} ORDER BY rank DESC LIMIT 1", values).fetchone()
        return 0 if row is None else int(row[0])

    def _spread(self, names: list[str], low: int, high: int | None) -> bool:
        """Give parts ranks between two, as far apart as there is room; False where there is not enough."""
        step = GAP if high is None else (high - low) // (len(names) + 1)
        if not step:
            return False
        ranks = ((name, low + step * place) for place, name in enumerate(names, start=1))
        self._base.executemany("INSERT INTO fresh VALUES (?, ?)", ranks)
        return True
