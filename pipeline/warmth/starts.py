"""What the logs say of each sowing: when its clock started, when it was first picked, how much it gave."""

from __future__ import annotations

import datetime as dt
import math

import polars as pl

from pipeline.warmth.clock import calendar_day, day_number
from pipeline.warmth.picking_curve import FEWEST_PICKS, Picks, picking_spread, ready_day

YIELD_PRIOR_SD = math.sqrt(math.log(1 + 0.40**2))
"""Logarithmic spread of yields per metre between gardens: a CV of 40 %, since published tables for the same
crop differ up to 2.7-fold (bush bean 1.79 kg/m, Kansas State MF315, against 0.67, UF/IFAS SP103)."""
YIELD_SD = 0.35
"""Logarithmic spread between sowings of one garden; judgement, no source."""
VISIT_DAYS = 7
"""An earlier visit further back than this says nothing about when the first pick was ready."""
STARTS_SCHEMA = {
    "sowing_id": pl.String(),
    "crop": pl.String(),
    "clock_from": pl.Date(),
    "first_pick_on": pl.Date(),
    "visited_on": pl.Date(),
    "ready_on": pl.Date(),
    "clock": pl.String(),
}
YIELDS_SCHEMA = {
    "crop": pl.String(),
    "yield_kg_per_m": pl.Float64(),
    "picking_days": pl.Float64(),
    "n": pl.Int64(),
}


def starts_from_logs(sowings: pl.DataFrame, harvests: pl.DataFrame, yields: pl.DataFrame | None = None) -> pl.DataFrame:
    """When each sowing started to count warmth and when it was first picked.

    Args:
        sowings: core sowings.
        harvests: core harvests; those dated before the sowing started are left out.
        yields: of ``fit_yields``; its days of picking let ``ready_on`` be found.

    Returns:
        sowing_id, crop, clock_from (planting out where it was raised and planted out, else sowing),
        first_pick_on (null if none), visited_on (last day before it, within a week, on which anything was
        picked on the same plot: by then the crop was not ready), ready_on (from the curve through three picks or
        more), clock (``planting out`` or ``sowing``).
    """
    raised = (pl.col("start") == "transplant").fill_null(False) & pl.col("planted_out_on").is_not_null()
    starts = sowings.select(
        "sowing_id",
        "crop",
        "plot",
        clock_from=pl.when(raised).then("planted_out_on").otherwise("sown_on"),
        clock=pl.when(raised).then(pl.lit("planting out")).otherwise(pl.lit("sowing")),
    )
    picks = harvests.select("sowing_id", "picked_on", "weight_kg", plot_picked="plot").join(
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
    visited = dated.join(before, on="sowing_id", how="left", maintain_order="left")
    return visited.join(_ready(visited, picks, yields), on="sowing_id", how="left", maintain_order="left").select(
        STARTS_SCHEMA.keys()
    )


def _ready(starts: pl.DataFrame, picks: pl.DataFrame, yields: pl.DataFrame | None) -> pl.DataFrame:
    """sowing_id, ready_on of the sowings whose picks tell it."""
    schema = {"sowing_id": pl.String(), "ready_on": pl.Date()}
    if yields is None:
        return pl.DataFrame(schema=schema)
    usable = picks.filter(pl.col("picked_on") > pl.col("clock_from"))
    known = starts.drop_nulls("first_pick_on").join(yields.drop_nulls("picking_days"), on="crop", how="inner")
    curves = _picks_of(usable)
    rows = []
    for row in known.iter_rows(named=True):
        days, kg = curves[row["sowing_id"]]
        if len(days) < FEWEST_PICKS or kg.sum() <= 0:
            continue
        since = row["visited_on"] or row["first_pick_on"]
        ready = calendar_day(round(ready_day((days, kg), row["picking_days"], day_number(since))))
        # A sowing cannot be ready before its clock starts.
        rows.append((row["sowing_id"], max(ready, row["clock_from"] + dt.timedelta(days=1))))
    return pl.DataFrame(rows, schema=schema, orient="row")


def _picks_of(picks: pl.DataFrame) -> dict[str, Picks]:
    """Days and kg picked on each, by sowing."""
    by_day = picks.group_by("sowing_id", "picked_on", maintain_order=True)
    daily = by_day.agg(pl.col("weight_kg").sum()).sort("sowing_id", "picked_on")
    number = daily.with_columns(pl.col("picked_on").cast(pl.Int32).cast(pl.Float64))
    return {
        sowing_id: (rows["picked_on"].to_numpy(), rows["weight_kg"].to_numpy())
        for (sowing_id,), rows in number.group_by("sowing_id", maintain_order=True)
    }


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
        .group_by("sowing_id", maintain_order=True)
        .agg(
            pl.col("weight_kg").sum().alias("kg"),
            pl.col("picked_on").min().alias("first"),
        )
    )
    reference = crops.select(
        "crop", prior_yield=pl.col("yield_kg_per_m"), prior_days=pl.col("picking_days").clip(lower_bound=1.0)
    )
    known = (
        row_metres(sowings, crops)
        .join(picked, on="sowing_id", how="inner", maintain_order="left")
        .join(reference, on="crop", how="inner", maintain_order="left")
        .filter(
            pl.col("kg") > 0,
            pl.col("row_m") > 0,
            pl.lit(log_end, dtype=pl.Date)
            >= pl.col("first") + pl.duration(days=1) * pl.col("prior_days").fill_null(28.0).ceil().cast(pl.Int64),
        )
    )
    # Sums in the order of the rows: in another order the last digit differs, and so would a plan made from it.
    own = known.group_by("crop", maintain_order=True).agg(
        (pl.col("kg").sum() / pl.col("row_m").sum()).log().alias("own_yield"), pl.len().cast(pl.Int64).alias("n")
    )
    joined = reference.join(own, on="crop", how="left", maintain_order="left").with_columns(pl.col("n").fill_null(0))
    return joined.select(
        "crop",
        _shrunk("prior_yield", "own_yield", "n", YIELD_PRIOR_SD, YIELD_SD).alias("yield_kg_per_m"),
        _picking_days(joined, known, harvests).alias("picking_days"),
        "n",
    )


def _picking_days(crops: pl.DataFrame, known: pl.DataFrame, harvests: pl.DataFrame) -> pl.Series:
    """Days of picking of each row of ``crops``, from the curves through the picks of ``known`` sowings."""
    curves = _picks_of(harvests.join(known.select("sowing_id"), on="sowing_id", how="semi"))
    by_crop: dict[str, list[Picks]] = {}
    for sowing_id, crop in known.select("sowing_id", "crop").sort("sowing_id").iter_rows():
        by_crop.setdefault(crop, []).append(curves[sowing_id])
    days = [picking_spread(by_crop.get(crop, []), usual) for crop, usual in crops["crop", "prior_days"].iter_rows()]
    return pl.Series(days, dtype=pl.Float64)


def _shrunk(prior: str, own_log: str, count: str, prior_sd: float, sd: float) -> pl.Expr:
    """Precision-weighted mean on the logarithmic scale; the one that is known where only one is."""
    own_precision = pl.col(count) / sd**2
    mixed = (pl.col(prior).log() / prior_sd**2 + pl.col(own_log) * own_precision) / (1 / prior_sd**2 + own_precision)
    return pl.coalesce(mixed.exp(), pl.col(prior), pl.col(own_log).exp())
