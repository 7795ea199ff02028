"""Intervals against published values, and the moderated one against its own rules."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special
from statsmodels.stats.proportion import proportion_confint
from statsmodels.stats.rates import confint_poisson

from pipeline.keeping.intervals import (
    PRIOR_CORRELATION,
    fate_correlation,
    garwood_interval,
    jeffreys_interval,
    moderated_interval,
    wilson_interval,
)


@pytest.mark.parametrize(
    ("count", "exposure", "low", "high"),
    [
        # Read in the help of R's `cipoisson`: 4 events; it prints 10.24153 where the formula gives 10.24159.
        (4, 1, 1.089865, 10.24153),
        # Read in the tests of statsmodels (from R): 15 events in 400.
        (15, 400, 0.0209884653, 0.0618505472),
        # Computed with statsmodels `exact-c`; Garwood 1936, Biometrika 28:437, is the method's source.
        (0, 1, 0.0, 3.688879),
        (3, 1, 0.618672, 8.767273),
    ],
)
def test_garwood(count: int, exposure: float, low: float, high: float) -> None:
    found = garwood_interval(count, exposure)
    assert found == pytest.approx((low, high), rel=1e-5, abs=1e-9)
    reference = [limit / exposure for limit in confint_poisson(count, 1, method="exact-c")]
    assert found == pytest.approx(tuple(reference), rel=1e-9, abs=1e-12)


@pytest.mark.parametrize(
    ("count", "n", "low", "high"),
    [
        # Newcombe 1998, Statistics in Medicine 17:857: cases read as his, limits from memory.
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_wilson_on_newcombes_cases(count: int, n: int, low: float, high: float) -> None:
    assert wilson_interval(count, n) == pytest.approx((low, high), abs=5e-5)


def test_wilson_and_jeffreys_as_in_the_statsmodels_tests() -> None:
    # Read in the test files of statsmodels, which took them from R.
    assert wilson_interval(4, 20) == pytest.approx((0.08065766, 0.41601743), abs=1e-8)
    assert jeffreys_interval(4, 20) == pytest.approx((0.07152005, 0.40822576), abs=1e-8)
    assert wilson_interval(100, 200) == pytest.approx((0.4313609, 0.5686391), abs=1e-7)
    assert jeffreys_interval(100, 200) == pytest.approx((0.4311217, 0.5688783), abs=1e-7)


def test_jeffreys_as_printed_by_brown_cai_and_dasgupta() -> None:
    # Brown, Cai & DasGupta 2001, Statistical Science 16:101, table for n = 7; from memory.
    assert jeffreys_interval(2, 7) == pytest.approx((0.065, 0.648), abs=5e-4)
    assert jeffreys_interval(3, 7) == pytest.approx((0.139, 0.766), abs=6e-4)


def test_jeffreys_at_the_ends() -> None:
    low, high = jeffreys_interval([0, 7], [7, 7])
    assert low[0] == 0
    assert high[1] == 1
    assert high[0] == pytest.approx(1 - low[1])


def test_wilson_is_exactly_none_or_all_at_the_ends() -> None:
    n = np.arange(1, 200) / 7
    assert (wilson_interval(np.zeros(n.size), n)[0] == 0).all()
    assert (wilson_interval(n, n)[1] == 1).all()


@pytest.mark.parametrize("level", [0.8, 0.95, 0.99])
def test_levels_agree_with_statsmodels(level: float) -> None:
    for ours, theirs in ((wilson_interval, "wilson"), (jeffreys_interval, "jeffreys")):
        reference = proportion_confint(7, 31, alpha=1 - level, method=theirs)
        assert ours(7, 31, level) == pytest.approx(reference, abs=1e-10)


def test_moderated_interval_by_hand() -> None:
    # 20 jars in 4 batches, 5 lost, independent variance F(1-F)/20, batches spread twice as wide.
    share, jars, batches = 0.25, 20.0, 4
    variance = share * (1 - share) / jars
    prior = 1 + (jars / batches - 1) * 0.2
    design = (4 * prior + 3 * 2) / 7
    n, critical = jars / design, special.stdtrit(7, 0.975)
    middle = (share + critical**2 / (2 * n)) / (1 + critical**2 / n)
    half = critical * np.sqrt(share * (1 - share) / n + critical**2 / (4 * n * n)) / (1 + critical**2 / n)
    found = moderated_interval(share, variance, 2 * variance, 99, batches)
    assert found == pytest.approx((middle - half, middle + half))


def test_the_correlation_is_that_which_explains_the_design_effects_seen() -> None:
    # 40 batches of 5 jars in 4 groups, a quarter lost: a design effect of 2 is 1 + (5 - 1) / 4.
    share, batches = np.full(4, 0.25), np.full(4, 10)
    variance = share * (1 - share) / 50
    assert fate_correlation(share, variance, 2 * variance, batches) == pytest.approx(0.25)
    assert fate_correlation(share, variance, variance / 2, batches) == 0
    assert fate_correlation(share, variance, 9 * variance, batches) == 1
    # Groups that lost nothing, or everything, say nothing of it; then 28 batches are too few.
    few = np.array([7, 7, 7, 7, 90])
    silent = [np.append(values, 0.0) for values in (share, variance, 2 * variance)]
    assert fate_correlation(*silent, few) == PRIOR_CORRELATION
    assert fate_correlation([], [], [], []) == PRIOR_CORRELATION
    # Groups of one jar per batch cannot tell.
    assert fate_correlation(0.25, 0.1875 / 40, 0.1875 / 40, 40) == PRIOR_CORRELATION


def test_with_nothing_lost_the_jars_stand_in_and_the_interval_is_not_empty() -> None:
    low, high = moderated_interval([0.0, 0.0, 1.0], [0.0] * 3, [0.0] * 3, [30.0, 0.0, 5.0], [1, 1, 2])
    assert low.tolist()[:2] == [0, 0]
    assert 0 < high[0] < high[1] < 1
    assert 0 < low[2] < high[2] == 1


def test_one_batch_of_jars_is_worth_less_than_many() -> None:
    _, high = moderated_interval([0.0] * 3, [0.0] * 3, [0.0] * 3, [40.0] * 3, [1, 8, 40])
    assert high[0] > high[1] > high[2]


@settings(derandomize=True, deadline=None)
@given(
    share=st.floats(0, 1),
    jars=st.floats(1, 500),
    batches=st.integers(1, 60),
    design=st.floats(0, 20),
)
def test_the_interval_holds_its_estimate(share: float, jars: float, batches: int, design: float) -> None:
    variance = share * (1 - share) / jars
    low, high = moderated_interval(share, variance, design * variance, jars, batches)
    assert 0 <= low <= share + 1e-12
    assert share - 1e-12 <= high <= 1
    assert high - low > 0
