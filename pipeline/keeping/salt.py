"""Does more salt go with less spoilage? Tested on batches, because jars of a batch share their fate.

Nothing here argues for less salt than published guidance asks for, whatever the logs of one household say.
"""

from __future__ import annotations

import numpy as np
import polars as pl
from scipy import special

from pipeline.keeping.estimates import estimate_keeping
from pipeline.keeping.intervals import FloatArray
from pipeline.keeping.permutation import HORIZON_DAYS, batch_exposure, batch_residuals, trend_test
from pipeline.keeping.salt_measures import SALT_BANDS, SALT_CUTS_PCT
from schemas.answer_frame import as_answer
from schemas.evidence import THIN_BATCHES

ENOUGH_FOR_A_TREND = 12
"""Batches below which even a fourfold effect per percent point is mostly missed (found by simulation)."""

GUIDANCE = (
    "Published for sauerkraut is salt of 2 % or more of the cabbage "
    "(US Standards for Grades of Bulk Sauerkraut, 7 CFR 52.3451: 2 to 3 %); other vegetables have their own recipes."
)
RECIPE = "Follow a tested recipe from your food-safety authority, whatever these numbers say."

HALF_POINT = 0.5
PRIOR_SD = 1.0
"""Spread of the log hazard ratio per half point held plausible before the batches speak: 1/7 to 7."""
LEVEL_MEAN, LEVEL_SD = np.log(0.1), 2.0
"""The same for the cumulative hazard itself."""
SPREADS = -np.log(1 - (np.arange(10) + 0.5) / 10)
"""Variance of what batches share, at equally likely values of an exponential with mean 1."""

RESPONSE_SCHEMA = {
    "method": pl.String(),
    "batches": pl.Int64(),
    "hazard_ratio_per_half_point": pl.Float64(),
    "low": pl.Float64(),
    "high": pl.Float64(),
    "p_value": pl.Float64(),
    "evidence": pl.String(),
    "note": pl.String(),
}


def _salted(histories: pl.DataFrame) -> pl.DataFrame:
    """Histories of known salt, with ``salt`` as percent of all that is in the container.

    A dry-salted batch holds produce and salt only, so its salt over produce turns into salt over everything
    by arithmetic; the two ways of salting then stand on one scale.
    """
    basis = pl.col("salt_basis") if "salt_basis" in histories.columns else pl.lit("of all")
    level = pl.col("salt_pct")
    salt = pl.when(basis == "of produce").then(100 * level / (100 + level)).otherwise(level)
    return histories.filter(level.is_not_null()).with_columns(salt=salt)


def salt_response(histories: pl.DataFrame, rng: np.random.Generator, draws: int = 999) -> pl.DataFrame:
    """Trend of spoilage with salt, per method.

    Ferments, and other methods with two or more salt levels. The p-value shuffles salt levels over whole
    batches, within the year made. The hazard ratio is from a gamma-Poisson regression on batches, with a
    weak prior that holds it near 1 where there is little to go by: median and 95 % interval. All are null
    where there is nothing to compare: one level, nothing spoiled, or salt that changed with the year only.
    Evidence is ``enough`` from 12 batches here, since a trend asks for more than a share does.

    Args:
        histories: container histories with ``method``, ``year``, ``salt_pct`` and, where dry-salted and
            brined batches stand together, ``salt_basis``.
        rng: random generator of the shuffles.
        draws: shuffles.

    Returns:
        The ``salt_response`` answer table, sorted by method.
    """
    salted = _salted(histories)
    levels = salted.group_by("method").agg(levels=pl.col("salt").n_unique()).sort("method")
    asked = levels.filter((pl.col("method") == "ferment") | (pl.col("levels") >= 2))
    rows = [_response(method, salted.filter(pl.col("method") == method), rng, draws) for method in asked["method"]]
    return pl.DataFrame(rows, schema=RESPONSE_SCHEMA, orient="row")


