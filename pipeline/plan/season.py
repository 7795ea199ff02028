"""The season of a sowing plan: its weeks, weather and frosts, and when a crop may be sown."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.plan.crops import PlanCrop
from pipeline.plan.options import PLAN_WEEKS, SOW_WEEKS, PlanOptions
from pipeline.warmth.degree_days import daylength_hours
from pipeline.warmth.weather_years import WeatherYears

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

LAST_FROST_SD_DAYS, FIRST_FROST_SD_DAYS = 12.4, 16.0
"""How far frosts stray from their usual day; computed from 91 years (1930 to 2020) at Clemson, South
Carolina, NOAA GHCN USC00381770."""
BOLTING, BOLTS_ABOVE_HOURS = frozenset({"coriander", "pak choi", "rocket", "spinach"}), 15.0
"""Crops that run to seed rather than grow where the days are longer; common practice, no source."""
TENDER_C = -2.0
"""Crops killed at or above this temperature are taken to be killed by any frost; common practice, no
source."""


@dataclass(frozen=True)
class Season:
    """Weather years cut to whole weeks from ``monday``; arrays are years x days."""

    monday: dt.date
    tmin_c: Floats
    tmax_c: Floats
    frost: Flags
    """Days of a frost drawn around the usual dates that the grower gave; none where none are given."""
    day_of_year: NDArray[np.int64]
    latitude: float | None

    @property
    def n_years(self) -> int:
        """How many weather years."""
        return int(self.tmin_c.shape[0])

    def day(self, number: float) -> dt.date:
        """The calendar day of a day of the season."""
        return self.monday + dt.timedelta(days=round(number))

    def years(self, first: int, last: int) -> Season:
        """The season with only the years from ``first`` up to, but without, ``last``."""
        part = slice(first, last)
        return Season(
            self.monday,
            self.tmin_c[part],
            self.tmax_c[part],
            self.frost[part],
            self.day_of_year,
            self.latitude,
        )


def season_of(years: WeatherYears, options: PlanOptions, rng: np.random.Generator) -> Season:
    """The season that starts on the first Monday of the garden year.

    Raises:
        ValueError: the weather years start too late, are too short or too few.
    """
    monday = options.first_day + dt.timedelta(days=-options.first_day.weekday() % 7)
    skip, n_days = (monday - years.first_day).days, 7 * PLAN_WEEKS
    needed = options.n_years + options.fresh_years
    if skip < 0 or years.n_days < skip + n_days or years.n_years < needed:
        message = (
            f"the plan needs {needed} weather years that cover {n_days} days from {monday}; "
            f"got {years.n_years} years of {years.n_days} days from {years.first_day}"
        )
        raise ValueError(message)
    part = slice(skip, skip + n_days)
    dates = [monday + dt.timedelta(days=n) for n in range(n_days)]
    frost = np.zeros((years.n_years, n_days), dtype=np.bool_)
    for usual, sd in ((options.last_frost, LAST_FROST_SD_DAYS), (options.first_frost, FIRST_FROST_SD_DAYS)):
        if usual is not None:
            centre = day_in_season(monday, usual)
            drawn = np.round(centre + rng.normal(0.0, sd, years.n_years)).astype(np.int64)
            frost[np.arange(years.n_years), np.clip(drawn, 0, n_days - 1)] = True
    return Season(
        monday,
        years.tmin_c[:, part],
        years.tmax_c[:, part],
        frost,
        np.array([date.timetuple().tm_yday for date in dates]),
        options.latitude,
    )


def day_in_season(monday: dt.date, month_day: tuple[int, int]) -> int:
    """Days from ``monday`` to the first such day on or after it; 29 February is 28 February."""
    month, day = month_day if month_day != (2, 29) else (2, 28)
    wanted = dt.date(monday.year, month, day)
    if wanted < monday:
        wanted = dt.date(monday.year + 1, month, day)
    return (wanted - monday).days


def usual_last_frost(season: Season, options: PlanOptions) -> int | None:
    """Usual day of the last spring frost as a day of the season; None where it never freezes."""
    if options.last_frost is not None:
        return day_in_season(season.monday, options.last_frost)
    year = 7 * SOW_WEEKS
    hottest = int((season.tmin_c + season.tmax_c)[:, :year].mean(axis=0).argmax())
    freezing = season.tmin_c[:, :hottest] <= 0.0
    if hottest == 0 or not freezing.any():
        return None
    days = np.where(freezing.any(axis=1), hottest - 1 - freezing[:, ::-1].argmax(axis=1), 0)
    return int(np.median(days))


def killing_days(crop: PlanCrop, season: Season) -> Flags:
    """Days, years x days, that kill the crop once it stands."""
    if crop.kill_c is None:
        return np.zeros(season.tmin_c.shape, dtype=np.bool_)
    cold = season.tmin_c <= crop.kill_c
    return cold | season.frost if crop.kill_c >= TENDER_C else cold


def sowing_weeks(crop: PlanCrop, season: Season, options: PlanOptions) -> tuple[Flags, str]:
    """Weeks in which the crop's clock may start, and why not where there is none.

    The clock starts on the Monday of the week: the day of sowing, or of planting out for raised crops.
    """
    clock = 7 * np.arange(SOW_WEEKS)
    sow = clock - crop.raising_days
    allowed = np.ones(SOW_WEEKS, dtype=np.bool_)
    reason = "no week between the first and last sowing day"
    if options.first_sowing is not None:
        allowed &= sow >= _first_limit(season.monday, options.first_sowing)
    if options.last_sowing is not None:
        allowed &= sow <= day_in_season(season.monday, options.last_sowing)
    if options.not_before is not None:
        allowed &= sow >= (options.not_before - season.monday).days
    if not allowed.any():
        return allowed, reason
    last_frost = usual_last_frost(season, options)
    if crop.frost_weeks is not None and last_frost is not None:
        allowed &= clock >= last_frost + 7 * crop.frost_weeks
    if not allowed.any():
        return allowed, "every week left is too early after the last frost"
    if crop.least_c is not None and not crop.raised:
        allowed &= week_means(season) >= crop.least_c
        reason = f"no week left is warm enough to sow: it wants {crop.least_c:g} C"
    return allowed, reason


def bolting_weeks(crop: PlanCrop, ready: Floats, season: Season) -> Flags:
    """Sowing weeks whose usual first pick falls in days in which the crop bolts; none without a latitude.

    Args:
        crop: the crop.
        ready: days of the first pick, sowing weeks x years, infinite where there is none.
        season: the season.
    """
    usual = np.quantile(ready, 0.5, axis=1, method="inverted_cdf")
    if season.latitude is None or crop.crop not in BOLTING:
        return np.zeros(len(usual), dtype=np.bool_)
    hours = daylength_hours(season.latitude, season.day_of_year)
    day = np.where(np.isfinite(usual), usual, 0.0).astype(np.int64)
    return np.asarray(np.isfinite(usual) & (hours[np.minimum(day, len(hours) - 1)] > BOLTS_ABOVE_HOURS))


def _first_limit(monday: dt.date, month_day: tuple[int, int]) -> int:
    """Day of the season of the first sowing; one in the few days before the first Monday limits nothing."""
    day = day_in_season(monday, month_day)
    return 0 if day >= 7 * SOW_WEEKS - 6 else day


def week_means(season: Season) -> Floats:
    """Usual mean air temperature of each sowing week, taken for that of the soil."""
    daily = ((season.tmin_c + season.tmax_c) / 2.0).mean(axis=0)
    return np.asarray(daily[: 7 * SOW_WEEKS].reshape(SOW_WEEKS, 7).mean(axis=1), dtype=np.float64)
