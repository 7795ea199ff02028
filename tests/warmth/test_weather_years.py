"""Daily climate, filled gaps and made-up years."""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl
import pytest
from numpy.testing import assert_allclose

from pipeline.warmth.degree_days import degree_days
from pipeline.warmth.weather_years import (
    WEATHER_SCHEMA,
    daily_climate,
    default_climate,
    fill_weather,
    garden_climate,
    weather_years,
)

# Invented normals of a cool oceanic place.
NORMALS = pl.DataFrame(
    {
        "month": range(1, 13),
        "tmin_c": [1.0, 1.5, 2.5, 4.0, 7.0, 10.0, 12.0, 12.0, 9.5, 6.5, 3.5, 1.5],
        "tmax_c": [6.0, 8.0, 11.0, 14.0, 18.0, 21.0, 24.0, 24.0, 20.0, 15.0, 9.0, 6.0],
    }
)
NO_WEATHER = pl.DataFrame(schema=WEATHER_SCHEMA)


def days(first: dt.date, last: dt.date) -> pl.Series:
    return pl.date_range(first, last, interval="1d", eager=True)


@pytest.fixture(scope="module")
def seattle() -> pl.DataFrame:
    # NOAA daily weather 2012-2015, public domain, as packaged in vega_datasets.
    from vega_datasets import data

    frame = data.seattle_weather()
    return pl.DataFrame(
        {
            "date": frame["date"].dt.date.tolist(),
            "tmin_c": frame["temp_min"].to_numpy(),
            "tmax_c": frame["temp_max"].to_numpy(),
        },
        schema=WEATHER_SCHEMA,
    )


def test_daily_curve_keeps_every_monthly_mean() -> None:
    curve = daily_climate(NORMALS, days(dt.date(2025, 1, 1), dt.date(2025, 12, 31)))
    means = curve.group_by(pl.col("date").dt.month().alias("month"), maintain_order=True).agg(
        pl.col("tmin_c").mean(), pl.col("tmax_c").mean()
    )
    assert_allclose(means["tmin_c"], NORMALS["tmin_c"], atol=1e-6)
    assert_allclose(means["tmax_c"], NORMALS["tmax_c"], atol=1e-6)


def test_daily_curve_has_no_steps_and_joins_up_at_new_year() -> None:
    curve = daily_climate(NORMALS, days(dt.date(2024, 12, 1), dt.date(2026, 1, 31)))
    assert curve["tmax_c"].diff().abs().max() < 0.25
    assert (curve["tmin_c"] <= curve["tmax_c"]).all()


def test_leap_day_is_as_the_day_before() -> None:
    curve = daily_climate(NORMALS, days(dt.date(2024, 2, 28), dt.date(2024, 3, 1)))
    assert curve["tmin_c"][0] == curve["tmin_c"][1]
    assert daily_climate(NORMALS, days(dt.date(2025, 3, 1), dt.date(2025, 3, 1)))["tmin_c"][0] == curve["tmin_c"][2]


def test_missing_months_are_bridged_and_one_month_is_flat() -> None:
    year = days(dt.date(2025, 1, 1), dt.date(2025, 12, 31))
    bridged = daily_climate(NORMALS.filter(pl.col("month") != 6), year)
    june = bridged.filter(pl.col("date").dt.month() == 6)["tmax_c"].mean()
    assert june == pytest.approx(21.0, abs=1.0)
    assert_allclose(daily_climate(NORMALS.filter(pl.col("month") == 6), year)["tmin_c"], 10.0, atol=1e-6)
    with pytest.raises(ValueError, match="the climate has no month with both temperatures"):
        daily_climate(NORMALS.clear(), year)


def test_gaps_are_filled_and_counted() -> None:
    weather = pl.DataFrame(
        {"date": [dt.date(2025, 5, 1), dt.date(2025, 5, 3)], "tmin_c": [5.0, 6.0], "tmax_c": [15.0, 16.0]}
    )
    filled = fill_weather(weather, NORMALS, dt.date(2025, 5, 1), dt.date(2025, 5, 4))
    assert filled["filled"].to_list() == [False, True, False, True]
    assert filled["tmin_c"][0] == 5.0
    assert filled["tmax_c"][2] == 16.0
    usual = daily_climate(NORMALS, days(dt.date(2025, 5, 2), dt.date(2025, 5, 2)))
    assert filled["tmax_c"][1] == pytest.approx(usual["tmax_c"][0], abs=0.1)


