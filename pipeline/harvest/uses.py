"""What the logs say became of fresh produce: eaten, put by, given and wasted, in whole grams as picked."""

from __future__ import annotations

import datetime as dt

import polars as pl

from pipeline.harvest.flow import EATEN, GIVEN, PUT_BY, WASTED
from schemas.codes import LOST_ACTIONS

USES_TYPES: dict[str, pl.DataType] = {
    "crop": pl.String(),
    "day": pl.Date(),
    "kind": pl.Int64(),
    "grams": pl.Int64(),
}


def in_grams(kg: str) -> pl.Expr:
    """A column of kilograms as whole grams."""
    return (pl.col(kg) * 1000).round().cast(pl.Int64)


def put_by_produce(batches: pl.DataFrame, ingredients: pl.DataFrame, crops: pl.DataFrame) -> pl.DataFrame:
    """Produce that went into each batch, by crop, prepared and as picked.

    Rows of ``ingredients`` replace the batch's own crop and produce. As picked = prepared / (1 - refuse
    share); a crop without a refuse share, and anything kept whole (``cure``), is taken as picked. Batches of
    unknown weight are absent: nothing is estimated for them.

    Args:
        batches: typed batch log.
        ingredients: typed ingredient log.
        crops: reference with ``crop`` and ``refuse_pct`` (percent of the picked weight).

    Returns:
        ``batch_id``, ``made_on``, ``crop``, ``prepared_g`` and ``picked_g`` (Int64, grams), sorted by batch.
    """
    listed = ingredients.filter(pl.col("weight_kg").is_not_null()).select("batch_id", "crop", "weight_kg")
    plain = batches.join(listed, on="batch_id", how="anti").filter(pl.col("produce_kg").is_not_null())
    prepared = pl.concat([plain.select("batch_id", "crop", weight_kg="produce_kg"), listed], how="vertical").join(
        batches.select("batch_id", "made_on", "method"), on="batch_id"
    )
    kept_share = 1 - pl.col("refuse_pct").fill_null(0) / 100
    as_picked = pl.when(pl.col("method") == "cure").then("weight_kg").otherwise(pl.col("weight_kg") / kept_share)
    return (
        prepared.join(crops.select("crop", "refuse_pct"), on="crop", how="left")
        .with_columns(picked_kg=as_picked)
        .select("batch_id", "made_on", "crop", prepared_g=in_grams("weight_kg"), picked_g=in_grams("picked_kg"))
        .sort("batch_id", "crop", "prepared_g")
    )


def logged_uses(
    put_by: pl.DataFrame, consumption: pl.DataFrame, spoilage: pl.DataFrame, as_of: dt.date
) -> pl.DataFrame:
    """Every logged use and waste of fresh produce up to a day.

    Rows about a batch are no fresh use. A use that is not named is eating. Waste without an action
    counts; produce that was trimmed or kept is not wasted. Rows without a weight are left out.

    Args:
        put_by: result of ``put_by_produce``.
        consumption: typed consumption log.
        spoilage: typed spoilage log.
        as_of: last day that counts.

    Returns:
        ``crop``, ``day``, ``kind`` (``EATEN``, ``PUT_BY``, ``GIVEN`` or ``WASTED`` of the flow model) and
        ``grams``, one row per crop, day and kind, sorted.
    """
    fresh = pl.col("batch_id").is_null() & pl.col("crop").is_not_null() & pl.col("weight_kg").is_not_null()
    thrown_away = pl.col("action").is_null() | pl.col("action").is_in(sorted(LOST_ACTIONS))
    eaten = pl.col("use").is_null() | (pl.col("use") == "eaten")
    parts = [
        put_by.select("crop", day="made_on", kind=pl.lit(PUT_BY, pl.Int64), grams="picked_g"),
        consumption.filter(fresh).select(
            "crop",
            day="used_on",
            kind=pl.when(eaten).then(EATEN).otherwise(GIVEN).cast(pl.Int64),
            grams=in_grams("weight_kg"),
        ),
        spoilage.filter(fresh & thrown_away).select(
            "crop", day="found_on", kind=pl.lit(WASTED, pl.Int64), grams=in_grams("weight_kg")
        ),
    ]
    return (
        pl.concat(parts)
        .filter(pl.col("day") <= as_of)
        .group_by("crop", "day", "kind")
        .agg(pl.col("grams").sum())
        .sort("crop", "day", "kind")
        .cast(USES_TYPES)  # type: ignore[arg-type]
    )


def unweighed_notes(
    batches: pl.DataFrame, ingredients: pl.DataFrame, consumption: pl.DataFrame, spoilage: pl.DataFrame
) -> list[str]:
    """Sentences that count what the balance cannot know, since no weight was written down."""
    unknown = batches.filter(pl.col("produce_kg").is_null()).join(ingredients, on="batch_id", how="anti").height
    fresh = pl.col("batch_id").is_null() & pl.col("crop").is_not_null() & pl.col("weight_kg").is_null()
    unweighed = consumption.filter(fresh).height + spoilage.filter(fresh).height
    notes = []
    if unknown:
        batch = "batch has" if unknown == 1 else "batches have"
        notes.append(f"{unknown} {batch} no produce weight: what went in is not in the balance.")
    if unweighed:
        row = "row of fresh produce has" if unweighed == 1 else "rows of fresh produce have"
        notes.append(f"{unweighed} {row} no weight and cannot be in the balance.")
    return notes
