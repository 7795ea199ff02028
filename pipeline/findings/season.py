"""The season in a few sentences, what the plan is worth, and the state of the logs, made by rule."""

from __future__ import annotations

import datetime as dt
from typing import Any

import polars as pl

from schemas.page import Finding
from schemas.words.days import full_day, season_label
from schemas.words.numbers import figure_of, kg

SAME_WITHIN = 0.05
"""Two ways of sowing that differ by less than this share are called as good as one another."""


def season_findings(
    glut_waste: pl.DataFrame,
    glut_weeks: pl.DataFrame,
    by_method: pl.DataFrame,
    shelf: pl.DataFrame,
    season: tuple[dt.date, dt.date],
) -> list[Finding]:
    """The season in at most four sentences with numbers: picked, where it went, what spoiled, what is left.

    Args:
        glut_waste: the ``glut_waste`` answer of the season.
        glut_weeks: the ``glut_weeks`` answer of the season.
        by_method: rows of the ``spoilage`` answer grouped by ``method``.
        shelf: the ``shelf`` answer.
        season: first and last day of the garden year.
    """
    return [*_picked(glut_waste, glut_weeks, season), *_went(glut_waste), *_spoiled(by_method), *_stands(shelf)]


def _picked(glut_waste: pl.DataFrame, glut_weeks: pl.DataFrame, season: tuple[dt.date, dt.date]) -> list[Finding]:
    picked = float(glut_waste["picked_kg"].sum())
    if picked <= 0:
        return []
    crops = glut_waste.filter(pl.col("picked_kg") > 0).height
    weeks = glut_weeks.group_by("week").agg(pl.col("picked_kg").sum()).sort("picked_kg", "week", descending=True)
    best = weeks.row(0, named=True)
    sentence = (
        f"In {season_label(*season)} you picked {kg(picked)} of {figure_of(crops, 'crop')}; "
        f"the fullest week, from {full_day(best['week'])}, brought {kg(best['picked_kg'])}."
    )
    return [Finding("season", sentence, weight=100)]


def _went(glut_waste: pl.DataFrame) -> list[Finding]:
    picked = float(glut_waste["picked_kg"].sum())
    if picked <= 0:
        return []
    sums = {name: float(glut_waste[f"{name}_kg"].sum()) for name in ("eaten", "put_by", "given", "from_gluts")}
    lost = float(glut_waste["wasted_kg"].sum()) + float(glut_waste["expired_kg"].sum())
    assumed = (glut_waste["eaten_basis"] == "assumed").any()
    eaten = f"{kg(sums['eaten'])} {'by what is assumed' if assumed else 'as logged'}"
    gluts = f", {kg(sums['from_gluts'])} of that because it came in a glut" if sums["from_gluts"] >= 0.5 else ""
    sentence = (
        f"Of it {eaten} was eaten fresh, {kg(sums['put_by'])} was put by, {kg(sums['given'])} was given on, "
        f"and {kg(lost)} ({lost / picked:.0%}) was lost fresh{gluts}."
    )
    return [Finding("season", sentence, evidence="thin" if assumed else "enough", weight=99)]


def _spoiled(by_method: pl.DataFrame) -> list[Finding]:
    made, spoiled = int(by_method["containers"].sum()), int(by_method["spoiled"].sum())
    batches = int(by_method["batches"].sum())
    if not made:
        return []
    worst = by_method.filter(pl.col("spoiled") > 0).sort("lost_share", "group", descending=True, nulls_last=True)
    which = ""
    if worst.height:
        row = worst.row(0, named=True)
        which = (
            f"; the largest share was in {row['group']}, {row['spoiled']} of {row['containers']}"
            f" ({figure_of(row['batches'], 'batch')})"
        )
    sentence = f"Of {made} containers put by so far, {spoiled} were found spoiled{which}."
    return [Finding("season", sentence, evidence=_evidence(batches), weight=98)]


def _stands(shelf: pl.DataFrame) -> list[Finding]:
    on_hand = int(shelf["on_hand"].sum())
    if shelf.is_empty():
        return []
    kinds = shelf.filter(pl.col("on_hand") > 0).height
    soonest = shelf.filter(pl.col("runs_out_on").is_not_null()).sort("runs_out_on", "crop")
    next_out = ""
    if soonest.height:
        row = soonest.row(0, named=True)
        next_out = f"; {row['crop']} ({row['method']}) runs out first, about {full_day(row['runs_out_on'])}"
    sentence = f"{on_hand} containers of {kinds} kinds stand on the shelf{next_out}."
    return [Finding("season", sentence, weight=97)]


