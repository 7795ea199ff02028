"""Weather to plan with: a daily climate from monthly normals, gaps filled, and made-up years around it.

A log of a few years says little about how years differ: drawing blocks of days from it again and again gives
seasons that are far too alike. So each year's own mean is taken out first and a year effect is put back.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.warmth.trend import warming

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

YEAR_EFFECT_SD_C = 0.8
"""Spread of yearly mean temperature where the log is shorter than five years; computed from the four years
2012 to 2015 of Seattle daily weather (NOAA): it brings the spread of season warmth near the real one."""
SITE_OFFSET_SD_C = 1.0
ASSUMED_OFFSET_SD_C = 4.0
"""How far a garden lies from its climate normals, and from the assumed climate; judgement, no source."""
BLOCK_DAYS = 21
WINDOW_DAYS = 21
"""Days drawn together, and how far in the calendar a block may move; judgement, no source."""
SWING_SD_C, SWING_MEMORY, RANGE_SD_C = 3.0, 0.75, 2.0
"""Day-to-day swings where no weather is logged; common practice, no source."""
DAYS_FOR_OWN_CURVE = 300
DAYS_IN_MONTH = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
WEATHER_SCHEMA = {"date": pl.Date(), "tmin_c": pl.Float64(), "tmax_c": pl.Float64()}


@dataclass(frozen=True)
class GardenClimate:
    """Usual temperatures of a common year of 365 days; 29 February is as 28 February."""

    tmin_c: Floats
    tmax_c: Floats
    notes: tuple[str, ...]
    unsure_c: float = 0.0
    """How far all of it may be off where the climate was guessed, one standard deviation."""


@dataclass(frozen=True)
class WeatherYears:
    """Made-up years: ``tmin_c`` and ``tmax_c`` are years x days, the first day being ``first_day``."""

    first_day: dt.date
    tmin_c: Floats
    tmax_c: Floats
    notes: tuple[str, ...] = ()

    @property
    def n_years(self) -> int:
        """How many years."""
        return int(self.tmin_c.shape[0])

    @property
    def n_days(self) -> int:
        """How many days each year runs on."""
        return int(self.tmin_c.shape[1])


def default_climate(latitude: float) -> pl.DataFrame:
    """An assumed climate where nothing else is known: common practice, no source.

    Mean 27 C at the equator, 0.38 C less for each degree; yearly swing 0.2 C for each degree, warmest in the
    second half of July (north) or January (south); 10 C between night and day. Columns as ``climate.csv``.
    """
    month = np.arange(1, 13)
    warmest = 7.6 if latitude >= 0 else 1.6
    swing = 0.2 * abs(latitude) * np.cos(2 * np.pi * (month + 0.5 - warmest) / 12)
    mean = 27.0 - 0.38 * abs(latitude) + swing
    return pl.DataFrame({"month": month, "tmin_c": mean - 5.0, "tmax_c": mean + 5.0})


def daily_climate(climate: pl.DataFrame, dates: pl.Series) -> pl.DataFrame:
    """The smoothest yearly curve whose monthly means are those of ``climate``.

    Args:
        climate: month (1 to 12), tmin_c, tmax_c; months may be missing, the curve then bridges them.
        dates: days wanted.

    Returns:
        date, tmin_c, tmax_c, one row per day of ``dates``.

    Raises:
        ValueError: no month at all.
    """
    low, high = _monthly_curve(climate)
    day = _year_index(dates)
    return pl.DataFrame({"date": dates, "tmin_c": low[day], "tmax_c": high[day]}, schema=WEATHER_SCHEMA)


def _monthly_curve(climate: pl.DataFrame) -> tuple[Floats, Floats]:
    known = climate.drop_nulls(["month", "tmin_c", "tmax_c"]).sort("month")
    if known.is_empty():
        message = "the climate has no month with both temperatures"
        raise ValueError(message)
    month = known["month"].to_numpy() - 1
    ends = np.cumsum((0, *DAYS_IN_MONTH))
    means = np.zeros((len(month), 365))
    for row, number in enumerate(month):
        means[row, ends[number] : ends[number + 1]] = 1.0 / DAYS_IN_MONTH[number]
    bend = np.roll(np.eye(365), 1, axis=1) - 2.0 * np.eye(365) + np.roll(np.eye(365), -1, axis=1)
    # Least squared bending under exact monthly means: one linear system.
    system = np.block([[bend.T @ bend, means.T], [means, np.zeros((len(month), len(month)))]])
    wanted = np.vstack([np.zeros((365, 2)), known.select("tmin_c", "tmax_c").to_numpy()])
    curve = np.linalg.solve(system, wanted)[:365]
    return np.minimum(curve[:, 0], curve[:, 1]), np.maximum(curve[:, 0], curve[:, 1])


def _year_index(dates: pl.Series) -> Ints:
    """Day of a common year, 0 to 364; 29 February counts as 28 February."""
    day = dates.dt.ordinal_day().cast(pl.Int64).to_numpy()
    leap = dates.dt.is_leap_year().to_numpy()
    return np.asarray(day - 1 - (leap & (day >= 60)), dtype=np.int64)


def garden_climate(weather: pl.DataFrame, climate: pl.DataFrame | None, latitude: float | None) -> GardenClimate:
    """The garden's usual year, from what there is.

    Climate normals are moved by the garden's own weather, the further the more days are logged.
    Without normals a log that covers most of the year gives the curve (two harmonics). Without either, an
    assumed climate for the latitude stands in and a note says so.
    """
    own = weather.select("date", "tmin_c", "tmax_c").drop_nulls()
    if climate is not None and not climate.drop_nulls(["month", "tmin_c", "tmax_c"]).is_empty():
        return _from_normals(climate, own)
    if own.is_empty() or len(np.unique(_year_index(own["date"]))) < DAYS_FOR_OWN_CURVE:
        where = "for latitude 45 north, since none is set" if latitude is None else "for your latitude"
        lead = "No weather or climate log" if own.is_empty() else "No climate log and less than a year of weather"
        note = f"{lead}: dates come from an assumed climate {where}."
        assumed = _monthly_curve(default_climate(45.0 if latitude is None else latitude))
        return _moved(*assumed, own, ASSUMED_OFFSET_SD_C, (note,))
    angle = 2 * np.pi * np.arange(365)[:, None] / 365 * np.array([1, 2])
    basis = np.hstack([np.ones((365, 1)), np.cos(angle), np.sin(angle)])
    temperatures = own.select("tmin_c", "tmax_c").to_numpy()
    fitted = basis @ np.linalg.lstsq(basis[_year_index(own["date"])], temperatures, rcond=None)[0]
    return GardenClimate(np.minimum(fitted[:, 0], fitted[:, 1]), np.maximum(fitted[:, 0], fitted[:, 1]), ())


def _from_normals(climate: pl.DataFrame, own: pl.DataFrame) -> GardenClimate:
    """Normals moved by the garden's own weather; guessed ones may be further off, and the made-up years show it.

    All months are taken to be off together, which is on the wide side.
    """
    errors = climate["error_c"].drop_nulls().to_numpy() if "error_c" in climate.columns else np.empty(0)
    if not errors.size:
        return _moved(*_monthly_curve(climate), own, SITE_OFFSET_SD_C, ())
    guessed = float(np.sqrt(np.mean(errors**2)))
    moved = _moved(*_monthly_curve(climate), own, guessed, ())
    years = own.height / 365
    left = guessed * math.sqrt(1.0 - years / (years + YEAR_EFFECT_SD_C**2 / guessed**2)) if guessed else 0.0
    note = f"The climate is a guess from measured places, {guessed:.1f} C either way; your own weather log betters it."
    return GardenClimate(moved.tmin_c, moved.tmax_c, (note,), left)


def _moved(low: Floats, high: Floats, own: pl.DataFrame, sd: float, notes: tuple[str, ...]) -> GardenClimate:
    """The curves moved by the mean difference of the garden's own weather, shrunk by how little there is."""
    if own.is_empty():
        return GardenClimate(low, high, notes)
    day, years = _year_index(own["date"]), own.height / 365
    weight = years / (years + YEAR_EFFECT_SD_C**2 / sd**2)
    low = low + weight * float(np.mean(own["tmin_c"].to_numpy() - low[day]))
    high = high + weight * float(np.mean(own["tmax_c"].to_numpy() - high[day]))
    return GardenClimate(np.minimum(low, high), np.maximum(low, high), notes)


