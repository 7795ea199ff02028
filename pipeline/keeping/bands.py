"""Numbers and free words of a batch as groups that batches can be compared by."""

from __future__ import annotations

from itertools import pairwise

import polars as pl

BANDS: dict[str, tuple[str, tuple[float, ...], str]] = {
    "drying_band": ("drying_c", (45.0, 55.0, 65.0), "C"),
    "warmth_band": ("store_c", (-10.0, 0.0, 8.0, 15.0, 20.0, 25.0), "C"),
    "size_band": ("container_ml", (300.0, 600.0, 1200.0, 2500.0), "ml"),
}
"""For each band the column it is of, where one band ends and the next begins (which it holds), and the unit."""
FREE_WORDS = ("weighted_by", "salt_kind")
"""Columns in the grower's own words; case and spaces make no other group."""


def with_bands(batches: pl.DataFrame) -> pl.DataFrame:
    """Add the bands of :data:`BANDS`, null where the number is not known, and free words in one spelling.

    Args:
        batches: any frame; a column that is not there gives no band.
    """
    there = [name for name in FREE_WORDS if name in batches.columns]
    words = batches.with_columns(
        pl.col(name).str.to_lowercase().str.strip_chars().str.replace_all(r"\s+", " ") for name in there
    )
    return words.with_columns(
        _band(column, cuts, unit).alias(name)
        for name, (column, cuts, unit) in BANDS.items()
        if column in batches.columns
    )


def _band(column: str, cuts: tuple[float, ...], unit: str) -> pl.Expr:
    value = pl.col(column)
    names = [
        f"under {cuts[0]:g} {unit}",
        *(f"{low:g} to {high:g} {unit}" for low, high in pairwise(cuts)),
        f"{cuts[-1]:g} {unit} or more",
    ]
    band: pl.Expr = pl.when(value.is_not_null()).then(pl.lit(names[0]))
    for cut, name in zip(cuts, names[1:], strict=True):
        band = pl.when(value >= cut).then(pl.lit(name)).otherwise(band)
    return band
