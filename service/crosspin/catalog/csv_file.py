"""Reads drafts of parts out of a CSV file: one kind a file, a column for each `feature.dimension`.

First row: `id,label,price,stock,lacks`, then `feature.dimension` columns.  Second row: the unit that each
column was published in.  A cell holds one value; `a|b` are several accepted values, `a;b` sources that
disagree; an empty cell is a reading that nobody has.
"""

import csv
import io
from collections.abc import Iterator

from crosspin.model.drafts import COLUMN, Cell, PartDraft, Problem

FIXED = ("id", "label", "price", "stock", "lacks")


def read_csv(text: bytes, kind: str, name: str) -> Iterator[PartDraft | Problem]:
    """The parts of one file, row by row, and what is wrong with the file, naming row and column."""
    try:
        rows = csv.reader(io.StringIO(text.decode("utf-8-sig"), newline=""), strict=True)
    except UnicodeDecodeError as error:
        yield Problem(f"{name}, byte {error.start}", "this is not UTF-8 text", "Save the file as UTF-8")
        return
    try:
        yield from _rows(rows, kind, name)
    except csv.Error as error:
        yield Problem(name, f"this is not a CSV file: {error}", "Quote cells that hold commas or quotes")


def _rows(rows: Iterator[list[str]], kind: str, name: str) -> Iterator[PartDraft | Problem]:
    heading, units = next(rows, None), next(rows, None)
    if heading is None or units is None:
        yield Problem(name, "the file has no heading", "Start with a row of column names and a row of units")
        return
    problems = _heading_problems(heading, units, name)
    if problems:
        yield from problems
        return
    for number, row in enumerate(rows, start=3):
        if not any(row):
            continue
        if len(row) != len(heading):
            wrong = f"the row has {len(row)} cells, the heading {len(heading)}"
            yield Problem(f"{name}, row {number}", wrong, "Give every row as many cells as the heading")
            continue
        yield _part(dict(zip(heading, row, strict=True)), dict(zip(heading, units, strict=False)), kind, name, number)


def _heading_problems(heading: list[str], units: list[str], name: str) -> list[Problem]:
    problems = []
    for column in ("id", "label"):
        if column not in heading:
            problems.append(Problem(f"{name}, row 1", f"there is no column {column!r}", "Add it"))
    for column in heading:
        if column not in FIXED and column.count(".") != 1:
            mend = f"Use {', '.join(FIXED)} or feature.dimension"
            problems.append(Problem(f"{name}, row 1, column {column!r}", "the name is not understood", mend))
        if heading.count(column) > 1:
            problems.append(Problem(f"{name}, row 1, column {column!r}", "the column stands twice", "Keep one"))
    if len(units) != len(heading):
        wrong = f"the row of units has {len(units)} cells, the heading {len(heading)}"
        problems.append(Problem(f"{name}, row 2", wrong, "Give every column its unit, or an empty cell"))
    return problems


def _part(row: dict[str, str], units: dict[str, str], kind: str, name: str, number: int) -> PartDraft:
    cells = []
    for column, content in row.items():
        if column in FIXED or not content.strip():
            continue
        feature, dimension = column.split(".")
        disputed = ";" in content
        texts = tuple(text.strip() for text in content.split(";" if disputed else "|"))
        place = COLUMN.format(f"{name}, row {number}", column)
        cells.append(Cell(feature, dimension, texts, units[column].strip(), place, disputed))
    return PartDraft(
        place=f"{name}, row {number}",
        id=row["id"].strip(),
        kind=kind,
        label=row["label"].strip(),
        price=row.get("price", "").strip() or None,
        stock=row.get("stock", "").strip() or None,
        lacks=tuple(f.strip() for f in row.get("lacks", "").split("|") if f.strip()),
        cells=tuple(cells),
        column=COLUMN,
    )
