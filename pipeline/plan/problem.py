"""The sowing question of one crop, and what an answer to it costs over the weather years."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.plan.crops import PlanCrop
from pipeline.plan.kernel import Kernel
from pipeline.plan.options import PlanWeights
from pipeline.plan.recourse import best_use
from pipeline.plan.standing import Standing

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

CHUNK = 200_000
"""Products worked out at once while many answers are costed: small enough to stay in the cache, and below what the
linear algebra library would spread over threads, which costs more here than it gains."""
SCREEN_YEARS = 8
"""Many answers are ranked on this many years first, and only the best of them costed on all."""
MARGIN = 1.5
"""No sowing is larger than this much of all that is wanted in the season."""
TOO_FEW = 5.0
"""Weeks' worth that each sowing short of the least counts: more than any sowing costs, so that the least is kept
wherever there is room for it."""
LEAST_READY = 0.7
"""A sowing week is offered only if it ripens in this share of the weather years."""


@dataclass(frozen=True)
class Need:
    """What is wanted of one crop."""

    fresh_kg: Floats
    """Wanted fresh in each plan week, kg."""
    put_by_kg: float
    put_by_kg_per_week: float
    """The most the kitchen can take of this crop in a week, kg; may be infinite."""
    week_kg: float
    """A week's worth: the unit in which crops are compared."""


