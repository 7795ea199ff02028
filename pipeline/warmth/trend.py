"""Whether the logged years grow warmer, and what that makes of the year to plan."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import polars as pl

FEWEST_YEARS = 8
"""Fewer years say next to nothing of a trend: one warm year at the end makes one; judgement, no source."""
FURTHEST_YEARS = 10.0
"""A line is not drawn further than this beyond the middle of the log; judgement, no source."""


@dataclass(frozen=True)
class Warming:
    """Shift of the planned year against the mean of the logged ones, its standard error, and a sentence on it."""

    shift_c: float
    sd_c: float
    note: str


def warming(yearly: pl.DataFrame, planned: float) -> Warming:
    """The shift that a straight line through the logged years gives, shrunk by how sure it is.

    The slope is shrunk by 1 - (standard error / slope)^2, and to nothing where that is negative: the positive-part
    rule of James and Stein for one number. What is taken off is not lost: the slope's error stays in ``sd_c``.

    Args:
        yearly: year, away_c (mean distance from the usual year), years logged nearly whole.
        planned: middle of the planned year, in years.
    """
    n = yearly.height
    if n < FEWEST_YEARS:
        return Warming(
            0.0, 0.0, f"No trend is followed: {n} whole years of weather are logged, {FEWEST_YEARS} are needed."
        )
    year = yearly["year"].to_numpy().astype(np.float64) + 0.5
    away = yearly["away_c"].to_numpy()
    centred = year - year.mean()
    slope = float(centred @ away / (centred @ centred))
    left = away - away.mean() - slope * centred
    error = math.sqrt(float(left @ left) / (n - 2) / float(centred @ centred))
    kept = 0.0 if slope == 0.0 else max(0.0, 1.0 - (error / slope) ** 2)
    ahead = min(planned - float(year.mean()), FURTHEST_YEARS)
    shift, sd = kept * slope * ahead, error * ahead
    told = f"The {n} logged years changed by {10 * slope:+.1f} C in ten years (give or take {20 * error:.1f})"
    if kept == 0.0:
        return Warming(0.0, sd, f"{told}: no trend that could be followed.")
    return Warming(
        shift, sd, f"{told}: the planned year is taken {abs(shift):.1f} C {'warmer' if shift > 0 else 'cooler'}."
    )
