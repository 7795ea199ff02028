"""What kept, where the harvest went, and what is on the shelf, as charts.

Each function takes rows of one answer table (``schemas/answers.py``) and gives an altair chart, or None where
there is nothing to draw. They reshape rows for drawing and estimate nothing: the numbers are the table's.
"""

from __future__ import annotations

import datetime as dt
import math
from typing import Any, Literal

import altair as alt
import polars as pl

from reports.drawing import (
    BLUE,
    FIT,
    GREEN,
    GREY,
    GRID,
    INK,
    ORANGE,
    PALE,
    PERCENT,
    SEPARATOR,
    SKY,
    VERMILLION,
    WIDTH,
    AnyChart,
    data,
    iso,
    labels,
    named_rows,
    panels,
    utc_axis,
)
from reports.words import amount, day, kilograms, percent, plural
from schemas.words.days import MONTH_DAYS

MOST_CURVES = 8
MONTH_STEPS = ((4, 1), (10, 3), (30, 6))
"""Months between marks of an axis of age, by where it ends; longer ones are marked by the year."""
MOST_MONTHS = 601
MOST_CROPS = 14
MOST_GLUT_CROPS = 3
MOST_SHELF_ROWS = 20
LEAST_LABELLED = 0.12
"""A part of a bar below this share is too narrow for its figure; the table has it."""
HORIZON_DAYS = 730
"""A run-out later than this is drawn as an arrow: what lies further off decides nothing today."""

COUNT_AT, LIMIT_AT = -0.14, 1.17
"""Where the counts of batches and the published limit stand on the axis of a share, below 0 and above 1."""
BOTTOM, TOP = -0.28, 1.3
STEP_BEYOND = 0.15
"""How far past the saltiest batches the steps run, in percent of salt."""

SHAPES: dict[str, str] = {"enough": "circle", "thin": "diamond", "too little": "cross"}

USES: dict[str, tuple[str, str]] = {
    "put_by_kg": ("put by", BLUE),
    "eaten_kg": ("eaten fresh", GREEN),
    "given_kg": ("given, swapped, sold", SKY),
    "left_kg": ("left, still good", PALE),
    "expired_kg": ("past its time", ORANGE),
    "wasted_kg": ("thrown away", VERMILLION),
}


def keeping_curves(curves: pl.DataFrame, shape: Literal["step-after", "linear"] = "step-after") -> AnyChart | None:
    """Share with no spoilage found by age, one small picture per group, with the 95 % band.

    Args:
        curves: rows of ``keeping_curves`` of one grouping.
        shape: how points are joined: in steps where there is one for each loss, ``linear`` where they are sampled.
    """
    if curves.is_empty():
        return None
    groups = curves["group"].unique(maintain_order=True).to_list()[:MOST_CURVES]
    rows = [row for row in curves.to_dicts() if row["group"] in groups]
    last = {row["group"]: row for row in rows}
    for row in rows:
        row["months"] = row["age_days"] / MONTH_DAYS
        row["label"] = percent(row["kept"]) if row is last[row["group"]] else ""
    longest = max(row["months"] for row in rows)
    every = next((step for reach, step in MONTH_STEPS if longest < reach), 12)
    months = alt.Axis(grid=False, format="d", values=list(range(0, MOST_MONTHS, every)))
    shares = alt.Axis(labelExpr=PERCENT, values=[0, 0.5, 1])
    base = alt.Chart().encode(
        x=alt.X("months:Q", title="months since made", axis=months),
        y=alt.Y("kept:Q", title=None, axis=shares, scale=alt.Scale(domain=[0, 1])),
    )
    band = base.mark_area(interpolate=shape, color=BLUE, opacity=0.22)
    line = base.mark_line(interpolate=shape, color=BLUE, strokeWidth=2.5)
    end = labels(base.encode(text="label:N"), align="right", dy=16)
    layers = alt.layer(band.encode(y="kept_low:Q", y2="kept_high:Q"), line, *end)
    return panels(layers.properties(width=166, height=110), rows, "group", groups, columns=2)


