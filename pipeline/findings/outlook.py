"""Gluts that are coming, in words: how much, when, and what the kitchen could do about it."""

from __future__ import annotations

import datetime as dt
import math
from typing import Any

import polars as pl

from schemas.page import Finding
from schemas.words.days import day, two_days
from schemas.words.numbers import about_kg, count_of
from schemas.words.ways import WAYS

LEAST_OVER_KG, LEAST_OVER_WEEKS = 0.5, 0.5
"""Less than this, in kilos and in weeks' worth of fresh use, is no glut; judgement, no source."""
LONG_RUN_WEEKS = 2
"""Of longer runs the fullest week is named."""
WAITS_DAYS = 21.0
"""A crop that stays good in the bed for longer need not be picked at once."""
BATCH_SCHEMA = {"crop": pl.String(), "method": pl.String(), "batch_kg": pl.Float64()}


def usual_batches(batches: pl.DataFrame) -> pl.DataFrame:
    """How each crop is usually put by, and how much of it goes into one batch.

    Args:
        batches: core batches; mixed ones, without a weight of their own, are left out.

    Returns:
        crop, method (the one that took most kilos), batch_kg (median prepared weight), sorted by crop.
    """
    weighed = batches.filter(pl.col("produce_kg") > 0)
    by_method = weighed.group_by("crop", "method").agg(
        pl.col("produce_kg").sum().alias("kg"), pl.col("produce_kg").median().alias("batch_kg")
    )
    ranked = by_method.sort(["crop", "kg", "method"], descending=[False, True, False])
    return ranked.unique("crop", keep="first", maintain_order=True).select(BATCH_SCHEMA.keys())


def outlook_findings(
    outlook: pl.DataFrame,
    batches: pl.DataFrame,
    crops: pl.DataFrame,
    kitchen_kg_per_week: float | None = None,
) -> list[Finding]:
    """Coming weeks in which more is likely to be ripe than is eaten fresh.

    Args:
        outlook: the ``season_outlook`` answer.
        batches: of ``usual_batches``.
        crops: crop, holding_days.
        kitchen_kg_per_week: what the kitchen can prepare in a week; None where that is not known.

    Returns:
        One finding per crop and run of weeks, and one for each run of weeks that are more than the kitchen can
        take; crops that can wait in the bed are not counted in the latter.
    """
    usual = {row["crop"]: row for row in batches.iter_rows(named=True)}
    waiting = crops.filter(pl.col("holding_days") >= WAITS_DAYS)
    waits = dict(waiting.select("crop", "holding_days").iter_rows())
    over = pl.col("over_kg").fill_null(0.0) > 0
    runs = outlook.sort("crop", "week").with_columns(over=over, run=pl.struct("crop", over.alias("over")).rle_id())
    findings = []
    for weeks in runs.filter("over").partition_by("run", maintain_order=True):
        over_kg, usual_week = float(weeks["over_kg"].sum()), float(weeks["need_kg"].to_numpy().mean())
        if over_kg >= max(LEAST_OVER_KG, LEAST_OVER_WEEKS * usual_week):
            ends = weeks["week"][-1] == outlook["week"].max()
            findings.append(_glut(weeks.to_dicts(), over_kg, usual, waits, goes_on=ends))
    urgent = outlook.filter(~pl.col("crop").is_in(list(waits)))
    return [*findings, *_full_kitchen(urgent, kitchen_kg_per_week)]


def _glut(
    weeks: list[dict[str, Any]],
    over: float,
    batches: dict[str, dict[str, Any]],
    waits: dict[str, float],
    *,
    goes_on: bool,
) -> Finding:
    crop = weeks[0]["crop"]
    usual = batches.get(crop)
    total = sum(row["kg_p50"] for row in weeks)
    first, last = weeks[0]["week"], weeks[-1]["week"] + dt.timedelta(days=6)
    eaten = any(row["need_kg"] for row in weeks)
    more = f"{about_kg(over)} more than you eat" if eaten else "none of it is eaten fresh then"
    suggestion = "" if usual is None else f"; {_batches(over, usual)}"
    best = max(weeks, key=lambda row: row["over_kg"])
    most = f", most in the week from {day(best['week'])}" if len(weeks) > LONG_RUN_WEEKS else ""
    beyond = ", as far as this outlook goes" if goes_on else ""
    sentence = f"About {about_kg(total)} of {crop} between {two_days(first, last)}{beyond}{most}: {more}{suggestion}."
    if crop in waits:
        can_wait = f" It can wait in the bed, usually for {waits[crop] / 7:.0f} weeks."
        return Finding("outlook", sentence + can_wait, weight=10 + over)
    action = (
        f"Keep time to put by {crop} from {day(first)}, or promise {about_kg(over)} of it to others."
        if usual is not None
        else f"Promise {about_kg(over)} of {crop} to others from {day(first)}."
    )
    return Finding("outlook", sentence, action=action, weight=30 + over)


def _batches(over: float, usual: dict[str, Any]) -> str:
    # A quarter of a batch more goes into the others.
    count = max(1, math.ceil(over / usual["batch_kg"] - 0.25))
    way = WAYS.get(usual["method"])
    done = f", {way.put_by} as you mostly do" if way and way.put_by else ""
    return f"{count_of(count, 'batch')} of about {about_kg(usual['batch_kg'])}{done}"


def _full_kitchen(outlook: pl.DataFrame, kitchen_kg_per_week: float | None) -> list[Finding]:
    if kitchen_kg_per_week is None:
        return []
    weeks = outlook.group_by("week").agg(pl.col("over_kg").sum()).sort("week")
    runs = weeks.with_columns(full=pl.col("over_kg") > kitchen_kg_per_week).with_columns(run=pl.col("full").rle_id())
    return [
        _overfull(run.to_dicts(), kitchen_kg_per_week)
        for run in runs.filter("full").partition_by("run", maintain_order=True)
    ]


def _overfull(weeks: list[dict[str, Any]], kitchen_kg: float) -> Finding:
    best = max(weeks, key=lambda row: row["over_kg"])
    limit = f"more than the {about_kg(kitchen_kg)} that your kitchen takes in a week"
    if len(weeks) == 1:
        when = (
            f"In the week from {day(best['week'])} about {about_kg(best['over_kg'])} will be ripe beyond what you eat"
        )
        sentence = f"{when}, {limit}."
    else:
        span = two_days(weeks[0]["week"], weeks[-1]["week"] + dt.timedelta(days=6))
        sentence = (
            f"In every week between {span} more will be ripe beyond what you eat than your kitchen takes, "
            f"{about_kg(kitchen_kg)}; most in the week from {day(best['week'])}, about {about_kg(best['over_kg'])}."
        )
    action = "Start on what is ready early, and give on what keeps least."
    return Finding("outlook", sentence, action=action, weight=40 + best["over_kg"])
