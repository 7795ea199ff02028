"""What a grower should know beside the plan: gaps, dark days, full beds, what is left to gain, simpler ways."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.plan.scores import MISSING_BELOW, Trial, as_good, outcome
from pipeline.plan.season import Season
from pipeline.plan.tables import MONTHS, short_day
from pipeline.warmth.degree_days import daylength_hours

Floats = NDArray[np.float64]

SHORT_DAY_HOURS = 10.0
"""Below this daylength growth all but stops; common practice, no source."""
LEAST_STANDING_KG, SURPLUS = 0.5, 1.5
"""What is worth a word: kilos to come, and a surplus over what is wanted."""
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


def standing_notes(trials: Sequence[Trial]) -> list[str]:
    """What is in the ground already and still to come."""
    coming = {
        trial.crop.crop: float(trial.standing_kg.sum(axis=0).mean())
        for trial in trials
        if trial.standing_kg is not None
    }
    told = [f"{crop} (about {kg:.1f} kg to come)" for crop, kg in coming.items() if kg >= LEAST_STANDING_KG]
    return [f"In the ground already, and counted: {', '.join(told)}."] if told else []


def surplus_notes(trials: Sequence[Trial], answers: Sequence[Floats]) -> list[str]:
    """Crops of which even the least that can be sown gives far more than is wanted."""
    notes = []
    for trial, steps in zip(trials, answers, strict=True):
        least = float(trial.harvest[:, steps > 0].sum(axis=0).mean()) if steps.any() else 0.0
        wanted = float(trial.wanted.sum(axis=0).mean()) + trial.need.put_by_kg
        if steps.sum() == 1 and least > SURPLUS * wanted:
            amount = "one plant" if trial.crop.unit == "plants" else f"{trial.crop.step:g} m"
            notes.append(f"{trial.crop.crop}: even {amount} gives about {least:.1f} kg, {wanted:.1f} kg are wanted.")
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


def area_notes(bed_prices: pl.DataFrame, dropped: Sequence[str]) -> list[str]:
    """Where the beds are the limit, what more bed would be worth, and what found no room.

    Args:
        bed_prices: month, weeks_worth_per_m2, one row per month in which the beds are full.
        dropped: crops that found no room.
    """
    if bed_prices.is_empty():
        return []
    worth = ", ".join(f"{MONTHS[month.month - 1]} {price:.1f}" for month, price in bed_prices.iter_rows())
    months = ", ".join(MONTHS[month.month - 1] for month in bed_prices["month"])
    note = f"The beds are the limit in {months}: less is sown than would be wanted."
    gained = f"The next square metre would save, in weeks' worth of one crop: {worth}."
    left_out = [f"No room in the beds for: {', '.join(dropped)}."] if dropped else []
    return [note, gained, *left_out]


def bound_note(cost: float, least_cost: float) -> str:
    """How far the plan may be from the best possible."""
    left = max(0.0, 1.0 - least_cost / cost) if cost > 0 else 0.0
    return (
        f"On the weather years it was made for, what is missed, wasted, worked and covered comes to {cost:.1f} weeks'"
        f" worth of one crop; no plan can come to less than {max(least_cost, 0.0):.1f} (proved), so at most {left:.0%}"
        " is left to gain."
    )


def simple_note(simple: Floats, full: Floats, *, chosen: bool) -> list[str]:
    """Whether equal steps of warmth would do, by yearly costs on years that nothing was fitted to.

    Args:
        simple: yearly costs of equal steps of warmth.
        full: yearly costs of the full plan.
        chosen: the simple way is the plan.
    """
    if as_good(simple, full):
        does = "does as well, within the noise, as the full plan"
    elif chosen:
        does = f"costs {simple.mean() / full.mean() - 1:.0%} more than the full plan"
    else:
        return []
    way = "Sowing each crop at equal steps of warmth"
    return [f"{way}, as here, {does}." if chosen else f"{way} {does}: --simple prints that simpler plan."]
