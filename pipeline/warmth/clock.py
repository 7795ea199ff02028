"""A clock that runs on warmth: how much came together between two days, and on which day enough has come."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.warmth.degree_days import growing_warmth

Floats = NDArray[np.float64]
EPOCH = dt.date(1970, 1, 1)


def day_number(day: dt.date) -> int:
    """Days since 1970."""
    return (day - EPOCH).days


def calendar_day(number: int) -> dt.date:
    """The day with this number."""
    return EPOCH + dt.timedelta(days=number)


@dataclass(frozen=True)
class WarmthClock:
    """Running sums since the first day of the weather, for one crop; days are counted from 1970.

    ``total`` is warmth in C d before each day, ``missing`` the count of days without weather before it.
    """

    first: int
    total: Floats
    missing: Floats

    def between(self, start: int, end: float) -> float:
        """Warmth from ``start`` up to, but without, ``end``; NaN where a day has no weather."""
        a, b = start - self.first, end - self.first
        if a < 0 or b < a or b > len(self.total) - 1:
            return math.nan
        whole, part = int(b), b - int(b)
        end_day = min(whole + 1, len(self.total) - 1)
        if self.missing[end_day if part else whole] > self.missing[a]:
            return math.nan
        reached = self.total[whole] + part * (self.total[end_day] - self.total[whole])
        return float(reached - self.total[a])

    def day_of(self, start: int, wanted: float) -> int | None:
        """First day before which ``wanted`` has come together since ``start``; None beyond the weather."""
        a = start - self.first
        if a < 0 or a >= len(self.total):
            return None
        # A hair of tolerance: a sum of floats must not miss its own target by rounding.
        b = int(np.searchsorted(self.total, self.total[a] + wanted - 1e-9))
        if b >= len(self.total) or self.missing[b] > self.missing[a]:
            return None
        return self.first + b


def warmth_clock(
    weather: pl.DataFrame, base_c: float | None, upper_c: float | None, latitude: float | None
) -> WarmthClock:
    """The clock of a crop in this weather (date, tmin_c, tmax_c; days may be missing)."""
    known = weather.select("date", "tmin_c", "tmax_c").drop_nulls().unique("date", keep="first").sort("date")
    if known.is_empty() or base_c is None:
        return WarmthClock(0, np.zeros(0), np.zeros(0))
    daily = growing_warmth(known["tmin_c"], known["tmax_c"], base_c, upper_c, known["date"].dt.ordinal_day(), latitude)
    number = known["date"].cast(pl.Int32).to_numpy().astype(np.int64)
    first, length = int(number[0]), int(number[-1] - number[0]) + 1
    warmth, missing = np.zeros(length + 1), np.ones(length + 1)
    warmth[number - first + 1], missing[number - first + 1] = daily, 0.0
    missing[0] = 0.0
    return WarmthClock(first, np.cumsum(warmth), np.cumsum(missing))
