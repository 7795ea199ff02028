"""The sections of the season review, each made from its answer tables."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import polars as pl

from reports import charts, plan_charts
from reports.blocks import (
    MOST_ROWS,
    Answers,
    Block,
    HeadingBlock,
    ListBlock,
    SaveBlock,
    Section,
    TextBlock,
    data_link,
    figure_block,
    in_season,
    is_long,
    table_block,
)
from reports.calendar import sowing_calendar
from reports.words import count, full_day, plural, season_name
from schemas.page import Finding, Garden

GROUPINGS: dict[str, str] = {
    "method": "way of keeping",
    "salt_band": "salt level",
    "method, salt_band": "way of keeping and salt level",
    "lid": "lid",
    "store": "store",
    "crop": "crop",
    "piece": "cut",
    "batch_id": "batch",
}
SALT_GROUPINGS = ("method, salt_band", "salt_band")

LOST_COLUMNS = (
    "group",
    "lost_share",
    "spoiled",
    "containers",
    "batches",
    "used",
    "on_shelf",
    "kept_12m",
    "followed_months",
    "evidence",
)
BALANCE_COLUMNS = (
    "crop",
    "picked_kg",
    "put_by_kg",
    "eaten_kg",
    "given_kg",
    "left_kg",
    "expired_kg",
    "wasted_kg",
    "over_used_kg",
    "eaten_basis",
)
GLUT_COLUMNS = ("crop", "from_gluts_kg", "from_gluts_share", "even_loss_kg", "worst_week", "peak_to_mean")
WEEK_COLUMNS = ("crop", "week", "picked_kg", "eaten_kg", "put_by_kg", "given_kg", "capacity_kg")
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


def grouping_title(grouping: str) -> str:
    """The columns grouped by, in words."""
    return GROUPINGS.get(grouping) or grouping.replace("_", " ").replace(",", " and")


def kept(answers: Answers, findings: Sequence[Finding]) -> Section:
    """What kept and what spoiled."""
    spoilage = answers["spoilage"]
    if spoilage.is_empty():
        blocks: list[Block] = [
            TextBlock(
                "No batch is logged yet. Write each batch into batches.csv and each look at it, bad or sound, "
                "into spoilage.csv. Then this part says which way of keeping loses what."
            )
        ]
        return Section("kept", "What kept and what spoiled", findings, blocks)
    by_method = spoilage.filter(pl.col("grouping") == "method").sort(
        "lost_share", "group", descending=[True, False], nulls_last=True
    )
    blocks = figure_block(
        charts.share_lost(by_method),
        "lost",
        "Share lost so far, by way of keeping",
        "The mark is the estimate and the line its 95 % interval. A long line: too little is known.",
        table_block("spoilage", "What spoiled, by way of keeping", by_method, LOST_COLUMNS, folded=True),
    )
    curves = answers["keeping_curves"].filter(pl.col("grouping") == "method")
    blocks += figure_block(
        charts.keeping_curves(curves),
        "curves",
        "Share still sound by age, if left alone",
        "Each line ends where follow-up ends. The shade is the 95 % interval.",
        table_block(
            "keeping_curves",
            "Share still sound by age",
            curves,
            ("group", "age_days", "kept", "at_risk"),
            folded=True,
        ),
    )
    blocks += _salt(answers, spoilage)
    blocks += _causes(answers)
    for (grouping,), rows in spoilage.group_by("grouping", maintain_order=True):
        if grouping not in {"method", _salt_grouping(spoilage)}:
            title = f"What spoiled, by {grouping_title(str(grouping))}"
            blocks.append(table_block("spoilage", title, rows, LOST_COLUMNS, folded=True))
    return Section("kept", "What kept and what spoiled", findings, blocks)


def _salt_grouping(spoilage: pl.DataFrame) -> str | None:
    present = set(spoilage["grouping"])
    return next((grouping for grouping in SALT_GROUPINGS if grouping in present), None)


def _salt(answers: Answers, spoilage: pl.DataFrame) -> list[Block]:
    grouping = _salt_grouping(spoilage)
    blocks: list[Block] = []
    if grouping:
        bands = spoilage.filter(pl.col("grouping") == grouping)
        blocks = figure_block(
            charts.share_lost(bands),
            "salt",
            "Share lost so far, by salt level",
            "Brined batches: salt as a share of all in the jar. Dry-salted ones: as a share of the produce.",
            table_block("spoilage", "What spoiled, by salt level", bands, LOST_COLUMNS, folded=True),
        )
    response = answers["salt_response"]
    if not response.is_empty():
        blocks.append(table_block("salt_response", "Does more salt go with less spoilage", response))
    return blocks


def _causes(answers: Answers) -> list[Block]:
    causes = answers["spoilage_causes"]
    title = "What was found on containers"
    return [] if causes.is_empty() else [table_block("spoilage_causes", title, causes)]


def harvest(answers: Answers, findings: Sequence[Finding], garden: Garden) -> Section:
    """Where the harvest went."""
    title = "Where the harvest went"
    balance = answers["glut_waste"].sort("picked_kg", "crop", descending=[True, False], nulls_last=True)
    yields = answers["yields"].sort("crop", "plot", "bed", "sowing_id", nulls_last=True)
    if balance.is_empty() and yields.is_empty():
        text = TextBlock("No picking is logged yet. Write each one into harvests.csv: day, crop and weight.")
        return Section("harvest", title, findings, [text])
    blocks = figure_block(
        charts.harvest_use(balance),
        "use",
        "Where each crop's kilos went",
        "Each bar is one crop, largest harvest first.",
        table_block("glut_waste", "Balance of each crop", balance, BALANCE_COLUMNS, folded=True),
    )
    if "assumed" in set(balance["eaten_basis"]):
        blocks.append(TextBlock("Where fresh use is assumed it was not logged; the loss is then a rough figure."))
    weeks = in_season(answers["glut_weeks"], "week", garden.season_from, garden.season_to)
    worst = charts.worst_glut_crops(balance)
    drawn = weeks.filter(pl.col("crop").is_in(worst)).sort("crop", "week")
    blocks += figure_block(
        charts.glut_weeks(weeks, balance),
        "weeks",
        "Picked and used, week by week, in the crops that lost most to gluts",
        "What stands above the dashes is more than could be eaten, given and put by that week.",
        table_block("glut_weeks", "Weeks of those crops", drawn, WEEK_COLUMNS, folded=True),
    )
    gluts = balance.filter(pl.col("from_gluts_kg") > 0).sort("from_gluts_kg", "crop", descending=[True, False])
    if not gluts.is_empty():
        blocks.append(table_block("glut_waste", "Loss that came from gluts", gluts, GLUT_COLUMNS))
    by_sowing = answers["sowing_waste"]
    if not by_sowing.is_empty():
        caption = "Which sowing the loss came from"
        blocks.append(table_block("sowing_waste", caption, by_sowing, folded=is_long(by_sowing)))
    if not yields.is_empty():
        blocks.append(table_block("yields", "What each sowing gave", yields, folded=True))
    return Section("harvest", title, findings, blocks)


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
        blocks.append(ListBlock("What to use or look at first", told, "use_first"))
        blocks.append(TextBlock("These days are about quality. They do not say that a jar may be eaten."))
        blocks.append(table_block("use_first", "Batches by day to use or look at", first, FIRST_COLUMNS, folded=True))
    blocks += figure_block(
        charts.shelf_runout(stock, garden.as_of),
        "runout",
        "When each food runs out",
        "The dot is the day at the logged rate of use, the bar the 95 % range; an arrow: beyond 2 years.",
        table_block("shelf", "What is on the shelf", stock, SHELF_COLUMNS, folded=True),
    )
    return Section("shelf", title, findings, blocks)


def _use_first(row: dict[str, Any]) -> tuple[str, str]:
    """One batch as a sentence: ``O-2: onion, cure, 4 on hand. By 5 Dec 2026: ...``."""
    by = f"By {full_day(row['due_on'])}: " if row["due_on"] else ""
    return f"{row['batch_id']}: {row['crop']}, {row['method']}, {row['on_hand']} on hand.", f"{by}{row['reason']}."


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
        table_block("sowing_plan", "What to sow, how much and when", sowings, PLAN_COLUMNS),
    )
    calendar = data_link(sowing_calendar(sowings, garden.name, garden.as_of), "text/calendar")
    blocks.append(SaveBlock("Save the sowing days for your calendar", "sowings.ics", calendar))
    outlook = answers["harvest_outlook"]
    blocks += figure_block(
        plan_charts.harvest_outlook(outlook),
        "outlook",
        "Harvest expected from the plan, kg a week",
        "The line is the middle year, the shade 8 years in 10, the dashes what is wanted fresh.",
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


def trials(answers: Answers, findings: Sequence[Finding]) -> Section | None:
    """Makes that were compared; None where none was."""
    rows = answers["trials"]
    if rows.is_empty():
        return None
    return Section("trials", "Trials", findings, [table_block("trials", "Two makes compared", rows)])


def cautions(answers: Answers) -> Section:
    """Batches that break a published limit."""
    rows = answers["cautions"]
    blocks: list[Block] = []
    if rows.is_empty():
        blocks.append(
            TextBlock("No logged batch broke a limit that is checked here. What is not logged cannot be checked.")
        )
    else:
        told = [_caution(row) for row in rows.iter_rows(named=True)]
        blocks.append(ListBlock("Batches that break a published limit", told, "cautions"))
    return Section("cautions", "Cautions", [], blocks)


def _caution(row: dict[str, Any]) -> tuple[str, str]:
    """One caution in full: what was found, the limit, where it is published, and what to do."""
    about = f"{row['batch_id']}, {row['severity']}: {row['rule']}."
    limit = f"Found {row['found']}; the limit is {row['limit']} ({row['source']}; {row['read_as']})."
    return about, f"{limit} {row['message']}"


def problems(answers: Answers, findings: Sequence[Finding]) -> Section | None:
    """What is wrong in the logs; None where no file was read."""
    files, rows = answers["load_summary"], answers["problems"]
    if files.is_empty() and rows.is_empty():
        return None
    blocks: list[Block] = []
    if not files.is_empty():
        columns = ("file", "kind", "rows", "accepted", "set_aside", "warnings")
        blocks.append(table_block("load_summary", "Files read", files, columns, folded=is_long(files)))
    if rows.is_empty():
        blocks.insert(0, TextBlock("Every row of every file was taken, without a warning."))
    elif rows.height > MOST_ROWS:
        blocks.append(TextBlock(f"The first {MOST_ROWS} of {count(rows.height)} follow; tables/problems.csv has all."))
    for (file,), found in rows.head(MOST_ROWS).group_by("file", maintain_order=True):
        all_of_file = rows.filter(pl.col("file") == file)
        blocks.append(HeadingBlock(f"{file}: {_problem_counts(all_of_file)}"))
        told = [_problem(row) for row in found.iter_rows(named=True)]
        blocks.append(ListBlock(f"Problems in {file}", told, "problems"))
    return Section("problems", "Problems in the data", findings, blocks)


def _problem(row: dict[str, Any]) -> tuple[str, str]:
    """One problem: where it is, what stands there, and what to write instead."""
    parts = [f"Line {row['line']}" if row["line"] is not None else "", row["column"] or ""]
    if row["value"] is not None:
        parts.append(f"\u201c{row['value']}\u201d")
    taken = "" if row["level"] == "error" else f" ({row['level']}; the row was taken)"
    return ", ".join(part for part in parts if part) + ":", f"{row['message']}{taken}"


def _problem_counts(rows: pl.DataFrame) -> str:
    """How many problems of each level: ``3 errors, 1 warning``."""
    levels = rows["level"].value_counts(name="times").sort("level")
    return ", ".join(plural(times, str(level)) for level, times in levels.iter_rows())
