"""Frames of the typed logs and of the crop reference from a few values; what is left out is null."""

from __future__ import annotations

from typing import Any

import polars as pl

from schemas.contracts import core_types
from schemas.crop_values import CROP_VALUE_NAMES


def core(log: str, *rows: dict[str, Any]) -> pl.DataFrame:
    """Rows of one typed log."""
    schema = core_types(log)
    unknown = {name for row in rows for name in row} - set(schema)
    assert not unknown, f"{log} has no columns {unknown}"
    return pl.DataFrame([{name: row.get(name) for name in schema} for row in rows], schema=schema)


def reference(**crops: dict[str, float]) -> pl.DataFrame:
    """A crop reference of invented values: crop name = its values."""
    schema = {"crop": pl.String, "aliases": pl.String, "family": pl.String, "sown_again": pl.Boolean}
    schema |= dict.fromkeys(CROP_VALUE_NAMES, pl.Float64)
    rows = [dict.fromkeys(schema) | values | {"crop": crop} for crop, values in crops.items()]
    return pl.DataFrame(rows, schema=schema)
