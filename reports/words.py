"""Numbers, dates and column titles as a gardener reads them.

Every function takes one value and gives text; None is "not known" and reads as an en dash. Between a number
and its unit stands a no-break space, so that a line never ends between them.
"""

from __future__ import annotations

import datetime as dt
import math

from schemas.answer_table import Column
from schemas.words import days
from schemas.words.days import MONTHS

NBSP = "\u00a0"
NIL = "\u2013"
NOT_YET = "not known yet"

Value = str | int | float | bool | dt.date | None
"""One cell of an answer table."""

INTERVALS: dict[str, tuple[str, str]] = {
    "lost_share": ("lost_low", "lost_high"),
    "kept_12m": ("kept_12m_low", "kept_12m_high"),
    "kept": ("kept_low", "kept_high"),
    "hazard_ratio_per_half_point": ("low", "high"),
    "difference": ("low", "high"),
    "firmness_difference": ("firmness_low", "firmness_high"),
    "used_per_month": ("low", "high"),
    "runs_out_on": ("runs_out_low", "runs_out_high"),
    "first_pick_on": ("first_pick_low", "first_pick_high"),
    "kg_p50": ("kg_p10", "kg_p90"),
    "expect_lost": ("expect_lost_low", "expect_lost_high"),
    "ratio": ("low", "high"),
}
"""Estimates that are read together with their low and high end, in one cell."""

MEASURED_IN: dict[str, str] = {"amount": "unit"}
"""Numbers whose unit stands in a column of its own; both are read in one cell."""

EVIDENCE: dict[str, str] = {
    "enough": "enough to act on",
    "thin": "thin (a hint, not proof)",
    "too little": "too little to be sure",
}

EVIDENCE_MARKS: dict[str, str] = {
    "enough": "\u25cf\u25cf\u25cf",
    "thin": "\u25cf\u25cf\u25cb",
    "too little": "\u25cf\u25cb\u25cb",
}

UNITS: dict[str, str] = {
    "kg": "kg",
    "m2": "m\u00b2",
    "kg/m2": "kg per m\u00b2",
    "kg/plant": "kg per plant",
    "kg/m": "kg per m",
    "kg/week": "kg per week",
    "C d": "\u00b0C days",
    "d": "days",
    "pct": "%",
    "months": "months",
    "container months": "months",
    "containers/month": "per month",
    "containers/year": "per year",
}
"""Units that a title shows; shares are shown as percent in the cell, and counts name themselves."""