def share_lost(groups: pl.DataFrame) -> AnyChart | None:
    """Share lost by today in each group, a point with its 95 % interval; the point's shape says how sure.

    Args:
        groups: rows of ``spoilage`` of one grouping, in the order to draw.
    """
    known = groups.filter(pl.col("lost_share").is_not_null())
    if known.is_empty():
        return None
    rows = known.select("lost_share", "lost_low", "lost_high", "evidence").to_dicts()
    for row, group, batches in zip(rows, known["group"], known["batches"], strict=True):
        row["row"] = f"{group}{SEPARATOR}{plural(batches, 'batch', 'batches')}"
        row["label"] = percent(row["lost_share"])
    reach = min(1.0, max(row["lost_high"] or row["lost_share"] for row in rows))
    axis = alt.Axis(labelExpr=PERCENT, tickCount=5)
    base = alt.Chart().encode(
        x=alt.X("lost_share:Q", title=None, axis=axis, scale=alt.Scale(domain=[0, reach], nice=True)),
        y=named_rows("row", [row["row"] for row in rows]),
    )
    present = [word for word in SHAPES if word in set(known["evidence"])]
    shape = alt.Shape(
        "evidence:N",
        scale=alt.Scale(domain=present, range=[SHAPES[word] for word in present]),
        legend=alt.Legend(orient="bottom", title="evidence:", titleOrient="left", symbolFillColor=BLUE),
    )
    whole = base.mark_rule(color=BLUE, strokeWidth=3).encode(x="lost_low:Q", x2="lost_high:Q")
    points = base.mark_point(filled=True, size=150, color=BLUE, opacity=1).encode(shape=shape)
    chart = alt.layer(whole, points, *labels(base.encode(text="label:N"), align="left", dx=1, dy=-16))
    return chart.properties(data=data(rows), width=WIDTH, height=alt.Step(46), autosize=FIT)


def salt_levels(levels: pl.DataFrame) -> AnyChart | None:
    """Share with no spoilage found by 12 months by salt level, one picture per method and basis.

    Each level has a mark at its mean salt with the 95 % interval and, below, its count of batches; the steps are
    the share that never falls as salt rises. Less salt than is published is shaded and marked off by a rule
    that names the limit, so that no level stands without it.

    Args:
        levels: rows of ``salt_levels``.
    """
    if levels.filter(pl.col("kept_12m").is_not_null()).is_empty():
        return None
    least = math.floor(levels.select(pl.min_horizontal(pl.col("from_pct").min(), pl.col("limit_pct").min() - 1)).item())
    most = math.ceil(
        levels.select(pl.max_horizontal(pl.col("salt_pct").max() + STEP_BEYOND, pl.col("limit_pct").max())).item()
    )
    rows: list[dict[str, Any]] = []
    parts = levels.partition_by("method", "basis", maintain_order=True)
    for part in parts:
        panel = _salt_panel(part["method"][0], part["basis"][0])
        rows += [row | {"panel": panel} for row in _salt_marks(part.to_dicts(), least)]
    x = alt.X(
        "salt:Q", title="salt, %", axis=alt.Axis(grid=False, tickMinStep=1), scale=alt.Scale(domain=[least, most])
    )
    faint = alt.condition("datum.value < 0 || datum.value > 1", alt.value("transparent"), alt.value(GRID))
    axis = alt.Axis(labelExpr=f"datum.value < 0 ? 'batches' : {PERCENT}", values=[COUNT_AT, 0, 0.5, 1], gridColor=faint)
    y = alt.Y("kept:Q", title=None, axis=axis, scale=alt.Scale(domain=[BOTTOM, TOP]))
    base = alt.Chart().encode(x=x, y=y)

    def only(field: str) -> alt.Chart:
        return base.transform_filter(f"isValid(datum.{field})")

    below = only("limit").mark_rect(color=GREY, opacity=0.18).encode(x2="limit:Q", y2="top:Q")
    rule = only("rule").mark_rule(color=VERMILLION, strokeWidth=2.5, strokeDash=[6, 3]).encode(y2="top:Q")
    step = only("step").mark_line(color=SKY, strokeWidth=3).encode(order="salt:Q", detail="run:N")
    whisker = only("low").mark_rule(color=BLUE, strokeWidth=3).encode(y="low:Q", y2="high:Q")
    present = [word for word in SHAPES if word in set(levels["evidence"])]
    shape = alt.Shape(
        "evidence:N",
        scale=alt.Scale(domain=present, range=[SHAPES[word] for word in present]),
        legend=alt.Legend(orient="bottom", title="evidence:", titleOrient="left", symbolFillColor=BLUE),
    )
    points = only("low").mark_point(filled=True, size=150, color=BLUE, opacity=1).encode(shape=shape)
    texts = labels(only("text").encode(text="text:N"))
    limits = labels(only("said").encode(text="said:N"), align="left", dx=5)
    layers = alt.layer(below, step, rule, whisker, points, *texts, *limits)
    return panels(layers.properties(width=376, height=210), rows, "panel", _panel_names(parts), columns=1)


