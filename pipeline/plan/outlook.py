"""What the sowings already in the ground are likely to give in the next weeks."""

from __future__ import annotations

import datetime as dt
import math
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.warmth.clock import WarmthClock, day_number, warmth_clock
from pipeline.warmth.picking_curve import share_ready
from pipeline.warmth.starts import row_metres, starts_from_logs
from pipeline.warmth.timing import need_uncertainty
from schemas.answer_frame import answer_types

Floats = NDArray[np.float64]

DRAWS = 400
YIELD_CV = 0.25
"""Spread of the yield of one sowing; judgement, no source."""
GIVEN_UP = 0.9
"""A sowing never picked is given up once its picking should be over in this share of the draws."""
WEATHER_SD_C = 1.3
"""How far the mean temperature of the coming four weeks strays from the usual; computed from Seattle daily weather
2012 to 2015 (NOAA): 1.3 C for four weeks, 1.1 C for eight."""
WARM_AND_COLD = 7
"""Kinds of weather to come, from cold to warm."""


def season_outlook(
    sowings: pl.DataFrame,
    harvests: pl.DataFrame,
    crops: pl.DataFrame,
    timing: pl.DataFrame,
    yields: pl.DataFrame,
    fresh_needs: pl.DataFrame,
    weather: pl.DataFrame,
    as_of: dt.date,
    *,
    rng: np.random.Generator,
    latitude: float | None = None,
    weeks: int = 8,
) -> pl.DataFrame:
    """The ``season_outlook`` answer: weekly harvest to expect from what stands, by crop.

    A sowing that was picked runs on from its first pick; one that was not starts when its warmth has come
    together, today at the earliest. A sowing never picked whose time is over is given up. Bands hold the spread
    between sowings in warmth and yield, and that of the weather to come.

    Args:
        sowings: core sowings.
        harvests: core harvests.
        crops: crop, in_row_cm, row_spacing_cm.
        timing: of ``fit_crop_timing``.
        yields: of ``fit_yields``.
        fresh_needs: crop, month, fresh_kg_per_week.
        weather: date, tmin_c, tmax_c, without gaps and on past the last week, as ``fill_weather`` gives it.
        as_of: today; weeks start on the first Monday after it.
        rng: source of chance.
        latitude: as given to ``fit_crop_timing``.
        weeks: how many weeks.

    Returns:
        crop, week (Monday), kg_p10, kg_p50, kg_p90, need_kg (null where it is not known), over_kg (middle less
        need, never negative); crops with nothing to come are left out.
    """
    known = {row["crop"]: row for row in timing.iter_rows(named=True)}
    amounts = dict(row_metres(sowings, crops).select("sowing_id", "row_m").iter_rows())
    giving = {row["crop"]: row for row in yields.drop_nulls().iter_rows(named=True)}
    today, monday = day_number(as_of), as_of + dt.timedelta(days=7 - as_of.weekday())
    edges = day_number(monday) + 7.0 * np.arange(weeks + 1)
    clocks: dict[str, list[WarmthClock]] = {}
    coming: dict[str, Floats] = {}
    kinds = _kinds_of_weather(weather, as_of)
    for start in starts_from_logs(sowings, harvests).sort("crop", "sowing_id").iter_rows(named=True):
        crop, metres = start["crop"], amounts[start["sowing_id"]]
        if crop not in known or crop not in giving or not metres:
            continue
        row, days = known[crop], max(giving[crop]["picking_days"], 1.0)
        if crop not in clocks:
            clocks[crop] = [warmth_clock(kind, row["base_c"], row["upper_c"], latitude) for kind in kinds]
        ready = _ready_days(start, row, clocks[crop], rng)
        if start["first_pick_on"] is None:
            if np.mean(ready + days < today) >= GIVEN_UP:
                continue
            ready = np.maximum(ready, today)
        share = np.diff(share_ready((edges[:, None] - ready) / days), axis=0)
        sd = math.sqrt(math.log1p(YIELD_CV**2))
        kg = metres * giving[crop]["yield_kg_per_m"] * np.exp(sd * rng.standard_normal(DRAWS) - sd**2 / 2)
        coming[crop] = coming.get(crop, np.zeros((weeks, DRAWS))) + share * kg
    known_needs = fresh_needs.select("crop", "month", "fresh_kg_per_week").drop_nulls()
    needs = {(crop, month): kg for crop, month, kg in known_needs.iter_rows()}
    rows = []
    for crop, weekly in coming.items():
        for number, drawn in enumerate(weekly if weekly.any() else ()):
            week = monday + dt.timedelta(weeks=number)
            low, middle, high = (float(q) for q in np.quantile(drawn, (0.1, 0.5, 0.9)))
            need = _week_need(crop, week, needs)
            over = None if need is None else max(0.0, middle - need)
            rows.append((crop, week, low, middle, high, need, over))
    return pl.DataFrame(rows, schema=answer_types("season_outlook"), orient="row")


