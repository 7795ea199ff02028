"""What is in the ground already when a plan is made: its harvest is to come, and its bed is taken."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.plan.crops import PlanCrop
from pipeline.plan.kernel import CLEARED_BY, EMERGENCE_DAYS
from pipeline.plan.options import PLAN_WEEKS, PlanNoise
from pipeline.plan.season import Season, killing_days
from pipeline.warmth.clock import day_number, warmth_clock
from pipeline.warmth.degree_days import growing_warmth
from pipeline.warmth.picking_curve import share_ready
from pipeline.warmth.starts import row_metres, starts_from_logs

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Ground:
    """The logs that tell what is in the ground when a plan is made.

    ``sowings`` and ``harvests`` are core logs; ``weather`` has date, tmin_c, tmax_c without gaps, from the oldest
    sowing of interest to the first Monday of the planned season or beyond.
    """

    sowings: pl.DataFrame
    harvests: pl.DataFrame
    weather: pl.DataFrame


@dataclass(frozen=True)
class Stand:
    """One sowing in the ground; days are counted from the first day of the planned season."""

    clock: int
    metres: float
    picked: int | None
    """First pick; None if there was none yet."""
    warmth: float
    """Warmth from the clock's start to the first day of the season, C d; 0 where it starts later."""
    ready_before: int | None
    """The day on which its usual warmth had come together, if that was before the season."""


@dataclass(frozen=True)
class Standing:
    """Harvest to come of one crop's stands, kg in plan weeks x years, and the bed they take, m2 in plan weeks."""

    harvest_kg: Floats
    occupied_m2: Floats


def nothing_standing(n_years: int) -> Standing:
    """No stand at all."""
    return Standing(np.zeros((PLAN_WEEKS, n_years)), np.zeros(PLAN_WEEKS))


def stands_of(
    ground: Ground, crops: pl.DataFrame, planned: Sequence[PlanCrop], season: Season
) -> dict[str, list[Stand]]:
    """The stands of each planned crop.

    Args:
        ground: the logs.
        crops: crop, in_row_cm, row_spacing_cm.
        planned: the crops of the plan.
        season: the planned season.
    """
    by_name, start = {crop.crop: crop for crop in planned}, day_number(season.monday)
    metres = row_metres(ground.sowings, crops).select("sowing_id", "row_m")
    rows = starts_from_logs(ground.sowings, ground.harvests).join(
        metres, on="sowing_id", how="left", maintain_order="left"
    )
    stands: dict[str, list[Stand]] = {}
    for row in rows.drop_nulls("clock_from").filter(pl.col("row_m") > 0).iter_rows(named=True):
        crop = by_name.get(row["crop"])
        if crop is None:
            continue
        clock = day_number(row["clock_from"])
        so_far, reached = 0.0, None
        if clock < start and crop.need is not None:
            running = warmth_clock(ground.weather, crop.base_c, crop.upper_c, season.latitude)
            so_far = running.between(clock, start)
            reached = running.day_of(clock, crop.need)
        if math.isnan(so_far):
            continue
        picked = None if row["first_pick_on"] is None else day_number(row["first_pick_on"]) - start
        before = reached - start if reached is not None and reached <= start else None
        stands.setdefault(crop.crop, []).append(Stand(clock - start, row["row_m"], picked, so_far, before))
    return stands


def standing(
    crop: PlanCrop, stands: Sequence[Stand], season: Season, noise: PlanNoise, rng: np.random.Generator
) -> Standing:
    """What the stands of a crop give and take in the weather years of a season."""
    harvest, occupied = np.zeros((PLAN_WEEKS, season.n_years)), np.zeros(PLAN_WEEKS)
    daily = growing_warmth(season.tmin_c, season.tmax_c, crop.base_c, crop.upper_c, season.day_of_year, season.latitude)
    running = np.concatenate([np.zeros((season.n_years, 1)), daily.cumsum(axis=1)], axis=1)
    deadly = killing_days(crop, season)
    edges, weeks = 7.0 * np.arange(PLAN_WEEKS + 1)[:, None], 7.0 * np.arange(PLAN_WEEKS)
    spread = math.hypot(crop.sd, crop.need_sd)
    luck = math.sqrt(math.log1p(noise.sowing_cv**2))
    for stand in stands:
        factor = np.exp(spread * rng.standard_normal(season.n_years))
        ready = _ready(crop, stand, running, factor)
        killed = _killed(crop, stand, deadly)
        ready = np.where(ready < killed, ready, math.inf)
        done = np.minimum(ready + crop.picking_days, killed)
        with np.errstate(invalid="ignore"):
            part = (np.minimum(edges, killed) - ready) / crop.ripening_days
        share = np.diff(share_ready(np.where(np.isfinite(ready), part, 0.0)), axis=0)
        kg = (
            stand.metres / crop.step_m * crop.step_kg * np.exp(luck * rng.standard_normal(season.n_years) - luck**2 / 2)
        )
        harvest += share * kg
        clearing = float(np.quantile(done, CLEARED_BY, method="inverted_cdf"))
        taken = (weeks < min(clearing, 7.0 * PLAN_WEEKS)) & (weeks + 7 > stand.clock)
        occupied += stand.metres / crop.step_m * crop.step_m2 * taken
    return Standing(harvest, occupied)


def _ready(crop: PlanCrop, stand: Stand, running: Floats, factor: Floats) -> Floats:
    """Day of the first pick in each year; infinite where the warmth does not come together."""
    if stand.picked is not None:
        return np.full(len(factor), float(stand.picked))
    if crop.need is None:
        return np.asarray(stand.clock + (crop.days or 0.0) * factor, dtype=np.float64)
    start = max(stand.clock, 0)
    wanted = crop.need * factor - stand.warmth
    found = [np.searchsorted(year, year[start] + need - 1e-9) for year, need in zip(running, wanted, strict=True)]
    days = np.array(found, dtype=np.float64)
    before = 0.0 if stand.ready_before is None else float(stand.ready_before)
    days = np.where((wanted <= 0) & (stand.clock < 0), min(before, 0.0), days)
    return np.where(days < running.shape[1], days, math.inf)


def _killed(crop: PlanCrop, stand: Stand, deadly: NDArray[np.bool_]) -> Floats:
    """First killing day once the stand is up, in each year; infinite where there is none."""
    up = min(max(stand.clock + (0 if crop.raised else EMERGENCE_DAYS), 0), deadly.shape[1] - 1)
    some = deadly[:, up:].any(axis=1)
    return np.where(some, up + deadly[:, up:].argmax(axis=1), math.inf)
