"""The plan for next season as charts: when to sow, what it should give, and what it is worth."""

from __future__ import annotations

import datetime as dt
from typing import Any

import altair as alt
import polars as pl

from reports.drawing import (
    BLUE,
    FIT,
    GREEN,
    GREY,
    INK,
    LETTERS,
    PALE,
    VERMILLION,
    WIDTH,
    AnyChart,
    data,
    iso,
    labels,
    panels,
    utc_axis,
)
from reports.words import amount, day

MOST_OUTLOOKS = 12
ROW_HEIGHT, MANY_SOWINGS = 24, 30
"""Pixels of a row of the timetable; with more sowings than this, rows stand as close as letters allow."""
ROOM_FOR_DATE = 0.2
"""Share of the drawn span kept free on the left, where the first sowing dates are written."""

FEW_WEEKS = 13
BEFORE, AFTER = "sown as last season", "sown by the plan"

MEASURES: dict[str, str] = {
    "wasted_kg": "picked and not used, kg a year",
    "short_kg": "wanted fresh and not there, kg a year",
    "weeks_without": "crop-weeks with under half of the need",
}


def sowing_timetable(plan: pl.DataFrame) -> AnyChart | None:
    """One row per sowing: the day to sow, the day to plant out, and a bar over the days of picking.

    Args:
        plan: rows of ``sowing_plan``.
    """
    if plan.is_empty():
        return None
    first = plan.group_by("crop").agg(start=pl.col("sow_on").min())
    ordered = plan.join(first, on="crop", how="left").sort("start", "crop", "sow_on")
    rows = _sowing_rows(ordered.to_dicts())
    begin, end = plan["sow_on"].min(), plan["last_pick_on"].max() or plan["sow_on"].max()
    assert isinstance(begin, dt.date)  # noqa: S101 -- the column is a date and the frame has rows
    assert isinstance(end, dt.date)  # noqa: S101
    room = max((end - begin).days * ROOM_FOR_DATE, 10)
    scale = alt.Scale(type="utc", domain=[iso(begin, hours=-24 * room), iso(end, hours=24 * 5)])
    # the name stands beside the first sowing of a crop only; two digits in front keep the rows apart
    name = "slice(datum.value, 0, 2) == '01' ? slice(datum.value, 2) : ''"
    axis = alt.Axis(title=None, labelExpr=name, grid=False)
    y = alt.Y("row:N", sort=list(dict.fromkeys(row["row"] for row in rows)), axis=axis)
    x = alt.X("on:T", title=None, axis=utc_axis("%b", orient="top"), scale=scale)
    base = alt.Chart().encode(x=x, y=y)
    kinds = ["sow", "plant out", "pick"]
    legend = alt.Legend(orient="top", symbolStrokeColor=INK)
    shapes = alt.Scale(domain=kinds, range=["triangle-up", "diamond", "square"])
    shape = alt.Shape("mark:N", scale=shapes, legend=legend)
    fill = alt.Fill("mark:N", scale=alt.Scale(domain=kinds, range=[INK, "white", GREEN]), legend=legend)
    wait = base.transform_filter("datum.mark == 'sow'").mark_rule(color=GREY, strokeDash=[2, 3], strokeWidth=2)
    picking = base.transform_filter("datum.mark == 'pick'").mark_bar(height=11, stroke=INK, strokeWidth=1)
    days = base.transform_filter("datum.mark != 'pick'").mark_point(size=100, stroke=INK, opacity=1)
    chart = alt.layer(
        wait.encode(x2="until:T"),
        picking.encode(x2="until:T", fill=fill),
        days.encode(shape=shape, fill=fill),
        *labels(base.encode(text="label:N"), align="right", dx=-9),
    )
    step = ROW_HEIGHT if plan.height <= MANY_SOWINGS else LETTERS + 3
    return chart.properties(data=data(rows), width=WIDTH, height=alt.Step(step), autosize=FIT)


