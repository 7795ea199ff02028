"""The shared garden report: one HTML file that stands alone and says first what is shared and what is not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import polars as pl

from reports import charts, plan_charts, share_charts
from reports.blocks import (
    Answers,
    Block,
    Drawn,
    ListBlock,
    Section,
    TableBlock,
    TextBlock,
    charts_of,
    crop_numbers,
    figure_block,
    is_long,
    table_block,
)
from reports.rendering import render
from reports.tables import Shown
from reports.words import NIL, amount, day, day_span, kilograms, plural, quantity, season_name
from schemas.page import Garden
from schemas.shared import ALL_CROPS
from schemas.words.days import MONTH_DAYS, MONTHS

WITHHELD = "withheld"
CROPS = "crops"
"""First word of a reason that counts crops, not figures."""
KEPT_COLUMNS = (
    "method",
    "lost_share",
    "spoiled",
    "containers",
    "batches",
    "plots",
    "kept_12m",
    "lost_per_100",
    "plot_sd_per_100",
    "evidence",
)
TABLE_TITLES: dict[str, str] = {
    "shared_crops": "Kilos of crops",
    "shared_calendar": "Kilos by crop and month",
    "shared_uses": "What became of fresh produce",
    "shared_spoilage": "What kept and what spoiled",
    "shared_keeping": "Share with no spoilage found by age",
    "shared_surplus": "Too much and too little",
    "shared_sowings": "Crops learned from for the sowing timetable",
}
"""Tables as the list of what was withheld names them; a log goes by its own name."""


def shared_page(garden: Garden, tables: Mapping[str, pl.DataFrame], notes: Sequence[str]) -> str:
    """The shared garden report as one HTML file.

    Args:
        garden: facts for the head of the page; the season planned is that of the timetable.
        tables: every table of ``schemas/shared.py``; a missing one counts as empty.
        notes: sentences on how this run was made.

    Returns:
        A page that loads nothing and runs nothing. Every text from a log is escaped.
    """
    return drawn_shared(garden, tables, notes).html


def drawn_shared(garden: Garden, tables: Mapping[str, pl.DataFrame], notes: Sequence[str]) -> Drawn:
    """The shared garden report as in ``shared_page``, with its charts for use elsewhere; each is drawn once."""
    answers = Answers(dict(tables))
    facts = answers["shared_garden"].to_dicts()
    fact: dict[str, Any] = facts[0] if facts else {"plots": None, "smallest_group": None}
    drawn = [
        _what_kilos(answers),
        _when(answers),
        _where(answers),
        _what_kept(answers),
        _who_has_too_much(answers),
        _who_sows(answers, garden),
    ]
    parts = [part for part in drawn if part is not None] if fact["plots"] else []
    html = render(
        "share.html.j2",
        garden=garden,
        season=day_span(garden.season_from, garden.season_to),
        fact=fact,
        in_short=_in_short(answers, fact),
        withheld=_what_is_withheld(answers),
        sections=parts,
        crops=crop_numbers(parts),
        notes=notes,
    )
    return Drawn(html, charts_of(parts))


def _in_short(answers: Answers, fact: dict[str, Any]) -> list[str]:
    """The garden in a few sentences, each from figures that are shown."""
    if not fact["plots"]:
        return []
    area = f" with {amount(fact['area_m2'])}\u00a0m\u00b2" if fact["area_m2"] else ""
    per_m2 = f", {amount(fact['kg_per_m2'])}\u00a0kg per m\u00b2" if fact["kg_per_m2"] else ""
    sentences = [f"{plural(fact['plots'], 'plot')}{area} share their figures."]
    if fact["kg"]:
        sentences.append(f"Together they picked {kilograms(fact['kg'])}{per_m2}.")
    total = answers["shared_uses"].filter(pl.col("crop") == ALL_CROPS, pl.col("kg") > 0)
    kilos = dict(total.select("use", "kg").iter_rows())
    words = {"put by": "put by", "given": "given away", "donated": "donated", "thrown away": "thrown away"}
    said = [f"{kilograms(kilos[use])} {word}" for use, word in words.items() if use in kilos]
    if said:
        listed = f"{', '.join(said[:-1])}{' and ' if said[1:] else ''}{said[-1]}"
        sentences.append(f"As far as it was logged: {listed}.")
    worth = {row["policy"]: row for row in answers["shared_plan_worth"].to_dicts()}
    if {"last season", "this plan"} <= worth.keys():
        before, after = (amount(worth[policy]["weeks_without"]) for policy in ("last season", "this plan"))
        sentences.append(
            f"Sown in turn, crops would be short in {after} crop-weeks of a usual year, and in {before} "
            "if all sowed as last season."
        )
    return sentences


def _what_is_withheld(answers: Answers) -> list[tuple[str, str]]:
    """What was withheld of each table and log, without any value."""
    said: dict[str, list[str]] = {}
    for table, why, cells in answers["shared_withheld"].iter_rows():
        said.setdefault(table, []).append(_why(why, cells))
    titles = {table: TABLE_TITLES.get(table, f"{table}.csv") for table in said}
    return [(f"{titles[table]}:", f"{'; '.join(reasons)}.") for table, reasons in said.items()]


def _why(why: str, cells: int | None) -> str:
    """A reason with how many figures, or crops, it holds for."""
    if cells is None:
        return why
    if why.startswith(CROPS):
        return f"{plural(cells, 'crop')}{why.removeprefix(CROPS)}"
    return f"{plural(cells, 'figure')}, {why}"


def _with_word(block: TableBlock, columns: Sequence[str], hidden: Sequence[str]) -> TableBlock:
    """The table with the word ``withheld`` instead of a dash in these columns, whose figures are always known."""
    places = {columns.index(name) for name in hidden}
    rows = tuple(
        tuple(WITHHELD if at in places and cell == NIL else cell for at, cell in enumerate(row))
        for row in block.shown.rows
    )
    return replace(block, shown=replace(block.shown, rows=rows))


def _what_kilos(answers: Answers) -> Section | None:
    crops = answers["shared_crops"]
    if crops.is_empty():
        return None
    columns = ("crop", "kg", "kg_per_m2", "plots")
    table = table_block("shared_crops", "Kilos of each crop", crops, columns, folded=True)
    blocks = figure_block(
        share_charts.crop_kilos(crops),
        "crops",
        "What each crop gave",
        "Kilos picked, and kilos per square metre sown where areas are known.",
        _with_word(table, columns, ("kg", "plots")),
    )
    return Section("crops", "What the plots gave", [], blocks)


def _when(answers: Answers) -> Section | None:
    calendar = answers["shared_calendar"]
    if calendar.is_empty():
        return None
    blocks = figure_block(
        share_charts.harvest_calendar(calendar),
        "calendar",
        "Kilos by crop and month",
        "The area of a dot is kilos picked in that month; a cross stands where they are withheld.",
        _calendar_table(calendar, answers["shared_crops"]),
    )
    return Section("calendar", "When the harvest came", [], blocks)


def _calendar_table(calendar: pl.DataFrame, crops: pl.DataFrame) -> TableBlock:
    """Crops down, months across, and the season's total at the end."""
    months = calendar["month"].unique().sort().to_list()
    totals = dict(crops.select("crop", "kg").iter_rows())
    cells = {(row["crop"], row["month"]): row["kg"] for row in calendar.iter_rows(named=True)}
    rows = []
    names = calendar["crop"].unique(maintain_order=True).to_list()
    for crop in names:
        values = [*(cells.get((crop, month)) for month in months), totals.get(crop)]
        rows.append((crop, *(WITHHELD if kg is None else NIL if kg == 0 else amount(kg) for kg in values)))
    headings = ("Crop", *(MONTHS[month.month - 1] for month in months), "Season")
    numeric = (False, *(True for _ in headings[1:]))
    block = table_block("shared_calendar", "Kilos picked, by crop and month", calendar, folded=True)
    return replace(block, shown=Shown(headings, numeric, tuple(rows)), total=len(rows), crops=names)


