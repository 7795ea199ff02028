"""The sections on what has been: what kept, where the harvest went, trials."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import polars as pl

from reports import charts
from reports.blocks import (
    Answers,
    Block,
    ListBlock,
    Section,
    TextBlock,
    figure_block,
    in_season,
    is_long,
    table_block,
)
from reports.words import NOT_YET, amount, plural
from schemas.factors import BY_COLUMN
from schemas.page import Finding, Garden

SALT_COLUMNS_SHOWN = (
    "method",
    "level",
    "basis",
    "kept_12m",
    "kept_12m_isotonic",
    "batches",
    "spoiled",
    "containers",
    "limit_pct",
    "evidence",
)
SALT_COLUMNS = {"salt_band", "salt_basis", "method"}
"""Columns that a grouping by salt level is made of."""
LESS_SALT = (
    "For other food, keep to its tested recipe. The grey part lies below what is published and is no advice, whatever "
    "the marks in it say."
)
SALTED = {"of produce": "dry-salted, least salt of the produce", "of all": "in brine, salt of all that is in the jar"}
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
MAKES_COMPARED = {
    "Makes compared: which was liked better": (
        "trial",
        "arm",
        "mean_liking",
        "difference",
        "p_value",
        "tasters",
        "evidence",
    ),
    "Makes compared: which was firmer": (
        "trial",
        "arm",
        "mean_firmness",
        "firmness_difference",
        "firmness_p_value",
        "firmness_tasters",
        "firmness_evidence",
    ),
    "Makes compared: what each lost": (
        "trial",
        "arm",
        "lost_share",
        "spoiled_p_value",
        "spoiled",
        "containers",
        "batches",
    ),
}
WEEK_COLUMNS = ("crop", "week", "picked_kg", "eaten_kg", "put_by_kg", "given_kg", "capacity_kg")


def grouping_title(grouping: str) -> str:
    """The columns grouped by, in words."""
    names = [name for name in grouping.split(", ") if name != "salt_basis"]
    return " and ".join(BY_COLUMN[name].noun if name in BY_COLUMN else name.replace("_", " ") for name in names)


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
        "Share with no spoilage found by age, if left alone",
        "Each line ends where follow-up ends, and the figure says in what share no spoilage was "
        "found by then. The shade is the 95 % interval.",
        table_block(
            "keeping_curves",
            "Share with no spoilage found by age",
            curves,
            ("group", "age_days", "kept", "at_risk"),
            folded=True,
        ),
    )
    blocks += _salt(answers, spoilage)
    blocks += _differences(answers)
    blocks += _causes(answers)
    for (grouping,), rows in spoilage.group_by("grouping", maintain_order=True):
        if grouping not in {"method", _salt_grouping(spoilage)}:
            title = f"What spoiled, by {grouping_title(str(grouping))}"
            blocks.append(table_block("spoilage", title, rows, LOST_COLUMNS, folded=True))
    return Section("kept", "What kept and what spoiled", findings, blocks)


def _salt_grouping(spoilage: pl.DataFrame) -> str | None:
    """The grouping by salt level, if there is one."""
    return next(
        (
            grouping
            for grouping in spoilage["grouping"].unique(maintain_order=True)
            if "salt_band" in grouping and set(grouping.split(", ")) <= SALT_COLUMNS
        ),
        None,
    )


def _salt(answers: Answers, spoilage: pl.DataFrame) -> list[Block]:
    """The salt picture, or, as long as no level was followed for 12 months, what each level lost so far."""
    grouping = _salt_grouping(spoilage)
    levels = answers["salt_levels"]
    blocks: list[Block] = []
    picture = charts.salt_levels(levels)
    if picture is not None:
        blocks = figure_block(
            picture,
            "salt",
            "Share with no spoilage found by 12 months, by salt level",
            "The mark is the estimate and the line its 95 % interval; a ? could not be followed for 12 months, and the "
            "table says what it lost. The pale steps take for granted that more salt does not keep worse. "
            f"{_limits(levels)}",
            table_block("salt_levels", "What kept, by salt level", levels, SALT_COLUMNS_SHOWN, folded=True),
        )
    if grouping:
        bands = spoilage.filter(pl.col("grouping") == grouping)
        table = table_block("spoilage", "What spoiled, by salt level", bands, LOST_COLUMNS, folded=True)
        text = "Brined batches: salt as a share of all in the jar. Dry-salted ones: as a share of the produce."
        title = "Share lost so far, by salt level"
        blocks += [table] if blocks else figure_block(charts.share_lost(bands), "salt", title, text, table)
    response = answers["salt_response"]
    if not response.is_empty():
        told = [_salt_response(row) for row in response.iter_rows(named=True)]
        columns = ("method", "hazard_ratio_per_half_point", "p_value", "batches", "evidence")
        blocks.append(ListBlock("Does more salt go with less spoilage?", told))
        blocks.append(table_block("salt_response", "Salt and spoilage", response, columns, folded=True))
    return blocks


def _limits(levels: pl.DataFrame) -> str:
    """What is published for each way of salting, in a sentence, and that less is no advice."""
    known = levels.filter(pl.col("limit_pct").is_not_null()).unique(["method", "basis"], maintain_order=True)
    said = [
        f"Published, {SALTED.get(row['basis'], row['basis'])}: {amount(row['limit_pct'])} % ({row['limit_source']})."
        for row in known.iter_rows(named=True)
    ]
    return " ".join([*said, LESS_SALT]) if said else ""


def _salt_response(row: dict[str, Any]) -> tuple[str, str]:
    """The finding on salt for one way of keeping."""
    return f"{row['method']}, {plural(row['batches'], 'batch', 'batches')}:", row["note"] or NOT_YET


def _differences(answers: Answers) -> list[Block]:
    rows = answers["spoilage_differences"]
    if rows.is_empty():
        return []
    columns = ("factor", "value", "ratio", "spoiled", "expected", "batches", "p_value", "evidence")
    title = "What differs between batches that spoiled and batches that kept"
    return [table_block("spoilage_differences", title, rows, columns, folded=is_long(rows))]


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


def trials(answers: Answers, findings: Sequence[Finding]) -> Section | None:
    """Makes and treatments that were compared; None where none was."""
    makes, treatments = answers["trials"], answers["treatments"]
    blocks: list[Block] = []
    if not makes.is_empty():
        for caption, columns in MAKES_COMPARED.items():
            # A trial nobody scored for firmness has nothing to say in the table of firmness.
            rows = makes.filter(pl.col(columns[2]).is_not_null().any().over("trial"))
            if not rows.is_empty():
                blocks.append(table_block("trials", caption, rows, columns))
    if not treatments.is_empty():
        blocks.append(table_block("treatments", "Treatments compared by yield", treatments))
    return Section("trials", "Trials", findings, blocks) if blocks else None
