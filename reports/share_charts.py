"""What many plots gave together, as charts. What is withheld is drawn as a cross, never as nothing."""

from __future__ import annotations

from typing import Any

import altair as alt
import polars as pl

from reports.drawing import (
    BLUE,
    FIT,
    GREEN,
    INK,
    ORANGE,
    SEPARATOR,
    WIDTH,
    AnyChart,
    data,
    iso,
    labels,
    named_rows,
    panels,
    utc_axis,
)
from reports.words import amount, kilograms, plural
from schemas.shared import ALL_CROPS
from schemas.words.days import MONTHS

MOST_SURPLUS_CROPS = 8
CROSS = "\u00d7"
LARGEST_DOT = 700
"""Square pixels of the dot of the best month."""


def crop_kilos(crops: pl.DataFrame) -> AnyChart | None:
    """Kilos of each crop, largest first.

    Args:
        crops: rows of ``shared_crops``; withheld ones and the total are not drawn.
    """
    known = crops.filter(pl.col("kg").is_not_null(), pl.col("crop") != ALL_CROPS)
    if known.is_empty():
        return None
    rows = known.sort("kg", "crop", descending=[True, False]).to_dicts()
    for row in rows:
        row["row"] = f"{row['crop']}{SEPARATOR}{plural(row['plots'], 'plot')}"
        per_m2 = row.pop("kg_per_m2")
        row["label"] = kilograms(row["kg"]) + (f", {amount(per_m2)} per m\u00b2" if per_m2 else "")
    order = [row["row"] for row in rows]
    # a label stands right of its bar, so the scale leaves room for that of the longest
    reach = alt.Scale(domain=[0, rows[0]["kg"] * 1.75])
    base = alt.Chart().encode(x=alt.X("kg:Q", title=None, axis=None, scale=reach), y=named_rows("row", order))
    bars = base.mark_bar(color=GREEN, stroke=INK, strokeWidth=1, height=18)
    chart = alt.layer(bars, *labels(base.encode(text="label:N"), align="left", dx=6))
    return chart.properties(data=data(rows), width=WIDTH, height=alt.Step(42), autosize=FIT)


def harvest_calendar(calendar: pl.DataFrame) -> AnyChart | None:
    """Kilos by crop and month as dots of that area; a cross where they are withheld.

    Args:
        calendar: rows of ``shared_calendar``.
    """
    cells = calendar.filter(pl.col("kg").is_null() | (pl.col("kg") > 0))
    if cells.is_empty():
        return None
    starts = cells.group_by("crop").agg(pl.col("month").min()).sort("month", "crop")["crop"].to_list()
    months = [MONTHS[day.month - 1] for day in calendar["month"].unique().sort()]
    rows = [
        {
            "crop": row["crop"],
            "month": MONTHS[row["month"].month - 1],
            "kg": row["kg"],
            "cross": "" if row["kg"] is not None else CROSS,
        }
        for row in cells.to_dicts()
    ]
    most = max((row["kg"] for row in rows if row["kg"]), default=0.0)
    base = alt.Chart().encode(
        x=alt.X("month:N", sort=months, title=None, axis=alt.Axis(orient="top", labelAngle=0, grid=False)),
        y=named_rows("crop", starts),
    )
    layers = [*labels(base.encode(text="cross:N"))]
    if most:
        size = alt.Size(
            "kg:Q",
            scale=alt.Scale(domain=[0, most], range=[0, LARGEST_DOT]),
            legend=alt.Legend(orient="bottom", title="kg:", titleOrient="left", tickCount=3, symbolFillColor=GREEN),
        )
        dots = base.transform_filter("datum.kg > 0").mark_point(
            shape="circle", filled=True, color=GREEN, stroke=INK, strokeWidth=1, opacity=1
        )
        layers.insert(0, dots.encode(size=size))
    return alt.layer(*layers).properties(data=data(rows), width=WIDTH, height=alt.Step(34), autosize=FIT)


def uses(table: pl.DataFrame) -> AnyChart | None:
    """What became of fresh produce, all crops together.

    Args:
        table: rows of ``shared_uses``.
    """
    known = table.filter(pl.col("crop") == ALL_CROPS, pl.col("kg").is_not_null())
    if known.is_empty():
        return None
    rows = [row | {"label": kilograms(row["kg"])} for row in known.sort("kg", descending=True).to_dicts()]
    reach = alt.Scale(domain=[0, rows[0]["kg"] * 1.3])
    x = alt.X("kg:Q", title=None, axis=None, scale=reach)
    base = alt.Chart().encode(x=x, y=named_rows("use", [row["use"] for row in rows]))
    bars = base.mark_bar(color=BLUE, stroke=INK, strokeWidth=1, height=18)
    chart = alt.layer(bars, *labels(base.encode(text="label:N"), align="left", dx=6))
    return chart.properties(data=data(rows), width=WIDTH, height=alt.Step(34), autosize=FIT)


def surplus(table: pl.DataFrame) -> AnyChart | None:
    """Plots with more than they can use above the line, plots with too little below it, week by week.

    Args:
        table: rows of ``shared_surplus``; the crops with most weeks are drawn.
    """
    if table.is_empty():
        return None
    weeks = table.group_by("crop").len().sort("len", "crop", descending=[True, False])
    crops = weeks["crop"].head(MOST_SURPLUS_CROPS).sort().to_list()
    rows = [
        mark
        for row in table.filter(pl.col("crop").is_in(crops)).sort("crop", "week").to_dicts()
        for mark in _week_marks(row)
    ]
    kinds = ["more than they can use", "too little"]
    fill = alt.Fill(
        "kind:N",
        scale=alt.Scale(domain=kinds, range=[GREEN, ORANGE]),
        legend=alt.Legend(orient="top", symbolType="square", symbolStrokeColor=INK),
    )
    x = alt.X("from:T", title=None, axis=utc_axis("%b", grid=False, tickCount=4), scale=alt.Scale(type="utc"))
    most = max(abs(row["plots"]) for row in rows)
    y = alt.Y(
        "plots:Q",
        title=None,
        axis=alt.Axis(labelExpr="abs(datum.value)", tickMinStep=1, tickCount=4),
        scale=alt.Scale(domain=[-most, most]),
    )
    bars = alt.Chart().mark_bar(stroke=INK, strokeWidth=1).encode(x=x, x2="to:T", y=y, y2=alt.datum(0), fill=fill)
    zero = alt.Chart().mark_rule(color=INK, strokeWidth=1).encode(y=alt.datum(0))
    layers = alt.layer(bars, zero).properties(width=166, height=80)
    return panels(layers, rows, "crop", crops, columns=2)


def _week_marks(row: dict[str, Any]) -> list[dict[str, Any]]:
    start, end = iso(row["week"], hours=12), iso(row["week"], hours=24 * 6.5)
    week = {"crop": row["crop"], "from": start, "to": end}
    marks = (("more than they can use", row["plots_with_more"], 1), ("too little", row["plots_with_less"], -1))
    return [week | {"kind": kind, "plots": sign * plots} for kind, plots, sign in marks if plots]
