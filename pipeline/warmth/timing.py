"""How much warmth each crop needs in this garden, and when a sowing will be ready.

The published need for warmth is a starting point with a spread of about 13 %. Every logged sowing moves it.
All is on the logarithmic scale.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.warmth.clock import WarmthClock, calendar_day, day_number, warmth_clock

Floats = NDArray[np.float64]

VARIETY_SD, SITE_SD = 0.10, 0.08
"""Spread of the need for warmth between varieties and between gardens; together 13 %. Judgement, no
source."""
REFERENCE_VARIANCE = VARIETY_SD**2 + SITE_SD**2
NO_REFERENCE_SD = 0.5
SOWING_SCALE = 0.075
"""Scale of the Student-t(4) of one logged sowing around the crop's need."""
SOWING_SD, SOWING_SD_WEIGHT = 0.067, 4.0
"""Spread from sowing to sowing, and how many sowings that is worth: 24 crisp lettuce crops took 589 effective
degree-days with a standard deviation of 39.5, 6.7 % (Wurr, Fellows and Suckling 1988, abstract read)."""
DAYS_PRIOR_SD, DAYS_SD = 0.25, 0.15
"""The same for plain days; judgement, no source."""
WAITING_DAYS = 21.0
"""Crops that wait longer in the ground are picked when wanted: their first pick is later than ready."""
DAYS_MUST_BE_BETTER = 0.8
FEWEST_TO_COMPARE, FEWEST_FOR_DAYS, CALENDAR_SPREAD_DAYS = 4, 6, 30
"""Plain days win only where they are clearly better, on enough sowings that differ in season: sown in the same
week each year, days look as good as warmth but say nothing about other weeks."""
GRID = np.linspace(-1.5, 1.5, 1201)

TIMING_SCHEMA = {
    "crop": pl.String(),
    "degree_days_to_first_pick": pl.Float64(),
    "sd": pl.Float64(),
    "spread": pl.Float64(),
    "n_sowings": pl.Int64(),
    "prior_weight": pl.Float64(),
    "yield_kg_per_m": pl.Float64(),
    "error_days": pl.Float64(),
    "basis": pl.String(),
    "base_c": pl.Float64(),
    "upper_c": pl.Float64(),
    "days_to_first_pick": pl.Float64(),
}
PICKS_SCHEMA = {"sowing_id": pl.String(), "first_pick_on": pl.Date(), "low": pl.Date(), "high": pl.Date()}


@dataclass
class _Evidence:
    """Logged sowings of one crop: clock and first pick as day numbers, logarithms of warmth and days."""

    clock: list[int] = field(default_factory=list)
    pick: list[int] = field(default_factory=list)
    log_warmth: list[float] = field(default_factory=list)
    log_days: list[float] = field(default_factory=list)


def fit_crop_timing(
    starts: pl.DataFrame,
    weather: pl.DataFrame,
    crops: pl.DataFrame,
    yields: pl.DataFrame | None = None,
    latitude: float | None = None,
) -> pl.DataFrame:
    """The need for warmth of each crop, from the reference and the garden's own sowings.

    One sowing pulls the published value by a Student-t(4), so that a wrong date pulls little. A site factor
    is pooled over crops: where all are late against the reference, a crop never logged is moved too. For
    crops that wait in the ground (``holding_days`` of 21 or more) a first pick is only an upper limit. Plain
    days replace warmth for a crop where they were clearly better on sowings left out one at a time.

    Args:
        starts: sowing_id, crop, clock_from, first_pick_on; optional visited_on (not ready on that day), ready_on
            (from the curve through all picks, better than the first alone) and clock (``sowing`` or ``planting
            out``; rows that differ from the crop's reference clock are not learned from, since their warmth is
            not comparable).
        weather: date, tmin_c, tmax_c; sowings with a day missing between clock and pick are not used.
        crops: crop, base_c, upper_c, degree_days_to_first_pick; used where present: days_to_first_pick,
            picking_days, holding_days, yield_kg_per_m, clock_from_planting_out.
        yields: of ``fit_yields``; gives ``spread`` and ``yield_kg_per_m``, else the reference does.
        latitude: slows leaf and root crops in short days where given; use the same for prediction.

    Returns:
        The columns of the ``crop_timing`` answer, then base_c, upper_c, days_to_first_pick (for prediction).
        One row per crop of which the reference or the log knows the timing. Where ``basis`` is ``days``, the
        prediction rests on days_to_first_pick, and the warmth is there for comparison only. ``sd`` is the spread
        between sowings, without the uncertainty of the need itself, which is in ``prior_weight`` (1: as
        published).
    """
    reference = _reference(crops, yields)
    evidence = _evidence(starts, weather, reference, latitude)
    needs = {row["crop"]: row for row in reference.iter_rows(named=True)}
    offsets = {crop: _offset(needs[crop], found) for crop, found in evidence.items()}
    rows = []
    for crop, row in needs.items():
        found = evidence.get(crop, _Evidence())
        fitted = _fit_crop(row, found, _site_factor(offsets, crop), weather, latitude)
        if fitted is not None:
            rows.append({name: row.get(name) for name in TIMING_SCHEMA} | fitted)
    return pl.DataFrame(rows, schema=TIMING_SCHEMA, orient="row")