TITLES: dict[str, str] = {
    "sha256": "Checksum",
    "sowing_id": "Sowing",
    "kg": "Picked",
    "kg_per_m2": "Yield",
    "kg_per_plant": "Yield of a plant",
    "days_to_first_pick": "Sowing to first pick",
    "reference": "Compared with",
    "treatments.ratio": "Yield over that of the other",
    "spoilage_differences.ratio": "Spoiled over expected (1 is as expected)",
    "spoilage_differences.p_value": "Chance that the worst looks this bad",
    "expected": "Spoiled to be expected",
    "container_months": "Container time followed",
    "lost_share": "Share lost so far",
    "lost_low": "Share lost so far, low end",
    "lost_high": "Share lost so far, high end",
    "kept_12m": "No spoilage found by 12 months",
    "kept_12m_low": "No spoilage found by 12 months, low end",
    "kept_12m_high": "No spoilage found by 12 months, high end",
    "pooled_kept_12m": "No spoilage found by 12 months, leaning on all groups",
    "followed_months": "Longest follow-up",
    "age_days": "Age",
    "at_risk": "Containers followed at this age",
    "kept": "Share with no spoilage found",
    "kept_low": "Share with no spoilage found, low end",
    "kept_high": "Share with no spoilage found, high end",
    "hazard_ratio_per_half_point": "Spoilage rate with half a point more salt (1 is no change)",
    "low": "Low end",
    "high": "High end",
    "p_value": "Chance of this if there were no difference",
    "lost": "Lost",
    "mean_liking": "Mean liking, 1 to 9",
    "difference": "Difference in liking to the first make",
    "firmness_tasters": "Scored firmness",
    "mean_firmness": "Mean firmness, 1 to 9",
    "firmness_difference": "Difference in firmness to the first make",
    "firmness_low": "Difference in firmness, low end",
    "firmness_high": "Difference in firmness, high end",
    "firmness_p_value": "Chance of this if they were equally firm",
    "firmness_evidence": "Evidence on firmness",
    "spoiled_p_value": "Chance of such a gap to the first make",
    "trials.arm": "Make",
    "level": "Salt level",
    "salt_levels.basis": "Share of what",
    "from_pct": "From",
    "to_pct": "Up to",
    "salt_pct": "Mean salt",
    "kept_12m_isotonic": "The same, never falling as salt rises",
    "limit_pct": "Published salt",
    "limit_source": "Where that is published",
    "week": "Week from Monday",
    "put_by_kg": "Put by, as picked",
    "given_kg": "Given, swapped, sold",
    "wasted_kg": "Thrown away",
    "expired_kg": "Past its time, no use logged",
    "left_kg": "Left, still good",
    "capacity_kg": "Could be used that week",
    "over_used_kg": "Used beyond what was picked",
    "is_glut": "Glut",
    "eaten_basis": "Eaten fresh is",
    "trimmings_kg": "Trimmed away, inside put by",
    "from_gluts_kg": "Lost because of gluts",
    "from_gluts_share": "Share of the loss due to gluts",
    "even_loss_kg": "Loss had it come evenly",
    "worst_week": "Worst week, from Monday",
    "peak_to_mean": "Best week over mean week",
    "weeks_without": "Weeks without a picking",
    "best_two_weeks_share": "Came in the two best weeks",
    "gini": "Unevenness of the weeks, 0 to 1",
    "used_per_month": "Used a month",
    "runs_out_on": "Runs out",
    "runs_out_low": "Runs out, earliest",
    "runs_out_high": "Runs out, latest",
    "batch_id": "Batch",
    "quality_months": "Published quality time",
    "by_date": "By",
    "expect_lost": "Off by then if left alone (8 times in 10)",
    "expect_lost_low": "Off by then, low end",
    "expect_lost_high": "Off by then, high end",
    "due_on": "Use or look by",
    "fresh_kg_per_week": "Fresh use",
    "containers_per_year": "Containers used in a year",
    "containers_to_make": "Containers to make",
    "kg_to_put_by": "Picked weight to put by",
    "degree_days_to_first_pick": "Warmth to the first pick",
    "sd": "Spread between sowings",
    "spread": "First to last pick",
    "n_sowings": "Sowings learned from",
    "prior_weight": "Weight of the published value",
    "yield_kg_per_m": "Yield of a metre",
    "error_days": "Typical error of the first pick",
    "sow_on": "Sow",
    "plant_out_on": "Plant out",
    "area_m2": "Bed area",
    "first_pick_on": "First pick",
    "first_pick_low": "First pick, early",
    "first_pick_high": "First pick, late",
    "last_pick_on": "Last pick",
    "expected_kg": "Expected harvest",
    "ready_share": "Weather years in which it ripens",
    "kg_p10": "Harvest, 1 year in 10 less",
    "kg_p50": "Harvest, middle",
    "kg_p90": "Harvest, 1 year in 10 more",
    "need_kg": "Wanted fresh",
    "over_kg": "More than wanted fresh",
    "policy": "Way of sowing",
    "plan_comparison.wasted_kg": "Picked and not used",
    "plan_comparison.weeks_without": "Crop-weeks with under half of the need",
    "short_kg": "Wanted and not there",
    "shelf_filled_share": "Wanted preserves made",
    "read_as": "How the source was read",
    "shared_uses.kg": "Weight, as picked",
    "plots_with_more": "Plots with more than they can use",
    "plots_with_less": "Plots with too little",
    "age_months": "Age",
    "lost_per_100": "Lost of 100 in a year",
    "plot_sd_per_100": "Plots differ from that by",
    "shared_outlook.need_kg": "Even harvest",
    "shared_plan_worth.wasted_kg": "Picked and not used in time",
    "shared_plan_worth.short_kg": "Short of an even harvest",
    "shared_plan_worth.weeks_without": "Crop-weeks with under half of an even harvest",
    "cells": "Figures withheld",
}