def _panel_names(parts: list[pl.DataFrame]) -> list[str]:
    return [_salt_panel(part["method"][0], part["basis"][0]) for part in parts]


def _salt_panel(method: str, basis: str) -> str:
    """``ferment, dry-salted: % of the produce``."""
    way = "dry-salted: % of the produce" if basis == "of produce" else "brined: % of all in the jar"
    return f"{method}, {way}"


def _salt_marks(levels: list[dict[str, Any]], least: float) -> list[dict[str, Any]]:
    """Marks of one panel: its levels, the steps, and the published limit.

    Steps run over salt that was tried and never below the limit: a line there would read as advice.
    """
    limit = levels[0]["limit_pct"]
    if limit is None:
        said = "no salt limit in our tables: keep to the recipe"
        rows: list[dict[str, Any]] = [{"salt": least, "kept": LIMIT_AT, "said": said}]
    else:
        rows = [
            {"salt": least, "limit": limit, "kept": BOTTOM, "top": TOP},
            {"salt": limit, "rule": 1, "kept": BOTTOM, "top": TOP},
            {"salt": limit, "kept": LIMIT_AT, "said": f"published: {amount(limit)} %"},
        ]
    run, end = 0, None
    for level in levels:
        salt, kept, share = level["salt_pct"], level["kept_12m"], level["kept_12m_isotonic"]
        rows.append({"salt": salt, "kept": COUNT_AT, "text": str(level["batches"])})
        if kept is None:
            rows.append({"salt": salt, "kept": 0.5, "text": "?"})
            continue
        shown = {"low": level["kept_12m_low"], "high": level["kept_12m_high"], "evidence": level["evidence"]}
        rows.append({"salt": salt, "kept": kept, **shown})
        run += level["from_pct"] != end
        end = level["to_pct"]
        first = max(level["from_pct"], limit or 0.0)
        last = salt + STEP_BEYOND if level is levels[-1] else end
        if first < last:
            rows += [{"salt": at, "kept": share, "step": 1, "run": run} for at in (first, last)]
    return rows


