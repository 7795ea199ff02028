"""Degree-days, daylength and radiation against published examples and known truths."""

from __future__ import annotations

import math

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from pipeline.warmth.degree_days import (
    daylength_hours,
    degree_days,
    effective_degree_days,
    extraterrestrial_radiation,
    growing_warmth,
    light_share,
)

# tmin, tmax, lower, upper, average (lower only), clamped (lower only), clamped, sine (lower only), sine
# Computed: closed forms that agree to three decimals with 200 000 steps of numerical integration of the sine;
# the methods are those of McMaster & Wilhelm 1997 and Baskerville & Emin 1969.
VECTORS = [
    (12, 28, 10, 30, 10.0, 10.0, 10.0, 10.0, 10.0),
    (5, 15, 10, 30, 0.0, 2.5, 2.5, 5 / math.pi, 5 / math.pi),
    (2, 8, 10, 30, 0.0, 0.0, 0.0, 0.0, 0.0),
    (8, 20, 10, 30, 4.0, 5.0, 5.0, 4.3526, 4.3526),
    (4, 24, 10, 30, 4.0, 7.0, 7.0, 5.4413, 5.4413),
    (18, 36, 10, 30, 17.0, 17.0, 14.0, 17.0, 15.4745),
    (5, 35, 10, 30, 10.0, 12.5, 10.0, 10.8816, 10.0),
    (31, 38, 10, 30, 24.5, 24.5, 20.0, 24.5, 20.0),
    (0, 20, 10, 30, 0.0, 5.0, 5.0, 10 / math.pi, 10 / math.pi),
    (-2, 6, 0, 30, 2.0, 3.0, 3.0, 2.4360, 2.4360),
    (3, 13, 4.4, 29.4, 3.6, 4.3, 4.3, 3.8256, 3.8256),
    (-3, 5, 4.4, 29.4, 0.0, 0.3, 0.3, 0.0703, 0.0703),
    (15, 15, 10, 30, 5.0, 5.0, 5.0, 5.0, 5.0),
]


@pytest.mark.parametrize("row", VECTORS)
def test_each_method_gives_its_known_value(row: tuple[float, ...]) -> None:
    tmin, tmax, base, upper, average, clamped, clamped_upper, sine, sine_upper = row
    assert_allclose(degree_days(tmin, tmax, base, method="average"), average, atol=1e-9)
    assert_allclose(degree_days(tmin, tmax, base, method="clamped"), clamped, atol=1e-9)
    assert_allclose(degree_days(tmin, tmax, base, upper, method="clamped"), clamped_upper, atol=1e-9)
    assert_allclose(degree_days(tmin, tmax, base), sine, atol=5e-5)
    assert_allclose(degree_days(tmin, tmax, base, upper), sine_upper, atol=5e-5)


@pytest.mark.parametrize("row", VECTORS)
def test_sine_agrees_with_integration_through_the_day(row: tuple[float, ...]) -> None:
    tmin, tmax, base, upper = row[:4]
    clock = (np.arange(100_000) + 0.5) / 100_000 * 2 * math.pi
    temperature = (tmin + tmax) / 2 + (tmax - tmin) / 2 * np.sin(clock)
    truth = np.mean(np.clip(temperature, base, upper) - base)
    assert_allclose(degree_days(tmin, tmax, base, upper), truth, atol=1e-6)


def test_published_maize_example_in_fahrenheit() -> None:
    # Corn growing-degree-day column, Waushara County (Wisconsin) newspaper, 25 April 2018: 50/86 F.
    days = degree_days([65, 46, 42], [90, 72, 63], 50, 86, method="clamped")
    assert days.tolist() == [25.5, 11.0, 6.5]
    assert days.sum() == 43.0


def test_published_simple_average_examples() -> None:
    # UC Integrated Pest Management degree-day page: a mean of 64 F over a threshold of 53 F gives 11.
    assert degree_days(64, 64, 53, method="average") == 11
    # University of Nebraska CropWatch, 21 August 2009: 90/60 F gives 22.5 (cap 85 F), 75/50 F 12.5.
    assert degree_days(60, 90, 50, 85, method="clamped") == 22.5
    assert degree_days(50, 75, 50, 85, method="clamped") == 12.5


temperatures = st.floats(-30, 45)