def _reference(crops: pl.DataFrame, yields: pl.DataFrame | None) -> pl.DataFrame:
    optional = (
        "upper_c",
        "degree_days_to_first_pick",
        "days_to_first_pick",
        "picking_days",
        "holding_days",
        "yield_kg_per_m",
        "clock_from_planting_out",
    )
    missing = [pl.lit(None, dtype=pl.Float64).alias(name) for name in optional if name not in crops.columns]
    table = crops.with_columns(missing).select("crop", "base_c", *optional)
    if yields is not None:
        own = yields.select("crop", own_yield="yield_kg_per_m", own_days="picking_days")
        table = table.join(own, on="crop", how="left", maintain_order="left").with_columns(
            pl.coalesce("own_yield", "yield_kg_per_m").alias("yield_kg_per_m"),
            pl.coalesce("own_days", "picking_days").alias("picking_days"),
        )
    return table.with_columns(spread=pl.col("picking_days"))


def _evidence(
    starts: pl.DataFrame, weather: pl.DataFrame, reference: pl.DataFrame, latitude: float | None
) -> dict[str, _Evidence]:
    """Logged sowings by crop, those that can be learned from."""
    known = starts.drop_nulls(["crop", "clock_from", "first_pick_on"]).join(
        reference, on="crop", how="inner", maintain_order="left"
    )
    known = known.filter(pl.col("first_pick_on") > pl.col("clock_from"))
    if "clock" in known.columns:
        planted = pl.col("clock") == "planting out"
        expected = pl.col("clock_from_planting_out") == 1.0
        known = known.filter((planted == expected).fill_null(True))
    evidence: dict[str, _Evidence] = {}
    clocks: dict[str, WarmthClock] = {}
    for row in known.iter_rows(named=True):
        crop = row["crop"]
        if crop not in clocks:
            clocks[crop] = warmth_clock(weather, row["base_c"], row["upper_c"], latitude)
        clock, pick = day_number(row["clock_from"]), day_number(row["first_pick_on"])
        warmth = clocks[crop].between(clock, _ready(row, pick))
        found = evidence.setdefault(crop, _Evidence())
        found.clock.append(clock)
        found.pick.append(pick)
        found.log_warmth.append(math.log(warmth) if warmth > 1.0 else math.nan)
        found.log_days.append(math.log(pick - clock))
    return evidence


def _ready(row: dict[str, Any], pick: int) -> float:
    """The day it became ready, as a day number."""
    fitted, visited = row.get("ready_on"), row.get("visited_on")
    if _waits(row):
        return pick
    if fitted is not None:
        return day_number(fitted)
    # Ready somewhere between the last visit and the first pick: the middle is the fairest guess.
    return pick if visited is None else (pick + day_number(visited)) / 2


def _waits(row: dict[str, float | None]) -> bool:
    holding = row["holding_days"]
    return holding is not None and holding >= WAITING_DAYS


def _usable(found: _Evidence) -> Floats:
    values = np.array(found.log_warmth, dtype=np.float64)
    return values[np.isfinite(values)]


def _offset(row: dict[str, float | None], found: _Evidence) -> tuple[float, float] | None:
    """Logarithm of the crop's own need over the published one, with its variance; None where unknown."""
    values, published = _usable(found), row["degree_days_to_first_pick"]
    if published is None or _waits(row) or len(values) == 0:
        return None
    grid = math.log(published) + GRID
    best = grid[int(np.argmax(_likelihood(values, grid, waits=False).sum(axis=0)))]
    return float(best) - math.log(published), VARIETY_SD**2 + SOWING_SCALE**2 / len(values)


def _site_factor(offsets: dict[str, tuple[float, float] | None], crop: str) -> tuple[float, float]:
    """Mean and variance of the garden's factor, from all crops but this one."""
    precision, weighted = 1.0 / SITE_SD**2, 0.0
    for other, offset in offsets.items():
        if other != crop and offset is not None:
            precision += 1.0 / offset[1]
            weighted += offset[0] / offset[1]
    return weighted / precision, 1.0 / precision