def harvest_use(balance: pl.DataFrame) -> AnyChart | None:
    """Where each crop's kilos went: one bar of 100 % per crop, largest harvest first.

    Args:
        balance: rows of ``glut_waste``.
    """
    crops = balance.filter(pl.col("picked_kg") > 0).sort("picked_kg", "crop", descending=[True, False])
    if crops.is_empty():
        return None
    rows: list[dict[str, Any]] = []
    names = []
    for crop in crops.head(MOST_CROPS).to_dicts():
        total = sum(crop[use] or 0.0 for use in USES)
        names.append(f"{crop['crop']}{SEPARATOR}{kilograms(crop['picked_kg'])}")
        start = 0.0
        for use, (word, _) in USES.items():
            share = (crop[use] or 0.0) / total if total else 0.0
            label = percent(round(share, 2)) if share >= LEAST_LABELLED else ""
            end = start + share
            rows.append(
                {
                    "row": names[-1],
                    "use": word,
                    "from": start,
                    "to": end,
                    "mid": start + share / 2,
                    "label": label,
                }
            )
            start = end
    fill = alt.Fill(
        "use:N",
        scale=alt.Scale(domain=[word for word, _ in USES.values()], range=[hue for _, hue in USES.values()]),
        legend=alt.Legend(orient="top", columns=2, symbolType="square", symbolStrokeColor=INK),
    )
    axis = alt.Axis(labelExpr=PERCENT, values=[0, 0.25, 0.5, 0.75, 1])
    base = alt.Chart().encode(y=named_rows("row", names))
    x = alt.X("from:Q", title=None, axis=axis, scale=alt.Scale(domain=[0, 1]))
    bars = base.mark_bar(stroke=INK, strokeWidth=1, height=26).encode(x=x, x2="to:Q", fill=fill)
    chart = alt.layer(bars, *labels(base.encode(x="mid:Q", text="label:N")))
    return chart.properties(data=data(rows), width=WIDTH, height=alt.Step(44), autosize=FIT)


def worst_glut_crops(balance: pl.DataFrame) -> list[str]:
    """The crops that lost most to gluts, worst first.

    Args:
        balance: rows of ``glut_waste``.
    """
    hit = balance.filter(pl.col("from_gluts_kg") > 0)
    return hit.sort("from_gluts_kg", "crop", descending=[True, False])["crop"].head(MOST_GLUT_CROPS).to_list()


def glut_weeks(weeks: pl.DataFrame, balance: pl.DataFrame) -> AnyChart | None:
    """Picked beside used, week by week, for the crops that lost most to gluts.

    Args:
        weeks: rows of ``glut_weeks`` of the season to draw.
        balance: rows of ``glut_waste``; the crops with most ``from_gluts_kg`` are drawn.
    """
    crops = worst_glut_crops(balance)
    chosen = weeks.filter(pl.col("crop").is_in(crops))
    picked = chosen.filter(pl.col("picked_kg") > 0)
    if picked.is_empty():
        return None
    chosen = chosen.filter(pl.col("week").is_between(picked["week"].min(), picked["week"].max()))
    rows = [row for week in chosen.sort("crop", "week").to_dicts() for row in _week_marks(week)]
    x = alt.X("from:T", title=None, axis=utc_axis("%-d %b", grid=False, tickCount=6), scale=alt.Scale(type="utc"))
    base = alt.Chart().encode(x=x, x2="to:T")
    height = alt.Y("kg:Q", title="kg", axis=alt.Axis(tickCount=4))
    fill = alt.Fill(
        "bar:N",
        scale=alt.Scale(domain=["picked", "used"], range=[PALE, BLUE]),
        legend=alt.Legend(orient="top", symbolType="square", symbolStrokeColor=INK),
    )
    dash = alt.StrokeDash(
        "line:N",
        scale=alt.Scale(domain=["could be used"], range=[[5, 3]]),
        legend=alt.Legend(orient="top", symbolType="stroke", symbolStrokeColor=VERMILLION, symbolStrokeWidth=3),
    )
    bars = base.transform_filter("isValid(datum.bar)").mark_bar(stroke=INK, strokeWidth=1)
    most = base.transform_filter("isValid(datum.line)").mark_rule(color=VERMILLION, strokeWidth=3)
    layers = alt.layer(bars.encode(y=height, y2=alt.datum(0), fill=fill), most.encode(y=height, strokeDash=dash))
    drawn = [crop for crop in crops if crop in set(chosen["crop"])]
    return panels(layers.properties(width=376, height=130), rows, "crop", drawn, columns=1)