@settings(derandomize=True, deadline=None)
@given(temperatures, st.floats(0, 25), st.floats(-5, 15), st.floats(1, 30), st.floats(-10, 10))
def test_order_bounds_shift_and_fahrenheit(tmin: float, span: float, base: float, gap: float, shift: float) -> None:
    tmax, upper = tmin + span, base + gap
    sine = degree_days(tmin, tmax, base)
    assert degree_days(tmin, tmax, base, method="average") <= sine + 1e-9
    assert sine <= degree_days(tmin, tmax, base, method="clamped") + 1e-9
    level = degree_days(tmin, tmax, base, upper)
    assert -1e-9 <= level <= gap + 1e-9
    assert_allclose(degree_days(tmin + shift, tmax + shift, base + shift, upper + shift), level, atol=1e-6)
    fahrenheit = [value * 1.8 + 32 for value in (tmin, tmax, base, upper)]
    assert_allclose(degree_days(*fahrenheit), 1.8 * level, atol=1e-6)


@settings(derandomize=True, deadline=None)
@given(st.floats(10, 20), st.floats(0, 10))
def test_methods_agree_while_the_whole_day_is_between_the_thresholds(tmin: float, span: float) -> None:
    values = [degree_days(tmin, tmin + span, 10, 30, method=m) for m in ("average", "clamped", "sine")]
    assert_allclose(values, tmin + span / 2 - 10, atol=1e-9)


def test_series_arrays_and_gaps() -> None:
    frame = pl.DataFrame({"tmin_c": [12.0, None], "tmax_c": [28.0, 20.0]})
    values = degree_days(frame["tmin_c"], frame["tmax_c"], 10, 30)
    assert values[0] == 10.0
    assert np.isnan(values[1])
    assert degree_days([], [], 10).shape == (0,)


def test_wrong_input_is_refused_in_words() -> None:
    with pytest.raises(ValueError, match="tmin_c is above tmax_c on some day; swap or drop those rows first"):
        degree_days([1, 9], [5, 5], 4)
    with pytest.raises(ValueError, match="base_c 10 must lie below upper_c 10"):
        degree_days(1, 5, 10, 10)
    with pytest.raises(ValueError, match="unknown method 'cosine'; known: average, clamped, sine"):
        degree_days(1, 5, 4, method="cosine")
    with pytest.raises(ValueError, match="light factor -1 is negative"):
        effective_degree_days(5, 10, -1)


def test_sine_is_nearest_to_hourly_truth() -> None:
    # Hourly normals of Seattle 2010, NOAA, public domain, as packaged in vega_datasets.
    from vega_datasets import data

    hourly = data.seattle_temps()
    celsius = (hourly["temp"].to_numpy()[: 364 * 24].reshape(364, 24) - 32) / 1.8
    base = 10.0
    truth = np.maximum(celsius - base, 0).mean(axis=1)
    low, high = celsius.min(axis=1), celsius.max(axis=1)
    error = {
        method: math.sqrt(np.mean((degree_days(low, high, base, method=method) - truth) ** 2))
        for method in ("average", "clamped", "sine")
    }
    assert error["sine"] < error["average"] < error["clamped"]
    assert error["sine"] < 0.4


def test_fao_56_worked_examples() -> None:
    # Allen et al. 1998, examples 8 and 9: 3 September (day 246) at 20 degrees south.
    assert round(float(extraterrestrial_radiation(-20, 246)), 1) == 32.2
    assert round(float(daylength_hours(-20, 246)), 1) == 11.7


def test_daylength_turns_round_between_the_hemispheres() -> None:
    assert daylength_hours(0, 100) == pytest.approx(12)
    assert daylength_hours(50, 172) == pytest.approx(24 - daylength_hours(-50, 172))
    assert daylength_hours(70, [172, 355]).tolist() == [24.0, 0.0]
    assert extraterrestrial_radiation(70, 355) == 0.0


def test_effective_degree_days_by_hand() -> None:
    # 1/EDD = 1/12 + 0.3/18 = 0.1, so 10.
    assert effective_degree_days(12, 18, 0.3) == pytest.approx(10)
    assert effective_degree_days([0, 5], [0, 0], 0.3).tolist() == [0.0, 0.0]
    assert effective_degree_days(7, 3, 0) == 7.0


def test_light_slows_autumn_but_hardly_spring_and_summer() -> None:
    june, late_april, october = light_share([13, 8, 8], 47, [172, 115, 288])
    assert june == pytest.approx(1.0, abs=1e-3)
    assert late_april > 0.95
    assert october < 0.9
    assert light_share(13, -47, 355) == pytest.approx(1.0, abs=1e-2)


def test_warm_crops_and_unknown_latitude_keep_plain_degree_days() -> None:
    plain = degree_days(5, 15, 4, 30)
    assert growing_warmth(5, 15, 4, 30, 288, None) == plain
    assert growing_warmth(5, 15, 4, 4, 288, None) == degree_days(5, 15, 4)
    assert growing_warmth(5, 15, 4, 30, 288, 47) < plain
    assert growing_warmth(8, 20, 10, 30, 288, 47) == degree_days(8, 20, 10, 30)