def _sowing_rows(sowings: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The marks of each sowing: its day, its planting out and its picking."""
    rows: list[dict[str, Any]] = []
    ordinals: dict[str, int] = {}
    for sowing in sowings:
        ordinal = ordinals[sowing["crop"]] = ordinals.get(sowing["crop"], 0) + 1
        row: dict[str, Any] = {"row": f"{ordinal:02d}{sowing['crop']}", "label": ""}
        sow, out, first = iso(sowing["sow_on"]), iso(sowing["plant_out_on"]), iso(sowing["first_pick_on"])
        rows.append(row | {"mark": "sow", "on": sow, "until": first, "label": day(sowing["sow_on"])})
        if out:
            rows.append(row | {"mark": "plant out", "on": out})
        if first:
            rows.append(row | {"mark": "pick", "on": first, "until": iso(sowing["last_pick_on"], hours=24)})
    return rows


def harvest_outlook(
    outlook: pl.DataFrame, wanted: str = "wanted fresh", before: pl.DataFrame | None = None
) -> AnyChart | None:
    """What the plan should give each week beside what is wanted, one small picture per crop.

    Args:
        outlook: rows of ``harvest_outlook`` or ``shared_outlook``; the crops with the largest weeks are drawn.
        wanted: what ``need_kg`` stands for.
        before: rows of ``last_season_outlook``, drawn beside the plan; None or empty draws the plan alone.
    """
    if outlook.is_empty():
        return None
    largest = outlook.group_by("crop").agg(peak=pl.col("kg_p90").max())
    crops = largest.sort("peak", "crop", descending=[True, False])["crop"].head(MOST_OUTLOOKS).sort().to_list()
    past = None if before is None or before.is_empty() else before
    expected = "expected" if past is None else AFTER
    rows = [
        *_outlook_rows(outlook, crops, {expected: "kg_p50", wanted: "need_kg"}, band=expected),
        *([] if past is None else _outlook_rows(past, crops, {BEFORE: "kg_p50"})),
    ]
    # over a few weeks the month alone would stand three times
    form = "%-d %b" if outlook["week"].n_unique() <= FEW_WEEKS else "%b"
    x = alt.X("week:T", title=None, axis=utc_axis(form, grid=False, tickCount=4), scale=alt.Scale(type="utc"))
    base = alt.Chart().encode(x=x)
    band = base.transform_filter(f"datum.line == '{expected}'").mark_area(color=BLUE, opacity=0.22)
    styles: dict[str, tuple[str, list[int]]] = {expected: (BLUE, [1, 0]), wanted: (VERMILLION, [5, 3])}
    if past is not None:
        styles |= {BEFORE: (INK, [2, 2])}
    legend = alt.Legend(orient="top", symbolType="stroke", symbolStrokeWidth=3)
    colours = alt.Scale(domain=list(styles), range=[colour for colour, _ in styles.values()])
    dashes = alt.Scale(domain=list(styles), range=[dash for _, dash in styles.values()])
    lines = base.mark_line(strokeWidth=2.5).encode(
        y=alt.Y("kg:Q", title=None, axis=alt.Axis(tickCount=3)),
        color=alt.Color("line:N", scale=colours, legend=legend),
        strokeDash=alt.StrokeDash("line:N", scale=dashes, legend=legend),
    )
    low_to_high = band.encode(y=alt.Y("low:Q"), y2="high:Q")
    return panels(alt.layer(low_to_high, lines).properties(width=166, height=90), rows, "crop", crops, columns=2)


def _outlook_rows(
    outlook: pl.DataFrame, crops: list[str], lines: dict[str, str], band: str = ""
) -> list[dict[str, Any]]:
    """The points of each line, by name and column; those of ``band`` carry their low and high ends."""
    rows = []
    for row in outlook.filter(pl.col("crop").is_in(crops)).sort("crop", "week").to_dicts():
        for line, column in lines.items():
            point = {"crop": row["crop"], "week": iso(row["week"]), "line": line, "kg": row[column]}
            rows.append(point | ({"low": row["kg_p10"], "high": row["kg_p90"]} if line == band else {}))
    return rows


def plan_comparison(policies: pl.DataFrame) -> AnyChart | None:
    """Ways of sowing beside one another: waste, shortage and empty weeks; less is better in all three.

    Args:
        policies: rows of ``plan_comparison``.
    """
    if policies.is_empty():
        return None
    rows = [
        {"policy": row["policy"], "measure": title, "value": row[measure], "label": amount(row[measure])}
        for measure, title in MEASURES.items()
        for row in policies.to_dicts()
    ]
    bold: Any = alt.condition("datum.value == 'this plan'", alt.value("bold"), alt.value("normal"))
    axis = alt.Axis(title=None, grid=False, labelFontWeight=bold)
    y = alt.Y("policy:N", sort=policies["policy"].to_list(), axis=axis)
    hue: Any = alt.condition("datum.policy == 'this plan'", alt.value(BLUE), alt.value(PALE))
    base = alt.Chart().encode(x=alt.X("value:Q", title=None, axis=None, scale=alt.Scale(zero=True)), y=y)
    bars = base.mark_bar(stroke=INK, strokeWidth=1, height=16).encode(color=hue)
    layers = alt.layer(bars, *labels(base.encode(text="label:N"), align="left", dx=5))
    sized = layers.properties(width=270, height=alt.Step(26))
    return panels(sized, rows, "measure", list(MEASURES.values()), columns=1, own_widths=True)
