"""Weather made by our own generator, and the warmth that crops draw from it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sample_data.scenario import Climate

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Weather:
    """Lowest and highest temperature of each day from ``first`` on, C."""

    first: dt.date
    tmin_c: Floats
    tmax_c: Floats

    def index(self, day: dt.date) -> int:
        """Place of ``day`` in the arrays."""
        return (day - self.first).days

    def day(self, index: int) -> dt.date:
        """The day at ``index``."""
        return self.first + dt.timedelta(days=index)


def _normal(climate: Climate, day_of_year: Floats) -> tuple[Floats, Floats]:
    """Mean and range of an ordinary day, C."""
    wave = -np.cos(2 * np.pi * (day_of_year - climate.coldest_day_of_year) / 365.25)
    return (
        climate.mean_c + climate.amplitude_c * wave,
        climate.daily_range_c + climate.range_amplitude_c * wave,
    )


def make_weather(climate: Climate, first: dt.date, last: dt.date, rng: np.random.Generator) -> Weather:
    """Daily temperatures from ``first`` to ``last``, both included, to a tenth of a degree."""
    days = [first + dt.timedelta(days=n) for n in range((last - first).days + 1)]
    mean, spread = _normal(climate, np.array([day.timetuple().tm_yday for day in days], dtype=float))
    shift = {year: rng.normal(0, climate.year_sd_c) for year in range(first.year, last.year + 1)}
    shocks = rng.normal(0, climate.anomaly_sd_c * np.sqrt(1 - climate.persistence**2), len(days))
    anomaly = np.zeros(len(days))
    anomaly[0] = rng.normal(0, climate.anomaly_sd_c)
    for n in range(1, len(days)):
        anomaly[n] = climate.persistence * anomaly[n - 1] + shocks[n]
    middle = mean + anomaly + np.array([shift[day.year] for day in days])
    half = np.maximum(spread + rng.normal(0, 2.2, len(days)), 1.5) / 2
    return Weather(first, np.round(middle - half, 1), np.round(middle + half, 1))


def monthly_normals(climate: Climate) -> list[tuple[int, float, float]]:
    """Month, mean daily lowest and mean daily highest, C, of the wave without chance."""
    days = [dt.date(2025, 1, 1) + dt.timedelta(days=n) for n in range(365)]
    mean, spread = _normal(climate, np.arange(1, 366, dtype=float))
    rows = []
    for month in range(1, 13):
        here = np.array([day.month == month for day in days])
        low, high = np.mean((mean - spread / 2)[here]), np.mean((mean + spread / 2)[here])
        rows.append((month, round(float(low), 1), round(float(high), 1)))
    return rows


def _excess(tmin: Floats, tmax: Floats, threshold: float) -> Floats:
    """Mean of the part of a sine day above ``threshold``, C."""
    middle, half = (tmax + tmin) / 2, (tmax - tmin) / 2
    ratio = np.clip((threshold - middle) / half, -1.0, 1.0)
    angle = np.arcsin(ratio)
    part = ((middle - threshold) * (np.pi / 2 - angle) + half * np.cos(angle)) / np.pi
    return np.where(tmax <= threshold, 0.0, np.where(tmin >= threshold, middle - threshold, part))


def degree_days(weather: Weather, base_c: float, upper_c: float) -> Floats:
    """Degree days of each day, C d: single sine, warmth above ``upper_c`` cut off.

    Baskerville & Emin 1969, Ecology 50:514-517, with the upper threshold of Allen 1976, Environmental
    Entomology 5:388-396 (both from memory).
    """
    return _excess(weather.tmin_c, weather.tmax_c, base_c) - _excess(weather.tmin_c, weather.tmax_c, upper_c)
