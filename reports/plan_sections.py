"""The sections on what comes: the shelf and what to use first, the plan for next season."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import polars as pl

from reports import charts, plan_charts
from reports.blocks import (
    Answers,
    Block,
    ListBlock,
    SaveBlock,
    Section,
    TextBlock,
    data_link,
    figure_block,
    is_long,
    table_block,
)
from reports.calendar import sowing_calendar
from reports.words import day, full_day, full_month, quantity, season_name
from schemas.page import Finding, Garden

SHELF_COLUMNS = (
    "crop",
    "method",
    "on_hand",
    "made",
    "used",
    "spoiled",
    "used_per_month",
    "runs_out_on",
    "note",
)
FIRST_COLUMNS = ("batch_id", "crop", "method", "on_hand", "due_on", "reason", "age_days", "quality_months", "source")
FORECAST_COLUMNS = ("method", "crop", "on_hand", "expect_lost", "by_date", "batches", "evidence")
MOST_FIRST = 10
"""Batches to use first that are told one by one; the table has the others."""
PLAN_COLUMNS = (
    "crop",
    "sow_on",
    "amount",
    "plant_out_on",
    "area_m2",
    "first_pick_on",
    "last_pick_on",
    "expected_kg",
    "ready_share",
    "reason",
)


def shelf(answers: Answers, findings: Sequence[Finding], garden: Garden) -> Section:
    """The shelf, and what to use first."""
    title = "The shelf, and what to use first"
    stock, first = answers["shelf"], answers["use_first"]
    if stock.is_empty() and first.is_empty():
        text = TextBlock("Nothing on the shelf is logged. Batches in batches.csv and uses in consumption.csv fill it.")
        return Section("shelf", title, findings, [text])
    blocks: list[Block] = []
    if not first.is_empty():
        told = [_use_first(row) for row in first.head(MOST_FIRST).iter_rows(named=True)]
        blocks.append(ListBlock("What to use or look at first", told))
        blocks.append(TextBlock("These days are about quality. They do not say that a jar may be eaten."))
        blocks.append(table_block("use_first", "Batches by day to use or look at", first, FIRST_COLUMNS, folded=True))
    blocks += figure_block(
        charts.shelf_runout(stock, garden.as_of),
        "runout",
        "When each food runs out",
        "The dot is the day at the logged rate of use, the bar the 95 % range; an arrow: beyond 2 years.",
        table_block("shelf", "What is on the shelf", stock, SHELF_COLUMNS, folded=True),
    )
    forecast = answers["shelf_forecast"]
    if not forecast.is_empty():
        caption = "Containers that will be off if left alone"
        blocks.append(table_block("shelf_forecast", caption, forecast, FORECAST_COLUMNS, folded=True))
    return Section("shelf", title, findings, blocks)


def _use_first(row: dict[str, Any]) -> tuple[str, str]:
    """One batch as a sentence: ``O-2: onion, cure, 4 on hand. By 5 Dec 2026: ...``."""
    by = f"By {full_day(row['due_on'])}: " if row["due_on"] else ""
    return f"{row['batch_id']}: {row['crop']}, {row['method']}, {row['on_hand']} on hand.", f"{by}{row['reason']}."


def coming(answers: Answers, findings: Sequence[Finding]) -> Section | None:
    """What stands and will be ripe in the next weeks; None when nothing is to come."""
    outlook = answers["season_outlook"]
    if outlook.is_empty():
        return None
    blocks = figure_block(
        plan_charts.harvest_outlook(outlook),
        "coming",
        "Harvest to come of what stands, kg a week",
        "The line is the middle, the shade 8 times in 10, the dashes what is wanted fresh.",
        table_block("season_outlook", "Harvest to come by week", outlook, folded=True),
    )
    return Section("coming", f"The next {outlook['week'].n_unique()} weeks", findings, blocks)


def plan(answers: Answers, findings: Sequence[Finding], garden: Garden) -> Section:
    """The plan for next season."""
    title = f"The plan for {season_name(garden.plan_from, garden.plan_to)}"
    sowings = answers["sowing_plan"].sort("sow_on", "crop")
    if sowings.is_empty():
        text = TextBlock(
            "There is no sowing plan yet. It is made from sowings.csv and harvests.csv, and counts warmth "
            "where weather.csv or climate.csv is kept."
        )
        return Section("plan", title, findings, [text, *_needs(answers)])
    blocks = figure_block(
        plan_charts.sowing_timetable(sowings),
        "timetable",
        "Sowing timetable",
        "The day beside each triangle is the day to sow; bars are the expected days of picking.",
        table_block("sowing_plan", "What to sow, how much and when", sowings, PLAN_COLUMNS, folded=True),
    )
    for (month,), rows in sowings.group_by(pl.col("sow_on").dt.truncate("1mo"), maintain_order=True):
        told = [_sowing(row) for row in rows.iter_rows(named=True)]
        heading = f"Sow in {full_month(month)}"
        blocks.append(ListBlock(heading, told, compact=True, crops=rows["crop"].to_list()))
    calendar = data_link(sowing_calendar(sowings, garden.name, garden.as_of), "text/calendar")
    blocks.append(SaveBlock("Save the sowing days for your calendar", "sowings.ics", calendar))
    outlook, before = answers["harvest_outlook"], answers["last_season_outlook"]
    dots = "" if before.is_empty() else " The dots are last season's sowings, were they made again."
    blocks += figure_block(
        plan_charts.harvest_outlook(outlook, before=before),
        "outlook",
        "Harvest expected from the plan, kg a week",
        "The line is the middle year, the shade 8 years in 10, the dashes what is wanted fresh. Where the week of a "
        f"heap is unsure, it shows in the shade and hardly in the line.{dots}",
        table_block("harvest_outlook", "Expected harvest by week", outlook, folded=True),
    )
    policies = answers["plan_comparison"]
    blocks += figure_block(
        plan_charts.plan_comparison(policies),
        "worth",
        "What the plan is worth",
        "Means over weather years that the plan never saw. Less is better in all three.",
        table_block("plan_comparison", "Ways of sowing compared", policies, folded=True),
    )
    return Section("plan", title, findings, [*blocks, *_needs(answers)])


def _sowing(row: dict[str, Any]) -> tuple[str, str]:
    """One sowing as a line: ``20 Mar: lettuce, 12 plants; plant out 13 Apr; pick 4 Jun to 18 Jun``."""
    parts = [f"{row['crop']}, {quantity(row['amount'], row['unit'])}"]
    if row["plant_out_on"]:
        parts.append(f"plant out {day(row['plant_out_on'])}")
    if row["first_pick_on"]:
        end = f" to {day(row['last_pick_on'])}" if row["last_pick_on"] else ""
        parts.append(f"pick {day(row['first_pick_on'])}{end}")
    return f"{day(row['sow_on'])}:", "; ".join(parts)


def _needs(answers: Answers) -> list[Block]:
    blocks: list[Block] = []
    for name, caption in (
        ("needs", "What next season needs"),
        ("crop_timing", "How much warmth a crop needs here"),
    ):
        rows = answers[name]
        if not rows.is_empty():
            blocks.append(table_block(name, caption, rows, folded=is_long(rows)))
    return blocks
