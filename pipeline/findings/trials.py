"""What trials say, in plain sentences made by rule: which make was liked better, was firmer, lost less.

A make is called better liked or firmer only by the sign test on tasters, and worse at keeping only by the test
that shuffles batches.
"""

from __future__ import annotations

from typing import Any

import polars as pl

from pipeline.keeping.salt import GUIDANCE, RECIPE
from schemas.evidence import SIGNIFICANT
from schemas.page import Finding
from schemas.words.numbers import chance, count_of

OF_FIRMNESS = {
    "difference": "firmness_difference",
    "low": "firmness_low",
    "high": "firmness_high",
    "p_value": "firmness_p_value",
    "evidence": "firmness_evidence",
}


def trial_findings(trials: pl.DataFrame) -> list[Finding]:
    """Sentences on liking, firmness and losses of each trial.

    Args:
        trials: ``trials`` answer.
    """
    # That there are too few tasters is said once, of liking, where it holds for both.
    said = (pl.col("evidence") == "too little") & pl.col("difference").is_not_null()
    firm = trials.with_columns(said=said).with_columns(**{name: pl.col(own) for name, own in OF_FIRMNESS.items()})
    firm = firm.with_columns(
        difference=pl.when(~(pl.col("said") & (pl.col("evidence") == "too little"))).then("difference")
    )
    return [*_tasted(trials, "liking"), *_tasted(firm, "firmness"), *_lost_in_trials(trials)]


def _tasted(compared: pl.DataFrame, score: str) -> list[Finding]:
    """Each arm against the first of its trial."""
    firsts = compared.unique("trial", keep="first", maintain_order=True)
    first = dict(zip(firsts["trial"], firsts["arm"], strict=True))
    return [
        _trial(row, first[row["trial"]], score)
        for row in compared.iter_rows(named=True)
        if row["difference"] is not None and row["arm"] != first[row["trial"]]
    ]


def _trial(row: dict[str, Any], other: str, score: str) -> Finding:
    name = f"Trial {row['trial']}"
    if row["evidence"] == "too little":
        of = "" if score == "liking" else " by their firmness"
        sentence = (
            f"{name}: too few tasters to tell {row['arm']} from {other}{of}; where five people or fewer score "
            "two makes differently, even full agreement may be chance."
        )
        return Finding("trials", sentence, "too little", "Ask more people to taste both.", 0.1)
    if row["p_value"] > SIGNIFICANT or not row["difference"]:
        sentence = (
            f"{name}: no clear difference in {score} between {row['arm']} and {other} (typical difference "
            f"{row['difference']:+.1f} points of 9, between {row['low']:+.1f} and {row['high']:+.1f})."
        )
        return Finding("trials", sentence, row["evidence"], weight=0.3)
    more, less = (row["arm"], other) if row["difference"] > 0 else (other, row["arm"])
    found = "liked better" if score == "liking" else "firmer"
    sentence = (
        f"{name}: {more} was {found} than {less}, typically by {abs(row['difference']):.1f} points "
        f"of 9; chance alone would do this {chance(row['p_value'])}."
    )
    if "salt " in more + less:
        # Liking is no reason to go below a published limit.
        return Finding("trials", f"{sentence} {GUIDANCE}", row["evidence"], RECIPE, 1.0)
    return Finding("trials", sentence, row["evidence"], weight=1.0)


def _lost_in_trials(trials: pl.DataFrame) -> list[Finding]:
    """Containers lost in each arm, of trials that lost any, and what can be made of it."""
    some = trials.filter(pl.col("spoiled").sum().over("trial") > 0)
    return [_lost(str(trial), part.to_dicts()) for (trial,), part in some.group_by("trial", maintain_order=True)]


def _lost(trial: str, arms: list[dict[str, Any]]) -> Finding:
    counts = "; ".join(
        f"{row['spoiled']} of {row['containers']} ({row['arm']}, {count_of(row['batches'], 'batch')})" for row in arms
    )
    first = arms[0]
    judged = [row for row in arms[1:] if row["spoiled_p_value"] is not None]
    clear = any(row["spoiled_p_value"] <= SIGNIFICANT for row in judged)
    told = [_gap(row, first) for row in judged] or [
        "too few batches to tell, since jars of a batch go off together and a test takes three batches of each make"
    ]
    sentence = f"Trial {trial}, containers lost so far: {counts}. That is {'; '.join(told)}."
    if clear and any("salt " in row["arm"] for row in arms):
        return Finding("trials", f"{sentence} {GUIDANCE}", "thin", RECIPE, 1.0)
    return Finding("trials", sentence, "thin" if judged else "too little", weight=1.0 if clear else 0.2)


def _gap(row: dict[str, Any], first: dict[str, Any]) -> str:
    """What the shuffling test makes of one arm beside the first."""
    p_value = row["spoiled_p_value"]
    if p_value > SIGNIFICANT:
        return f"no clear difference between {row['arm']} and {first['arm']}"
    more, less = (row, first) if row["lost_share"] > first["lost_share"] else (first, row)
    return f"more of {more['arm']} than of {less['arm']}: chance alone would do this {chance(p_value)}"