@dataclass(frozen=True)
class Problem:
    """One crop's question. An answer is a number of steps for each of the ``weeks`` in which it may be sown.

    ``running`` is kg per step, summed over the plan weeks in which anything can happen: weeks x sowing weeks x
    years. ``wanted`` is kg wanted fresh and within reach of some sowing in the same weeks: weeks x years.
    ``occupied_m2`` is the area of a step: sowing weeks x all plan weeks.
    """

    crop: PlanCrop
    need: Need
    weights: PlanWeights
    weeks: Ints
    running: Floats
    wanted: Floats
    median_ready: Floats
    occupied_m2: Floats
    most: int
    most_sowings: int
    least_sowings: int = 1
    standing: Floats | None = None
    """Kg to come of what is in the ground already, summed as ``running``: weeks x years; None for nothing."""

    @property
    def n_years(self) -> int:
        """How many weather years."""
        return int(self.running.shape[2])

    def costs(self, answers: Floats, toll: Floats | None = None, *, screen: bool = False) -> Floats:
        """Mean cost over the years in weeks' worth, one for each row of ``answers`` (answers x sowing weeks).

        ``toll`` is a charge on each step, by sowing week. ``screen`` uses a few of the years only.
        """
        years = slice(None, None, max(1, self.n_years // SCREEN_YEARS)) if screen else slice(None)
        running, wanted = self.running[:, :, years], self.wanted[:, years]
        standing = None if self.standing is None else self.standing[:, None, years]
        size = max(1, CHUNK // max(1, running.shape[1] * running.shape[2]))
        starts = range(0, len(answers), size)
        lost = [self._lost_kg(answers[start : start + size], running, wanted, standing) for start in starts]
        cost = np.concatenate(lost) / self.need.week_kg if lost else np.zeros(0)
        each = np.full(len(self.weeks), self.weights.area * self.crop.step_m2)
        if toll is not None:
            each = each + toll
        sowings = np.count_nonzero(answers, axis=1)
        work = self.weights.sowing * sowings
        if self.least_sowings > 1:
            work = work + TOO_FEW * np.maximum(self.least_sowings - sowings, 0)
        return np.asarray(cost + work + answers @ each, dtype=np.float64)

    def _lost_kg(self, answers: Floats, running: Floats, wanted: Floats, standing: Floats | None) -> Floats:
        harvest = np.matmul(answers, running)
        if standing is not None:
            harvest = harvest + standing
        cap = np.full((len(wanted), 1), self.need.put_by_kg_per_week)
        eaten, put_by = best_use(harvest, wanted, cap, self.need.put_by_kg, self.crop.life_weeks)
        picked = harvest[-1] if len(harvest) else np.zeros_like(eaten)
        lost = (
            self.weights.unmet_fresh * (wanted.sum(axis=0) - eaten)
            + self.weights.unmet_shelf * (self.need.put_by_kg - put_by)
            + self.weights.waste * (picked - eaten - put_by)
        )
        return np.asarray(lost.mean(axis=1), dtype=np.float64)

    def best_of(self, answers: Floats, toll: Floats | None = None, keep: int = 48) -> tuple[Floats, float]:
        """The cheapest row and its cost; ranked on a few years first where there are many."""
        if len(answers) > keep and self.n_years > SCREEN_YEARS:
            rough = self.costs(answers, toll, screen=True)
            answers = answers[np.argsort(rough, kind="stable")[:keep]]
        costs = self.costs(answers, toll)
        # Rounded, so that the order of a sum on another machine does not pick another of two equal answers.
        best = int(np.argmin(np.round(costs, 9)))
        return answers[best], float(costs[best])


def offered(kernel: Kernel) -> Flags:
    """Sowing weeks that ripen often enough to be offered."""
    return np.asarray(np.isfinite(kernel.ready).mean(axis=1) >= LEAST_READY, dtype=np.bool_)


def reachable(kernel: Kernel, allowed: Flags, fresh_kg: Floats, life_weeks: int, standing_kg: Floats) -> Floats:
    """Kg wanted fresh where some allowed sowing or a stand could supply the week in that year, weeks x years."""
    ripe = np.asarray(kernel.share[:, allowed].any(axis=1) | (standing_kg > 0), dtype=np.bool_)
    held = np.zeros_like(ripe)
    for wait in range(min(life_weeks, len(ripe) - 1) + 1):
        held[wait:] |= ripe[: len(ripe) - wait]
    return fresh_kg[:, None] * held


def crop_problem(
    crop: PlanCrop,
    kernel: Kernel,
    noise: Floats,
    allowed: Flags,
    need: Need,
    weights: PlanWeights,
    limits: tuple[int, int],
    standing: Standing,
) -> Problem | str:
    """The question of one crop, or why there is none.

    Args:
        crop: the crop.
        kernel: its kernel on the training years.
        noise: factors on the yield, sowing weeks x years.
        allowed: weeks in which it may be sown.
        need: what is wanted.
        weights: what each shortfall counts.
        limits: the least and the most sowings of one crop.
        standing: what is in the ground already.
    """
    allowed = allowed & offered(kernel)
    if not allowed.any():
        return f"it would not ripen in {LEAST_READY:.0%} of the weather years, whenever it is sown"
    wanted = reachable(kernel, allowed, need.fresh_kg, crop.life_weeks, standing.harvest_kg)
    if need.put_by_kg <= 0.0 and not wanted.any():
        return "it would not be ripe in any week in which it is wanted"
    weeks = np.flatnonzero(allowed)
    harvest = kernel.share[:, weeks] * noise[weeks] * crop.step_kg
    busy = np.flatnonzero(harvest.any(axis=(1, 2)) | wanted.any(axis=1) | standing.harvest_kg.any(axis=1))
    span = slice(busy[0], busy[-1] + 1)
    season_kg = wanted.sum(axis=0).mean() + need.put_by_kg
    best_step = float(harvest.sum(axis=0).mean(axis=1).max())
    most = max(1, int(np.ceil(MARGIN * season_kg / best_step)))
    most_sowings = min(limits[1] if crop.sown_again else 1, len(weeks))
    return Problem(
        crop=crop,
        need=need,
        weights=weights,
        weeks=weeks,
        running=np.ascontiguousarray(harvest[span].cumsum(axis=0)),
        wanted=wanted[span],
        median_ready=np.quantile(kernel.ready[weeks], 0.5, axis=1, method="inverted_cdf"),
        occupied_m2=kernel.occupied()[weeks] * crop.step_m2,
        most=most,
        most_sowings=most_sowings,
        least_sowings=min(limits[0], most_sowings),
        standing=standing.harvest_kg[span].cumsum(axis=0) if standing.harvest_kg.any() else None,
    )
