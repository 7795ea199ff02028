"""Whether years grow warmer: invented yearly means with and without a trend."""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl
import pytest

from pipeline.warmth.trend import warming
from pipeline.warmth.weather_years import WEATHER_SCHEMA, weather_years


def yearly(*away: float, first: int = 2010) -> pl.DataFrame:
    return pl.DataFrame({"year": list(range(first, first + len(away))), "away_c": list(away)})


def test_a_straight_rise_is_followed_to_the_planned_year() -> None:
    # 0.1 C a year exactly, 2010 to 2019, middle 2015: eleven and a half years on is held to ten.
    found = warming(yearly(*(0.1 * k for k in range(10))), 2020.0)
    assert found.shift_c == pytest.approx(0.5)
    assert found.sd_c == pytest.approx(0.0, abs=1e-9)
    assert found.note == (
        "The 10 logged years changed by +1.0 C in ten years (give or take 0.0): the planned year is taken 0.5 C warmer."
    )
    assert warming(yearly(*(0.1 * k for k in range(10))), 2040.0).shift_c == pytest.approx(1.0)


def test_the_error_of_the_slope_by_hand() -> None:
    # Zigzag of 1 C about a flat line, eight years: slope 4/42 of what it would be; error larger than slope.
    found = warming(yearly(0, 1, 0, 1, 0, 1, 0, 1), 2018.5)
    year = np.arange(8) - 3.5
    slope = float(year @ [0, 1, 0, 1, 0, 1, 0, 1]) / 42
    left = np.array([0, 1, 0, 1, 0, 1, 0, 1]) - 0.5 - slope * year
    assert found.shift_c == 0.0
    assert found.sd_c == pytest.approx(np.sqrt(left @ left / 6 / 42) * 4.5)
    assert "no trend that could be followed" in found.note


def test_few_years_tell_no_trend() -> None:
    found = warming(yearly(0.0, 1.0, 2.0), 2026.0)
    assert (found.shift_c, found.sd_c) == (0.0, 0.0)
    assert found.note == "No trend is followed: 3 whole years of weather are logged, 8 are needed."


def test_noise_alone_moves_little_and_a_trend_most_of_its_way() -> None:
    rng = np.random.default_rng(5)
    noise = rng.normal(0.0, 0.5, (400, 20))
    flat = [warming(yearly(*row, first=2005), 2026.0).shift_c for row in noise]
    rising = [warming(yearly(*(row + 0.05 * np.arange(20)), first=2005), 2026.0).shift_c for row in noise]
    # The plain line's error would be 0.19 C x 10 years ahead of the middle.
    assert abs(float(np.mean(flat))) < 0.03
    assert float(np.sqrt(np.mean(np.square(flat)))) < 0.19
    assert float(np.mean(rising)) == pytest.approx(0.5, abs=0.1)


def test_made_up_years_are_moved_only_when_asked() -> None:
    days = pl.date_range(dt.date(2014, 1, 1), dt.date(2025, 12, 31), eager=True)
    year = days.dt.year().to_numpy() - 2014
    weather = pl.DataFrame(
        {"date": days, "tmin_c": 5.0 + 0.1 * year, "tmax_c": 15.0 + 0.1 * year}, schema=WEATHER_SCHEMA
    )
    given = weather, None, 50.0, dt.date(2026, 1, 1), 365, 200
    plain = weather_years(*given, np.random.default_rng(1))
    moved = weather_years(*given, np.random.default_rng(1), follow_trend=True)
    # Middle of the log 2020, planned year 2026: six and a half years of 0.1 C.
    assert moved.tmin_c.mean() - plain.tmin_c.mean() == pytest.approx(0.65, abs=0.02)
    assert not any("logged years" in note for note in plain.notes)
    assert any("0.6 C warmer" in note or "0.7 C warmer" in note for note in moved.notes)
