"""When a sowing became ready and how long it gives, from invented picks whose truth is known."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.warmth.picking_curve import picking_spread, ready_day, share_ready


def picked(ready: float, spread: float, days: list[float], rng: np.random.Generator | None = None) -> tuple:
    """Each pick takes what became ready since the one before; with chance, give or take 15 %."""
    at = np.array(days, dtype=float)
    kg = np.diff(share_ready((at - ready) / spread), prepend=0.0)
    return at, kg if rng is None else kg * np.exp(rng.normal(0, 0.15, len(at)))


def test_the_curve_brings_45_35_and_20_per_cent_in_three_thirds() -> None:
    assert np.diff(share_ready(np.array([0, 1 / 3, 2 / 3, 1]))) == pytest.approx([0.45, 0.35, 0.20], abs=0.005)
    assert share_ready(np.array([-1.0, 2.0])).tolist() == [0.0, 1.0]


def test_a_clean_log_gives_the_day_back() -> None:
    picks = picked(100, 20, [102, 106, 110, 114, 118, 121])
    assert ready_day(picks, 20.0, 100) == pytest.approx(100.5, abs=1.5)


def test_a_first_pick_of_the_wrong_month_hardly_moves_the_day() -> None:
    days, kg = picked(100, 20, [102, 106, 110, 114, 118, 121])
    odd = np.concatenate([[80.0], days]), np.concatenate([[0.05], kg])
    assert abs(ready_day(odd, 20.0, 78.0) - 100) < 6


def test_the_spread_is_found_from_several_sowings_and_held_by_the_reference() -> None:
    rng = np.random.default_rng(4)
    sowings = [picked(r, 30, list(np.arange(r + 2, r + 32, 4.0)), rng) for r in (100, 130, 160, 190, 220, 250)]
    assert picking_spread(sowings, 20.0) == pytest.approx(30.0, rel=0.2)
    assert picking_spread(sowings, None) == pytest.approx(30.0, rel=0.25)
    assert 20.0 <= picking_spread(sowings[:1], 20.0) <= 31.0


def test_too_few_picks_say_nothing_of_the_spread() -> None:
    two = (np.array([1.0, 5.0]), np.array([1.0, 1.0]))
    assert picking_spread([two], 14.0) == 14.0
    assert picking_spread([two], None) is None
    assert picking_spread([], None) is None