def fill_weather(
    weather: pl.DataFrame,
    climate: pl.DataFrame | None,
    first: dt.date,
    last: dt.date,
    latitude: float | None = None,
) -> pl.DataFrame:
    """Daily weather without gaps: logged days as they are, the others as in the garden's usual year.

    Returns:
        date, tmin_c, tmax_c, filled (whether the day was not logged), for every day from ``first`` to
        ``last``; the sum of ``filled`` is the count of days filled.
    """
    days = pl.date_range(first, last, interval="1d", eager=True).alias("date")
    usual, index = garden_climate(weather, climate, latitude), _year_index(days)
    logged = weather.select("date", "tmin_c", "tmax_c").drop_nulls().unique("date", keep="first")
    return (
        pl.DataFrame({"date": days, "usual_low": usual.tmin_c[index], "usual_high": usual.tmax_c[index]})
        .join(logged, on="date", how="left", maintain_order="left")
        .select(
            "date",
            pl.coalesce("tmin_c", "usual_low").alias("tmin_c"),
            pl.coalesce("tmax_c", "usual_high").alias("tmax_c"),
            pl.col("tmin_c").is_null().alias("filled"),
        )
    )


def weather_years(
    weather: pl.DataFrame,
    climate: pl.DataFrame | None,
    latitude: float | None,
    first_day: dt.date,
    n_days: int,
    n_years: int,
    rng: np.random.Generator,
    *,
    follow_trend: bool = False,
) -> WeatherYears:
    """Years that could follow: the usual year, plus swings of days drawn from the log, plus a year effect.

    Args:
        weather: date, tmin_c, tmax_c of the garden; may be empty.
        climate: monthly normals; None or empty where there are none.
        latitude: degrees, south negative; None where unknown.
        first_day: first day of each year made.
        n_days: days of each year made.
        n_years: how many.
        rng: source of chance.
        follow_trend: move all years by what the logged years' trend makes of them, where it can be told.

    Returns:
        The years, with notes on what had to be assumed.
    """
    usual = garden_climate(weather, climate, latitude)
    days = pl.date_range(first_day, first_day + dt.timedelta(days=n_days - 1), interval="1d", eager=True)
    index, notes = _year_index(days), list(usual.notes)
    swings, sd = _logged_swings(weather, usual)
    drawn = None if swings is None else _drawn_blocks(swings, index, n_years, rng)
    if drawn is None:
        drawn = _assumed_swings(n_years, n_days, rng)
        notes.append("Too little weather is logged to tell how it swings from day to day: the swings are assumed.")
    year = rng.normal(0.0, sd, (n_years, 1))
    if follow_trend:
        middle = first_day.year + (first_day.timetuple().tm_yday + min(n_days, 365) / 2) / 365.25
        trend = warming(_yearly_means(weather, usual), middle)
        notes.append(trend.note)
        year = year + trend.shift_c + rng.normal(0.0, trend.sd_c, (n_years, 1))
    if usual.unsure_c:
        year = year + rng.normal(0.0, usual.unsure_c, (n_years, 1))
    low = usual.tmin_c[index] + drawn[..., 0] + year
    high = usual.tmax_c[index] + drawn[..., 1] + year
    return WeatherYears(first_day, np.minimum(low, high), np.maximum(low, high), tuple(notes))