def column_title(column: Column, table: str = "") -> str:
    """The heading of a column in plain words, with its unit where the cell does not show one.

    A name that means something else in one table has its own heading there.
    """
    title = TITLES.get(f"{table}.{column.name}") or TITLES.get(column.name)
    if title is None:
        stem = column.name
        for suffix in ("_kg", "_on", "_m2"):
            stem = stem.removesuffix(suffix)
        title = stem.replace("_", " ").capitalize()
    unit = UNITS.get(column.unit or "")
    return f"{title} ({unit})" if unit else title


SHORT_TITLES: dict[str, str] = {
    "lost_share": "Lost so far",
    "kept_12m": "None found in a year",
    "kept_12m_isotonic": "The same, never falling",
    "hazard_ratio_per_half_point": "Rate with half a point more salt",
    "p_value": "Chance alone",
    "spoilage_differences.p_value": "Chance alone",
    "spoilage_differences.ratio": "Over expected",
    "salt_levels.basis": "Share of",
    "expected": "Expected",
    "difference": "Liking, to first",
    "firmness_difference": "Firmness, to first",
    "put_by_kg": "Put by",
    "given_kg": "Given on",
    "expired_kg": "Past its time",
    "left_kg": "Left",
    "from_gluts_kg": "From gluts",
    "even_loss_kg": "If even",
    "worst_week": "Worst week",
    "eaten_basis": "Eaten is",
    "expect_lost": "Off by then",
    "degree_days_to_first_pick": "Warmth to first pick",
    "prior_weight": "Published counts",
    "error_days": "Typical error",
    "n_sowings": "Sowings",
    "expected_kg": "Expected",
    "over_kg": "Over",
    "need_kg": "Wanted",
    "kg_p50": "Harvest",
    "plan_comparison.weeks_without": "Weeks short",
    "plan_comparison.wasted_kg": "Not used",
    "short_kg": "Missing",
    "shelf_filled_share": "Preserves made",
    "containers_to_make": "To make",
    "containers_per_year": "Used a year",
    "used_per_month": "Used a month",
    "kg_to_put_by": "To put by",
}
"""Headings for a terminal, where those of a page are too long."""


def short_title(column: Column, table: str = "") -> str:
    """The heading of a column in few words, with its unit where the cell does not show one."""
    title = SHORT_TITLES.get(f"{table}.{column.name}") or SHORT_TITLES.get(column.name)
    unit = UNITS.get(column.unit or "")
    if title is None:
        return column_title(column, table)
    return f"{title} ({unit})" if unit and not unit.startswith("per ") else title


def amount(value: float | None) -> str:
    """A measured number with as many digits as matter: ``0.35``, ``1.2``, ``145``, ``1,240``."""
    if value is None or not math.isfinite(value):
        return NIL
    size = abs(value)
    if 0 < size < 0.005:
        return "<0.01" if value > 0 else ">-0.01"
    if size >= 99.95:
        return f"{value:,.0f}"
    text = f"{value:.1f}" if size >= 0.995 else f"{value:.2f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def kilograms(value: float | None) -> str:
    """A weight with its unit: ``1.2 kg``."""
    return NIL if value is None else f"{amount(value)}{NBSP}kg"


def quantity(value: float | None, unit: str | None) -> str:
    """A number and the unit that was logged with it: ``12 plants``, ``3.5 m``."""
    return f"{amount(value)}{NBSP}{unit}" if unit else amount(value)


def count(value: int | None) -> str:
    """A whole number: ``1,240``."""
    return NIL if value is None else f"{value:,}"


def plural(number: int, word: str, words: str | None = None) -> str:
    """A number and its thing: ``1 jar``, ``3 jars``."""
    return f"{count(number)}{NBSP}{word if number == 1 else words or word + 's'}"