def _likelihood(values: Floats, grid: Floats, *, waits: bool) -> Floats:
    """Log-likelihood of each logged sowing at each point of the grid, sowings x grid."""
    scaled = (values[:, None] - grid) / SOWING_SCALE
    if waits:
        from scipy.special import log_ndtr

        return np.asarray(log_ndtr(scaled), dtype=np.float64)
    return -2.5 * np.log1p(scaled**2 / 4.0)


def _posterior(log_prior: Floats, likelihood: Floats, grid: Floats) -> tuple[float, float]:
    """Most likely value and variance."""
    density = log_prior + likelihood.sum(axis=0)
    weight = np.exp(density - density.max())
    weight /= weight.sum()
    mean = float(weight @ grid)
    return float(grid[int(np.argmax(density))]), float(weight @ (grid - mean) ** 2)


def _fit_crop(
    row: dict[str, float | None],
    found: _Evidence,
    site: tuple[float, float],
    weather: pl.DataFrame,
    latitude: float | None,
) -> dict[str, object] | None:
    """The fitted columns of one crop; None where nothing is known of its timing."""
    values, published = _usable(found), row["degree_days_to_first_pick"]
    if len(values) == 0 and (published is None or row["base_c"] is None):
        return _fit_days(row, found)
    if published is None:
        centre, variance = float(np.median(values)), NO_REFERENCE_SD**2
    else:
        centre, variance = math.log(published) + site[0], VARIETY_SD**2 + site[1]
    grid = centre + GRID
    log_prior = -0.5 * (grid - centre) ** 2 / variance
    likelihood = _likelihood(values, grid, waits=_waits(row))
    need, uncertainty = _posterior(log_prior, likelihood, grid)
    sd = SOWING_SD if _waits(row) else _spread(values - need)
    total_sd, days = math.sqrt(sd**2 + uncertainty), _typical_days(row, found)
    error = None if days is None else total_sd * days
    if len(found.pick) >= FEWEST_TO_COMPARE and len(values) == len(found.pick) and not _waits(row):
        clock = warmth_clock(weather, row["base_c"], row["upper_c"], latitude)
        needs = [_posterior(log_prior, np.delete(likelihood, i, axis=0), grid)[0] for i in range(len(found.pick))]
        error = _left_out_error(
            found,
            [clock.day_of(start, math.exp(need)) for start, need in zip(found.clock, needs, strict=True)],
        )
        by_days = _fit_days(row, found)
        if by_days is not None and _days_win(found, by_days["error_days"], error):
            return by_days | {"degree_days_to_first_pick": math.exp(need)}
    return {
        "degree_days_to_first_pick": math.exp(need),
        "sd": sd,
        "n_sowings": len(values),
        "prior_weight": 0.0 if published is None else min(uncertainty / REFERENCE_VARIANCE, 1.0),
        "error_days": error,
        "basis": _basis(len(values), site),
    }


def _basis(n: int, site: tuple[float, float]) -> str:
    if n > 0:
        return "log and reference"
    return "reference only" if site[0] == 0.0 else "reference and other crops"


def _spread(residuals: Floats) -> float:
    """Spread between sowings, shrunk to the published one; a wrong date counts at most 2.5 scales."""
    held = np.clip(residuals, -2.5 * SOWING_SCALE, 2.5 * SOWING_SCALE)
    degrees = SOWING_SD_WEIGHT + max(len(held) - 1, 0)
    return math.sqrt((SOWING_SD_WEIGHT * SOWING_SD**2 + float(np.sum(held**2))) / degrees)


def _typical_days(row: dict[str, float | None], found: _Evidence) -> float | None:
    return math.exp(float(np.median(found.log_days))) if found.log_days else row["days_to_first_pick"]


def _left_out_error(found: _Evidence, predicted: list[int | None]) -> float | None:
    """Mean absolute error in days of predictions that did not know the sowing they predict."""
    errors = [abs(day - pick) for day, pick in zip(predicted, found.pick, strict=True) if day is not None]
    return float(np.mean(errors)) if errors else None


