"""Which share of a sowing's yield becomes ready in which week, for each sowing week and weather year."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.plan.crops import PlanCrop
from pipeline.plan.options import PLAN_WEEKS, SOW_WEEKS, PlanNoise
from pipeline.plan.season import Season, killing_days
from pipeline.warmth.degree_days import growing_warmth
from pipeline.warmth.picking_curve import share_ready

Floats = NDArray[np.float64]

EMERGENCE_DAYS = 10
"""A frost before a direct sowing is up does not kill it; common practice, no source."""
CLEARED_BY = 0.8
"""The bed is promised to the next crop by the day on which 8 sowings in 10 are done."""


@dataclass(frozen=True)
class Kernel:
    """Harvest of one unit of yield. S sowing weeks, W plan weeks, Y weather years.

    ``share`` is W x S x Y and sums over weeks to at most 1: less where frost, the planned clearing or the
    end of the plan cuts it off, 0 where it never ripens. ``ready`` and ``last`` are the days of the first
    and last pick, S x Y, infinite where there is none. ``clearing`` is the planned day of clearing for each
    sowing week.
    """

    share: Floats
    ready: Floats
    last: Floats
    clearing: Floats

    def occupied(self) -> Floats:
        """Whether a sowing takes its bed in each week, S x W, 0 or 1."""
        week, clock = 7 * np.arange(PLAN_WEEKS), 7 * np.arange(SOW_WEEKS)
        return np.asarray((week >= clock[:, None]) & (week < self.clearing[:, None]), dtype=np.float64)


def harvest_kernel(crop: PlanCrop, season: Season, rng: np.random.Generator, clearing: Floats | None = None) -> Kernel:
    """The kernel of a crop in the weather years of a season.

    Args:
        crop: the crop.
        season: weather years.
        rng: source of chance for the spread between sowings and the uncertainty of the need.
        clearing: planned clearing days to keep to, as found on other years; None finds them.
    """
    spread = crop.sd * _shuffled_normal(SOW_WEEKS, season.n_years, rng)
    shared = crop.need_sd * _shuffled_normal(1, season.n_years, rng)
    ready = _ready_days(crop, season, np.exp(spread + shared))
    killed = _killed_days(crop, season)
    ready = np.where(ready < killed, ready, math.inf)
    done = ready + crop.picking_days
    if clearing is None:
        clearing = np.quantile(done, CLEARED_BY, axis=1, method="inverted_cdf")
        clearing = np.minimum(clearing, 7.0 * PLAN_WEEKS)
    end = np.minimum(killed, clearing[:, None])
    ready = np.where(ready < end, ready, math.inf)
    edges = 7.0 * np.arange(PLAN_WEEKS + 1)[:, None, None]
    # Weeks after the end see the share at the end, so their difference is zero.
    with np.errstate(invalid="ignore"):
        part = (np.minimum(edges, end) - ready) / crop.ripening_days
    share = np.diff(share_ready(np.where(np.isfinite(ready), part, 0.0)), axis=0)
    return Kernel(share, ready, np.minimum(ready + crop.picking_days, np.maximum(end, ready)), clearing)


def _ready_days(crop: PlanCrop, season: Season, factor: Floats) -> Floats:
    """Day of the first pick, S x Y; infinite where the warmth does not come together."""
    clock = 7 * np.arange(SOW_WEEKS)
    if crop.need is None:
        return np.asarray(clock[:, None] + (crop.days or 0.0) * factor, dtype=np.float64)
    daily = growing_warmth(season.tmin_c, season.tmax_c, crop.base_c, crop.upper_c, season.day_of_year, season.latitude)
    total = np.concatenate([np.zeros((season.n_years, 1)), daily.cumsum(axis=1)], axis=1)
    ready = np.empty((SOW_WEEKS, season.n_years))
    for year, running in enumerate(total):
        ready[:, year] = np.searchsorted(running, running[clock] + crop.need * factor[:, year] - 1e-9)
    return np.where(ready < total.shape[1], ready, math.inf)


def _killed_days(crop: PlanCrop, season: Season) -> Floats:
    """First killing day once the sowing stands, S x Y; infinite where there is none."""
    deadly = killing_days(crop, season)
    n_days = deadly.shape[1]
    day = np.where(deadly, np.arange(n_days), math.inf)
    ahead = np.minimum.accumulate(day[:, ::-1], axis=1)[:, ::-1]
    stands = 7 * np.arange(SOW_WEEKS) + (0 if crop.raised else EMERGENCE_DAYS)
    return np.ascontiguousarray(ahead[:, np.minimum(stands, n_days - 1)].T)


def yield_noise(noise: PlanNoise, n_years: int, rng: np.random.Generator) -> Floats:
    """Factors on the yield of each sowing and year, S x Y, with mean 1 but for failures.

    Each sowing week meets the same set of luck in another order: otherwise the search would choose the weeks
    that were lucky in the draw.
    """

    def factors(cv: float, rows: int) -> Floats:
        sd = math.sqrt(math.log1p(cv**2))
        drawn = np.exp(sd * _shuffled_normal(rows, n_years, rng))
        return np.asarray(drawn / drawn.mean(axis=1, keepdims=True), dtype=np.float64)

    failed = np.arange(n_years) < round(noise.failure * n_years)
    alive = ~rng.permuted(np.tile(failed, (SOW_WEEKS, 1)), axis=1)
    return np.asarray(factors(noise.sowing_cv, SOW_WEEKS) * alive * factors(noise.crop_year_cv, 1), dtype=np.float64)


def _shuffled_normal(rows: int, n_years: int, rng: np.random.Generator) -> Floats:
    """The quantiles of a standard normal, each row in an order of its own."""
    from scipy.special import ndtri

    quantiles = ndtri((np.arange(n_years) + 0.5) / n_years)
    return np.asarray(rng.permuted(np.tile(quantiles, (rows, 1)), axis=1), dtype=np.float64)
