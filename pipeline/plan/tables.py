"""The plan as tables a grower reads: what to sow when and why, and what to expect each week."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.plan.scores import Trial, outcome
from pipeline.plan.season import Season

Floats = NDArray[np.float64]

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
MAINLY, PARTLY = 0.75, 0.1
"""Shares of a sowing's use from which its reason names only that use, or names it at all."""
LEAST_PRICE = 1e-6
"""Prices below this are rounding of the linear programme."""
PLAN_SCHEMA = {
    "crop": pl.String(),
    "sow_on": pl.Date(),
    "plant_out_on": pl.Date(),
    "amount": pl.Float64(),
    "unit": pl.String(),
    "area_m2": pl.Float64(),
    "first_pick_on": pl.Date(),
    "first_pick_low": pl.Date(),
    "first_pick_high": pl.Date(),
    "last_pick_on": pl.Date(),
    "expected_kg": pl.Float64(),
    "ready_share": pl.Float64(),
    "reason": pl.String(),
}
BED_PRICE_SCHEMA = {"month": pl.Date(), "weeks_worth_per_m2": pl.Float64()}
OUTLOOK_SCHEMA = {
    "crop": pl.String(),
    "week": pl.Date(),
    "kg_p10": pl.Float64(),
    "kg_p50": pl.Float64(),
    "kg_p90": pl.Float64(),
    "need_kg": pl.Float64(),
}


def short_day(day: dt.date) -> str:
    """Such as ``22 Jun``."""
    return f"{day.day} {MONTHS[day.month - 1]}"


def plan_table(
    trials: Sequence[Trial], answers: Sequence[Floats], season: Season, jar_kg: dict[str, float]
) -> pl.DataFrame:
    """The ``sowing_plan`` answer, in order of sowing.

    Args:
        trials: crops on fresh years.
        answers: steps in each sowing week, one array per crop.
        season: the season; its Mondays give the dates.
        jar_kg: picked kg that one container takes, where known.
    """
    rows = [
        _plan_row(trial, steps, int(week), season, jar_kg.get(trial.crop.crop))
        for trial, steps in zip(trials, answers, strict=True)
        for week in np.flatnonzero(steps)
    ]
    return pl.DataFrame(rows, schema=PLAN_SCHEMA, orient="row").sort("sow_on", "crop")


def _plan_row(trial: Trial, steps: Floats, week: int, season: Season, jar_kg: float | None) -> dict[str, object]:
    crop, count = trial.crop, float(steps[week])
    start = season.day(7 * week)
    ready, last = trial.kernel.ready[week], trial.kernel.last[week]
    ripe = np.isfinite(ready)
    low, middle, high, end = (
        (*np.quantile(ready[ripe], (0.1, 0.5, 0.9)), np.median(last[ripe])) if ripe.any() else (None,) * 4
    )
    first_pick, last_pick = _day(season, middle), _day(season, end)
    return {
        "crop": crop.crop,
        "sow_on": start - dt.timedelta(days=crop.raising_days),
        "plant_out_on": start if crop.raised else None,
        "amount": count * crop.step,
        "unit": crop.unit,
        "area_m2": count * crop.step_m2,
        "first_pick_on": first_pick,
        "first_pick_low": _day(season, low),
        "first_pick_high": _day(season, high),
        "last_pick_on": last_pick,
        "expected_kg": count * float(trial.harvest[:, week].sum(axis=0).mean()),
        "ready_share": float(ripe.mean()),
        "reason": _reason(trial, steps, week, first_pick, last_pick, jar_kg),
    }


def _day(season: Season, number: float | None) -> dt.date | None:
    return None if number is None else season.day(number)


def _reason(
    trial: Trial,
    steps: Floats,
    week: int,
    first_pick: dt.date | None,
    last_pick: dt.date | None,
    jar_kg: float | None,
) -> str:
    """What would be missing without this sowing, in words."""
    without = steps.copy()
    without[week] = 0
    with_it, without_it = outcome(trial, steps), outcome(trial, without)
    fresh = float((with_it.eaten_kg - without_it.eaten_kg).sum(axis=0).mean())
    shelf = float((with_it.put_by_kg - without_it.put_by_kg).mean())
    total = fresh + shelf
    if total <= 0 or first_pick is None or last_pick is None:
        return "in case another sowing fails"
    eating = f"for eating {short_day(first_pick)} to {short_day(last_pick)}"
    shelving = _shelf_words(shelf, jar_kg)
    if shelf < PARTLY * total:
        return eating
    return f"fills the shelf: {shelving}" if shelf > MAINLY * total else f"{eating}, and for the shelf: {shelving}"


def _shelf_words(shelf_kg: float, jar_kg: float | None) -> str:
    if jar_kg is None:
        return f"about {shelf_kg:.1f} kg"
    jars = max(1, round(shelf_kg / jar_kg))
    return f"about {jars} container{'s' if jars > 1 else ''}"


def outlook_table(trials: Sequence[Trial], answers: Sequence[Floats], season: Season) -> pl.DataFrame:
    """The ``harvest_outlook`` answer: weekly harvest of the whole plan, from the first week with any to the last."""
    rows = []
    for trial, steps in zip(trials, answers, strict=True):
        low, middle, high = np.quantile(outcome(trial, steps).ready_kg, (0.1, 0.5, 0.9), axis=1)
        weeks = np.flatnonzero(high > 0)
        for week in range(weeks[0], weeks[-1] + 1) if len(weeks) else ():
            monday = season.day(7 * week)
            need = float(trial.need.fresh_kg[week])
            rows.append((trial.crop.crop, monday, float(low[week]), float(middle[week]), float(high[week]), need))
    return pl.DataFrame(rows, schema=OUTLOOK_SCHEMA, orient="row").sort("crop", "week")


def bed_price_table(prices: Floats, season: Season) -> pl.DataFrame:
    """What the next square metre would save, by month, for months in which the beds are full.

    Args:
        prices: price of a square metre in each plan week, weeks' worth.
        season: the season; a week belongs to the month of its middle day.
    """
    by_month: dict[dt.date, float] = {}
    for week in np.flatnonzero(prices > LEAST_PRICE):
        month = season.day(7 * int(week) + 3).replace(day=1)
        by_month[month] = by_month.get(month, 0.0) + float(prices[week])
    return pl.DataFrame(list(by_month.items()), schema=BED_PRICE_SCHEMA, orient="row")