def plan_findings(sowing_plan: pl.DataFrame, plan_comparison: pl.DataFrame) -> list[Finding]:
    """What the sowing plan asks for and what it is worth against simpler ways, in honest words.

    Args:
        sowing_plan: the ``sowing_plan`` answer.
        plan_comparison: the ``plan_comparison`` answer, of weather years that the plan never saw.
    """
    if sowing_plan.is_empty():
        return []
    crops = sowing_plan["crop"].n_unique()
    first = sowing_plan.sort("sow_on", "crop").row(0, named=True)
    sown = "1 sowing" if sowing_plan.height == 1 else f"{sowing_plan.height} sowings"
    start = (
        f"The plan for next season has {sown} of {figure_of(crops, 'crop')}, the first on {full_day(first['sow_on'])} "
        f"({first['crop']})."
    )
    findings = [Finding("season", start, weight=96), *_worth(plan_comparison)]
    soon = f"Sow {first['crop']} on {full_day(first['sow_on'])}: {_amount(first)}."
    findings.append(Finding("plan", start, action=soon, weight=20))
    return findings


POLICY_WORDS = {
    "last season": "sown as last season",
    "all at once": "each crop sown all at once",
    "every 14 days": "sown every 14 days",
}
"""Ways of sowing that the plan is held against in words; the table has them all."""


def _worth(plan_comparison: pl.DataFrame) -> list[Finding]:
    rows = {row["policy"]: row for row in plan_comparison.iter_rows(named=True)}
    mine = rows.get("this plan")
    if mine is None:
        return []
    others = "; ".join(f"{words}: {_score(rows[policy])}" for policy, words in POLICY_WORDS.items() if policy in rows)
    sentence = (
        "Crop-weeks with less than half of what is wanted, kilos not used, and sowings, in weather years that the plan"
        f" never saw: this plan: {_score(mine)}{'; ' if others else ''}{others}."
    )
    findings = [Finding("plan", sentence, weight=15)]
    simple = rows.get("equal warmth")
    if simple is not None and _as_good(simple, mine):
        sentence = "Sowing at equal steps of warmth does about as well as the full plan, and is simpler to follow."
        findings.append(Finding("plan", sentence, weight=14))
    return findings


def _score(row: dict[str, Any]) -> str:
    return f"{row['weeks_without']:.0f} weeks, {kg(row['wasted_kg'])}, {row['sowings']:.0f} sowings"


def _as_good(other: dict[str, Any], mine: dict[str, Any]) -> bool:
    """No worse in missing weeks, in missing kilos and in waste, by more than the noise."""
    return all(
        other[name] <= mine[name] * (1 + SAME_WITHIN) + 0.5 for name in ("weeks_without", "short_kg", "wasted_kg")
    )


def data_findings(load_summary: pl.DataFrame, problems: pl.DataFrame) -> list[Finding]:
    """How much of the logs was taken, and what to mend first.

    Args:
        load_summary: the ``load_summary`` answer.
        problems: the ``problems`` answer.
    """
    aside, later = int(load_summary["set_aside"].sum()), int(load_summary["later"].sum())
    rows = int(load_summary["rows"].sum()) - later
    if not rows:
        return []
    if not aside:
        return [Finding("data", f"All {rows} rows of the logs were taken.", weight=1)]
    worst = problems.filter(pl.col("level") == "error")["file"].value_counts().sort("count", "file", descending=True)
    file = worst.row(0)[0]
    words = "1 row was" if aside == 1 else f"{aside} rows were"
    return [
        Finding(
            "data",
            f"{words} set aside out of {rows}; every number here rests on the other {rows - aside}.",
            action=f"Mend the rows set aside, {file} first: each is listed below with its line and what to write.",
            weight=10 + 100 * aside / rows,
        )
    ]


def _amount(row: dict[str, Any]) -> str:
    return f"{row['amount']:g} {row['unit']}"


def _evidence(batches: int) -> str:
    return "enough" if batches >= 8 else "thin" if batches >= 3 else "too little"
