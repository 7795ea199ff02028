"""One plan for a garden of many plots: sowings go round the plots so that the garden's harvest comes evenly.

What to sow and when is worked out for the garden as a whole. Each sowing then goes to one plot that grows the
crop, the one that has had least of it for its size; where no plot has room for all of it, several share it. What
finds no room is dropped, and crops are improved in the room that is left.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.plan.options import PLAN_WEEKS, PlanOptions
from pipeline.plan.plan import Asked, Found, PlanResult, ask, find_plan, told
from pipeline.plan.problem import Problem
from pipeline.plan.search import climb
from pipeline.warmth.weather_years import WeatherYears

Floats = NDArray[np.float64]

SWEEPS = 2


@dataclass
class _Plots:
    """Plots while sowings are handed out. ``free`` is plots x plan weeks, m2; ``had`` is m2 by plot and crop."""

    names: list[str]
    area_m2: Floats
    grows: dict[str, list[int]]
    free: Floats
    had: dict[tuple[int, str], float]

    def turns(self, crop: str) -> list[int]:
        """Plots that grow the crop; first the one that has had least of it for its size."""
        size = np.where(np.isfinite(self.area_m2), self.area_m2, 1.0)
        return sorted(self.grows.get(crop, []), key=lambda plot: (self.had.get((plot, crop), 0.0) / size[plot], plot))

    def fits(self, plot: int, occupied_m2: Floats) -> float:
        """How many steps of a sowing have room in a plot."""
        weeks = occupied_m2 > 0
        most = float((self.free[plot, weeks] / occupied_m2[weeks]).min(initial=math.inf))
        return math.floor(most + 1e-9) if math.isfinite(most) else math.inf

    def take(self, plot: int, crop: str, occupied_m2: Floats, steps: float) -> None:
        """Hand steps of a sowing to a plot, or take them back where the number is negative."""
        self.free[plot] -= steps * occupied_m2
        self.had[plot, crop] = self.had.get((plot, crop), 0.0) + steps * float(occupied_m2.max(initial=0.0))


def plan_for_plots(
    crops: pl.DataFrame,
    timing: pl.DataFrame,
    yields: pl.DataFrame,
    years: WeatherYears,
    fresh_needs: pl.DataFrame,
    put_by: pl.DataFrame,
    plots: pl.DataFrame,
    options: PlanOptions,
    *,
    rng: np.random.Generator,
) -> PlanResult:
    """The sowing plan of a garden of plots, each with its own crops and area.

    Args:
        crops: as in ``plan_sowings``, as are timing, yields, years, rng.
        timing: of ``fit_crop_timing``.
        yields: of ``fit_yields``.
        years: of ``weather_years``.
        fresh_needs: what the whole garden wants: crop, month, fresh_kg_per_week.
        put_by: what the whole garden puts by: crop, kg_to_put_by.
        plots: plot, crop, area_m2: one row per plot and crop it grows; the area is that of the whole plot, null
            where it is no limit.
        options: season, limits and weights; its bed area is not used, that of the plots is.
        rng: source of chance.

    Returns:
        As ``plan_sowings``, with a last column ``plot`` in ``sowing_plan``: one row per crop, day and plot. The
        outlook and the comparison are of the garden as a whole; the other ways of sowing are cut to its whole
        area only.
    """
    grown = pl.col("crop").is_in(plots["crop"].unique().to_list())
    beds = _plots(plots)
    area = float(beds.area_m2.sum())
    options = replace(options, bed_area_m2=area if math.isfinite(area) and beds.names else None)
    asked = ask(crops, timing, yields, years, fresh_needs.filter(grown), put_by.filter(grown), options, rng=rng)
    nowhere = pl.concat([frame.filter(~grown).select("crop") for frame in (fresh_needs, put_by)])["crop"]
    asked.skipped.update(dict.fromkeys(nowhere, "no plot grows it"))
    found = find_plan(asked, rng)
    placed = _placed(asked.problems, found.answers[asked.policy], beds)
    answers = {**found.answers, asked.policy: [steps.sum(axis=0) for steps in placed]}
    result = told(asked, Found(answers, found.prices, found.dropped), put_by)
    return replace(result, sowing_plan=_by_plot(asked, result.sowing_plan, placed, beds.names))


def _plots(plots: pl.DataFrame) -> _Plots:
    sizes = plots.group_by("plot").agg(pl.col("area_m2").max()).sort("plot")
    names, area = sizes["plot"].to_list(), sizes["area_m2"].cast(pl.Float64).fill_null(math.inf).to_numpy().copy()
    grows: dict[str, list[int]] = {}
    for plot, crop in plots.select("plot", "crop").unique().sort("plot", "crop").iter_rows():
        grows.setdefault(crop, []).append(names.index(plot))
    return _Plots(names, area, grows, np.repeat(area[:, None], PLAN_WEEKS, axis=1), {})


def _placed(problems: Sequence[Problem], answers: Sequence[Floats], beds: _Plots) -> list[Floats]:
    """Steps by plot and sowing week, one array per crop; never more than there is room for."""
    placed = [np.zeros((len(beds.names), len(problem.weeks))) for problem in problems]
    in_order = sorted(
        (int(problem.weeks[place]), number, int(place))
        for number, (problem, answer) in enumerate(zip(problems, answers, strict=True))
        for place in np.flatnonzero(answer)
    )
    for _, number, place in in_order:
        _hand_out(problems[number], place, float(answers[number][place]), beds, placed[number])
    if all((steps.sum(axis=0) == answer).all() for steps, answer in zip(placed, answers, strict=True)):
        return placed
    for _ in range(SWEEPS):
        for number, problem in enumerate(problems):
            placed[number] = _improved(problem, placed[number], beds)
    return placed


def _hand_out(problem: Problem, place: int, steps: float, beds: _Plots, placed: Floats) -> None:
    """One sowing to the plot whose turn it is and that has room for all of it, or shared where none has."""
    crop, occupied = problem.crop.crop, problem.occupied_m2[place]
    turns = beds.turns(crop)
    whole = [plot for plot in turns if beds.fits(plot, occupied) >= steps]
    for plot in whole[:1] or turns:
        given = min(steps, beds.fits(plot, occupied))
        beds.take(plot, crop, occupied, given)
        placed[plot, place] += given
        steps -= given


def _improved(problem: Problem, now: Floats, beds: _Plots) -> Floats:
    """The crop sown anew in the room that the others leave, if that is better."""
    crop, before = problem.crop.crop, now.sum(axis=0)
    _move(problem, now, beds, -1.0)
    room = beds.free[beds.grows.get(crop, [])].sum(axis=0)
    wanted = climb(problem, before, room_m2=room)[0]
    tried = np.zeros_like(now)
    for place in np.flatnonzero(wanted):
        _hand_out(problem, int(place), float(wanted[place]), beds, tried)
    cost = problem.costs(np.array([before, tried.sum(axis=0)]))
    if cost[1] < cost[0] - 1e-9:
        return tried
    _move(problem, tried, beds, -1.0)
    _move(problem, now, beds, 1.0)
    return now


def _move(problem: Problem, steps: Floats, beds: _Plots, sign: float) -> None:
    for plot, place in np.argwhere(steps):
        beds.take(int(plot), problem.crop.crop, problem.occupied_m2[place], sign * float(steps[plot, place]))


def _by_plot(asked: Asked, plan: pl.DataFrame, placed: Sequence[Floats], names: Sequence[str]) -> pl.DataFrame:
    """The plan with one row for each plot that shares a sowing."""
    rows = []
    for entry, steps in zip(asked.planned, placed, strict=True):
        problem, total = entry.problem, steps.sum(axis=0)
        for plot, place in np.argwhere(steps):
            clock = asked.season.day(7 * int(problem.weeks[place]))
            share = float(steps[plot, place] / total[place])
            rows.append((problem.crop.crop, clock, share, names[int(plot)]))
    schema = {"crop": pl.String(), "clock_on": pl.Date(), "share": pl.Float64(), "plot": pl.String()}
    shares = pl.DataFrame(rows, schema=schema, orient="row")
    parts = [pl.col(name) * pl.col("share") for name in ("amount", "area_m2", "expected_kg")]
    return (
        plan.with_columns(clock_on=pl.coalesce("plant_out_on", "sow_on"))
        .join(shares, on=["crop", "clock_on"], how="inner", maintain_order="left")
        .with_columns(parts)
        .drop("clock_on", "share")
        .sort("sow_on", "crop", "plot")
    )