def _response(method: str, salted: pl.DataFrame, rng: np.random.Generator, draws: int) -> dict[str, object]:
    residuals = batch_residuals(salted, ["salt", "year"])
    followed = residuals.height
    evidence = "too little" if followed < THIN_BATCHES else "thin"
    row: dict[str, object] = {"method": method, "batches": followed, "evidence": evidence}
    obstacle = _obstacle(residuals)
    if obstacle:
        return row | {"note": _note(obstacle, method)}
    stratum = residuals["year"].rank("dense").cast(pl.Int64).to_numpy() - 1
    salt, residual = residuals["salt"].to_numpy(), residuals["residual"].to_numpy()
    p_value = trend_test(salt, residual, stratum, rng, draws)
    ratio = hazard_ratio(salted, HALF_POINT)
    if followed >= ENOUGH_FOR_A_TREND:
        row["evidence"] = "enough"
    return row | {
        "hazard_ratio_per_half_point": ratio[0],
        "low": ratio[1],
        "high": ratio[2],
        "p_value": p_value,
        "note": _note(_in_words(followed, p_value, ratio), method),
    }


def _obstacle(residuals: pl.DataFrame) -> str:
    """Why there is no trend to speak of, if so."""
    if residuals.is_empty():
        return "No batch has been looked at or used yet."
    if residuals["salt"].n_unique() < 2:
        return "All batches followed so far have the same salt level."
    if not residuals["spoiled"].sum():
        return "Nothing has spoiled so far, at any salt level."
    within = residuals.group_by("year").agg(pl.col("salt").n_unique())["salt"]
    return "" if (within > 1).any() else "Salt differed only between years, so it cannot be told from the year."


def _in_words(batches: int, p_value: float, ratio: tuple[float, float, float]) -> str:
    """What the trend says, without saying more than it can."""
    if batches < ENOUGH_FOR_A_TREND:
        return f"{batches} batches with a known salt level: not enough batches to tell."
    if p_value > 0.05:
        return f"{batches} batches show no clear link of salt with spoilage, which does not prove there is none."
    if ratio[0] < 1:
        return (
            "Batches with more salt spoiled less: each half percent point more went with "
            f"{ratio[0]:.2f} times the rate of spoiling ({ratio[1]:.2f} to {ratio[2]:.2f})."
        )
    return "Batches with more salt spoiled more here; look for something else that differed between them."


def _note(finding: str, method: str) -> str:
    return f"{finding} {GUIDANCE} {RECIPE}" if method == "ferment" else f"{finding} {RECIPE}"


def hazard_ratio(salted: pl.DataFrame, step: float) -> tuple[float, float, float]:
    """Ratio of spoilage rates per ``step`` percent points more salt: median, 95 % low, 95 % high.

    Losses of a batch are Poisson with a gamma factor shared by its jars, on the pooled hazard's own clock.
    For each of ten values of that factor's variance the posterior of the slope is taken as normal at its
    peak (Laplace), and the ten are mixed by how well they explain the losses.

    Args:
        salted: container histories with ``salt``, one value per batch.
        step: percent points.
    """
    batches = batch_exposure(salted, "salt", until_days=float("inf"))
    exposure = batches["exposure"].to_numpy()
    x = batches["salt"].to_numpy() / step
    x = x - np.average(x, weights=exposure)
    fits = [_fit(x, batches["spoiled"].to_numpy().astype(np.float64), exposure, spread) for spread in SPREADS]
    peak, sd, evidence = (np.array(values) for values in zip(*fits, strict=True))
    weight = np.exp(evidence - evidence.max())
    weight /= weight.sum()
    grid = np.linspace((peak - 6 * sd).min(), (peak + 6 * sd).max(), 4001)
    below = special.ndtr((grid[:, None] - peak) / sd) @ weight
    middle, low, high = np.exp(np.interp([0.5, 0.025, 0.975], below, grid))
    return float(middle), float(low), float(high)


