"""The three importable forms of the thermal model, used with the bare columns they are promised to work with."""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl
import pytest

from pipeline.warmth.degree_days import degree_days
from pipeline.warmth.timing import fit_crop_timing, predict_first_pick

FIRST = dt.date(2022, 1, 1)
N_DAYS = 4 * 365 + 1
BASE = {"alpha": 4.0, "beta": 10.0, "gamma": 0.0}
PUBLISHED = {"alpha": 700.0, "beta": 450.0, "gamma": 1100.0}
# What this invented garden's varieties need: 12 % more, 10 % less, 8 % more.
TRUTH = {"alpha": 784.0, "beta": 405.0, "gamma": 1188.0}


def weather() -> pl.DataFrame:
    """Four invented years, about 2 C in January and 19 C in July, no two alike. Seed 7."""
    rng = np.random.default_rng(7)
    day = np.arange(N_DAYS)
    swing = np.convolve(rng.normal(0, 2.5, N_DAYS + 8), np.ones(9) / 3, mode="valid")
    year = np.repeat(rng.normal(0, 0.8, 5), 365)[:N_DAYS]
    mean = 10.5 - 8.5 * np.cos(2 * np.pi * (day - 15) / 365.25) + swing + year
    half = rng.uniform(3, 7, N_DAYS)
    dates = [FIRST + dt.timedelta(days=int(n)) for n in day]
    return pl.DataFrame({"date": dates, "tmin_c": mean - half, "tmax_c": mean + half})


def crops() -> pl.DataFrame:
    return pl.DataFrame(
        {
            "crop": list(BASE),
            "base_c": list(BASE.values()),
            "upper_c": [30.0, 30.0, None],
            "degree_days_to_first_pick": list(PUBLISHED.values()),
        }
    )


def simulated_starts(years: tuple[int, ...], noise: float, seed: int = 3) -> pl.DataFrame:
    """Sowings every 12 days from 20 April to the end of June, ripe when the true warmth has come together."""
    days, rng, rows = weather(), np.random.default_rng(seed), []
    dates = days["date"].to_list()
    for crop, need in TRUTH.items():
        warmth = degree_days(days["tmin_c"], days["tmax_c"], BASE[crop], 30.0 if crop != "gamma" else None)
        for year in years:
            for sowing in range(6):
                sown = dt.date(year, 4, 20) + dt.timedelta(days=12 * sowing)
                start = dates.index(sown)
                total = np.cumsum(warmth[start:])
                ready = int(np.searchsorted(total, need * np.exp(rng.normal(0, noise))))
                rows.append((f"{crop}-{year}-{sowing}", crop, sown, sown + dt.timedelta(days=ready)))
    schema = {"sowing_id": pl.String, "crop": pl.String, "clock_from": pl.Date, "first_pick_on": pl.Date}
    return pl.DataFrame(rows, schema=schema, orient="row")


@pytest.mark.parametrize(
    ("method", "by_hand"),
    [
        ("average", 7.0),  # (8 + 26) / 2 - 10
        ("clamped", 8.0),  # (10 + 26) / 2 - 10
    ],
)
def test_degree_days_by_hand(method: str, by_hand: float) -> None:
    assert float(degree_days(8.0, 26.0, 10.0, method=method)) == pytest.approx(by_hand)
    assert degree_days([8.0, 8.0], [26.0, 26.0], 10.0, 30.0, method).tolist() == pytest.approx([by_hand, by_hand])


def test_the_sine_is_the_default_and_lies_between_average_and_clamped_below_the_base() -> None:
    sine = float(degree_days(8.0, 26.0, 10.0))
    assert sine == float(degree_days(8.0, 26.0, 10.0, None, "sine"))
    assert 7.0 < sine < 8.0
    assert float(degree_days(12.0, 20.0, 10.0)) == pytest.approx(6.0)
    # Cut off level at 22 C: less than without, more than nothing.
    assert 0 < float(degree_days(8.0, 26.0, 10.0, 22.0)) < sine