def _where(answers: Answers) -> Section | None:
    table = answers["shared_uses"]
    if table.is_empty():
        return None
    columns = ("crop", "use", "kg", "plots")
    block = table_block("shared_uses", "What became of fresh produce, by crop", table, columns, folded=True)
    blocks: list[Block] = figure_block(
        share_charts.uses(table),
        "uses",
        "What became of fresh produce",
        "All crops together, as far as it was logged; what was eaten is often not.",
        _with_word(block, columns, ("kg", "plots")),
    )
    return Section("uses", "Where it went", [], blocks)


def _what_kept(answers: Answers) -> Section | None:
    table = answers["shared_spoilage"].sort("lost_share", "method", descending=[True, False], nulls_last=True)
    if table.is_empty():
        return None
    blocks = figure_block(
        charts.share_lost(table.rename({"method": "group"})),
        "lost",
        "Share lost so far, by way of keeping",
        "The mark is the estimate of all plots together and the line its 95 % interval.",
        table_block("shared_spoilage", "What spoiled, by way of keeping", table, KEPT_COLUMNS, folded=True),
    )
    curves = answers["shared_keeping"]
    drawn = curves.with_columns(age_days=pl.col("age_months") * MONTH_DAYS).rename({"method": "group"})
    blocks += figure_block(
        charts.keeping_curves(drawn, "linear"),
        "curves",
        "Share with no spoilage found by age, if left alone",
        "At every third month, as long as enough plots were followed. The shade is the 95 % interval.",
        table_block("shared_keeping", "Share with no spoilage found by age", curves, folded=True),
    )
    told = [_spread(row) for row in table.iter_rows(named=True) if row["plot_sd_per_100"] is not None]
    if told:
        blocks.append(ListBlock("How far plots differ", told))
    return Section("kept", "What kept and what spoiled", [], blocks)


