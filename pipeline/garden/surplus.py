"""Weeks in which some plots had more of a crop than they could use while others had too little: counts of plots."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

import polars as pl

from pipeline.garden.plots import Pool
from pipeline.garden.suppression import FEW, Rule
from pipeline.garden.tables import WITHHELD_TYPES, as_shared
from pipeline.harvest.gluts import glut_balance
from pipeline.settings import Settings
from pipeline.shelf.needs import fresh_needs

LACKING = 0.5
"""A plot has too little in a week that brings less than this share of what it wants (as in the sowing plan)."""

STATE_TYPES: dict[str, pl.DataType] = {
    "crop": pl.String(),
    "week": pl.Date(),
    "plot": pl.String(),
    "more": pl.Boolean(),
    "less": pl.Boolean(),
}


def surplus_table(
    pool: Pool,
    settings: Sequence[Settings],
    crops: pl.DataFrame,
    calendar: pl.DataFrame,
    as_of: dt.date,
    rule: Rule,
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The ``shared_surplus`` table and what was withheld of it.

    A plot has more than it can use in a week that is a glut of its own balance (``gluts``), and too little in
    one in which all that was picked or left over is less than half of what it wants. What it wants is worked out
    as in the season review, for the people of that plot. Only plots that picked the crop in the season count, and
    only months whose kilos stand in the shared calendar, so that the table begins and ends with no single plot.

    Args:
        pool: the shared rows.
        settings: settings of each folder, in the order of the pool.
        crops: crop reference.
        calendar: the ``shared_calendar`` table.
        as_of: last day that counts.
        rule: its smallest group is the smallest count that is shown.
    """
    months = calendar.filter(pl.col("kg") > 0).select("crop", "month")
    states = [pl.DataFrame(schema=STATE_TYPES)]
    for plot in pool.plots.iter_rows(named=True):
        own = settings[plot["folder"]]
        alone = pool.plots.filter(pl.col("folder") == plot["folder"]).height == 1
        needs = own.needs if alone else {}
        of_plot = replace(own, people=plot["people"] or (own.people if alone else None), needs=needs)
        weeks = _weeks(pool.of_plot(plot["plot"]), crops, of_plot, months, as_of)
        states.append(weeks.with_columns(plot=pl.lit(plot["holder"])).select(STATE_TYPES.keys()))
    counts = (
        pl.concat(states)
        .group_by("crop", "week")
        .agg(
            plots_with_more=pl.col("plot").filter("more").n_unique(),
            plots_with_less=pl.col("plot").filter("less").n_unique(),
        )
    )
    both = pl.col("plots_with_more", "plots_with_less")
    hidden = counts.select(both.is_between(1, rule.smallest_group - 1).sum()).sum_horizontal().sum()
    shown = counts.with_columns(pl.when(both >= rule.smallest_group).then(both).name.keep())
    table = shown.filter(pl.any_horizontal(both.is_not_null()))
    rows = [("shared_surplus", FEW, hidden)] if hidden else []
    withheld = pl.DataFrame(rows, schema=WITHHELD_TYPES, orient="row")
    return as_shared(table.sort("crop", "week"), "shared_surplus"), withheld


def _weeks(
    logs: dict[str, pl.DataFrame], crops: pl.DataFrame, settings: Settings, months: pl.DataFrame, as_of: dt.date
) -> pl.DataFrame:
    """``crop``, ``week``, ``more`` and ``less`` of one plot, for the crops it picked and the months given."""
    needs = fresh_needs(logs["consumption"], logs["harvests"], crops, settings, as_of)
    balance = glut_balance(
        logs["harvests"],
        logs["batches"],
        logs["ingredients"],
        logs["consumption"],
        logs["spoilage"],
        crops,
        needs,
        settings=settings,
        as_of=as_of,
    ).glut_weeks
    grown = (
        logs["harvests"]
        .select(pl.col("crop"), month=pl.col("picked_on").dt.truncate("1mo"))
        .join(months, on=["crop", "month"])
    )
    calendar = months.filter(pl.col("crop").is_in(grown["crop"].to_list()))
    weeks = _mondays(calendar, as_of).join(balance, on=["crop", "week"], how="left")
    wanted = needs.with_columns(pl.col("month").cast(pl.Int64))
    joined = weeks.with_columns(number=pl.col("month").dt.month().cast(pl.Int64)).join(
        wanted, left_on=["crop", "number"], right_on=["crop", "month"], how="left"
    )
    need = pl.col("fresh_kg_per_week").fill_null(0)
    there = pl.sum_horizontal("eaten_kg", "put_by_kg", "given_kg", "wasted_kg", "expired_kg", "left_kg")
    return joined.select(
        "crop",
        "week",
        more=pl.col("is_glut").fill_null(value=False),
        less=(need > 0) & (there < LACKING * need),
    )


def _mondays(months: pl.DataFrame, as_of: dt.date) -> pl.DataFrame:
    """``crop``, ``month`` and the Monday of every week that begins in it and is over."""
    days = pl.date_ranges("month", pl.col("month").dt.month_end(), "1d").alias("week")
    mondays = months.with_columns(days).explode("week", empty_as_null=False)
    return mondays.filter(pl.col("week").dt.weekday() == 1, pl.col("week") <= as_of - dt.timedelta(days=6))
