"""When batches are ready, by published times. Ready in taste: only a measured pH shows that a ferment is sour."""

from __future__ import annotations

import polars as pl

from pipeline.kitchen.cautions.acid import FRUIT_FAMILIES

STANDS_WARM = ("pantry",)
"""Stores whose temperature is that of the ferment at work; elsewhere it stands once it is done."""

NARROWER = ("crop", "kind", "piece", "store")
"""A row that names one of these goes before one that does not, the first of them first."""


def ready_days(batches: pl.DataFrame, ready_times: pl.DataFrame, crops: pl.DataFrame) -> pl.DataFrame:
    """How many days each batch takes.

    The rows that fit a batch most narrowly count. Where the temperature of the batch is unknown, all of their
    temperatures do, from the shortest time to the longest.

    Args:
        batches: core batches.
        ready_times: a frame of ``pipeline.reference.ready_times``.
        crops: a frame of ``pipeline.reference.crop_reference``.

    Returns:
        One row per batch in the order given: ``batch_id``, ``days_low``, ``days_high`` (Int64), ``ready_source``,
        ``ready_read_as`` and ``ready_note`` (String). All are null where no time is published; days alone are
        null where the note says why.
    """
    warm = pl.col("store").is_null() | pl.col("store").is_in(STANDS_WARM)
    facts = batches.with_row_index("row").join(crops.select("crop", "family"), on="crop", how="left")
    facts = facts.select(
        "row",
        "method",
        "crop",
        "piece",
        "store",
        kind=pl.when(pl.col("family").is_in(FRUIT_FAMILIES)).then(pl.lit("fruit")),
        at_c=pl.when(warm).then("store_c"),
    )
    fits = [pl.col(f"for_{name}").is_null() | (pl.col(f"for_{name}") == pl.col(name)) for name in NARROWER]
    times = ready_times.rename({name: f"for_{name}" for name in NARROWER}).with_row_index("rank")
    rows = facts.join(times, on="method").filter(*fits, _in_band())
    narrow = pl.concat_str([pl.col(f"for_{name}").is_not_null().cast(pl.Int8) for name in NARROWER])
    best = (
        rows.with_columns(narrow=narrow)
        .filter(pl.col("narrow") == pl.col("narrow").max().over("row"))
        .sort("row", "rank")
        .group_by("row", maintain_order=True)
        .agg(
            days_low=pl.col("days_low").min().cast(pl.Int64),
            days_high=pl.col("days_high").max().cast(pl.Int64),
            ready_source=pl.col("source").unique(maintain_order=True).str.join("; "),
            ready_read_as=pl.col("read_as").unique(maintain_order=True).str.join("; "),
            ready_note=pl.col("note").str.join("; "),
        )
    )
    return (
        batches.select("batch_id")
        .with_row_index("row")
        .join(best, on="row", how="left", maintain_order="left")
        .drop("row")
    )


def _in_band() -> pl.Expr:
    """Whether a row's temperatures hold the batch's own; a row without a time needs a known temperature."""
    at = pl.col("at_c")
    warm_enough = pl.col("least_c").is_null() | (at >= pl.col("least_c"))
    cool_enough = pl.col("below_c").is_null() | (at < pl.col("below_c"))
    timed = pl.col("days_low").is_not_null()
    return pl.when(at.is_null()).then(timed).otherwise(warm_enough & cool_enough)


def ready_dates(batches: pl.DataFrame, ready_times: pl.DataFrame, crops: pl.DataFrame) -> pl.DataFrame:
    """From when to when each batch comes ready.

    Args:
        batches: core batches.
        ready_times: a frame of ``pipeline.reference.ready_times``.
        crops: a frame of ``pipeline.reference.crop_reference``.

    Returns:
        The columns of :func:`ready_days`, with ``ready_from`` and ``ready_to`` (Date) after ``batch_id``; null where
        no time is published.
    """
    made = batches["made_on"]
    return (
        ready_days(batches, ready_times, crops)
        .with_columns(
            ready_from=pl.lit(made) + pl.duration(days=pl.col("days_low")),
            ready_to=pl.lit(made) + pl.duration(days=pl.col("days_high")),
        )
        .select("batch_id", "ready_from", "ready_to", pl.exclude("batch_id", "ready_from", "ready_to"))
    )
