"""The closed form of the best use of a harvest, against hand sums and a linear programme."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from pipeline.plan.recourse import best_use, served_by_week, served_in_all


def test_by_hand_oldest_first_and_expiry() -> None:
    # Ready: 5, 0, 4. Wanted 2 a week. Usable in the week and the one after.
    running = np.cumsum([5.0, 0.0, 4.0])
    served = served_by_week(running, np.full(3, 2.0), 1)
    assert served.tolist() == [2.0, 2.0, 2.0]
    # The same without any waiting: nothing in week 2.
    assert served_by_week(running, np.full(3, 2.0), 0).tolist() == [2.0, 0.0, 2.0]


def test_by_hand_surplus_is_put_by_up_to_the_target() -> None:
    running = np.cumsum([5.0, 0.0, 4.0])
    eaten, put_by = best_use(running, np.full(3, 2.0), np.full(3, 1.0), 10.0, 0)
    assert (eaten, put_by) == (4.0, 2.0)
    eaten, put_by = best_use(running, np.full(3, 2.0), np.full(3, np.inf), 1.5, 0)
    assert (eaten, put_by) == (4.0, 1.5)
    assert best_use(running, np.full(3, 2.0), np.full(3, 1.0), 0.0, 0)[1] == 0.0


def linear_programme(
    harvest: np.ndarray, wanted: np.ndarray, per_week: np.ndarray, target: float, life: int, worth: float
) -> float:
    """Worth of the best plan with produce tracked by the week it became ready in, solved by HiGHS."""
    weeks = len(harvest)
    pairs = [(t, w) for t in range(weeks) for w in range(t, min(t + life, weeks - 1) + 1)]
    count = len(pairs)
    value = -np.concatenate([np.ones(count), np.full(count, worth)])
    rows, limits = [], []
    for t in range(weeks):
        rows.append([float(a == t) for a, _ in pairs] * 2)
        limits.append(harvest[t])
        eaten = [float(w == t) for _, w in pairs]
        rows.append(eaten + [0.0] * count)
        limits.append(wanted[t])
        rows.append([0.0] * count + eaten)
        limits.append(per_week[t])
    rows.append([0.0] * count + [1.0] * count)
    limits.append(target)
    solved = linprog(value, A_ub=np.array(rows), b_ub=np.array(limits), method="highs")
    assert solved.success
    return float(-solved.fun)


def test_equals_the_linear_programme_on_150_random_cases() -> None:
    rng = np.random.default_rng(20)
    for _ in range(150):
        weeks, life = int(rng.integers(2, 9)), int(rng.integers(0, 5))
        harvest = rng.gamma(0.7, 4.0, weeks) * (rng.random(weeks) < 0.7)
        wanted = rng.uniform(0, 4, weeks) * (rng.random(weeks) < 0.8)
        per_week = rng.uniform(0, 3, weeks)
        target = float(rng.uniform(0, 12))
        eaten, put_by = best_use(np.cumsum(harvest), wanted, per_week, target, life)
        for worth in (0.6, 1.0):
            best = linear_programme(harvest, wanted, per_week, target, life, worth)
            assert float(eaten + worth * put_by) == pytest.approx(best, abs=1e-7)


weekly = st.lists(st.floats(0, 20), min_size=1, max_size=10)


@settings(derandomize=True, deadline=None)
@given(weekly, st.floats(0, 5), st.floats(0, 5), st.floats(0, 30), st.integers(0, 12))
def test_nothing_is_used_twice_and_longer_life_never_hurts(
    harvest: list[float], wanted: float, per_week: float, target: float, life: int
) -> None:
    running = np.cumsum(harvest)
    caps = np.full(len(harvest), wanted), np.full(len(harvest), per_week)
    eaten, put_by = best_use(running, *caps, target, life)
    assert eaten >= -1e-9
    assert -1e-9 <= put_by <= target + 1e-9
    assert eaten + put_by <= sum(harvest) + 1e-9
    assert eaten <= wanted * len(harvest) + 1e-9
    longer = best_use(running, *caps, target, life + 1)
    assert longer[0] >= eaten - 1e-9
    assert served_by_week(running, caps[0], life).sum() == pytest.approx(
        float(served_in_all(running, caps[0], life)), abs=1e-9
    )


def test_many_plans_and_years_at_once_equal_one_at_a_time() -> None:
    rng = np.random.default_rng(4)
    harvest, wanted = rng.gamma(1.0, 2.0, (12, 5, 3)), rng.uniform(0, 3, (12, 3))
    running, per_week = harvest.cumsum(axis=0), np.full((12, 1), 1.0)
    eaten, put_by = best_use(running, wanted, per_week, 6.0, 2)
    for plan in range(5):
        for year in range(3):
            one = best_use(running[:, plan, year], wanted[:, year], per_week[:, 0], 6.0, 2)
            assert [eaten[plan, year], put_by[plan, year]] == pytest.approx([float(use) for use in one])


def test_no_week_at_all() -> None:
    assert served_in_all(np.zeros((0, 2)), np.zeros((0, 2)), 3).tolist() == [0.0, 0.0]
    assert served_by_week(np.zeros((0, 2)), np.zeros((0, 2)), 3).shape == (0, 2)