def _fit(x: FloatArray, d: FloatArray, exposure: FloatArray, spread: float) -> tuple[float, float, float]:
    """Peak and standard deviation of the slope at one variance of what batches share, and its evidence."""
    prior_mean, prior = np.array([LEVEL_MEAN, 0.0]), np.array([LEVEL_SD, PRIOR_SD]) ** -2.0
    design = np.column_stack([np.ones_like(x), x])
    shape = 1 / spread
    at = np.array([np.log((d.sum() + 0.5) / (exposure.sum() + 1)), 0.0])

    def posterior(point: FloatArray) -> float:
        eta = design @ point + np.log(exposure)
        loss = d * eta - (d + shape) * np.logaddexp(0, eta + np.log(spread))
        return float(loss.sum() - 0.5 * prior @ (point - prior_mean) ** 2)

    for _ in range(50):
        mean = exposure * np.exp(design @ at)
        gradient = design.T @ ((d - mean) / (1 + spread * mean)) - prior * (at - prior_mean)
        weight = mean * (1 + spread * d) / (1 + spread * mean) ** 2
        curvature = design.T @ (design * weight[:, None]) + np.diag(prior)
        step = np.linalg.solve(curvature, gradient)
        size = 1.0
        while posterior(at + size * step) < posterior(at) and size > 1e-6:
            size /= 2
        at = at + size * step
        if np.abs(step).max() < 1e-9:
            break
    constant = special.gammaln(d + shape).sum() - d.size * special.gammaln(shape) + d.sum() * np.log(spread)
    evidence = posterior(at) + constant - 0.5 * np.linalg.slogdet(curvature)[1]
    return float(at[1]), float(np.sqrt(np.linalg.inv(curvature)[1, 1])), float(evidence)


def salt_levels(histories: pl.DataFrame, limits: pl.DataFrame) -> pl.DataFrame:
    """Share kept at 12 months by salt band, as counted and made never to fall as salt rises.

    Ferments, and other methods with two or more bands on one basis; dry-salted and brined batches stand
    apart. The second share is the weighted isotonic fit, weights being batches: adjacent bands that contradict
    each other are pooled (Ayer et al. 1955, Ann Math Stat 26:641; from memory). It takes for granted that more
    salt does not keep worse, and is for a picture, not for a test.

    Args:
        histories: container histories with ``method``, ``salt_pct``, ``salt_basis`` and ``salt_band``.
        limits: salt published, by ``method`` and ``basis``: ``limit_pct`` and ``limit_source``. It stands beside every
            level, so that no level is shown without it.

    Returns:
        The ``salt_levels`` answer table, by method and basis, then from little salt to much. Shares are null
        where the band was not followed for 12 months, the limit where none is published for the method and basis.
    """
    keys = ["method", "salt_basis", "salt_band"]
    banded = histories.filter(pl.col("salt_band").is_not_null() & pl.col("salt_pct").is_not_null())
    bands_of_basis = pl.col("salt_band").n_unique().over("method", "salt_basis")
    banded = banded.filter((pl.col("method") == "ferment") | (bands_of_basis > 1))
    mean_salt = banded.unique("batch_id").group_by(keys).agg(pl.col("salt_pct").mean())
    ends = pl.DataFrame(
        {"salt_band": SALT_BANDS, "from_pct": SALT_CUTS_PCT, "to_pct": (*SALT_CUTS_PCT[1:], None)},
        schema_overrides={"to_pct": pl.Float64},
    )
    table = (
        estimate_keeping(banded, keys, HORIZON_DAYS)
        .join(mean_salt, on=keys)
        .join(ends, on="salt_band")
        .rename({"salt_basis": "basis", "salt_band": "level"})
        .join(limits, on=["method", "basis"], how="left")
        .rename({"kept": "kept_12m", "kept_low": "kept_12m_low", "kept_high": "kept_12m_high"})
        .sort("method", "basis", "from_pct")
    )
    parts = [_isotonic(part) for part in table.partition_by("method", "basis", maintain_order=True)]
    fitted = pl.concat(parts) if parts else table.with_columns(kept_12m_isotonic=pl.col("kept_12m"))
    return as_answer(fitted, "salt_levels")


def _isotonic(part: pl.DataFrame) -> pl.DataFrame:
    from scipy.optimize import isotonic_regression

    said = part["kept_12m"].is_not_null()
    fitted = np.full(part.height, np.nan)
    if said.any():
        values, weights = (part.filter(said)[name].to_numpy() for name in ("kept_12m", "batches"))
        fitted[said.to_numpy()] = isotonic_regression(values, weights=np.maximum(weights, 1)).x
    return part.with_columns(kept_12m_isotonic=pl.Series(fitted).fill_nan(None))
