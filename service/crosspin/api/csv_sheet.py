"""The CSV file of a kind: its empty heading, and what its columns mean (CSV on the Web)."""

import csv
import io
import re
from dataclasses import dataclass
from typing import Any

from crosspin.catalog.csv_file import FIXED
from crosspin.model.schema import Datatype, Dimension, Model
from crosspin.model.terms import DEF, UNIT

_NUMBER = r"[+-]?(\d+(\.\d*)?|\.\d+|(\d+[ -])?\d+/\d+)"
_ID = r"[a-z0-9]+([.-][a-z0-9]+)*"
_SPECIAL = re.compile(r"[.^$*+?()\[\]{}|\\]")
_SAID_OF_FIXED = {
    "id": "The part's id: small letters, digits, hyphens and dots.",
    "label": "What it is, in a few words.",
    "price": "The price of one; empty where it is not sold.",
    "stock": "How many there are; empty where that is not known.",
    "lacks": "Features that it is known to be without, with | between them.",
}


@dataclass(frozen=True, slots=True)
class Column:
    """One column of readings."""

    name: str
    title: str
    unit: str
    dimension: Dimension


def columns(model: Model, kind: str) -> list[Column]:
    """The columns of readings of a kind; what is worked out from others has none."""
    found = []
    for name in model.kinds[kind].features:
        feature = model.features[name]
        for identifier in model.feature_kinds[feature.feature_kind].dimensions:
            dimension = model.dimensions[identifier]
            if dimension.formula is None:
                unit = model.units[dimension.unit].symbol if dimension.unit in model.units else ""
                found.append(Column(f"{name}.{identifier}", f"{feature.label}: {dimension.label}", unit, dimension))
    return found


def empty_csv(model: Model, kind: str) -> str:
    """The row of columns and the row of units."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    readings = columns(model, kind)
    writer.writerow([*FIXED, *(c.name for c in readings)])
    units = {"price": model.shop.currency}
    writer.writerow([*(units.get(name, "") for name in FIXED), *(c.unit for c in readings)])
    return text.getvalue()


def csvw_metadata(model: Model, kind: str) -> dict[str, Any]:
    """The metadata document of the file (W3C Metadata Vocabulary for Tabular Data)."""
    return {
        "@context": ["http://www.w3.org/ns/csvw", {"@language": "en"}],
        "url": f"{kind}.csv",
        "dc:title": model.kinds[kind].label,
        "dc:description": model.kinds[kind].definition,
        "dialect": {"encoding": "utf-8", "headerRowCount": 2, "skipBlankRows": True},
        "tableSchema": {
            "primaryKey": "id",
            "aboutUrl": "https://crosspin.example/id/part/{id}",
            "columns": [*(_fixed(name) for name in FIXED), *(_reading(c) for c in columns(model, kind))],
        },
    }


def _fixed(name: str) -> dict[str, Any]:
    formats = {"id": _ID, "price": _NUMBER, "stock": r"\d+"}
    column: dict[str, Any] = {
        "name": name,
        "titles": name,
        "dc:description": _SAID_OF_FIXED[name],
        "required": name in ("id", "label"),
        "datatype": {"base": "string", "format": formats[name]} if name in formats else "string",
    }
    return column | ({"separator": "|"} if name == "lacks" else {})


def _reading(column: Column) -> dict[str, Any]:
    dimension = column.dimension
    if dimension.datatype is not Datatype.CODE:
        form: str | None = _NUMBER
    elif dimension.codes:
        form = "|".join(_SPECIAL.sub(r"\\\g<0>", code) for code in dimension.codes)
    else:
        form = dimension.pattern
    described: dict[str, Any] = {
        "name": column.name,
        "titles": column.name,
        "dc:title": column.title,
        "dc:description": f"{dimension.definition} {dimension.how_to_measure}",
        "propertyUrl": DEF + dimension.id,
        "datatype": {"base": "string", "format": form} if form else "string",
        "separator": "|" if dimension.many else ";",
    }
    if dimension.unit is not None:
        described["http://qudt.org/schema/qudt/unit"] = {"@id": UNIT + dimension.unit}
    return described