def test_without_a_log_the_published_value_and_a_prediction_by_hand() -> None:
    flat = pl.DataFrame({"date": [FIRST + dt.timedelta(days=n) for n in range(200)]}).with_columns(
        tmin_c=pl.lit(14.0), tmax_c=pl.lit(14.0)
    )
    starts = simulated_starts((2022,), 0.0).clear()
    timing = fit_crop_timing(starts, flat, crops())
    assert dict(timing.select("crop", "degree_days_to_first_pick").iter_rows()) == pytest.approx(PUBLISHED)
    asked = pl.DataFrame(
        {"sowing_id": ["x"], "crop": ["alpha"], "clock_from": [dt.date(2022, 3, 1)], "first_pick_on": [None]},
        schema=starts.schema,
    )
    picks = predict_first_pick(timing, asked, flat)
    assert picks.columns == ["sowing_id", "first_pick_on", "low", "high"]
    # 700 C d at 10 C a day: 70 days.
    assert picks["first_pick_on"].to_list() == [dt.date(2022, 5, 10)]
    assert picks["low"][0] < picks["first_pick_on"][0] < picks["high"][0]


def test_the_garden_s_own_need_is_found_from_its_log() -> None:
    timing = fit_crop_timing(simulated_starts((2022, 2023), 0.06), weather(), crops())
    found = dict(timing.select("crop", "degree_days_to_first_pick").iter_rows())
    for crop, need in TRUTH.items():
        assert found[crop] == pytest.approx(need, rel=0.04)
        assert abs(found[crop] - need) < 0.4 * abs(PUBLISHED[crop] - need)


def test_predictions_for_a_year_never_seen_beat_counting_days() -> None:
    past, coming = simulated_starts((2022, 2023), 0.06), simulated_starts((2025,), 0.06, seed=8)
    timing = fit_crop_timing(past, weather(), crops())
    picks = predict_first_pick(timing, coming.drop("first_pick_on"), weather())
    assert picks["sowing_id"].to_list() == coming["sowing_id"].to_list()
    days = past.with_columns(days=(pl.col("first_pick_on") - pl.col("clock_from")).dt.total_days())
    mean_days = days.group_by("crop").agg(pl.col("days").mean())
    both = picks.join(coming, on="sowing_id", suffix="_true").join(mean_days, on="crop")
    both = both.with_columns(
        by_warmth=(pl.col("first_pick_on") - pl.col("first_pick_on_true")).dt.total_days().abs(),
        by_days=(pl.col("first_pick_on_true") - pl.col("clock_from")).dt.total_days() - pl.col("days"),
    )
    by_warmth, by_days = both["by_warmth"].mean(), both["by_days"].abs().mean()
    assert by_warmth < 5.0
    assert by_warmth < 0.6 * by_days
    inside = both.select(pl.col("first_pick_on_true").is_between("low", "high").mean()).item()
    assert 0.65 <= inside <= 1.0


def test_what_cannot_be_known_is_null_and_never_an_error() -> None:
    log = simulated_starts((2022,), 0.05)
    odd = pl.concat(
        [
            log,
            pl.DataFrame(
                [
                    ("no pick", "alpha", dt.date(2022, 5, 1), None),
                    ("picked before sown", "alpha", dt.date(2022, 5, 1), dt.date(2022, 4, 1)),
                    ("no such crop", "omega", dt.date(2022, 5, 1), dt.date(2022, 7, 1)),
                    ("before the weather", "alpha", dt.date(2020, 5, 1), dt.date(2020, 7, 1)),
                ],
                schema=log.schema,
                orient="row",
            ),
        ]
    )
    timing = fit_crop_timing(odd, weather(), crops())
    clean = fit_crop_timing(log, weather(), crops())
    assert timing["degree_days_to_first_pick"].to_list() == clean["degree_days_to_first_pick"].to_list()
    picks = predict_first_pick(timing, odd, weather())
    assert picks.height == odd.height
    known = dict(picks.select("sowing_id", "first_pick_on").iter_rows())
    assert known["no such crop"] is None
    assert known["before the weather"] is None
    assert known["no pick"] is not None
