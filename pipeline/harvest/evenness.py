"""How unevenly a harvest came, and the same harvest come evenly.

A harvest window runs from the first to the last picking of a crop within one garden year.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.harvest.flow import Grams, Index

Weights = NDArray[np.float64] | NDArray[np.int64]


def peak_to_mean(weekly: Weights) -> float:
    """Best week over the mean week; NaN where nothing was picked."""
    return float(weekly.max() / weekly.mean()) if weekly.sum() > 0 else float("nan")


def weeks_without(weekly: Weights) -> int:
    """Weeks without a picking."""
    return int((weekly <= 0).sum())


def best_two_weeks_share(weekly: Weights) -> float:
    """Share of all weight that came in the two best weeks, next to each other or not; NaN for no weight."""
    return float(np.sort(weekly)[-2:].sum() / weekly.sum()) if weekly.sum() > 0 else float("nan")


def gini(weekly: Weights) -> float:
    """Gini coefficient of the weeks' weights: 0 when every week gives the same; NaN for no weight.

    ``2 * sum(i * x_i) / (n * sum(x)) - (n + 1) / n`` for x in rising order (textbook form, from memory). With
    n weeks it is at most (n - 1) / n.
    """
    n, total = weekly.size, weekly.sum()
    if total <= 0:
        return float("nan")
    return float(2 * (np.arange(1, n + 1) * np.sort(weekly)).sum() / (n * total) - (n + 1) / n)


def harvest_windows(picked_g: Grams, year_of_day: Index) -> NDArray[np.bool_]:
    """Days from first to last picking within each garden year.

    Args:
        picked_g: (crops, days), grams.
        year_of_day: (days,), a number per garden year.
    """
    inside = np.zeros(picked_g.shape, np.bool_)
    for year in np.unique(year_of_day):
        days = year_of_day == year
        began = np.maximum.accumulate(picked_g[:, days] > 0, axis=1)
        goes_on = np.maximum.accumulate(picked_g[:, days][:, ::-1] > 0, axis=1)[:, ::-1]
        inside[:, days] = began & goes_on
    return inside


def spread_by_year(amount_g: Grams, inside: NDArray[np.bool_], year_of_day: Index) -> NDArray[np.float64]:
    """Each garden year's total of each crop, spread evenly over its days ``inside``, grams a day.

    What was dated in a year without a day inside is left out.
    """
    spread = np.zeros(amount_g.shape)
    for year in np.unique(year_of_day):
        days = year_of_day == year
        places = inside[:, days].sum(axis=1)
        rate = amount_g[:, days].sum(axis=1) / np.maximum(places, 1)
        spread[:, days] = rate[:, None] * inside[:, days]
    return spread


def whole_grams(daily_g: NDArray[np.float64]) -> Grams:
    """Whole grams a day whose running total never strays by a gram from that of ``daily_g``."""
    running = np.floor(np.cumsum(daily_g, axis=1) + 1e-6).astype(np.int64)
    return np.diff(running, axis=1, prepend=0)
