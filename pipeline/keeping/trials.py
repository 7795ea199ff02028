"""Two makes compared: liking and firmness, paired by taster, and what was lost, batch against batch."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import polars as pl
from scipy import special

from pipeline.keeping.estimates import estimate_keeping
from pipeline.keeping.intervals import FloatArray
from pipeline.keeping.permutation import batch_residuals, trend_test
from schemas.answer_frame import as_answer
from schemas.evidence import THIN_BATCHES, evidence
from schemas.factors import FACTORS

ARM_FACTORS = {factor.columns[0]: factor for factor in FACTORS if factor.in_arm is not None}
"""What may differ between the arms of a trial."""

WIDEST = 8.0
"""Scores run from 1 to 9, so no difference lies beyond this."""

TOO_FEW = 5
"""Tasters who score two arms differently up to which even full agreement is within chance: 2 / 2^5 > 0.05."""

COMPARED_SCHEMA = {
    "trial": pl.String(),
    "arm": pl.String(),
    "tasters": pl.Int64(),
    "mean": pl.Float64(),
    "both": pl.Int64(),
    "differing": pl.Int64(),
    "difference": pl.Float64(),
    "low": pl.Float64(),
    "high": pl.Float64(),
    "p_value": pl.Float64(),
}
"""What the tasters say of each arm; ``both`` counts those who scored it and the first arm, ``differing`` those of
them who scored the two differently."""

FIRMNESS_COLUMNS = {
    "tasters": "firmness_tasters",
    "mean": "mean_firmness",
    "difference": "firmness_difference",
    "low": "firmness_low",
    "high": "firmness_high",
    "p_value": "firmness_p_value",
    "evidence": "firmness_evidence",
}
"""What is said of firmness, by the names that the ``trials`` answer has for it."""


def trial_arms(batches: pl.DataFrame) -> pl.DataFrame:
    """The arm of each batch in a trial, in words.

    An arm is described by what differs among the batches of its trial: a factor counts when two batches
    have different values of it. Where nothing recorded differs, each batch is an arm of its own.

    Args:
        batches: core batches, with ``salt_band`` where salt is to count.

    Returns:
        ``batch_id``, ``trial``, ``arm``, ordered by trial and arm.
    """
    factors = [name for name in ARM_FACTORS if name in batches.columns]
    rows = batches.filter(pl.col("trial").is_not_null())
    rows = rows.with_columns(pl.col(factors).cast(pl.String)).with_columns(
        pl.col(name).replace({"true": "yes", "false": "no"}) for name in factors
    )
    rows = rows.with_columns(
        pl.col(name).fill_null(factor.when_empty)
        for name, factor in ARM_FACTORS.items()
        if factor.when_empty and name in factors
    )
    said = [
        pl.when(pl.col(name).drop_nulls().n_unique().over("trial") > 1).then(
            pl.lit(ARM_FACTORS[name].in_arm) + pl.col(name).fill_null("not recorded")
        )
        for name in factors
    ]
    words = pl.concat_str(said, separator=", ", ignore_nulls=True)
    arm = pl.when(words != "").then(words).otherwise(pl.lit("batch ") + pl.col("batch_id"))
    return rows.select("batch_id", "trial", arm=arm).sort("trial", "arm", "batch_id")


def compare_trials(
    batches: pl.DataFrame, tastings: pl.DataFrame, histories: pl.DataFrame, rng: np.random.Generator, draws: int = 999
) -> pl.DataFrame:
    """Liking, firmness and spoilage of the arms of each trial.

    Args:
        batches: core batches.
        tastings: core tastings.
        histories: container histories.
        rng: random generator of the shuffles behind ``spoiled_p_value``.
        draws: shuffles.

    Returns:
        The ``trials`` answer table, sorted by trial and arm: what :func:`compare_tasters` says of liking and of
        firmness, what was lost of each arm, and how it compares with the first arm. An arm without a batch that
        was followed has no share lost.
    """
    arms = trial_arms(batches)
    key = ["trial", "arm"]
    counts = arms.group_by(key).agg(pl.len().cast(pl.Int64).alias("batches")).sort(key)
    liked = compare_tasters(batches, tastings, "liking").rename({"mean": "mean_liking"})
    firm = compare_tasters(batches, tastings, "firmness").rename(FIRMNESS_COLUMNS)
    table = counts
    for part in (liked, firm.select(*key, *FIRMNESS_COLUMNS.values()), _lost(histories, arms, rng, draws)):
        table = table.join(part, on=key, how="left", maintain_order="left")
    return as_answer(table.with_columns(pl.col("containers", "spoiled").fill_null(0)), "trials")


def _lost(histories: pl.DataFrame, arms: pl.DataFrame, rng: np.random.Generator, draws: int) -> pl.DataFrame:
    """Share lost of each arm, and the chance of such a gap to the first arm if the make did not matter.

    Whole batches are shuffled between the two arms, on what their ages lead one to expect in that trial.
    """
    rows = histories.select("batch_id", "last_sound_days", "found_days", "fate").join(arms, on="batch_id")
    shares = ("lost_share", "lost_low", "lost_high")
    followed = pl.when(pl.col("batches") > 0)
    lost = estimate_keeping(rows, ["trial", "arm"], np.inf).select(
        "trial", "arm", "containers", "spoiled", *(followed.then(name).alias(name) for name in shares)
    )
    residuals = batch_residuals(rows, "arm", within="trial")
    p_values = [
        {"trial": trial, "arm": arm, "spoiled_p_value": p_value}
        for (trial,), part in residuals.group_by("trial", maintain_order=True)
        for arm, p_value in _gaps(part, arms.filter(pl.col("trial") == trial)["arm"], rng, draws)
    ]
    schema = {"trial": pl.String(), "arm": pl.String(), "spoiled_p_value": pl.Float64()}
    return lost.join(pl.DataFrame(p_values, schema=schema), on=["trial", "arm"], how="left")


def _gaps(
    residuals: pl.DataFrame, arms: pl.Series, rng: np.random.Generator, draws: int
) -> Iterator[tuple[str, float]]:
    """Each arm that can be compared with the first of its trial, and the p-value of the gap in losses."""
    first, *others = arms.unique(maintain_order=True)
    for arm in others:
        pair = residuals.filter(pl.col("arm").is_in([first, arm])).sort("batch_id")
        this = (pair["arm"] == arm).to_numpy()
        if min(this.sum(), (~this).sum()) < THIN_BATCHES or not pair["spoiled"].sum():
            continue
        one_stratum = np.zeros(this.size, dtype=np.int64)
        yield arm, trend_test(this.astype(np.float64), pair["residual"].to_numpy(), one_stratum, rng, draws)


def compare_tasters(batches: pl.DataFrame, tastings: pl.DataFrame, score: str) -> pl.DataFrame:
    """One score of the arms of each trial, paired by taster.

    A taster's score of an arm is the mean of that person's scores of its batches. Differences are to the
    first arm by name, paired by taster: the median, its exact interval from the sign test (never beyond the
    8 points that a scale of 1 to 9 allows), and the exact two-sided sign test with ties left out, which is
    the paired comparison test of ISO 5495. Tasters are matched without regard to case and outer spaces.

    Args:
        batches: core batches.
        tastings: core tastings.
        score: ``liking`` or ``firmness``.

    Returns:
        The columns of ``COMPARED_SCHEMA`` and ``evidence``, sorted by trial and arm. ``evidence`` counts
        tasters who scored both arms (for the first arm: it and any other): 8 or more ``enough``, 3 to 7
        ``thin``; it is ``too little`` where five or fewer scored the two differently, unless the interval
        leaves one difference only. ``difference`` and what follows it are null for the first arm and
        without such tasters.
    """
    arms = trial_arms(batches)
    who = pl.col("taster").str.strip_chars().str.to_lowercase()
    scored = tastings.filter(pl.col(score).is_not_null()).join(arms, on="batch_id")
    scores = scored.group_by("trial", "arm", who).agg(score=pl.col(score).mean())
    rows = [
        {"trial": trial, "arm": arm, **result}
        for (trial,), part in arms.group_by("trial", maintain_order=True)
        for arm, result in _compare(part["arm"].unique(maintain_order=True), scores.filter(pl.col("trial") == trial))
    ]
    judged = pl.DataFrame(rows, schema=COMPARED_SCHEMA)
    too_few = (pl.col("differing") <= TOO_FEW) & (pl.col("low") < pl.col("high"))
    seen = pl.when(too_few).then(pl.lit("too little")).otherwise(evidence(pl.col("both")))
    return judged.with_columns(evidence=seen)


def _compare(arms: pl.Series, scores: pl.DataFrame) -> list[tuple[str, dict[str, float | None]]]:
    """Each arm of one trial with its tasters, mean score, and the paired comparison with the first arm."""
    by_arm = {arm: scores.filter(pl.col("arm") == arm).select("taster", "score") for arm in arms}
    first = by_arm[arms[0]]
    results = []
    for arm, own in by_arm.items():
        mean = own["score"].mean()
        result: dict[str, float | None] = {"tasters": own.height}
        result["mean"] = mean if isinstance(mean, float) else None
        if arm == arms[0]:
            others = scores.filter(pl.col("arm") != arm).select("taster").unique()
            result["both"] = own.join(others, on="taster", how="semi").height
        else:
            pairs = own.join(first, on="taster", suffix="_first")
            result["both"] = pairs.height
            result |= sign_comparison((pairs["score"] - pairs["score_first"]).to_numpy())
        results.append((arm, result))
    return results


def sign_comparison(differences: FloatArray) -> dict[str, float | None]:
    """Median of paired differences, its exact 95 % interval, and the exact two-sided sign test.

    The interval runs between the order statistics that the binomial with one half leaves at least 95 %
    between (Conover, Practical Nonparametric Statistics; from memory); with five pairs or fewer nothing
    does, and it is the whole scale. Ties are left out of the test and kept in the median and interval.
    """
    n = differences.size
    if not n:
        return {"differing": 0, "difference": None, "low": None, "high": None, "p_value": None}
    ordered = np.sort(differences)
    # Largest k with P(Binomial(n, 1/2) < k) <= 0.025: the interval runs from k-th lowest to k-th highest.
    k = int(np.sum(special.bdtr(np.arange(n), n, 0.5) <= 0.025))
    more, fewer = int((differences > 0).sum()), int((differences < 0).sum())
    untied = more + fewer
    p_value = min(1.0, 2 * float(special.bdtr(min(more, fewer), untied, 0.5))) if untied else 1.0
    return {
        "differing": untied,
        "difference": float(np.median(ordered)),
        "low": float(ordered[k - 1]) if k else -WIDEST,
        "high": float(ordered[n - k]) if k else WIDEST,
        "p_value": p_value,
    }