def keep_logged(years: WeatherYears, weather: pl.DataFrame) -> WeatherYears:
    """The years with every day that is logged as it was: of a season under way only the rest is open.

    Args:
        years: made-up years.
        weather: date, tmin_c, tmax_c of the garden.
    """
    last = years.first_day + dt.timedelta(days=years.n_days - 1)
    logged = weather.select("date", "tmin_c", "tmax_c").drop_nulls().unique("date", keep="first")
    inside = logged.filter(pl.col("date").is_between(years.first_day, last))
    day = (inside["date"] - years.first_day).dt.total_days().to_numpy()
    low, high = years.tmin_c.copy(), years.tmax_c.copy()
    low[:, day], high[:, day] = inside["tmin_c"].to_numpy(), inside["tmax_c"].to_numpy()
    return WeatherYears(years.first_day, low, high, years.notes)


def _logged_swings(weather: pl.DataFrame, usual: GardenClimate) -> tuple[pl.DataFrame | None, float]:
    """Differences from the usual year with each year's own mean taken out, and the spread of those means."""
    own = weather.select("date", "tmin_c", "tmax_c").drop_nulls().unique("date", keep="first").sort("date")
    if own.is_empty():
        return None, YEAR_EFFECT_SD_C
    index = _year_index(own["date"])
    swings = own.with_columns(
        pl.col("tmin_c") - usual.tmin_c[index], pl.col("tmax_c") - usual.tmax_c[index]
    ).with_columns(year=pl.col("date").dt.year(), days=pl.len().over(pl.col("date").dt.year()))
    yearly = _yearly_means(weather, usual)
    sd = yearly["away_c"].std()
    enough = yearly.height >= 5 and isinstance(sd, float)
    # A part-year has no year mean of its own: all such days share one.
    group = pl.when(pl.col("days") >= DAYS_FOR_OWN_CURVE).then("year").otherwise(0)
    centred = swings.with_columns((pl.col(c) - pl.col(c).mean().over(group)).alias(c) for c in ("tmin_c", "tmax_c"))
    every = pl.date_range(own["date"][0], own["date"][-1], interval="1d", eager=True).alias("date").to_frame()
    dense = every.join(centred, on="date", how="left", maintain_order="left").select("date", "tmin_c", "tmax_c")
    return dense, float(sd) if enough and isinstance(sd, float) else YEAR_EFFECT_SD_C


