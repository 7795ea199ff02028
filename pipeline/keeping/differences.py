"""What differs between the batches that spoiled and those that kept, age and method allowed for.

Spoiled containers of a recorded value (a lid, a store) are set against those expected of containers of their
ages and methods. Each value is judged by itself: a lid used mostly in the pantry carries what the pantry did.
Ratios are drawn towards 1 (gamma-Poisson, the batch being the unit; prior chosen for this project and checked
by simulation). An accusation rests on shuffled batches and on the largest statistic over the whole table
(Westfall & Young 1993, Resampling-based multiple testing; from memory).
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.keeping.intervals import PRIOR_WEIGHT
from pipeline.keeping.permutation import batch_residuals
from pipeline.keeping.risk import FloatArray
from schemas.answer_frame import answer_types, as_answer
from schemas.evidence import THIN_BATCHES, evidence
from schemas.factors import FACTORS

RATIO_SD = 0.7
"""Spread of the log ratio held plausible before the batches speak: a quarter to four times."""
LOG_RATIOS = np.linspace(-np.log(50.0), np.log(50.0), 391)
LEAST_VARIANCE = 1e-3

HISTORY = ("batch_id", "method", "last_sound_days", "found_days", "fate")


def factor_values(histories: pl.DataFrame) -> dict[str, pl.Expr]:
    """Each recorded factor that the histories carry, and its value in words; null where not recorded."""
    values = {}
    for factor in (factor for factor in FACTORS if factor.compared):
        value = pl.col(factor.columns[0]).cast(pl.String)
        if factor.yes_no:
            value = value.replace({"true": "yes", "false": "no"})
        # Where a method never takes a starter or a sweetener, its one value is compared with nothing.
        values[factor.name] = value if factor.when_empty is None else value.fill_null(factor.when_empty)
    # Salt keeps a ferment and only seasons the rest; its two bases never stand in one band.
    ferment = pl.col("method") == "ferment"
    values["salt"] = pl.when(ferment).then(pl.concat_str("salt_band", "salt_basis", separator=" "))
    there = set(histories.columns)
    return {name: value for name, value in values.items() if set(value.meta.root_names()) <= there}


def spoilage_differences(histories: pl.DataFrame, rng: np.random.Generator, draws: int = 999) -> pl.DataFrame:
    """Spoiled against expected containers for each value of each recorded factor.

    A factor is compared within the methods in which at least two of its values were followed and something
    spoiled; other batches, and those where it was not recorded, are left out of its rows. The expectation is
    the cumulative hazard (Nelson-Aalen) of the method at the age at which each container was last followed;
    it includes the value's own containers, so a ratio says how far it is from the average batch. P-values
    shuffle what was recorded over the batches of a method, all factors together: at p <= 0.05 about one
    table in twenty accuses any value wrongly.

    Args:
        histories: container histories with ``method`` and such factors as there are.
        rng: random generator of the shuffles.
        draws: shuffles.

    Returns:
        The ``spoilage_differences`` answer table, worst standardised excess first. ``p_value`` is in (0, 1]
        and null for values with fewer than three batches, which are too few to accuse anything.
    """
    batches = _compared(histories)
    if batches.is_empty():
        return pl.DataFrame(schema=answer_types("spoilage_differences"))
    rows = (
        batches.group_by("factor", "value")
        .agg(pl.len().alias("batches"), pl.col("containers", "spoiled", "expected").sum())
        .join(_excess_spread(batches), on=["factor", "value"])
        .sort("factor", "value")
        .with_row_index("code")
    )
    codes = rows.select("factor", "value", "code")
    batches = batches.join(codes, on=["factor", "value"], maintain_order="left")
    z, p_value = _shuffled(batches, rows, rng, draws)
    judged = pl.when(pl.col("batches") >= THIN_BATCHES).then(pl.Series(p_value))
    table = rows.join(_ratios(batches), on="code").with_columns(
        z=pl.Series(z), p_value=judged, evidence=evidence(pl.col("batches"))
    )
    ranked = table.sort("z", "factor", "value", descending=[True, False, False])
    return as_answer(ranked, "spoilage_differences")


def _compared(histories: pl.DataFrame) -> pl.DataFrame:
    """Batches by factor, in the methods in which its values can be compared, sorted by factor and method."""
    stratum = ["factor", "method"]
    parts = [
        histories.select(*HISTORY, pl.lit(factor).alias("factor"), value.alias("value"))
        for factor, value in factor_values(histories).items()
    ]
    if not parts:
        return pl.DataFrame()
    differs = pl.col("value").n_unique().over(stratum) > 1
    some_lost = pl.col("spoiled").sum().over(stratum) > 0
    known = pl.concat(parts).filter(pl.col("value").is_not_null()).filter(differs)
    # Asked again of the batches, since some were never looked at.
    batches = batch_residuals(known, "value", within=stratum).filter(differs & some_lost)
    return batches.sort(*stratum, "batch_id")


def _excess_spread(batches: pl.DataFrame) -> pl.DataFrame:
    """Standard deviation of each value's summed residuals over all shuffles within methods."""
    stratum = ["factor", "method"]
    whole = batches.group_by(stratum).agg(all=pl.len(), squares=(pl.col("residual") ** 2).sum())
    cells = batches.group_by(*stratum, "value").agg(own=pl.len()).join(whole, on=stratum)
    own, size = pl.col("own").cast(pl.Float64), pl.col("all").cast(pl.Float64)
    drawn = own * (size - own) / (size * (size - 1))
    return cells.group_by("factor", "value").agg(sd=(drawn * pl.col("squares")).sum().sqrt())


