"""The shared garden as an open data package: one CSV file per table, and what each column means.

The descriptor follows Data Package and Table Schema, open standards of the Frictionless Data project
(specs.frictionlessdata.io, version 1).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

import polars as pl

from reports.tables import answer_csv
from schemas.answer_table import Answer
from schemas.dictionary import TABLE_SCHEMA_TYPES
from schemas.shared import SHARED

ABOUT = (
    "What the plots of a shared garden gave together. A figure that rests on too few plots is withheld, and so is"
    " what would give it away: an empty cell. Text cells that start with = + - @ have an apostrophe in front, so that"
    " no spreadsheet runs them."
)


def shared_files(tables: Mapping[str, pl.DataFrame]) -> dict[str, bytes]:
    """Every table as CSV, by its path inside the package."""
    return {f"tables/{name}.csv": answer_csv(tables[name]).encode() for name in SHARED}


def shared_descriptor(title: str, as_of: dt.date, files: Mapping[str, bytes]) -> dict[str, object]:
    """``datapackage.json``: every file with its columns, types, units and meanings.

    Args:
        title: name of the garden.
        as_of: the day of the count.
        files: result of ``shared_files``.
    """
    return {
        "profile": "data-package",
        "name": "shared-garden",
        "title": title,
        "description": ABOUT,
        "created": f"{as_of.isoformat()}T00:00:00Z",
        "resources": [_resource(SHARED[name], files[f"tables/{name}.csv"]) for name in SHARED],
    }


def _resource(table: Answer, content: bytes) -> dict[str, object]:
    return {
        "profile": "tabular-data-resource",
        "name": table.name.replace("_", "-"),
        "path": f"tables/{table.name}.csv",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": len(content),
        "description": f"{table.description}. One row per {table.grain}.",
        "schema": {
            "fields": [
                {
                    "name": column.name,
                    "type": TABLE_SCHEMA_TYPES[column.dtype],
                    "description": column.description,
                    **({"unit": column.unit} if column.unit else {}),
                }
                for column in table.columns
            ]
        },
    }