def _week_marks(week: dict[str, Any]) -> list[dict[str, Any]]:
    """A wide bar picked, a narrow bar used inside it, and a line at what could be used."""
    used = sum(week[use] or 0.0 for use in ("eaten_kg", "put_by_kg", "given_kg"))

    def mark(first: float, last: float, kg: float | None, **kind: str) -> dict[str, Any]:
        start, end = iso(week["week"], hours=24 * first), iso(week["week"], hours=24 * last)
        return {"crop": week["crop"], "from": start, "to": end, "kg": kg, **kind}

    return [
        mark(0.3, 6.7, week["picked_kg"], bar="picked"),
        mark(1.8, 5.2, used, bar="used"),
        mark(0, 7, week["capacity_kg"], line="could be used"),
    ]


def shelf_runout(shelf: pl.DataFrame, as_of: dt.date) -> AnyChart | None:
    """When each food on the shelf runs out: a bar from the earliest to the latest day, a mark in the middle.

    Args:
        shelf: rows of ``shelf``.
        as_of: the day of the count; bars start no earlier.
    """
    on_hand = shelf.filter(pl.col("on_hand") > 0).sort("runs_out_on", "crop", "method", nulls_last=True)
    if on_hand.filter(pl.col("runs_out_on").is_not_null()).is_empty():
        return None
    end = as_of + dt.timedelta(days=HORIZON_DAYS)
    rows = [_runout_row(row, as_of, end) for row in on_hand.head(MOST_SHELF_ROWS).to_dicts()]
    x = alt.X(
        "low:T",
        title=None,
        axis=utc_axis("%b %Y", tickCount={"interval": "month", "step": 6}),
        scale=alt.Scale(type="utc", domain=[iso(as_of), iso(end, hours=24 * 21)]),
    )
    base = alt.Chart().encode(x=x, y=named_rows("row", [row["row"] for row in rows]))
    bars = base.mark_bar(height=12, color=PALE, stroke=INK, strokeWidth=1).encode(x2="high:T")
    points = base.mark_point(shape="circle", filled=True, size=120, color=INK, opacity=1).encode(x="on:T")
    arrows = base.mark_point(shape="triangle-right", filled=True, size=200, color=INK, opacity=1).encode(x="open:T")
    days = labels(base.encode(x="at:T", text="label:N"), align="left", dy=-15)
    notes = labels(base.encode(x="at:T", text="note:N"), align="left")
    chart = alt.layer(bars, points, arrows, *days, *notes)
    return chart.properties(data=data(rows), width=WIDTH, height=alt.Step(46), autosize=FIT)


def _runout_row(row: dict[str, Any], as_of: dt.date, end: dt.date) -> dict[str, Any]:
    """Positions of one food's marks; what lies past the end of the axis becomes an arrow."""
    on, low, high = row["runs_out_on"], row["runs_out_low"], row["runs_out_high"]
    shown: dict[str, Any] = {"row": f"{row['crop']}, {row['method']}{SEPARATOR}{row['on_hand']} on hand"}
    shown |= {"label": "", "note": ""}
    if on is None:
        return shown | {"note": "no use logged yet", "at": iso(as_of)}
    low = max(low or on, as_of)
    beyond = high is None or high > end
    shown |= {
        "low": iso(min(low, end)),
        "high": iso(end if beyond else high),
        "open": iso(end) if beyond else None,
    }
    if on > end:
        return shown | {"label": "lasts beyond 2 years", "at": iso(as_of)}
    return shown | {
        "on": iso(on),
        # The label is about 230 days of the axis wide, and must not run past its end.
        "at": iso(min(on, end - dt.timedelta(days=230))),
        "label": f"{day(on)} {on.year}",
    }
