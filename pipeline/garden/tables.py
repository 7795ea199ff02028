"""What all shared plots gave: kilos by crop and month, and what became of them. Every table passes suppression."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from pipeline.garden.earlier import CHANGED_CROPS, TOTAL, Report, marks_of, rows_that_tell
from pipeline.garden.plots import Pool
from pipeline.garden.suppression import COLUMNS, GRAND, ROWS, Rule, enough_plots, suppress
from pipeline.harvest.uses import put_by_produce
from pipeline.harvest.yields import yields
from schemas.codes import LOST_ACTIONS
from schemas.contracts import polars_types
from schemas.shared import ALL_CROPS, OTHER_CROPS, SHARED

PUT_BY, THROWN_AWAY = "put by", "thrown away"
FEW_CROP = "crops grown on too few plots, put together or left out"

GIVEN_TYPES: dict[str, pl.DataType] = {
    "row": pl.String(),
    "column": pl.String(),
    "plot": pl.String(),
    "value": pl.Float64(),
}
DIGITS = 3
"""Significant digits of a shared figure."""
WHOLE = frozenset({"amount"})
"""Figures that someone acts on as they stand: how much to sow, worked out from others that are rounded."""

WITHHELD_TYPES: dict[str, pl.DataType] = {"table": pl.String(), "why": pl.String(), "cells": pl.Int64()}


@dataclass(frozen=True)
class Harvest:
    """What was picked, ready to show."""

    crops: pl.DataFrame
    calendar: pl.DataFrame
    garden: pl.DataFrame
    withheld: pl.DataFrame
    marks: pl.DataFrame
    """What to remember of this report; see ``earlier``."""


def shared_types(table: str) -> dict[str, pl.DataType]:
    """Columns of a shared table and their polars types, in order."""
    types = polars_types()
    return {column.name: types[column.dtype] for column in SHARED[table].columns}


def as_shared(frame: pl.DataFrame, table: str) -> pl.DataFrame:
    """The columns of a shared table in its order and types, figures to three digits; other columns are left behind.

    More digits would tell what single rows of a log added.
    """
    return frame.select(_figure(name, kind) for name, kind in shared_types(table).items())


def _figure(name: str, kind: pl.DataType) -> pl.Expr:
    column = pl.col(name).cast(kind)
    if not kind.is_numeric() or name in WHOLE:
        return column
    return column.cast(pl.Float64).round_sig_figs(DIGITS).cast(kind)


def count_withheld(cells: pl.DataFrame, table: str) -> pl.DataFrame:
    """How many figures of a table were withheld, by reason.

    Args:
        cells: rows with ``withheld`` (why, else null).
        table: the table they would have stood in.
    """
    hidden = cells.filter(pl.col("withheld").is_not_null()).group_by(why="withheld").agg(cells=pl.len())
    return hidden.sort("why").select(table=pl.lit(table), why="why", cells=pl.col("cells").cast(pl.Int64))


def with_small_crops_together(given: pl.DataFrame, rule: Rule) -> tuple[pl.DataFrame, list[str]]:
    """Contributions with the crops of too few plots in one row, and which crops those are.

    Where even that row would rest on too few plots it is left out of the table and of its totals, so that
    nothing can be worked out from them.

    Args:
        given: ``row`` (crop), ``column``, ``plot`` and ``value``.
        rule: when a figure is sensitive.
    """
    groups = enough_plots(given.select(group="row", plot="plot", value="value"), rule)
    small = groups.filter(pl.col("withheld").is_not_null())["group"].to_list()
    is_small = pl.col("row").is_in(small)
    together = given.filter(is_small).with_columns(row=pl.lit(OTHER_CROPS))
    rest = enough_plots(together.select(group="row", plot="plot", value="value"), rule)
    kept = together if rest.height and rest["withheld"].null_count() else together.clear()
    return pl.concat([given.filter(~is_small), kept]), small


def _no_telling_rows(
    table: str, given: pl.DataFrame, earlier: Sequence[Report], rule: Rule, total: str | None = None
) -> tuple[pl.DataFrame, pl.DataFrame, list[str]]:
    """Contributions to rows that may stand beside earlier reports, their marks, and the rows that may not."""
    marks = marks_of(table, given, total)
    told = rows_that_tell(marks, earlier, rule)
    keep = ~pl.col("row").is_in(told)
    return given.filter(keep), marks.filter(keep), told


def harvest_tables(
    pool: Pool,
    crops: pl.DataFrame,
    season: tuple[dt.date, dt.date],
    rule: Rule,
    earlier: Sequence[Report] = (),
) -> Harvest:
    """Kilos by crop and by month, per square metre sown, and of the garden as a whole.

    Args:
        pool: the shared rows.
        crops: crop reference, for the spacing of rows and plants.
        season: first and last day of the pickings that count.
        rule: when a figure is sensitive.
        earlier: what is remembered of earlier reports.
    """
    picked = pool["harvests"].filter(pl.col("picked_on").is_between(*season), pl.col("weight_kg") > 0)
    month = pl.col("picked_on").dt.truncate("1mo").dt.to_string("%Y-%m-%d")
    given = picked.select(row="crop", column=month, plot="holder", value="weight_kg")
    known, small = with_small_crops_together(given, rule)
    known, marks, told = _no_telling_rows("crops", known, earlier, rule, f"{TOTAL} {season[0]}")
    # No totals by month: with them about twice as many figures would have to be withheld. And none of the whole
    # where a row is gone: beside an earlier total it would give that row's away.
    cells = suppress(known, rule, (ROWS,) if told else (ROWS, GRAND))
    named = pl.col("row").fill_null(ALL_CROPS)
    calendar = cells.filter(pl.col("column").is_not_null()).select(
        "withheld", "plots", crop="row", month=pl.col("column").str.to_date(), kg="value"
    )
    totals = cells.filter(pl.col("column").is_null()).select("plots", "withheld", crop=named, kg="value")
    per_m2 = _per_m2(pool, crops, picked, rule)
    by_crop = totals.join(per_m2, on="crop", how="left", maintain_order="left").with_columns(
        kg_per_m2=pl.when(pl.col("kg").is_not_null()).then("kg_per_m2")
    )
    withheld = [count_withheld(calendar, "shared_calendar"), count_withheld(totals, "shared_crops")]
    withheld += [_small_crops("shared_crops", small), _told("shared_crops", told)]
    _, area_marks, area_told = _no_telling_rows("garden", _areas(pool), earlier, rule)
    # What is in no row must be in no figure of the whole garden either.
    in_rows = picked if OTHER_CROPS in known["row"] else picked.filter(~pl.col("crop").is_in(small))
    in_rows = in_rows.filter(~pl.col("crop").is_in(told))
    return Harvest(
        crops=as_shared(by_crop, "shared_crops"),
        calendar=as_shared(calendar, "shared_calendar"),
        garden=_garden(pool, totals, in_rows, season, rule).with_columns(
            pl.when(not area_told).then(pl.col("area_m2", "kg_per_m2")).name.keep()
        ),
        withheld=pl.concat(withheld),
        marks=pl.concat([marks, area_marks]),
    )


def _areas(pool: Pool) -> pl.DataFrame:
    """Area of each plot, as contributions to that of the garden."""
    known = pool.plots.filter(pl.col("area_m2") > 0)
    return known.select(row=pl.lit("area"), column=pl.lit("m2"), plot="holder", value="area_m2")


def _per_m2(pool: Pool, crops: pl.DataFrame, picked: pl.DataFrame, rule: Rule) -> pl.DataFrame:
    """``crop`` and ``kg_per_m2``, where neither it nor what it leaves out rests on too few plots.

    The rest matters: kilos per square metre times a bed that anyone can measure, taken from the crop's kilos,
    would give away the pickings whose area is not known.
    """
    rows = yields(picked, pool["sowings"], crops).join(
        pool.plots.select("plot", "holder"), on="plot", how="left", maintain_order="left"
    )
    is_known = (pl.col("area_m2") > 0).fill_null(value=False)
    known, rest = rows.filter(is_known), rows.filter(~is_known)
    fit = set(_crops(known, rule, shown=True)) - set(_crops(rest, rule, shown=False))
    sums = known.filter(pl.col("crop").is_in(sorted(fit))).group_by("crop")
    return sums.agg(kg_per_m2=pl.col("kg").sum() / pl.col("area_m2").sum())


def _crops(rows: pl.DataFrame, rule: Rule, *, shown: bool) -> list[str]:
    """Crops whose kilos rest on enough plots, or those whose do not."""
    groups = enough_plots(rows.select(group="crop", plot="holder", value="kg"), rule)
    names: list[str] = groups.filter(pl.col("withheld").is_null() == shown)["group"].to_list()
    return names


def _garden(
    pool: Pool, totals: pl.DataFrame, picked: pl.DataFrame, season: tuple[dt.date, dt.date], rule: Rule
) -> pl.DataFrame:
    """The ``shared_garden`` table; figures on too few plots are empty."""
    holders = pool.plots["holder"].n_unique()
    measured = pool.plots.filter(pl.col("area_m2") > 0)
    area = enough_plots(measured.select(pl.lit("area").alias("group"), plot="holder", value="area_m2"), rule)
    area_m2 = float(measured["area_m2"].sum()) if area["plots"].count() else None
    is_measured = pl.col("plot").is_in(measured["plot"].to_list())
    groups = pl.when(is_measured).then(pl.lit("measured")).otherwise(pl.lit("rest"))
    sums = enough_plots(picked.select(groups.alias("group"), plot="holder", value="weight_kg"), rule)
    kg = totals.filter(pl.col("crop") == ALL_CROPS)["kg"].first()
    per_m2 = None
    if area_m2 is not None and kg is not None and sums["withheld"].null_count() == sums.height:
        per_m2 = float(picked.filter(is_measured)["weight_kg"].sum()) / area_m2
    garden = pl.DataFrame(
        [
            {
                "plots": holders if holders >= rule.smallest_group else None,
                "area_m2": area_m2,
                "kg": kg,
                "kg_per_m2": per_m2,
                "first_day": season[0],
                "last_day": season[1],
                "smallest_group": rule.smallest_group,
            }
        ],
        schema=shared_types("shared_garden"),
    )
    return as_shared(garden, "shared_garden")


def use_tables(
    pool: Pool,
    crops: pl.DataFrame,
    season: tuple[dt.date, dt.date],
    rule: Rule,
    earlier: Sequence[Report] = (),
) -> tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame]:
    """What became of fresh produce: the ``shared_uses`` table, what was withheld of it, and its marks.

    Totals are given by use, over all crops. Rows that name no use are eating.

    Args:
        pool: the shared rows.
        crops: crop reference, for the share that is trimmed away before putting by.
        season: first and last day that count.
        rule: when a figure is sensitive.
        earlier: what is remembered of earlier reports.
    """
    fresh = pl.col("batch_id").is_null() & pl.col("crop").is_not_null() & pl.col("weight_kg").is_not_null()
    lost = pl.col("action").is_null() | pl.col("action").is_in(sorted(LOST_ACTIONS))
    made = put_by_produce(pool["batches"], pool["ingredients"], crops)
    of_batch = pool["batches"].select("batch_id", "holder")
    parts = [
        pool["consumption"]
        .filter(fresh)
        .select("crop", day="used_on", use=pl.col("use").fill_null("eaten"), plot="holder", value="weight_kg"),
        pool["spoilage"]
        .filter(fresh & lost)
        .select("crop", day="found_on", use=pl.lit(THROWN_AWAY), plot="holder", value="weight_kg"),
        made.join(of_batch, on="batch_id").select(
            "crop", day="made_on", use=pl.lit(PUT_BY), plot="holder", value=pl.col("picked_g") / 1000
        ),
    ]
    rows = pl.concat(parts).filter(pl.col("day").is_between(*season), pl.col("value") > 0)
    given, small = with_small_crops_together(rows.select(row="crop", column="use", plot="plot", value="value"), rule)
    of_season = given.with_columns(pl.format("{} {}", pl.lit(str(season[0])), "column").alias("column"))
    _, marks, told = _no_telling_rows("uses", of_season, earlier, rule)
    given = given.filter(~pl.col("row").is_in(told))
    cells = suppress(given, rule, () if told else (COLUMNS,)).filter(
        pl.col("withheld").is_not_null() | (pl.col("value") > 0)
    )
    table = cells.select("plots", "withheld", crop=pl.col("row").fill_null(ALL_CROPS), use="column", kg="value")
    withheld = pl.concat(
        [count_withheld(table, "shared_uses"), _small_crops("shared_uses", small), _told("shared_uses", told)]
    )
    return as_shared(table, "shared_uses"), withheld, marks


def _told(table: str, told: list[str]) -> pl.DataFrame:
    """How many crops a table leaves out since they would tell who joined or left."""
    rows = [(table, CHANGED_CROPS, len(told))] if told else []
    return pl.DataFrame(rows, schema=WITHHELD_TYPES, orient="row")


def _small_crops(table: str, small: list[str]) -> pl.DataFrame:
    """How many crops a table does not name."""
    rows = [(table, FEW_CROP, len(small))] if small else []
    return pl.DataFrame(rows, schema=WITHHELD_TYPES, orient="row")
