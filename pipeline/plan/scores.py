"""What a way of sowing comes to, on weather years that nothing was fitted to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.plan.crops import PlanCrop
from pipeline.plan.kernel import Kernel
from pipeline.plan.options import PlanWeights
from pipeline.plan.problem import Need, reachable
from pipeline.plan.recourse import best_use, served_by_week
from pipeline.plan.standing import Standing

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

MISSING_BELOW = 0.5
"""A week counts as without a crop where less than this share of what was wanted was there."""
SAME_WITHIN = 0.02
"""Two ways of sowing whose costs differ by less than this share are called as good; judgement, no source."""
COMPARISON_SCHEMA = {
    "policy": pl.String(),
    "wasted_kg": pl.Float64(),
    "short_kg": pl.Float64(),
    "weeks_without": pl.Float64(),
    "shelf_filled_share": pl.Float64(),
    "peak_to_mean": pl.Float64(),
    "sowings": pl.Float64(),
}


@dataclass(frozen=True)
class Trial:
    """One crop on fresh years; ``harvest`` is kg per step: plan weeks x sowing weeks x years.

    ``standing_kg`` is what comes of what is in the ground already: plan weeks x years; None for nothing.
    """

    crop: PlanCrop
    need: Need
    kernel: Kernel
    harvest: Floats
    wanted: Floats
    standing_kg: Floats | None = None


@dataclass(frozen=True)
class Outcome:
    """What one crop gives: plan weeks x years, and kg put by in each year."""

    ready_kg: Floats
    eaten_kg: Floats
    put_by_kg: Floats


def crop_trial(crop: PlanCrop, kernel: Kernel, noise: Floats, allowed: Flags, need: Need, standing: Standing) -> Trial:
    """One crop on fresh years; ``noise`` is sowing weeks x years, ``allowed`` the weeks it may be sown."""
    harvest = kernel.share * noise * crop.step_kg
    wanted = reachable(kernel, allowed, need.fresh_kg, crop.life_weeks, standing.harvest_kg)
    return Trial(crop, need, kernel, harvest, wanted, standing.harvest_kg)


def outcome(trial: Trial, steps: Floats) -> Outcome:
    """What a number of steps in each sowing week gives."""
    ready = np.einsum("s,wsy->wy", steps, trial.harvest)
    if trial.standing_kg is not None:
        ready = ready + trial.standing_kg
    running, life = ready.cumsum(axis=0), trial.crop.life_weeks
    cap = np.full((len(ready), 1), trial.need.put_by_kg_per_week)
    _, put_by = best_use(running, trial.wanted, cap, trial.need.put_by_kg, life)
    return Outcome(ready, served_by_week(running, trial.wanted, life), put_by)


def compare(trials: Sequence[Trial], policies: Mapping[str, Sequence[Floats]]) -> pl.DataFrame:
    """The ``plan_comparison`` answer: means over the years, summed over crops.

    Args:
        trials: crops on fresh years.
        policies: steps in each sowing week, one array per crop, by name.

    Returns:
        One row per policy. ``short_kg`` and ``weeks_without`` count only weeks that some sowing could have
        supplied; ``peak_to_mean`` is null where nothing is harvested, ``shelf_filled_share`` where nothing
        is to be put by.
    """
    rows = [(policy, *_scores(trials, answers)) for policy, answers in policies.items()]
    return pl.DataFrame(rows, schema=COMPARISON_SCHEMA, orient="row")


def yearly_costs(trials: Sequence[Trial], answers: Sequence[Floats], weights: PlanWeights) -> Floats:
    """What each year costs by the weights of the plan, in weeks' worth, summed over crops.

    Args:
        trials: crops on fresh years.
        answers: steps in each sowing week, one array per crop.
        weights: what each shortfall counts.
    """
    total = np.zeros(trials[0].harvest.shape[2]) if trials else np.zeros(0)
    for trial, steps in zip(trials, answers, strict=True):
        found = outcome(trial, steps)
        eaten, ready = found.eaten_kg.sum(axis=0), found.ready_kg.sum(axis=0)
        lost = (
            weights.unmet_fresh * (trial.wanted.sum(axis=0) - eaten)
            + weights.unmet_shelf * (trial.need.put_by_kg - found.put_by_kg)
            + weights.waste * (ready - eaten - found.put_by_kg)
        )
        work = weights.sowing * np.count_nonzero(steps) + weights.area * trial.crop.step_m2 * steps.sum()
        total += lost / trial.need.week_kg + work
    return total


def as_good(simple: Floats, full: Floats) -> bool:
    """Whether the simpler way is as good, by yearly costs in the same years: within 2 %, or within the noise."""
    apart = simple - full
    noise = 2.0 * float(apart.std()) / np.sqrt(len(apart))
    return bool(apart.mean() <= max(SAME_WITHIN * float(full.mean()), noise))


def _scores(trials: Sequence[Trial], answers: Sequence[Floats]) -> tuple[float | None, ...]:
    wasted = short = without = shelf = shelf_wanted = sowings = 0.0
    peaks = []
    for trial, steps in zip(trials, answers, strict=True):
        found = outcome(trial, steps)
        ready, eaten, put_by = (
            part.sum(axis=0).mean() for part in (found.ready_kg, found.eaten_kg, found.put_by_kg[None])
        )
        wasted += max(0.0, float(ready - eaten - put_by))
        short += max(0.0, float(trial.wanted.sum(axis=0).mean() - eaten))
        missing = found.eaten_kg < MISSING_BELOW * trial.wanted - 1e-9
        without += float(missing.sum(axis=0).mean())
        shelf += float(put_by)
        shelf_wanted += trial.need.put_by_kg
        sowings += float(np.count_nonzero(steps))
        peaks += _peaks(trial, found.ready_kg)
    return (
        wasted,
        short,
        without,
        shelf / shelf_wanted if shelf_wanted > 0 else None,
        float(np.mean(peaks)) if peaks else None,
        sowings,
    )


def _peaks(trial: Trial, ready_kg: Floats) -> list[float]:
    """Best week over the mean week, its mean over the years; empty if there is no harvest.

    The mean is over the weeks in which the crop is wanted and could be had, or, if it is wanted for the shelf
    only, could be had: over the weeks of its own harvest a single glut would look even.
    """
    could = trial.wanted if trial.wanted.any() else trial.harvest.max(axis=1)
    weeks = np.maximum(np.count_nonzero(could > 0, axis=0), 1)
    total = ready_kg.sum(axis=0)
    some = total > 0
    return [float(np.mean((ready_kg.max(axis=0) * weeks)[some] / total[some]))] if some.any() else []