def _days_win(found: _Evidence, days_error: object, warmth_error: float | None) -> bool:
    if warmth_error is None or not isinstance(days_error, float) or len(found.clock) < FEWEST_FOR_DAYS:
        return False
    angle = 2 * np.pi * np.array(found.clock) / 365.25
    # Half-width of the season sown in, from the mean direction of the calendar circle.
    apart = np.angle(np.exp(1j * (angle - np.angle(np.exp(1j * angle).mean()))))
    spread_days = (apart.max() - apart.min()) / (2 * np.pi) * 365.25
    return bool(spread_days >= CALENDAR_SPREAD_DAYS and days_error < DAYS_MUST_BE_BETTER * warmth_error)


def _fit_days(row: dict[str, float | None], found: _Evidence) -> dict[str, object] | None:
    """Plain days to the first pick, shrunk to the reference; None where neither is known."""
    published, own = row["days_to_first_pick"], np.array(found.log_days)
    if published is None and len(own) == 0:
        return None
    centre = float(np.median(own)) if published is None else math.log(published)
    prior = 1.0 / (NO_REFERENCE_SD if published is None else DAYS_PRIOR_SD) ** 2

    def mean(values: Floats) -> float:
        precision = len(values) / DAYS_SD**2
        return float((centre * prior + values.sum() / DAYS_SD**2) / (prior + precision))

    need = mean(own)
    uncertainty = 1.0 / (prior + len(own) / DAYS_SD**2)
    error: float | None = math.sqrt(DAYS_SD**2 + uncertainty) * math.exp(need)
    if len(own) >= FEWEST_TO_COMPARE:
        predicted = [start + round(math.exp(mean(np.delete(own, i)))) for i, start in enumerate(found.clock)]
        error = _left_out_error(found, list(predicted))
    return {
        "degree_days_to_first_pick": None,
        "sd": DAYS_SD,
        "n_sowings": len(own),
        "prior_weight": uncertainty * prior,
        "error_days": error,
        "basis": "days",
        "days_to_first_pick": math.exp(need),
    }


def predict_first_pick(
    timing: pl.DataFrame, starts: pl.DataFrame, weather: pl.DataFrame, latitude: float | None = None
) -> pl.DataFrame:
    """When each sowing will be, or was, ready for its first pick.

    Args:
        timing: of ``fit_crop_timing``.
        starts: sowing_id, crop, clock_from.
        weather: date, tmin_c, tmax_c, without gaps; run it past the last day wanted with ``fill_weather``.
        latitude: as given to ``fit_crop_timing``.

    Returns:
        sowing_id, first_pick_on, low, high, one row per row of ``starts``; 1 sowing in 10 is earlier than
        low, 1 in 10 later than high (spread between sowings and uncertainty of the need; not that of weather
        still to come). Null where the crop's timing is unknown or the weather ends first.
    """
    known = {row["crop"]: row for row in timing.iter_rows(named=True)}
    clocks: dict[str, WarmthClock] = {}
    rows: list[tuple[str, dt.date | None, dt.date | None, dt.date | None]] = []
    for sowing_id, crop, clock_from in starts.select("sowing_id", "crop", "clock_from").iter_rows():
        row = known.get(crop)
        if row is None or clock_from is None:
            rows.append((sowing_id, None, None, None))
            continue
        start, factor = day_number(clock_from), math.exp(_reach(row))
        if row["basis"] == "days":
            days = row["days_to_first_pick"]
            picks: list[int | None] = [start + round(days * by) for by in (1.0, 1.0 / factor, factor)]
        else:
            if crop not in clocks:
                clocks[crop] = warmth_clock(weather, row["base_c"], row["upper_c"], latitude)
            need = row["degree_days_to_first_pick"]
            picks = [clocks[crop].day_of(start, need * by) for by in (1.0, 1.0 / factor, factor)]
        first, low, high = (None if day is None else calendar_day(day) for day in picks)
        rows.append((sowing_id, first, low, high))
    return pl.DataFrame(rows, schema=PICKS_SCHEMA, orient="row")


def need_uncertainty(row: dict[str, object]) -> float:
    """Logarithmic standard deviation of a crop's need itself, from its ``prior_weight``."""
    weight = row["prior_weight"]
    variance = DAYS_PRIOR_SD**2 if row["basis"] == "days" else REFERENCE_VARIANCE
    return math.sqrt(variance * weight) if isinstance(weight, float) else 0.0


def _reach(row: dict[str, object]) -> float:
    """Logarithmic distance from the middle to 1 in 10 on either side (Student-t)."""
    from scipy.special import stdtrit

    sd, n = row["sd"], row["n_sowings"]
    total = math.hypot(sd if isinstance(sd, float) else 0.0, need_uncertainty(row))
    return total * float(stdtrit(SOWING_SD_WEIGHT + (n if isinstance(n, int) else 0), 0.9))
