"""When a sowing became ready, and how long it gives, from all its picks and not from the first alone.

The share picked so far follows a curve that rises fast and then levels off. Laying it through all picks of a
sowing tells when it began even where the first pick was late, was not written down or has a wrong date: one odd
pick pulls little (soft absolute loss).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Picks = tuple[Floats, Floats]
"""Days and kg of the picks of one sowing, in order of day."""

SHAPE = 1.47
"""Picked by a share u of the picking time: 1 - (1 - u)^1.47, which gives 45, 35 and 20 % in three thirds, as a
bush bean; from memory."""
FEWEST_PICKS = 3
"""With fewer picks a curve says nothing that the first pick and the visit before it do not."""
SHARE_NOISE = 0.2
"""How far shares picked stray from the curve; judgement, no source."""
SPREAD_SD = 0.3
"""Logarithmic spread of the days of picking around the reference; judgement, no source."""
SPREADS = np.exp(np.linspace(-0.9, 0.9, 19))
LOOK_BACK_DAYS = 21
FIRST_PICK_DF, WRONG_DATES = 4.0, 0.08
"""Tails of the Student-t around the first pick, and share of picks with a wrong date; judgement, no source."""


def share_ready(part: Floats) -> Floats:
    """Share ready by a part of the time, 0 to 1; parts outside are held to it."""
    return np.asarray(1.0 - (1.0 - np.clip(part, 0.0, 1.0)) ** SHAPE, dtype=np.float64)


def ready_day(picks: Picks, spread_days: float, not_before: float) -> float:
    """The day on which a sowing became ready.

    Args:
        picks: at least one pick.
        spread_days: days of picking of the crop.
        not_before: a day on which it was not ready yet, such as the last visit before the first pick, or that
            pick itself; it may turn out wrong, since the first pick may have a wrong date.
    """
    first = float(picks[0][0])
    grid = np.arange(first - LOOK_BACK_DAYS, float(picks[0][-1]) + 0.5, 0.5)
    half = max((first - not_before) / 2.0, 1.0)
    away = (grid - (first + not_before) / 2.0) / half
    interval = (FIRST_PICK_DF + 1) / 2 * np.log1p(away**2 / FIRST_PICK_DF)
    # Beyond this it is likelier that the first pick has a wrong date.
    wrong = np.log((1.0 - WRONG_DATES) / WRONG_DATES * LOOK_BACK_DAYS / half)
    return float(grid[int(np.argmin(_misfit(picks, grid, spread_days) + np.minimum(interval, wrong)))])


def picking_spread(sowings: Sequence[Picks], usual_days: float | None) -> float | None:
    """Days of picking of a crop, from all its sowings together; None where nothing tells.

    Args:
        sowings: picks of each sowing; those of fewer than three picks are left out.
        usual_days: the reference's; None where there is none.
    """
    told = [picks for picks in sowings if len(picks[0]) >= FEWEST_PICKS and picks[0][-1] > picks[0][0]]
    if not told:
        return usual_days
    centre = usual_days or float(np.median([picks[0][-1] - picks[0][0] for picks in told]))
    spreads = centre * SPREADS
    prior = 0.0 if usual_days is None else (np.log(SPREADS) / SPREAD_SD) ** 2 / 2.0
    misfit = np.zeros(len(spreads)) + prior
    for picks in told:
        grid = np.arange(picks[0][0] - LOOK_BACK_DAYS, picks[0][-1] + 1.0)
        misfit += [_misfit(picks, grid, float(days)).min() for days in spreads]
    return float(spreads[int(np.argmin(misfit))])


def _misfit(picks: Picks, ready: Floats, spread_days: float) -> Floats:
    """Soft absolute distance of the shares picked from the curve, for each day of getting ready."""
    days, kg = picks
    picked = kg.cumsum() / kg.sum()
    away = (share_ready((days - ready[:, None]) / spread_days) - picked) / SHARE_NOISE
    return np.asarray(2.0 * (np.sqrt(1.0 + away**2) - 1.0).sum(axis=1), dtype=np.float64)
