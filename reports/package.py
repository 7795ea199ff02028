"""Typed logs and answers as a Data Package: open files that any tool can read.

The descriptor follows Data Package and Table Schema, open standards of the Frictionless Data project
(specs.frictionlessdata.io, version 1).
"""

from __future__ import annotations

import datetime as dt
import io
import re
from collections.abc import Mapping

import polars as pl

from reports.tables import answer_csv
from schemas.answers import ANSWERS
from schemas.dictionary import answer_table_schema, log_table_schema
from schemas.logs import LOGS


def package_files(logs: Mapping[str, pl.DataFrame], answers: Mapping[str, pl.DataFrame], form: str) -> dict[str, bytes]:
    """Every table as a file, by its path inside the package.

    Args:
        logs: typed rows by log.
        answers: answer tables by name.
        form: ``csv`` or ``parquet``. In CSV a text cell that a spreadsheet would run gets an apostrophe in
            front; Parquet keeps every text as it is.
    """
    frames = {f"logs/{name}": frame for name, frame in logs.items()}
    frames |= {f"answers/{name}": frame for name, frame in answers.items()}
    return {f"{path}.{form}": _bytes(frame, form) for path, frame in frames.items()}


def _bytes(frame: pl.DataFrame, form: str) -> bytes:
    if form == "csv":
        return answer_csv(frame).encode()
    buffer = io.BytesIO()
    frame.write_parquet(buffer)
    return buffer.getvalue()


def descriptor(garden_name: str, as_of: dt.date, files: Mapping[str, bytes], form: str) -> dict[str, object]:
    """``datapackage.json``: every file with its columns, types, units and meanings."""
    resources = []
    for path, content in files.items():
        group, name = path.removesuffix(f".{form}").split("/")
        schema = log_table_schema(LOGS[name]) if group == "logs" else answer_table_schema(name)
        about = LOGS[name].one_row_is if group == "logs" else ANSWERS[name].description
        resource: dict[str, object] = {
            "name": f"{group}-{name}".replace("_", "-"),
            "path": path,
            "format": form,
            "description": about,
            "bytes": len(content),
            "schema": schema,
        }
        if form == "csv":
            resource |= {"profile": "tabular-data-resource", "mediatype": "text/csv", "encoding": "utf-8"}
        resources.append(resource)
    slug = re.sub(r"[^a-z0-9]+", "-", garden_name.casefold()).strip("-") or "garden"
    return {
        "profile": "data-package",
        "name": slug,
        "title": garden_name,
        "description": (
            "Typed logs and answers of one season folder. Text cells that start with = + - @ have an apostrophe in"
            " front in CSV, so that no spreadsheet runs them."
        ),
        "created": f"{as_of.isoformat()}T00:00:00Z",
        "resources": resources,
    }