def _shuffled(
    batches: pl.DataFrame, rows: pl.DataFrame, rng: np.random.Generator, draws: int
) -> tuple[FloatArray, FloatArray]:
    """Standardised excess of each row, and the share of shuffles in which the worst row reaches it.

    Args:
        batches: one row per factor and batch, sorted by factor and method, with the ``code`` of its row.
        rows: one row per value, in order of ``code``, with ``batches`` and ``sd``.
        rng: random generator.
        draws: shuffles.
    """
    code, residual = batches["code"].to_numpy(), batches["residual"].to_numpy()
    sd = rows["sd"].to_numpy().copy()
    sd[sd < 1e-12] = np.inf
    judged = (rows["batches"] >= THIN_BATCHES).to_numpy()
    stratum = batches.select(pl.struct("factor", "method").rle_id()).to_series().to_numpy()
    batch = batches["batch_id"].rank("dense").to_numpy() - 1

    def excess(values: FloatArray) -> FloatArray:
        total: FloatArray = np.bincount(code, weights=values, minlength=sd.size) / sd
        return total

    z: FloatArray = excess(residual)
    worst = np.full(draws, -np.inf)
    for draw in range(draws):
        # One random place per batch serves all factors, so that what goes together stays together.
        place = rng.random(int(batch.max()) + 1)[batch]
        shuffled = residual[np.argsort(stratum + place)]
        worst[draw] = excess(shuffled)[judged].max(initial=-np.inf)
    p_value: FloatArray = (1 + (worst[:, None] >= z - 1e-9).sum(axis=0)) / (draws + 1)
    return z, p_value


def _ratios(batches: pl.DataFrame) -> pl.DataFrame:
    """Ratio of spoiled to expected for each ``code``, drawn towards 1, with its 95 % interval.

    Jars of a batch share their fate, so each batch has a gamma factor on its expected losses. Its variance
    is measured, one for a factor, between the batches of a value, by moments, and drawn towards 1 by the
    weight of four batches.
    """
    expected, spoiled, fitted = pl.col("expected"), pl.col("spoiled"), pl.col("fitted")
    rate = pl.when(expected > 0).then(spoiled.sum().over("code") / expected.sum().over("code")).otherwise(0.0)
    sums = (
        batches.with_columns(fitted=rate * expected)
        .group_by("factor", "code")
        .agg(
            spoiled.sum(),
            expected.sum(),
            size=pl.len().cast(pl.Float64),
            off=((spoiled - fitted) ** 2).sum(),
            fitted_squares=(fitted**2).sum(),
            squares=(expected**2).sum(),
        )
        .sort("code")
    )

    def whole(column: str) -> pl.Expr:
        return pl.col(column).sum().over("factor")

    free = whole("size") - pl.len().over("factor")
    off = whole("off") * whole("size") / free.clip(lower_bound=1)
    seen = (off - whole("spoiled")) / whole("fitted_squares")
    variance = (PRIOR_WEIGHT + free * seen) / (PRIOR_WEIGHT + free)
    # What the batches of a value share on average counts for less, the more batches there are.
    shared = variance.clip(LEAST_VARIANCE) * pl.col("squares") / expected.clip(1e-12) ** 2
    o, e, v = (sums.select(column).to_series().to_numpy() for column in (spoiled, expected, shared))
    low, ratio, high = shrunk_ratio(o, e, v)
    return pl.DataFrame({"code": sums["code"], "ratio": ratio, "low": low, "high": high})


def shrunk_ratio(spoiled: FloatArray, expected: FloatArray, variance: FloatArray) -> tuple[FloatArray, ...]:
    """Spoiled over expected, drawn towards 1: 2.5 %, median and 97.5 % of what is plausible.

    Spoiled are Poisson with mean ratio * Z * expected, Z gamma with mean 1; the log ratio is normal with mean
    0. Summed on a grid.

    Args:
        spoiled: one per value.
        expected: one per value; where it is 0 nothing is learned.
        variance: of Z, one per value.
    """
    shape = 1 / np.maximum(variance, LEAST_VARIANCE)[:, None]
    d, mean = spoiled[:, None], expected[:, None] * np.exp(LOG_RATIOS)
    log_p = d * LOG_RATIOS - (d + shape) * np.log1p(mean / shape) - 0.5 * (LOG_RATIOS / RATIO_SD) ** 2
    density = np.exp(log_p - log_p.max(axis=1, keepdims=True))
    below = (np.cumsum(density, axis=1) - density / 2) / density.sum(axis=1, keepdims=True)
    found = [np.exp(np.interp((0.025, 0.5, 0.975), row, LOG_RATIOS)) for row in below]
    return tuple(np.array(found).T)
