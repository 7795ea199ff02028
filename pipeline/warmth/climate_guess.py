"""The climate of a garden without weather of its own, guessed from measured places, with the error of such a guess.

A plane through latitude and height, and what is left of the places around by their distance (kriging). The error is
found by leaving places out: each measured place is guessed without those that lie nearer to it than any lies to the
garden, so a garden far from all of them is told a larger error.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

Floats = NDArray[np.float64]

REACH_KM, UNEXPLAINED = 1500.0, 0.2
"""How far a place tells of another, and the share of its own; chosen by leaving each of the 134 places out: between
500 and 3000 km and 0.05 and 0.2 the error changes by less than a tenth."""
HIGHEST_LATITUDE = 55.0
EARTH_KM = 6371.0


@dataclass(frozen=True)
class GuessedClimate:
    """Monthly means as ``climate.csv`` has them, and how much they are worth."""

    months: pl.DataFrame
    """month, tmin_c, tmax_c, error_c."""
    error_c: float
    """How far a monthly mean may be off, one standard deviation over all months."""
    nearest_km: float | None
    """How far the nearest measured place is; None where the longitude is not known."""
    places: int


@dataclass(frozen=True)
class _Places:
    """Where places lie and their 24 monthly means, the months of southern ones moved by half a year."""

    latitude: Floats
    longitude: Floats
    height_m: Floats
    means: Floats


def guess_climate(
    places: pl.DataFrame, latitude: float, longitude: float | None = None, elevation_m: float | None = None
) -> GuessedClimate:
    """Guess the monthly means of a garden.

    Args:
        places: latitude, longitude, elevation_m and ``tmin_01`` to ``tmax_12`` of measured places.
        latitude: of the garden, degrees north.
        longitude: degrees east; without it only the latitude tells.
        elevation_m: height above the sea; without it the guess leaves height out.
    """
    known = _measured(places)
    apart = _apart_km(known.latitude, known.longitude)
    here = _apart_from(known, latitude, longitude)
    nearest = float(here.min())
    likeness = np.zeros_like(apart) if longitude is None else np.exp(-apart / REACH_KM)
    weights: Floats = np.asarray(np.linalg.inv(likeness + UNEXPLAINED * np.eye(places.height)), dtype=np.float64)
    with_height = elevation_m is not None
    trend = _trend(known.latitude, known.height_m, with_height=with_height)
    own = _trend(np.array([latitude]), np.array([elevation_m or 0.0]), with_height=with_height)[0]
    guess = _guess(known.means, trend, weights, own, np.exp(-here / REACH_KM))
    misses = _misses(known.means, trend, weights, (apart < nearest) & (longitude is not None))
    # Night and day of one month share its error.
    by_month = np.sqrt(np.mean(misses.reshape(-1, 2, 12) ** 2, axis=(0, 1)))
    if latitude < 0:
        guess, by_month = _half_a_year_on(guess[None, :])[0], np.roll(by_month, 6)
    months = pl.DataFrame(
        {
            "month": np.arange(1, 13),
            "tmin_c": np.round(np.minimum(guess[:12], guess[12:]), 1),
            "tmax_c": np.round(np.maximum(guess[:12], guess[12:]), 1),
            "error_c": np.round(by_month, 1),
        }
    )
    error = float(np.sqrt(np.mean(misses**2)))
    return GuessedClimate(months, error, None if longitude is None else nearest, places.height)


def _measured(places: pl.DataFrame) -> _Places:
    latitude = places["latitude"].to_numpy()
    names = [f"{side}_{month:02}" for side in ("tmin", "tmax") for month in range(1, 13)]
    means = places.select(names).to_numpy()
    means = np.where(latitude[:, None] < 0, _half_a_year_on(means), means)
    return _Places(latitude, places["longitude"].to_numpy(), places["elevation_m"].to_numpy(), means)


def _half_a_year_on(means: Floats) -> Floats:
    return np.roll(means.reshape(-1, 2, 12), 6, axis=2).reshape(-1, 24)


def _apart_from(places: _Places, latitude: float, longitude: float | None) -> Floats:
    if longitude is None:
        return np.full(len(places.latitude), np.inf)
    every = _apart_km(np.append(places.latitude, latitude), np.append(places.longitude, longitude))
    return every[-1, :-1]


def _apart_km(latitude: Floats, longitude: Floats) -> Floats:
    """Distances between all points along the ground."""
    lat, lon = np.radians(latitude), np.radians(longitude)
    half = np.sin((lat[:, None] - lat) / 2) ** 2
    half = half + np.cos(lat[:, None]) * np.cos(lat) * np.sin((lon[:, None] - lon) / 2) ** 2
    return np.asarray(2 * EARTH_KM * np.arcsin(np.sqrt(np.clip(half, 0.0, 1.0))))


def _trend(latitude: Floats, height_m: Floats, *, with_height: bool) -> Floats:
    away = np.minimum(np.abs(latitude), HIGHEST_LATITUDE) / 45.0  # beyond the last place the curve is nobody's
    columns = [np.ones_like(away), away, away**2]
    return np.stack([*columns, np.maximum(height_m, 0.0) / 1000.0] if with_height else columns, axis=1)


def _guess(means: Floats, trend: Floats, weights: Floats, own: Floats, likeness: Floats) -> Floats:
    """The best linear guess at a point with such trend columns and likeness to each place."""
    slopes = np.linalg.solve(trend.T @ weights @ trend, trend.T @ weights @ means)
    return np.asarray(own @ slopes + likeness @ weights @ (means - trend @ slopes))


def _misses(means: Floats, trend: Floats, weights: Floats, near: NDArray[np.bool_]) -> Floats:
    """How far the guess at each place is off that leaves out the place and those ``near`` it.

    What a guess without some places misses them by follows from the weights of all; nothing is fitted again.
    """
    onto = weights @ trend
    rest = weights - onto @ np.linalg.solve(trend.T @ onto, onto.T)
    left = rest @ means
    misses = np.empty_like(means)
    for place in range(len(means)):
        out = np.flatnonzero(near[place] | (np.arange(len(means)) == place))
        misses[place] = np.linalg.solve(rest[np.ix_(out, out)], left[out])[out == place][0]
    return misses
