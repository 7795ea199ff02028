"""What a grower should know beside the plan: long gaps, sowings that ripen in the dark, full beds."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pipeline.analysis.degree_days import daylength_hours
from pipeline.analysis.plan_scores import MISSING_BELOW, Trial, outcome
from pipeline.analysis.plan_tables import MONTHS, short_day
from pipeline.analysis.sowing_season import Season

Floats = NDArray[np.float64]

SHORT_DAY_HOURS = 10.0
"""Below this daylength growth all but stops; common practice, no source."""
LATE_SOWING = {True: (8, 1), False: (2, 1)}
"""From this day (north, south) autumn shortens the days so fast that ripening is uncertain by weeks."""


def gap_notes(trials: Sequence[Trial], answers: Sequence[Floats], season: Season, longest_gap: int) -> list[str]:
    """Crops that are usually missing for longer than wanted, among the weeks in which they could be had."""
    notes = []
    for trial, steps in zip(trials, answers, strict=True):
        eaten, wanted = outcome(trial, steps).eaten_kg.mean(axis=1), trial.wanted.mean(axis=1)
        usual = wanted > 0.5 * trial.need.fresh_kg
        start, length = longest_run(usual & (eaten < MISSING_BELOW * wanted))
        if length > longest_gap:
            since = short_day(season.day(7 * start))
            notes.append(f"{trial.crop.crop}: usually missing for {length} weeks from {since}.")
    return notes


def longest_run(flags: NDArray[np.bool_]) -> tuple[int, int]:
    """Start and length of the longest unbroken run."""
    best_start = best = run = 0
    for place, flag in enumerate(flags):
        run = run + 1 if flag else 0
        if run > best:
            best_start, best = place - run + 1, run
    return best_start, best


def light_notes(trials: Sequence[Trial], answers: Sequence[Floats], season: Season) -> list[str]:
    """Sowings that ripen in days too short to grow in, and a word on late sowings; none without a latitude."""
    if season.latitude is None:
        return []
    notes, late = [], False
    month, day = LATE_SOWING[season.latitude >= 0]
    for trial, steps in zip(trials, answers, strict=True):
        for week in np.flatnonzero(steps):
            sown = season.day(7 * int(week))
            # Half a year from the turn of the light on, whichever hemisphere.
            late |= (sown.month - month) % 12 < 5 and (sown.month != month or sown.day >= day)
            ready = trial.kernel.ready[week]
            if not np.isfinite(ready).any():
                continue
            ripe = season.day(float(np.median(ready[np.isfinite(ready)])))
            if daylength_hours(season.latitude, ripe.timetuple().tm_yday) < SHORT_DAY_HOURS:
                notes.append(
                    f"{trial.crop.crop} of {short_day(sown)} ripens in days of under {SHORT_DAY_HOURS:g} hours: "
                    "it will probably stand until spring."
                )
    if late:
        notes.append(f"Sowings after {day} {MONTHS[month - 1]} may ripen two weeks earlier or later than said.")
    return notes


def area_notes(prices: Floats, dropped: Sequence[str], season: Season) -> list[str]:
    """Where the beds are the limit, what more bed would be worth, and what found no room."""
    full = np.flatnonzero(prices > 1e-6)
    if len(full) == 0:
        return []
    months = dict.fromkeys(MONTHS[season.day(7 * int(week)).month - 1] for week in full)
    note = f"The beds are the limit in {', '.join(months)}: less is sown than would be wanted."
    gained = f"One more square metre all season would save about {prices.sum():.1f} weeks' worth of one crop."
    left_out = [f"No room in the beds for: {', '.join(dropped)}."] if dropped else []
    return [note, gained, *left_out]