def _yearly_means(weather: pl.DataFrame, usual: GardenClimate) -> pl.DataFrame:
    """year, away_c: how far the days of each year that is logged nearly whole were from the usual, on average."""
    own = weather.select("date", "tmin_c", "tmax_c").drop_nulls().unique("date", keep="first").sort("date")
    index = _year_index(own["date"])
    away = (own["tmin_c"] - usual.tmin_c[index] + own["tmax_c"] - usual.tmax_c[index]) / 2
    yearly = pl.DataFrame({"year": own["date"].dt.year().cast(pl.Int64), "away_c": away}).group_by(
        "year", maintain_order=True
    )
    means = yearly.agg(pl.len().alias("days"), pl.col("away_c").mean())
    return means.filter(pl.col("days") >= DAYS_FOR_OWN_CURVE).select("year", "away_c").sort("year")


def _drawn_blocks(swings: pl.DataFrame, index: Ints, n_years: int, rng: np.random.Generator) -> Floats | None:
    """Blocks of logged days from about the same time of year; None where no unbroken block exists."""
    values = swings.select("tmin_c", "tmax_c").to_numpy()
    unbroken = np.isfinite(values).all(axis=1)
    runs = np.concatenate([[0], np.cumsum(unbroken)])
    starts = np.flatnonzero(runs[BLOCK_DAYS:] - runs[:-BLOCK_DAYS] == BLOCK_DAYS)
    if len(starts) == 0:
        return None
    middle = _year_index(swings["date"])[starts]
    drawn = np.empty((n_years, len(index), 2))
    for begin in range(0, len(index), BLOCK_DAYS):
        apart = np.abs(middle - index[begin])
        near = starts[np.minimum(apart, 365 - apart) <= WINDOW_DAYS]
        picked = rng.choice(near if len(near) else starts, n_years)
        length = min(BLOCK_DAYS, len(index) - begin)
        drawn[:, begin : begin + length] = values[picked[:, None] + np.arange(length)]
    return drawn


def _assumed_swings(n_years: int, n_days: int, rng: np.random.Generator) -> Floats:
    """Swings with a memory from day to day, and a night-to-day range that varies."""
    shocks = rng.normal(0.0, SWING_SD_C, (n_days, n_years))
    mean = np.empty_like(shocks)
    mean[0] = shocks[0]
    for day in range(1, n_days):
        mean[day] = SWING_MEMORY * mean[day - 1] + np.sqrt(1 - SWING_MEMORY**2) * shocks[day]
    half = rng.normal(0.0, RANGE_SD_C / 2, (n_years, n_days))
    return np.stack([mean.T - half, mean.T + half], axis=-1)