def _percent_digits(share: float) -> str:
    """A share as percent without the sign; never rounded onto 0 or 100 unless it is that."""
    pct = share * 100
    if 0 < pct < 0.1:
        return "under 0.1"
    if 99.9 < pct < 100:
        return "over 99.9"
    return f"{pct:.1f}" if 0 < pct < 0.95 or 99.05 <= pct < 100 else f"{pct:.0f}"


def percent(share: float | None) -> str:
    """A share of 1 as percent: ``72 %``."""
    if share is None or not math.isfinite(share):
        return NIL
    return f"{_percent_digits(share)}{NBSP}%"


def percent_interval(share: float | None, low: float | None, high: float | None) -> str:
    """A share with its 95 % interval: ``72 % (41 to 91 %)``."""
    if share is None or low is None or high is None:
        return percent(share)
    return f"{percent(share)} ({_percent_digits(low)} to {percent(high)})"


def day(value: dt.date | None) -> str:
    """A day inside a season: ``18 Jun``."""
    return NIL if value is None else days.day(value).replace(" ", NBSP)


def full_day(value: dt.date | None) -> str:
    """A day with its year: ``18 Jun 2026``."""
    return NIL if value is None else f"{day(value)}{NBSP}{value.year}"


def full_month(value: dt.date) -> str:
    """A month with its year: ``Jun 2026``."""
    return f"{MONTHS[value.month - 1]}{NBSP}{value.year}"


def day_span(first: dt.date, last: dt.date) -> str:
    """Two days; the year is said once where it is the same: ``1 Jan to 31 Dec 2026``."""
    start = day(first) if first.year == last.year else full_day(first)
    return f"{start} to {full_day(last)}"


def season_name(first: dt.date, last: dt.date) -> str:
    """A season by its year where it is a calendar year, else by its two days."""
    whole = (first.month, first.day, last.month, last.day) == (1, 1, 12, 31) and first.year == last.year
    return str(first.year) if whole else day_span(first, last)


def chance(p_value: float | None) -> str:
    """A p-value: ``0.03``, ``under 0.001``."""
    if p_value is None or not math.isfinite(p_value):
        return NIL
    return "under 0.001" if p_value < 0.001 else f"{p_value:.2g}"


def _float(column: Column, value: float) -> str:
    if column.unit == "share":
        return percent(value)
    if column.name.endswith("p_value"):
        return chance(value)
    return amount(value)


def cell(column: Column, value: Value) -> str:
    """One cell of an answer table as text.

    Shares become percent, dates carry their year, text stays as it is. A null is an en dash, or
    "not known yet" where waiting brings the answer.
    """
    if value is None:
        return NOT_YET if column.name in {"kept_12m", "runs_out_on"} else NIL
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dt.date):
        return full_day(value)
    if isinstance(value, float):
        return _float(column, value)
    if isinstance(value, int):
        return count(value)
    return value.replace("_", " ") if column.name == "factor" else value


def interval_cell(column: Column, value: Value, low: Value, high: Value) -> str:
    """One cell that holds an estimate and its range: ``72 % (41 to 91 %)``, ``0.62 (0.41 to 0.94)``."""
    if value is None or (low is None and high is None):
        return cell(column, value)
    if isinstance(value, dt.date):
        return f"{full_day(value)} ({_day_range(value.year, low, high)})"
    if isinstance(value, float) and column.unit == "share" and isinstance(low, float):
        return percent_interval(value, low, high if isinstance(high, float) else None)
    return f"{cell(column, value)} ({cell(column, low)} to {cell(column, high)})"


def _day_range(year: int, low: Value, high: Value) -> str:
    """Two days, each with its year where it is not the year said already; an open end is said in words."""
    first, last = (
        (day(end) if end.year == year else full_day(end)) if isinstance(end, dt.date) else None for end in (low, high)
    )
    if first is None or last is None:
        return f"{first} or later" if first else f"{last} or earlier"
    return f"{first} to {last}"
