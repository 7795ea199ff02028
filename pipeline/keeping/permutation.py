"""Tests that shuffle whole batches, so that jars that share their fate cannot fool them.

Each batch carries observed minus expected spoiled containers, the expectation from the pooled cumulative
hazard (the log-rank residual). Labels or salt levels are then dealt out to batches at random. Largest
statistic over groups: Westfall & Young 1993, Resampling-based multiple testing (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl

from pipeline.keeping.curves import group_label
from pipeline.keeping.risk import FloatArray, IntArray, follow, names
from schemas.evidence import THIN_BATCHES

HORIZON_DAYS = 365.0

STEADY_LOSSES = 2.0
"""Losses at a steady rate that are mixed into a pooled hazard, so that few losses do not make it jump."""


def _batch_keys(by: str | Sequence[str]) -> list[str]:
    """Columns that tell batches and groups apart, each once."""
    return list(dict.fromkeys(["batch_id", *names(by)]))


def batch_residuals(
    histories: pl.DataFrame, by: str | Sequence[str] = (), within: str | Sequence[str] = ()
) -> pl.DataFrame:
    """Observed and expected spoiled containers of each batch that was followed at all.

    Args:
        histories: container histories.
        by: columns of a batch to carry along.
        within: columns of a batch; each of their values has a pooled hazard of its own.

    Returns:
        ``batch_id``, the columns of ``by`` and ``within``, ``containers`` (those followed at all),
        ``spoiled``, ``expected`` (the two sum to the same within each value of ``within``), ``residual``,
        sorted by batch.
    """
    keys = _batch_keys([*names(by), *names(within)])
    followed = follow(histories, within)
    hazard = followed.table["nelson"][followed.step]
    return (
        histories.select(keys)
        .with_columns(spoiled=pl.Series(followed.spoiled), expected=hazard, age=followed.age)
        .group_by(keys)
        .agg(
            pl.col("spoiled").sum().cast(pl.Float64),
            pl.col("expected").sum(),
            containers=((pl.col("age") > 0) | pl.col("spoiled")).sum().cast(pl.Int64),
        )
        .filter(pl.col("containers") > 0)
        .sort(keys)
        .select(*keys, "containers", "spoiled", "expected", residual=pl.col("spoiled") - pl.col("expected"))
    )


def batch_exposure(
    histories: pl.DataFrame, by: str | Sequence[str] = (), until_days: float = HORIZON_DAYS
) -> pl.DataFrame:
    """Spoiled containers of each batch up to an age, and its exposure on the pooled hazard's own clock.

    Exposure 1 is one container followed for ``until_days``. Half a year counts for more than a half where
    most losses come early. The clock is the pooled Nelson-Aalen hazard, with two losses at a steady rate
    mixed in.

    Returns:
        ``batch_id``, the columns of ``by``, ``spoiled`` (Int64), ``exposure``, sorted by batch.
    """
    keys = _batch_keys(by)
    followed = follow(histories, [])
    until = min(until_days, float(followed.end.max(initial=0.0)))
    inside = followed.table["age"] <= until
    losses = float(followed.table["spoiled"][inside].sum())
    whole = float(followed.table["nelson"][inside].max(initial=0.0))
    seen = np.minimum(followed.table["nelson"], whole) / (whole or 1.0)
    steady = np.minimum(followed.table["age"], until) / (until or 1.0)
    clock = (losses * seen + STEADY_LOSSES * steady) / (losses + STEADY_LOSSES)
    early = followed.spoiled & (followed.age <= until)
    return (
        histories.select(keys)
        .with_columns(spoiled=pl.Series(early), exposure=clock[followed.step])
        .group_by(keys)
        .agg(pl.col("spoiled").sum().cast(pl.Int64), pl.col("exposure").sum())
        .filter(pl.col("exposure") > 0)
        .sort(keys)
    )


def worse_than_rest(
    histories: pl.DataFrame,
    by: str | Sequence[str],
    rng: np.random.Generator,
    draws: int = 999,
    within: str | Sequence[str] = (),
) -> pl.DataFrame:
    """Which groups lose more than chance would have any group lose.

    Group labels are shuffled over batches; a group's p-value is the share of shuffles in which the worst
    group looks at least as bad as this one does. So all groups together are wrongly accused about 1 time in
    20 at p <= 0.05.

    Args:
        histories: container histories.
        by: grouping columns.
        rng: random generator.
        draws: shuffles.
        within: columns of a batch, such as its method; batches are compared and shuffled within their values
            only, so that a cut is not blamed for the way of keeping that it goes with.

    Returns:
        ``group``, ``batches``, ``z`` (standardised excess of losses), ``p_value`` (in (0, 1]; null below three
        batches, which are too few to accuse anything), worst first. Groups whose batches were never looked at
        are left out.
    """
    batches = batch_residuals(histories, by, within).with_columns(group=group_label(by), stratum=group_label(within))
    batches = batches.sort("stratum", "batch_id", maintain_order=True)
    groups = batches.group_by("group").agg(batches=pl.len().cast(pl.Int64)).sort("group").with_row_index("code")
    code = batches.join(groups, on="group", how="left", maintain_order="left")["code"].to_numpy()
    residual = batches["residual"].to_numpy()
    stratum = batches["stratum"].rle_id().to_numpy()
    sd = _excess_spread(code, residual, stratum, groups.height)
    judged = (groups["batches"] >= THIN_BATCHES).to_numpy()

    def excess(values: FloatArray) -> FloatArray:
        return np.bincount(code, weights=values, minlength=sd.size).astype(np.float64) / sd

    z = excess(residual)
    worst = np.full(draws, -np.inf)
    for draw in range(draws):
        worst[draw] = excess(_shuffled(residual, stratum, rng))[judged].max(initial=-np.inf)
    p_value = (1 + (worst[:, None] >= z - 1e-9).sum(axis=0)) / (draws + 1)
    said = pl.when(pl.lit(pl.Series(judged))).then(pl.lit(pl.Series(p_value, dtype=pl.Float64)))
    table = groups.select("group", "batches").with_columns(z=pl.Series(z), p_value=said)
    return table.sort("z", "group", descending=[True, False])


def _shuffled(values: FloatArray, stratum: IntArray, rng: np.random.Generator) -> FloatArray:
    """Values dealt out anew within strata, each of which is a run of rows with a code from 0 up."""
    if not stratum.any():
        return rng.permutation(values)
    return values[np.argsort(stratum + rng.random(values.size))]


def _excess_spread(code: IntArray, residual: FloatArray, stratum: IntArray, groups: int) -> FloatArray:
    """Standard deviation of each group's summed residuals over all shuffles within strata; infinite where none."""
    size = np.bincount(stratum)
    squares = np.bincount(stratum, weights=residual**2)
    own = np.bincount(code * size.size + stratum, minlength=groups * size.size).reshape(groups, size.size)
    drawn = own * (size - own) / (size * np.maximum(size - 1, 1))
    sd: FloatArray = np.sqrt(drawn @ squares)
    sd[sd < 1e-12] = np.inf
    return sd


def trend_test(
    score: FloatArray, residual: FloatArray, stratum: IntArray, rng: np.random.Generator, draws: int = 999
) -> float:
    """Two-sided p-value of a trend of batch residuals in a score, shuffling scores within strata.

    Args:
        score: one per batch, such as its salt level.
        residual: observed minus expected losses, one per batch.
        stratum: batches between which scores may be exchanged, such as the year; codes from 0.
        rng: random generator.
        draws: shuffles.
    """
    size = np.maximum(np.bincount(stratum), 1)
    centred = score - (np.bincount(stratum, weights=score) / size)[stratum]
    order = np.argsort(stratum, kind="stable")
    centred, residual, stratum = centred[order], residual[order], stratum[order]
    reached = 1
    least = abs(float(centred @ residual)) - 1e-9
    for _ in range(draws):
        shuffled = centred[np.lexsort((rng.random(centred.size), stratum))]
        reached += abs(float(shuffled @ residual)) >= least
    return reached / (draws + 1)