def left_out(
    sowings: pl.DataFrame, crops: pl.DataFrame, timing: pl.DataFrame, yields: pl.DataFrame, as_of: dt.date
) -> dict[str, str]:
    """Crops sown within the last year of which an outlook cannot tell anything, with what is not known of them.

    Args:
        sowings: core sowings; as are crops, timing and yields as in ``season_outlook``.
        crops: crop, in_row_cm, row_spacing_cm.
        timing: of ``fit_crop_timing``.
        yields: of ``fit_yields``.
        as_of: today.
    """
    recent = row_metres(sowings, crops).filter(pl.col("sown_on").is_between(as_of - dt.timedelta(days=365), as_of))
    known, giving = set(timing["crop"]), set(yields.drop_nulls()["crop"])
    reasons: dict[str, str] = {}
    for crop, metres in recent.select("crop", "row_m").sort("crop", "row_m").iter_rows():
        if crop not in known:
            reasons[crop] = "days to its first pick"
        elif crop not in giving:
            reasons[crop] = "yield per metre"
        elif metres is None:
            reasons.setdefault(crop, "row length of a sowing")
    return reasons


def _week_need(crop: str, week: dt.date, needs: dict[tuple[str, int], float]) -> float | None:
    """Wanted fresh in the month of the week's middle day; None for a crop without any known need."""
    if not any(known == crop for known, _ in needs):
        return None
    return needs.get((crop, (week + dt.timedelta(days=3)).month), 0.0)


def _kinds_of_weather(weather: pl.DataFrame, as_of: dt.date) -> list[pl.DataFrame]:
    """The weather as it was, with what is to come colder or warmer than usual: equally likely kinds."""
    from scipy.special import ndtri

    apart = WEATHER_SD_C * ndtri((np.arange(WARM_AND_COLD) + 0.5) / WARM_AND_COLD)
    warmer = [pl.when(pl.col("date") > as_of).then(float(by)).otherwise(0.0) for by in apart]
    return [weather.with_columns(pl.col("tmin_c", "tmax_c") + by) for by in warmer]


def _ready_days(
    start: dict[str, dt.date | None], row: dict[str, Any], clocks: list[WarmthClock], rng: np.random.Generator
) -> Floats:
    """Draws of the day of the first pick; infinite where the weather ends first."""
    picked, sown = start["first_pick_on"], start["clock_from"]
    if picked is not None:
        return np.full(DRAWS, float(day_number(picked)))
    begin = 0 if sown is None else day_number(sown)
    spread = math.hypot(row["sd"], need_uncertainty(row))
    factor = np.exp(spread * rng.standard_normal(DRAWS))
    if row["basis"] == "days":
        return np.asarray(begin + row["days_to_first_pick"] * factor, dtype=np.float64)
    need = row["degree_days_to_first_pick"]
    found = (clocks[draw % len(clocks)].day_of(begin, need * by) for draw, by in enumerate(factor))
    return np.array([math.inf if day is None else float(day) for day in found])
