"""What the spoilage answers say, in plain sentences made by rule.

A sentence never says more than its interval: a way of keeping is called worse only by the shuffling test,
a make is called better liked only by the sign test, and salt is judged only from 12 batches.
"""

from __future__ import annotations

import datetime as dt
import re
from fractions import Fraction
from typing import Any

import numpy as np
import polars as pl

from pipeline.analysis.keeping import THIN_BATCHES
from pipeline.analysis.salt import ENOUGH_FOR_A_TREND, GUIDANCE, RECIPE
from schemas.page import Finding

ONE_IN = (100, 50, 40, 30, 25, 20, 15, 12, 10, 9, 8, 7, 6, 5, 4, 3, 2)
SHARES = tuple(
    [Fraction(1, n) for n in ONE_IN]
    + [Fraction(n, 10) for n in (3, 4, 6, 7, 8, 9)]
    + [Fraction(2, 3), Fraction(3, 4), Fraction(19, 20)]
)
"""Shares that have a name; others take the nearest."""

LOST_JARS = {
    "ferment": "jars of ferments",
    "pickle": "jars of pickles",
    "jam": "jars of jam",
    "bottle": "jars of bottled food",
    "dry": "containers of dried food",
    "freeze": "containers of frozen food",
    "cure": "containers of food kept whole",
    "other": "containers kept in other ways",
}
METHOD_NOUNS = {
    "ferment": "Ferments",
    "pickle": "Pickles",
    "jam": "Jam",
    "bottle": "Bottled food",
    "dry": "Dried food",
    "freeze": "Frozen food",
    "cure": "Food kept whole",
    "other": "Food kept in other ways",
}
NUMBERS = (
    "no",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
)
BEHIND = {"enough": "", "thin": ", thin evidence", "too little": ", too little evidence"}
SIGNIFICANT = 0.05


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
    by_method: pl.DataFrame,
    by_salt: pl.DataFrame,
    salt_response: pl.DataFrame,
    worse: pl.DataFrame,
    trials: pl.DataFrame,
    as_of: dt.date,
) -> list[Finding]:
    """Sentences about what kept, salt and trials, weightiest first.

    Args:
        by_method: ``spoilage`` answer by ``method``.
        by_salt: ``spoilage`` answer by ``method, salt_band``; or by ``salt_band`` of ferments alone.
        salt_response: ``salt_response`` answer.
        worse: result of ``worse_than_rest`` by ``method``.
        trials: ``trials`` answer.
        as_of: the day the counts are of.
    """
    findings = [
        *(_kept(row, as_of) for row in by_method.iter_rows(named=True)),
        *_worst(worse),
        *_salt(by_salt, salt_response),
        *_trials(trials),
    ]
    return sorted(findings, key=lambda finding: -finding.weight)


def _count(n: int, thing: str) -> str:
    """``four batches``, ``13 batches``, ``one batch``."""
    number = NUMBERS[n] if n < len(NUMBERS) else str(n)
    plural = thing + ("es" if thing.endswith("ch") else "s")
    return f"{number} {thing if n == 1 else plural}"


def _day(day: dt.date) -> str:
    return f"{day.day} {day:%B %Y}"


def _kept(row: dict[str, Any], as_of: dt.date) -> Finding:
    """What is lost so far and what a year would do, for one method."""
    jars = LOST_JARS.get(row["group"], f"containers of {row['group']}")
    counted = f"{row['spoiled']} of {row['containers']} {jars} lost by {_day(as_of)}"
    if row["batches"] == 0:
        sentence = f"{counted}; no batch has been looked at or used yet, so nothing is known of the rest."
        return Finding("spoilage", sentence, "too little", "Look at them and write the day down, sound or not.")
    behind = _count(row["batches"], "batch") + BEHIND[row["evidence"]]
    if row["kept_12m"] is None:
        months = row["followed_months"]
        so_far = f"followed for {months:.0f} months so far" if months >= 1.5 else "followed for a few weeks so far"
        sentence = f"{counted}; {so_far}, too short to say what a year does; {behind}."
        return Finding("spoilage", sentence, row["evidence"], weight=row["lost_share"])
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


def _worst(worse: pl.DataFrame) -> list[Finding]:
    """Which methods stand out, or that none does."""
    if worse.height < 2:
        return []
    flagged = worse.filter((pl.col("p_value") <= SIGNIFICANT) & (pl.col("z") > 0))
    if flagged.is_empty():
        sentence = "No way of keeping stands out as losing more than the others beyond what chance would do."
        return [Finding("spoilage", sentence)]
    return [
        Finding(
            "spoilage",
            f"{METHOD_NOUNS.get(row['group'], row['group'])} lost more than the rest: chance alone would "
            f"make some way of keeping look this bad {_chance(row['p_value'])}.",
            action="Look at these first, and compare how the lost batches were made.",
            weight=2.0,
        )
        for row in flagged.iter_rows(named=True)
    ]


def _chance(p_value: float) -> str:
    times = round(100 * p_value)
    return "less than 1 time in 100" if p_value < 0.01 else f"about {times} time{'s' * (times > 1)} in 100"


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
    noun = METHOD_NOUNS.get(method, method)
    counted = (
        f"{noun} with {few} salt lost {least['spoiled']} of {least['containers']} containers; "
        f"with {many}, {most['spoiled']} of {most['containers']}"
    )
    sentence = f"{counted}; {_salt_verdict(response)}."
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
        return f"over all salt levels more salt went with less loss (by chance {_chance(p_value)})"
    return (
        f"over all salt levels more salt went with more loss (by chance {_chance(p_value)}), "
        "so look for something else that differed"
    )


def _trials(trials: pl.DataFrame) -> list[Finding]:
    """Each arm against the first of its trial."""
    firsts = trials.unique("trial", keep="first", maintain_order=True)
    first = dict(zip(firsts["trial"], firsts["arm"], strict=True))
    return [
        _trial(row, first[row["trial"]])
        for row in trials.iter_rows(named=True)
        if row["difference"] is not None and row["arm"] != first[row["trial"]]
    ]


def _trial(row: dict[str, Any], other: str) -> Finding:
    name = f"Trial {row['trial']}"
    if row["evidence"] == "too little":
        sentence = f"{name}: fewer than {NUMBERS[THIN_BATCHES]} people scored both {row['arm']} and {other}."
        return Finding("trials", sentence, "too little", "Ask more people to taste both.", 0.1)
    if row["p_value"] > SIGNIFICANT or not row["difference"]:
        sentence = (
            f"{name}: no clear difference in liking between {row['arm']} and {other} (typical difference "
            f"{row['difference']:+.1f} points of 9, between {row['low']:+.1f} and {row['high']:+.1f})."
        )
        return Finding("trials", sentence, row["evidence"], weight=0.3)
    liked, less = (row["arm"], other) if row["difference"] > 0 else (other, row["arm"])
    sentence = (
        f"{name}: {liked} was liked better than {less}, typically by {abs(row['difference']):.1f} points "
        f"of 9; chance alone would do this {_chance(row['p_value'])}."
    )
    return Finding("trials", sentence, row["evidence"], weight=1.0)
