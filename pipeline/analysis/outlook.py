"""What the sowings already in the ground are likely to give in the next weeks."""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.analysis.harvest_kernel import SHAPE
from pipeline.analysis.sowing_logs import row_metres, starts_from_logs
from pipeline.analysis.sowing_model import need_uncertainty
from pipeline.analysis.warmth_clock import WarmthClock, day_number, warmth_clock

Floats = NDArray[np.float64]

DRAWS = 400
YIELD_CV = 0.25
"""Spread of the yield of one sowing; judgement, no source."""
GIVEN_UP = 0.9
"""A sowing never picked is given up once its picking should be over in this share of the draws."""
COMING_SCHEMA = {
    "crop": pl.String(),
    "week": pl.Date(),
    "kg_p10": pl.Float64(),
    "kg_p50": pl.Float64(),
    "kg_p90": pl.Float64(),
}


def season_outlook(
    sowings: pl.DataFrame,
    harvests: pl.DataFrame,
    crops: pl.DataFrame,
    timing: pl.DataFrame,
    yields: pl.DataFrame,
    weather: pl.DataFrame,
    as_of: dt.date,
    *,
    rng: np.random.Generator,
    latitude: float | None = None,
    weeks: int = 8,
) -> pl.DataFrame:
    """Weekly harvest to expect from what stands, by crop.

    A sowing that was picked runs on from its first pick; one that was not starts when its warmth has come
    together, today at the earliest. A sowing never picked whose time is over is given up.

    Args:
        sowings: core sowings.
        harvests: core harvests.
        crops: crop, in_row_cm, row_spacing_cm.
        timing: of ``fit_crop_timing``.
        yields: of ``fit_yields``.
        weather: date, tmin_c, tmax_c, without gaps and on past the last week, as ``fill_weather`` gives it.
        as_of: today; weeks start on the first Monday after it.
        rng: source of chance.
        latitude: as given to ``fit_crop_timing``.
        weeks: how many weeks.

    Returns:
        crop, week (Monday), kg_p10, kg_p50, kg_p90; crops with nothing to come are left out.
    """
    known = {row["crop"]: row for row in timing.iter_rows(named=True)}
    amounts = dict(row_metres(sowings, crops).select("sowing_id", "row_m").iter_rows())
    giving = {row["crop"]: row for row in yields.drop_nulls().iter_rows(named=True)}
    today, monday = day_number(as_of), as_of + dt.timedelta(days=7 - as_of.weekday())
    edges = day_number(monday) + 7.0 * np.arange(weeks + 1)
    clocks: dict[str, WarmthClock] = {}
    coming: dict[str, Floats] = {}
    for start in starts_from_logs(sowings, harvests).sort("crop", "sowing_id").iter_rows(named=True):
        crop, metres = start["crop"], amounts[start["sowing_id"]]
        if crop not in known or crop not in giving or not metres:
            continue
        row, days = known[crop], max(giving[crop]["picking_days"], 1.0)
        if crop not in clocks:
            clocks[crop] = warmth_clock(weather, row["base_c"], row["upper_c"], latitude)
        ready = _ready_days(start, row, clocks[crop], rng)
        if start["first_pick_on"] is None:
            if np.mean(ready + days < today) >= GIVEN_UP:
                continue
            ready = np.maximum(ready, today)
        part = np.clip((edges[:, None] - ready) / days, 0.0, 1.0)
        share = np.diff(1.0 - (1.0 - part) ** SHAPE, axis=0)
        sd = math.sqrt(math.log1p(YIELD_CV**2))
        kg = metres * giving[crop]["yield_kg_per_m"] * np.exp(sd * rng.standard_normal(DRAWS) - sd**2 / 2)
        coming[crop] = coming.get(crop, np.zeros((weeks, DRAWS))) + share * kg
    rows = [
        (crop, monday + dt.timedelta(weeks=week), *(float(q) for q in np.quantile(drawn, (0.1, 0.5, 0.9))))
        for crop, weekly in coming.items()
        if weekly.any()
        for week, drawn in enumerate(weekly)
    ]
    return pl.DataFrame(rows, schema=COMING_SCHEMA, orient="row")


def _ready_days(
    start: dict[str, dt.date | None], row: dict[str, float], clock: WarmthClock, rng: np.random.Generator
) -> Floats:
    """Draws of the day of the first pick; infinite where the weather ends first."""
    picked, sown = start["first_pick_on"], start["clock_from"]
    if picked is not None:
        return np.full(DRAWS, float(day_number(picked)))
    begin = 0 if sown is None else day_number(sown)
    spread = math.hypot(row["sd"], need_uncertainty(dict(row)))
    factor = np.exp(spread * rng.standard_normal(DRAWS))
    if row["degree_days_to_first_pick"] is None:
        return np.asarray(begin + row["days_to_first_pick"] * factor, dtype=np.float64)
    found = (clock.day_of(begin, row["degree_days_to_first_pick"] * by) for by in factor)
    return np.array([math.inf if day is None else float(day) for day in found])