def test_own_weather_moves_the_normals_as_far_as_it_is_long() -> None:
    def moved_by(n_days: int) -> float:
        dates = days(dt.date(2023, 1, 1), dt.date(2023, 1, 1) + dt.timedelta(days=n_days - 1))
        warmer = daily_climate(NORMALS, dates).with_columns(pl.col("tmin_c") + 2, pl.col("tmax_c") + 2)
        base = garden_climate(NO_WEATHER, NORMALS, 45).tmax_c
        return float(np.mean(garden_climate(warmer, NORMALS, 45).tmax_c - base))

    # One year against a year-to-year spread of 0.8 C and a garden spread of 1 C: 2 x 1 / 1.64.
    assert moved_by(365) == pytest.approx(2 / 1.64, abs=1e-6)
    assert moved_by(30) < 0.3 < moved_by(365) < moved_by(1460)


def test_nothing_known_gives_an_assumed_climate_and_says_so() -> None:
    rng = np.random.default_rng(1)
    north = weather_years(NO_WEATHER, None, 52.0, dt.date(2026, 1, 1), 460, 3, rng)
    assert north.notes[0] == "No weather or climate log: dates come from an assumed climate for your latitude."
    unknown = garden_climate(NO_WEATHER, None, None)
    assert "for latitude 45 north, since none is set" in unknown.notes[0]
    south = garden_climate(NO_WEATHER, None, -40.0)
    assert int(south.tmax_c.argmax()) in range(10, 30)
    assert int(unknown.tmax_c.argmax()) in range(190, 212)
    assert default_climate(0)["tmax_c"].to_list() == [32.0] * 12


def test_years_are_made_again_from_the_same_seed(seattle: pl.DataFrame) -> None:
    first, second = (
        weather_years(seattle, NORMALS, 47.6, dt.date(2026, 1, 1), 462, 4, np.random.default_rng(7)) for _ in range(2)
    )
    assert first.tmin_c.shape == (4, 462)
    assert np.array_equal(first.tmax_c, second.tmax_c)
    assert (first.tmin_c <= first.tmax_c).all()
    assert first.notes == ()


def test_made_up_seasons_differ_as_much_as_real_ones(seattle: pl.DataFrame) -> None:
    def season_warmth(low: np.ndarray, high: np.ndarray) -> np.ndarray:
        return degree_days(low, high, 4.0)[..., :240].sum(axis=-1)

    made = weather_years(seattle, None, 47.6, dt.date(2026, 1, 1), 365, 400, np.random.default_rng(3))
    warmth = season_warmth(made.tmin_c, made.tmax_c)
    real = [
        season_warmth(year["tmin_c"].to_numpy(), year["tmax_c"].to_numpy())
        for number in (2012, 2013, 2014, 2015)
        for year in [seattle.filter(pl.col("date").dt.year() == number)]
    ]
    # Blocks of days alone, without a year effect, give a spread of only a quarter of the real one.
    assert 0.6 < warmth.std() / np.std(real, ddof=1) < 1.1
    assert warmth.mean() == pytest.approx(np.mean(real), rel=0.03)


def test_five_years_of_log_give_their_own_year_effect() -> None:
    dates = days(dt.date(2017, 1, 1), dt.date(2024, 12, 31))
    by_year = {2017: -3.0, 2018: 3.0, 2019: -3.0, 2020: 3.0, 2021: -3.0, 2022: 3.0, 2023: -3.0, 2024: 3.0}
    offset = dates.dt.year().replace_strict(by_year)
    weather = daily_climate(NORMALS, dates).with_columns(pl.col("tmin_c") + offset, pl.col("tmax_c") + offset)
    made = weather_years(weather, NORMALS, 45, dt.date(2026, 1, 1), 365, 300, np.random.default_rng(5))
    assert made.tmax_c.mean(axis=1).std() == pytest.approx(3.0, rel=0.15)


def test_a_summer_log_still_gives_a_whole_year(seattle: pl.DataFrame) -> None:
    summer = seattle.filter(pl.col("date").is_between(dt.date(2015, 4, 1), dt.date(2015, 9, 30)))
    made = weather_years(summer, NORMALS, 47.6, dt.date(2026, 1, 1), 460, 5, np.random.default_rng(2))
    assert np.isfinite(made.tmin_c).all()
    sparse = seattle.gather_every(5)
    made = weather_years(sparse, NORMALS, 47.6, dt.date(2026, 1, 1), 460, 5, np.random.default_rng(2))
    assert "the swings are assumed" in made.notes[0]


def test_a_southern_season_crosses_new_year() -> None:
    normals = NORMALS.with_columns(((pl.col("month") + 5) % 12 + 1).alias("month"))
    made = weather_years(NO_WEATHER, normals, -42, dt.date(2026, 7, 1), 462, 30, np.random.default_rng(2))
    mean = made.tmax_c.mean(axis=0)
    assert 180 < int(mean[:365].argmax()) < 250
    assert made.first_day == dt.date(2026, 7, 1)
