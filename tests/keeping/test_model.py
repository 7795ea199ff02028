"""The model of what keeps: its likelihood by quadrature, its answers on invented households of known truth."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from benchmarks.households import YEAR, Truth, hazard_12m, simulate
from scipy import integrate, stats

from pipeline.keeping import estimate_keeping
from pipeline.keeping.curves import seen_keeping
from pipeline.keeping.design import design_of
from pipeline.keeping.estimates import fit_keeping
from pipeline.keeping.model import batch_log_likelihood, fit
from pipeline.keeping.predict import lost_counts, lost_in_batches
from pipeline.keeping.risk import follow


@pytest.mark.parametrize("spoiled", [0, 1, 5])
@pytest.mark.parametrize("theta", [0.05, 1.0, 3.0])
def test_a_batch_counts_as_if_its_shared_factor_were_integrated_by_quadrature(spoiled: int, theta: float) -> None:
    eta, exposure = -1.3, 4.2
    shared = stats.gamma(1 / theta, scale=theta)

    def given(factor: float) -> float:
        rate = factor * np.exp(eta)
        return float(rate**spoiled * np.exp(-rate * exposure) * shared.pdf(factor))

    by_quadrature = sum(
        integrate.quad(given, low, high, limit=500)[0] for low, high in ((0, 1e-3), (1e-3, 1), (1, 10), (10, 200))
    )
    closed = batch_log_likelihood(
        np.array([float(spoiled)]), np.array([eta]), np.array([np.log(exposure)]), np.array([theta])
    )
    assert closed[0] == pytest.approx(np.log(by_quadrature), abs=1e-5)


def household(batches: int, year_sd: float, seed: int, methods: int = 1) -> pl.DataFrame:
    """Histories of one household whose years differ; every batch of method ``m0`` loses 15 % in a usual year."""
    rng = np.random.default_rng(seed)
    before = rng.bit_generator.state
    made = rng.integers(0, int(1095 * 30 / 36), batches)
    rng.bit_generator.state = before
    factor = np.exp(year_sd * np.random.default_rng([seed, 1]).standard_normal(3))[np.minimum(made // 366, 2)]
    histories = simulate(Truth(0.15, 1.0), np.zeros(batches, dtype=np.int64), factor, rng)
    return histories.with_columns(method=pl.format("m{}", pl.col("batch") % methods))


def test_where_years_differ_the_interval_covers_what_a_usual_year_keeps() -> None:
    covered = seen = 0
    for seed in range(40):
        row = estimate_keeping(household(40, 0.4, seed), ["method"], YEAR).row(0, named=True)
        covered += row["kept_low"] <= 0.85 <= row["kept_high"]
        picture = seen_keeping(follow(household(40, 0.4, seed), ["method"]), YEAR).row(0, named=True)
        seen += picture["kept_low"] <= 0.85 <= picture["kept_high"]
    assert covered >= 37
    assert seen < covered


def test_many_batches_say_what_kaplan_and_meier_say() -> None:
    histories = household(1200, 0.0, 3)
    found = estimate_keeping(histories, ["method"], YEAR).row(0, named=True)
    seen = seen_keeping(follow(histories, ["method"]), YEAR).row(0, named=True)
    assert found["kept"] == pytest.approx(seen["kept"], abs=0.015)
    assert found["lost_share"] == pytest.approx(seen["lost_share"], abs=0.015)


def test_without_the_day_made_the_answer_is_the_picture() -> None:
    histories = household(20, 0.0, 4).drop("made_on")
    seen = seen_keeping(follow(histories, ["method"]), YEAR)
    assert estimate_keeping(histories, ["method"], YEAR).equals(seen)


def test_the_same_logs_in_another_order_give_the_same_answer() -> None:
    histories = household(30, 0.4, 5, methods=3)
    one = estimate_keeping(histories, ["method"], YEAR)
    other = estimate_keeping(histories.sample(fraction=1.0, shuffle=True, seed=1), ["method"], YEAR)
    for name in ("kept", "kept_low", "kept_high", "lost_share"):
        assert one[name].to_list() == pytest.approx(other[name].to_list(), abs=1e-5)


def test_the_shared_fate_and_the_shape_of_age_are_found_again() -> None:
    found = fit(design_of(household(1500, 0.0, 6)), np.random.default_rng(1))
    assert np.quantile(found.theta, 0.005) < 1.0 < np.quantile(found.theta, 0.995)
    assert np.quantile(found.shape, 0.005) < 1.3 < np.quantile(found.shape, 0.995)
    assert found.effective_draws > 100


def test_a_method_that_loses_more_is_told_from_the_rest() -> None:
    rng = np.random.default_rng(7)
    method = np.arange(60) % 2
    histories = simulate(Truth(0.1, 0.5), np.zeros(60, dtype=np.int64), np.where(method == 1, 6.0, 1.0), rng)
    histories = histories.with_columns(method=pl.format("m{}", pl.col("batch") % 2))
    good, bad = estimate_keeping(histories, ["method"], YEAR).iter_rows(named=True)
    assert bad["kept_high"] < good["kept_low"]
    truth = (1 + 0.5 * 6 * hazard_12m(0.1, 0.5)) ** -2
    assert bad["kept_low"] < truth < bad["kept_high"]


def test_containers_drawn_as_lost_are_lost_as_often_as_their_chance_says() -> None:
    model = fit_keeping(household(40, 0.4, 8, methods=2))
    assert model is not None
    rows, early, late = np.array([0, 1, 2]), np.array([0.1, 0.5, 1.0]), np.array([0.6, 1.0, 1.5])
    chance = lost_in_batches(model, rows, early, late).mean(axis=0)
    count = np.array([4, 10, 7])
    drawn = lost_counts(
        model, np.tile(rows, 40), np.tile(early, 40), np.tile(late, 40), np.tile(count, 40), np.random.default_rng(2)
    )
    assert drawn.mean(axis=0).reshape(40, 3).mean(axis=0) == pytest.approx(chance * count, rel=0.05)


def test_a_batch_that_lost_jars_is_at_greater_risk_than_its_like() -> None:
    histories = household(40, 0.0, 9)
    model = fit_keeping(histories)
    assert model is not None
    spoiled = model.design.spoiled
    worst, best = int(np.argmax(spoiled)), int(np.argmin(spoiled))
    rows = np.array([worst, best])
    risk = lost_in_batches(model, rows, np.full(2, 0.5), np.full(2, 1.0)).mean(axis=0)
    assert risk[0] > 2 * risk[1]
