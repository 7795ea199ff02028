"""Warmth and light of a day: degree-days, daylength, radiation above the air.

Sources: McMaster and Wilhelm 1997, Agric. For. Meteorol. 87:291-300 (average and clamped; abstract read);
Baskerville and Emin 1969, Ecology 50:514-517, with the upper threshold of Allen 1976, Environ. Entomol.
5:388-396 (sine; both from memory); Allen, Pereira, Raes and Smith 1998, FAO Irrigation and Drainage Paper 56
(daylength, radiation); Wurr, Fellows and Suckling 1988, J. Agric. Sci. (effective degree-days; abstract
read).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

METHODS = ("average", "clamped", "sine")
SOLAR_CONSTANT = 0.0820
"""MJ per m2 and minute; FAO 56, equation 21."""
SHARE_OF_LIGHT = 0.42
"""Share of the radiation above the air that reaches a bed; common practice, no source."""
LIGHT_F = 0.3
"""Light factor f of leaf and root crops; our computation from the 589 effective degree-days that Wurr et al.
1988 report for crisp lettuce, not a published value."""
WARM_BASE_C = 8.0
"""Crops with a higher base (beans, courgettes, sweetcorn) are not slowed by light; judgement, no source."""


def degree_days(
    tmin_c: ArrayLike, tmax_c: ArrayLike, base_c: float, upper_c: float | None = None, method: str = "sine"
) -> Floats:
    """Degree-days of each day, in C d.

    Args:
        tmin_c: lowest temperature of the day, any shape.
        tmax_c: highest temperature of the day, same shape.
        base_c: temperature below which there is no growth.
        upper_c: temperature above which more warmth does not help; None for no such limit.
        method: ``sine`` follows the temperature through the day and cuts it off level at ``upper_c``;
            ``average`` is the mean less the base, the mean held to ``upper_c``; ``clamped`` holds both ends
            of the day between base and ``upper_c`` first (the 86/50 rule of maize growers). A target fitted
            with one method must not be used with another.

    Returns:
        Array of the common shape; never negative; NaN where a temperature is NaN.

    Raises:
        ValueError: lowest above highest temperature, base at or above upper, or an unknown method.
    """
    low, high = np.broadcast_arrays(_floats(tmin_c), _floats(tmax_c))
    if np.any(low > high):
        message = "tmin_c is above tmax_c on some day; swap or drop those rows first"
        raise ValueError(message)
    upper = math.inf if upper_c is None else float(upper_c)
    if base_c >= upper:
        message = f"base_c {base_c:g} must lie below upper_c {upper:g}"
        raise ValueError(message)
    if method == "average":
        return _floats(np.maximum(0.0, np.minimum((low + high) / 2.0, upper) - base_c))
    if method == "clamped":
        return _floats((np.clip(low, base_c, upper) + np.clip(high, base_c, upper)) / 2.0 - base_c)
    if method == "sine":
        warmth = _mean_excess(low, high, base_c)
        return warmth if upper_c is None else warmth - _mean_excess(low, high, upper)
    message = f"unknown method {method!r}; known: {', '.join(METHODS)}"
    raise ValueError(message)


def _floats(values: ArrayLike) -> Floats:
    return np.asarray(values, dtype=np.float64)


def _mean_excess(low: Floats, high: Floats, threshold: float) -> Floats:
    """Daily mean of the excess of a sine between ``low`` and ``high`` over ``threshold``."""
    mean, half_range = (low + high) / 2.0, (high - low) / 2.0
    safe = np.where(half_range > 0.0, half_range, 1.0)
    angle = np.arcsin(np.clip((threshold - mean) / safe, -1.0, 1.0))
    straddling = ((mean - threshold) * (np.pi / 2.0 - angle) + half_range * np.cos(angle)) / np.pi
    outside = np.maximum(mean - threshold, 0.0)
    return np.where((low >= threshold) | (high <= threshold), outside, straddling)


def _sun(latitude: float, day_of_year: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Nearness of the sun, declination and sunset hour angle (radians); FAO 56, equations 23 to 25."""
    year_angle = 2.0 * np.pi * _floats(day_of_year) / 365.0
    nearness = 1.0 + 0.033 * np.cos(year_angle)
    declination = 0.409 * np.sin(year_angle - 1.39)
    # Clipped: inside the polar circles the sun may not set or not rise.
    cosine = np.clip(-np.tan(math.radians(latitude)) * np.tan(declination), -1.0, 1.0)
    return nearness, declination, np.arccos(cosine)


def daylength_hours(latitude: float, day_of_year: ArrayLike) -> Floats:
    """Hours from sunrise to sunset; ``latitude`` in degrees, south negative. FAO 56, equation 34."""
    return 24.0 / np.pi * _sun(latitude, day_of_year)[2]


def extraterrestrial_radiation(latitude: float, day_of_year: ArrayLike) -> Floats:
    """Radiation above the air, MJ per m2 and day. FAO 56, equation 21; less exact beyond 55 degrees."""
    nearness, declination, sunset = _sun(latitude, day_of_year)
    phi = math.radians(latitude)
    height = sunset * np.sin(phi) * np.sin(declination) + np.cos(phi) * np.cos(declination) * np.sin(sunset)
    return _floats(np.maximum(24.0 * 60.0 / np.pi * SOLAR_CONSTANT * nearness * height, 0.0))


def effective_degree_days(warmth: ArrayLike, radiation: ArrayLike, f: float) -> Floats:
    """Degree-days held back by little light: 1/EDD = 1/D + f/R (Wurr, Fellows and Suckling 1988).

    Args:
        warmth: degree-days D of each day, C d.
        radiation: radiation R that reaches the bed, MJ per m2 and day.
        f: light factor; 0 gives the plain degree-days back.

    Raises:
        ValueError: a negative ``f``.
    """
    if f < 0.0:
        message = f"light factor {f:g} is negative"
        raise ValueError(message)
    day, light = _floats(warmth), _floats(radiation)
    slowed = light + f * day
    return np.where(slowed > 0.0, day * light / np.where(slowed > 0.0, slowed, 1.0), 0.0)


def light_share(warmth: ArrayLike, latitude: float, day_of_year: ArrayLike, f: float = LIGHT_F) -> Floats:
    """What short days leave of the warmth, as a share of what the longest day of the year would leave.

    Published warmth targets are plain degree-days of spring and summer sowings. Scaling effective degree-days
    by their value in full summer light keeps those targets usable and slows only the dark end of the season.
    Values are at most 1.
    """
    day = _floats(warmth)
    light = SHARE_OF_LIGHT * extraterrestrial_radiation(latitude, day_of_year)
    summer = SHARE_OF_LIGHT * float(extraterrestrial_radiation(latitude, np.arange(1, 366)).max())
    now, best = effective_degree_days(day, light, f), effective_degree_days(day, summer, f)
    return np.where(best > 0.0, now / np.where(best > 0.0, best, 1.0), 1.0)


def growing_warmth(
    tmin_c: ArrayLike,
    tmax_c: ArrayLike,
    base_c: float,
    upper_c: float | None,
    day_of_year: ArrayLike,
    latitude: float | None,
) -> Floats:
    """Degree-days (sine) that a crop can use, C d; slowed by short days where the latitude is known.

    Crops with a base above 8 C are left as they are. An upper limit that is not above the base, as a grower's
    own values may have it, is left out.
    """
    limit = upper_c if upper_c is not None and upper_c > base_c else None
    warmth = degree_days(tmin_c, tmax_c, base_c, limit)
    if latitude is None or base_c > WARM_BASE_C:
        return warmth
    return warmth * light_share(warmth, latitude, day_of_year)