def _spread(row: dict[str, Any]) -> tuple[str, str]:
    rate, spread = amount(row["lost_per_100"]), row["plot_sd_per_100"]
    lost = f"{rate} of 100 containers lost in a year"
    if spread < 0.5:
        return f"{row['method']}:", f"{lost}; plots differ no more than their batches do."
    return f"{row['method']}:", f"{lost}; give or take {amount(spread)} from plot to plot."


def _who_has_too_much(answers: Answers) -> Section | None:
    table = answers["shared_surplus"]
    if table.is_empty():
        return None
    blocks = figure_block(
        share_charts.surplus(table),
        "surplus",
        "Plots with more than they can use, and plots with too little",
        "Counts of plots, week by week: more above the line, too little below it. Smaller counts are not shown.",
        table_block("shared_surplus", "Weeks with more than enough or too little", table, folded=is_long(table)),
    )
    swap = table.drop_nulls(["plots_with_more", "plots_with_less"])
    if not swap.is_empty():
        told = [(f"{row['crop']}, week of {day(row['week'])}:", _could_swap(row)) for row in swap.to_dicts()]
        blocks.append(ListBlock("Weeks in which some had too much while others lacked it", told))
    return Section("surplus", "Too much here, too little there", [], blocks)


def _could_swap(row: dict[str, Any]) -> str:
    more, less = plural(row["plots_with_more"], "plot"), plural(row["plots_with_less"], "plot")
    return f"{more} had more than they could use, {less} too little."


def _who_sows(answers: Answers, garden: Garden) -> Section | None:
    sowings = answers["shared_sowings"]
    if sowings.is_empty():
        return None
    blocks: list[Block] = [
        TextBlock(
            "Each crop goes round the plots, by area. What a plot grew before plays no part; who does not want a turn "
            "may swap it."
        )
    ]
    for (plot,), rows in sowings.sort("plot", "sow_on", "crop", nulls_last=True).group_by("plot", maintain_order=True):
        told = [_sowing(row) for row in rows.iter_rows(named=True)]
        title = f"{plot or 'Where there is room'} sows"
        blocks.append(ListBlock(title, told, compact=True, crops=rows["crop"].to_list()))
    blocks.append(table_block("shared_sowings", "Who sows what when, by day", sowings, folded=True))
    outlook = answers["shared_outlook"]
    blocks += figure_block(
        plan_charts.harvest_outlook(outlook, "even harvest"),
        "outlook",
        "Harvest expected of all plots, kg a week",
        "The line is the middle year, the shade 8 years in 10, the dashes an even harvest.",
        table_block("shared_outlook", "Expected harvest by week", outlook, folded=True),
    )
    worth = answers["shared_plan_worth"]
    blocks += figure_block(
        plan_charts.plan_comparison(worth),
        "worth",
        "What sowing in turn is worth",
        "Means over weather years that the plan never saw; wanted is an even harvest. Less is better in all three.",
        table_block("shared_plan_worth", "Ways of sowing compared", worth, folded=True),
    )
    return Section("sowings", f"Who sows what, {season_name(garden.plan_from, garden.plan_to)}", [], blocks)


def _sowing(row: dict[str, Any]) -> tuple[str, str]:
    """One turn as a line: ``20 Mar: lettuce, 12 plants; plant out 13 Apr; pick from 4 Jun``."""
    parts = [f"{row['crop']}, {quantity(row['amount'], row['unit'])}"]
    if row["plant_out_on"]:
        parts.append(f"plant out {day(row['plant_out_on'])}")
    if row["first_pick_on"]:
        parts.append(f"pick from {day(row['first_pick_on'])}")
    return f"{day(row['sow_on'])}:", "; ".join(parts)
