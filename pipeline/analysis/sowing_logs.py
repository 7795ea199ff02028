"""What the logs say of each sowing: when its clock started, when it was first picked, how much it gave."""

from __future__ import annotations

import math

import polars as pl

YIELD_PRIOR_SD = math.sqrt(math.log(1 + 0.40**2))
"""Logarithmic spread of yields per metre between gardens: a CV of 40 %, since published tables for the same
crop differ up to 2.7-fold (bush bean 1.79 kg/m, Kansas State MF315, against 0.67, UF/IFAS SP103)."""
YIELD_SD = 0.35
"""Logarithmic spread between sowings of one garden; judgement, no source."""
PICKING_PRIOR_SD, PICKING_SD = 0.4, 0.4
"""The same for the days from first to last pick; judgement, no source."""
VISIT_DAYS = 7
"""An earlier visit further back than this says nothing about when the first pick was ready."""
STARTS_SCHEMA = {
    "sowing_id": pl.String(),
    "crop": pl.String(),
    "clock_from": pl.Date(),
    "first_pick_on": pl.Date(),
    "visited_on": pl.Date(),
    "clock": pl.String(),
}
YIELDS_SCHEMA = {
    "crop": pl.String(),
    "yield_kg_per_m": pl.Float64(),
    "picking_days": pl.Float64(),
    "n": pl.Int64(),
}


def starts_from_logs(sowings: pl.DataFrame, harvests: pl.DataFrame) -> pl.DataFrame:
    """When each sowing started to count warmth and when it was first picked.

    Args:
        sowings: core sowings.
        harvests: core harvests; those dated before the sowing started are left out.

    Returns:
        sowing_id, crop, clock_from (planting out where it was raised and planted out, else sowing),
        first_pick_on (null if none), visited_on (last day before it, within a week, on which anything was
        picked on the same plot: by then the crop was not ready), clock (``planting out`` or ``sowing``).
    """
    raised = (pl.col("start") == "transplant").fill_null(False) & pl.col("planted_out_on").is_not_null()
    starts = sowings.select(
        "sowing_id",
        "crop",
        "plot",
        clock_from=pl.when(raised).then("planted_out_on").otherwise("sown_on"),
        clock=pl.when(raised).then(pl.lit("planting out")).otherwise(pl.lit("sowing")),
    )
    picks = harvests.select("sowing_id", "picked_on", plot_picked="plot").join(
        starts.select("sowing_id", "clock_from", "plot"), on="sowing_id", how="left", maintain_order="left"
    )
    first = (
        picks.filter(pl.col("picked_on") > pl.col("clock_from"))
        .group_by("sowing_id")
        .agg(pl.col("picked_on").min().alias("first_pick_on"))
    )
    dated = starts.join(first, on="sowing_id", how="left", maintain_order="left")
    visits = picks.select(pl.coalesce("plot_picked", "plot").alias("plot"), visited_on="picked_on").unique()
    before = (
        dated.join(visits, on="plot", how="inner", nulls_equal=True)
        .filter(
            pl.col("visited_on") < pl.col("first_pick_on"),
            pl.col("visited_on") >= pl.col("first_pick_on") - pl.duration(days=VISIT_DAYS),
            pl.col("visited_on") > pl.col("clock_from"),
        )
        .group_by("sowing_id")
        .agg(pl.col("visited_on").max())
    )
    return dated.join(before, on="sowing_id", how="left", maintain_order="left").select(STARTS_SCHEMA.keys())


def row_metres(sowings: pl.DataFrame, crops: pl.DataFrame) -> pl.DataFrame:
    """``sowings`` with ``row_m``, the length of row: plants by their distance, areas by that of the rows."""
    spacing = crops.select("crop", "in_row_cm", "row_spacing_cm")
    unit, value = pl.col("amount_unit"), pl.col("amount_value")
    length = (
        pl.when(unit == "m")
        .then(value)
        .when(unit == "plants")
        .then(value * pl.col("in_row_cm") / 100)
        .when(unit == "m2")
        .then(value / (pl.col("row_spacing_cm") / 100))
    )
    joined = sowings.join(spacing, on="crop", how="left", maintain_order="left")
    return joined.with_columns(row_m=length).drop("in_row_cm", "row_spacing_cm")


def fit_yields(sowings: pl.DataFrame, harvests: pl.DataFrame, crops: pl.DataFrame) -> pl.DataFrame:
    """Produce of a metre of row and days of picking, the garden's own shrunk towards the reference.

    A sowing counts once the log runs on past its usual days of picking, so that one that is still being
    picked does not look poor. Sowings without any picking are left out: the log cannot tell failed from not
    logged.

    Args:
        sowings: core sowings.
        harvests: core harvests; those without a sowing are not used.
        crops: crop, yield_kg_per_m, picking_days, in_row_cm, row_spacing_cm; any value may be null.

    Returns:
        crop, yield_kg_per_m, picking_days, n (sowings learned from), one row per row of ``crops``; null where
        neither the reference nor the log knows.
    """
    log_end = harvests["picked_on"].max()
    picked = (
        harvests.drop_nulls("sowing_id")
        .group_by("sowing_id")
        .agg(
            pl.col("weight_kg").sum().alias("kg"),
            pl.col("picked_on").min().alias("first"),
            pl.col("picked_on").max().alias("last"),
        )
    )
    reference = crops.select(
        "crop", prior_yield=pl.col("yield_kg_per_m"), prior_days=pl.col("picking_days").clip(lower_bound=1.0)
    )
    known = (
        row_metres(sowings, crops)
        .join(picked, on="sowing_id", how="inner")
        .join(reference, on="crop", how="inner")
        .filter(
            pl.col("kg") > 0,
            pl.col("row_m") > 0,
            pl.lit(log_end, dtype=pl.Date)
            >= pl.col("first") + pl.duration(days=1) * pl.col("prior_days").fill_null(28.0).ceil().cast(pl.Int64),
        )
        .with_columns(days=(pl.col("last") - pl.col("first")).dt.total_days().cast(pl.Float64))
    )
    own = known.group_by("crop").agg(
        (pl.col("kg").sum() / pl.col("row_m").sum()).log().alias("own_yield"),
        pl.len().cast(pl.Int64).alias("n"),
        pl.col("days").filter(pl.col("days") > 0).log().mean().alias("own_days"),
        (pl.col("days") > 0).sum().cast(pl.Int64).alias("n_days"),
    )
    joined = reference.join(own, on="crop", how="left", maintain_order="left").with_columns(
        pl.col("n", "n_days").fill_null(0)
    )
    return joined.select(
        "crop",
        _shrunk("prior_yield", "own_yield", "n", YIELD_PRIOR_SD, YIELD_SD).alias("yield_kg_per_m"),
        _shrunk("prior_days", "own_days", "n_days", PICKING_PRIOR_SD, PICKING_SD).alias("picking_days"),
        "n",
    )


def _shrunk(prior: str, own_log: str, count: str, prior_sd: float, sd: float) -> pl.Expr:
    """Precision-weighted mean on the logarithmic scale; the one that is known where only one is."""
    own_precision = pl.col(count) / sd**2
    mixed = (pl.col(prior).log() / prior_sd**2 + pl.col(own_log) * own_precision) / (1 / prior_sd**2 + own_precision)
    return pl.coalesce(mixed.exp(), pl.col(prior), pl.col(own_log).exp())
