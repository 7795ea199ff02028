"""What the spoilage answers say, in plain sentences made by rule.

A sentence never says more than its interval: a way of keeping is called worse only by the shuffling test,
a make is called better liked only by the sign test, and salt is judged only from 12 batches.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from fractions import Fraction
from typing import Any

import numpy as np
import polars as pl

from pipeline.findings.trials import trial_findings
from pipeline.keeping.salt import ENOUGH_FOR_A_TREND, GUIDANCE, RECIPE
from schemas.evidence import BEHIND, SIGNIFICANT
from schemas.factors import BY_COLUMN, BY_NAME, value_in_words
from schemas.page import Finding
from schemas.words.days import MONTH_DAYS, full_day
from schemas.words.numbers import chance, count_of
from schemas.words.ways import WAYS

ONE_IN = (100, 50, 40, 30, 25, 20, 15, 12, 10, 9, 8, 7, 6, 5, 4, 3, 2)
SHARES = tuple(
    [Fraction(1, n) for n in ONE_IN]
    + [Fraction(n, 10) for n in (3, 4, 6, 7, 8, 9)]
    + [Fraction(2, 3), Fraction(3, 4), Fraction(19, 20)]
)
"""Shares that have a name; others take the nearest."""


LOOK_FIRST = "Look at these first, and see what else was different about them."
LOOK_OFTEN = "Look every few weeks, and write the day down also when all is sound."  # common practice, no source


def in_words(share: float) -> str:
    """A share as a person says it: ``1 in 4``, ``6 in 10``; the nearest of a few dozen on the logit scale."""
    if share <= 0:
        return "none"
    if share >= 1:
        return "all"
    if share < 1 / 150:
        return "fewer than 1 in 100"
    if share > 0.97:
        return "nearly all"
    odds = np.array([float(value / (1 - value)) for value in SHARES])
    nearest = SHARES[int(np.argmin(np.abs(np.log(odds) - np.log(share / (1 - share)))))]
    if nearest.denominator == 5:
        # Fractions reduce by themselves; people count in tens.
        return f"{nearest.numerator * 2} in 10" if nearest.numerator > 1 else "1 in 5"
    return f"{nearest.numerator} in {nearest.denominator}"


def spoilage_findings(
    *,
    by_method: pl.DataFrame,
    by_salt: pl.DataFrame,
    salt_response: pl.DataFrame,
    worse: pl.DataFrame,
    by: Sequence[str] = ("method",),
    differences: pl.DataFrame,
    far_apart: pl.DataFrame,
    trials: pl.DataFrame,
    as_of: dt.date,
) -> list[Finding]:
    """Sentences about what kept, what differs, salt and trials, weightiest first.

    Args:
        by_method: ``spoilage`` answer by ``method``.
        by_salt: ``spoilage`` answer by ``method, salt_band``; or by ``salt_band`` of ferments alone.
        salt_response: ``salt_response`` answer.
        worse: result of ``worse_groups``.
        by: the columns that it is grouped by.
        differences: ``spoilage_differences`` answer.
        far_apart: result of ``looks_far_apart`` by ``method`` at 365 days.
        trials: ``trials`` answer.
        as_of: the day the counts are of.
    """
    undated = far_apart.filter(pl.col("far_apart") & pl.col("kept_least").is_not_null())
    gaps = {row["group"]: row for row in undated.iter_rows(named=True)}
    findings = [
        *(_kept(row, gaps.get(row["group"]), as_of) for row in by_method.iter_rows(named=True)),
        *_worst(worse, by),
        *_differences(differences),
        *_salt(by_salt, salt_response),
        *trial_findings(trials),
    ]
    return sorted(findings, key=lambda finding: -finding.weight)


def _kept(row: dict[str, Any], gap: dict[str, Any] | None, as_of: dt.date) -> Finding:
    """What is lost so far and what a year would do, for one method; ``gap`` where looks were too far apart."""
    way = WAYS.get(row["group"])
    jars = way.jars if way else f"containers of {row['group']}"
    counted = f"{row['spoiled']} of {row['containers']} {jars} lost by {full_day(as_of)}"
    if row["batches"] == 0:
        sentence = f"{counted}; no batch has been looked at or used yet, so nothing is known of the rest."
        return Finding("spoilage", sentence, "too little", "Look at them and write the day down, sound or not.")
    behind = count_of(row["batches"], "batch") + BEHIND[row["evidence"]]
    if row["kept_12m"] is None:
        months = row["followed_months"]
        so_far = f"followed for {months:.0f} months so far" if months >= 1.5 else "followed for a few weeks so far"
        sentence = f"{counted}; {so_far}, too short to say what a year does; {behind}."
        return Finding("spoilage", sentence, row["evidence"], weight=row["lost_share"])
    if gap:
        sentence = f"{counted}; {_undated(gap)}; {behind}."
        return Finding("spoilage", sentence, row["evidence"], LOOK_OFTEN, weight=row["lost_share"])
    lost = 1 - row["kept_12m"]
    year = _year(lost, 1 - row["kept_12m_high"], 1 - row["kept_12m_low"])
    return Finding("spoilage", f"{counted}; left alone, {year}; {behind}.", row["evidence"], weight=lost)


def _year(lost: float, low: float, high: float) -> str:
    """What is expected of a year, with its range."""
    if lost <= 0:
        return f"our best guess for a year is none lost, though up to {in_words(high)} would not surprise"
    few, many = in_words(low), in_words(high)
    spread = "" if few == many else f", somewhere between {few} and {many}"
    return f"we expect about {in_words(lost)} to be lost within a year{spread}"


def _undated(gap: dict[str, Any]) -> str:
    """What a year may do where looks were too far apart to date the losses."""
    least, most = in_words(gap["kept_least"]), in_words(gap["kept_most"])
    said = f"about {least}" if least == most else f"anything from {least} to {most}"
    return (
        f"looks were about {gap['median_gap_days'] / MONTH_DAYS:.0f} months apart where something went off, "
        f"too far apart to say what a year does: left alone, {said} may keep a year, before any allowance "
        "for chance"
    )


def _worst(worse: pl.DataFrame, by: Sequence[str]) -> list[Finding]:
    """Which groups stand out, or that none does; nothing where there were too few batches to judge any."""
    judged = worse.filter(pl.col("p_value").is_not_null())
    if worse.height < 2 or judged.is_empty():
        return []
    things = [BY_COLUMN[name].noun for name in by if name in BY_COLUMN]
    thing = things[0] if len(things) == 1 else f"pair of {' and '.join(things)}"
    flagged = judged.filter((pl.col("p_value") <= SIGNIFICANT) & (pl.col("z") > 0))
    if flagged.is_empty():
        return [Finding("spoilage", _none_stands_out(by, thing))]
    return [_accused(row["group"], row["p_value"], by, thing) for row in flagged.iter_rows(named=True)]


def _none_stands_out(by: Sequence[str], thing: str) -> str:
    if "method" in by:
        return f"No {thing} stands out as losing more than the others beyond what chance would do."
    if "salt_band" in by:
        # A trend over all levels can be clear where no level is, so the two must not read as one.
        return (
            f"No single {thing} of ferments stands out beyond what chance would do; whether more salt goes with less "
            "loss is asked of all levels together."
        )
    return (
        f"No {thing} stands out as losing more than the others on food kept the same way beyond what chance would do."
    )


def _accused(group: str, p_value: float, by: Sequence[str], thing: str) -> Finding:
    """A group that stands out."""
    if "method" in by:
        others = "the rest"
    else:
        others = "ferments with other salt" if "salt_band" in by else "others kept the same way"
    sentence = (
        f"{_group_in_words(group, by)} lost more than {others}: chance alone would make some {thing} look this bad "
        f"{chance(p_value)}."
    )
    if "salt_band" in by:
        return Finding("spoilage", f"{sentence} {GUIDANCE}", action=RECIPE, weight=2.0)
    action = "Look at these first, and compare how the lost batches were made."
    return Finding("spoilage", sentence, action=action, weight=2.0)


def _group_in_words(group: str, by: Sequence[str]) -> str:
    """``Ferments``, ``Containers under cloth``, ``Ferments with salt 1 to 1.75 % of produce``."""
    values = group.split(" · ")
    if len(values) != len(by):
        return f"Containers of {group}"
    values_by_column = dict(zip(by, values, strict=True))
    method = values_by_column.pop("method", "ferment" if "salt_band" in by else "")
    noun = WAYS[method].plural if method in WAYS else method or "Containers"
    basis = values_by_column.pop("salt_basis", "")
    said = [value_in_words(column, value) for column, value in values_by_column.items()]
    return f"{noun} {' and '.join(said)} {basis}".replace("  ", " ").strip()


def _differences(differences: pl.DataFrame) -> list[Finding]:
    """Which recorded values stand out among the batches that spoiled, or that none does."""
    judged = differences.filter(pl.col("p_value").is_not_null())
    if judged.is_empty():
        return []
    flagged = judged.filter((pl.col("p_value") <= SIGNIFICANT) & (pl.col("spoiled") > pl.col("expected")))
    if flagged.is_empty():
        sentence = (
            "Nothing recorded about the batches stands out: no lid, store, cut or other detail of the make "
            "lost more than chance would do."
        )
        return [Finding("spoilage", sentence)]
    return [_difference(row) for row in flagged.iter_rows(named=True)]


def _difference(row: dict[str, Any]) -> Finding:
    factor = row["factor"]
    behind = count_of(row["batches"], "batch") + BEHIND[row["evidence"]]
    sentence = (
        f"Containers {value_in_words(factor, row['value'])} lost {row['spoiled']} of {row['containers']}, where about "
        f"{row['expected']:.2g} would be usual at their age and for their method; allowing for chance, about "
        f"{row['ratio']:.2g} times the usual ({row['low']:.2g} to {row['high']:.2g}). Chance alone would make some "
        f"lid, store, cut or other detail look this bad {chance(row['p_value'])}; {behind}."
    )
    if factor == "salt":
        sentence = f"{sentence} {GUIDANCE}"
    action = LOOK_FIRST if BY_NAME[factor].where_kept else RECIPE
    return Finding("spoilage", sentence, row["evidence"], action, 1.5)


def _salt(by_salt: pl.DataFrame, salt_response: pl.DataFrame) -> list[Finding]:
    """Least and most salted bands of each method with a salt response, with what can be made of them."""
    responses = {row["method"]: row for row in salt_response.iter_rows(named=True)}
    bands: dict[str, list[tuple[float, str, dict[str, Any]]]] = {}
    for row in by_salt.iter_rows(named=True):
        *method, band = row["group"].split(" · ")
        number = re.search(r"\d+(\.\d+)?", band)
        if number:
            bands.setdefault(method[0] if method else "ferment", []).append((float(number[0]), band, row))
    return [
        _salt_finding(method, sorted(rows, key=lambda one: one[0]), responses[method])
        for method, rows in bands.items()
        if method in responses and len(rows) > 1
    ]


def _salt_finding(method: str, rows: list[tuple[float, str, dict[str, Any]]], response: dict[str, Any]) -> Finding:
    (_, few, least), (_, many, most) = rows[0], rows[-1]
    noun = WAYS[method].plural if method in WAYS else method
    sentence = (
        f"{noun} with {few} salt lost {least['spoiled']} of {least['containers']} containers "
        f"({count_of(least['batches'], 'batch')}); with {many}, {most['spoiled']} of {most['containers']} "
        f"({count_of(most['batches'], 'batch')}); {_salt_verdict(response)}."
    )
    if method == "ferment":
        sentence = f"{sentence} {GUIDANCE}"
    clear = response["p_value"] is not None and response["p_value"] <= SIGNIFICANT
    return Finding("spoilage", sentence, response["evidence"], RECIPE, 1.0 if clear else 0.4)


def _salt_verdict(response: dict[str, Any]) -> str:
    p_value, ratio = response["p_value"], response["hazard_ratio_per_half_point"]
    if response["batches"] < ENOUGH_FOR_A_TREND:
        return "too few batches to be sure"
    if p_value is None or p_value > SIGNIFICANT:
        return "over all salt levels no clear trend"
    if ratio < 1:
        return f"over all salt levels more salt went with less loss; chance alone would do this {chance(p_value)}"
    return (
        f"over all salt levels more salt went with more loss; chance alone would do this {chance(p_value)}, "
        "so look for something else that differed"
    )
