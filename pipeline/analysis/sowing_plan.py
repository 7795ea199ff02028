"""The staggered sowing plan: what to sow, how much and when, for even harvests and a shelf that is filled.

For each crop, sowing week and weather year the harvest of every week is worked out from warmth, frost and
picking habits; a search then finds the sowings that do best over all years, each year's harvest being used
as well as it can be. Simple ways of sowing, tuned on the same years, are compared with it on years that
neither has seen.

Not modelled: heat that spoils a crop, bolting, pests, one crop eaten for want of another, rotation and the
shape of beds; a frost that comes when a crop is ripe and waiting. The kitchen's week is shared between crops
in proportion to what is to be put by.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.analysis.bed_area import area_used, fit_to_beds, scaled_to_beds
from pipeline.analysis.harvest_kernel import harvest_kernel, yield_noise
from pipeline.analysis.last_season import repeated_steps
from pipeline.analysis.plan_crops import SKIPPED_SCHEMA, PlanCrop, gather_crops
from pipeline.analysis.plan_notes import area_notes, gap_notes, light_notes
from pipeline.analysis.plan_problem import Need, Problem, crop_problem, offered
from pipeline.analysis.plan_scores import Trial, compare, crop_trial
from pipeline.analysis.plan_tables import outlook_table, plan_table
from pipeline.analysis.sowing_options import PLAN_WEEKS, SOW_WEEKS, PlanOptions
from pipeline.analysis.sowing_rules import RULES, tuned_rules
from pipeline.analysis.sowing_search import search
from pipeline.analysis.sowing_season import Season, season_of, sowing_weeks
from pipeline.analysis.weather_years import WeatherYears

Floats = NDArray[np.float64]

SHELF_WEEKS = 20.0
"""A crop that is mainly put by is measured in twentieths of that."""
THIS_PLAN, LAST_SEASON = "this plan", "last season"


@dataclass(frozen=True)
class PlanResult:
    """The plan and what goes with it; the first three are the answer tables of the same names."""

    sowing_plan: pl.DataFrame
    harvest_outlook: pl.DataFrame
    plan_comparison: pl.DataFrame
    skipped: pl.DataFrame
    """crop, reason: crops that were wanted and are not in the plan."""
    notes: tuple[str, ...]


@dataclass(frozen=True)
class _Planned:
    """One crop with its question and its fresh years."""

    problem: Problem
    trial: Trial

    def in_weeks(self, answer: Floats) -> Floats:
        """Steps in each sowing week of the season."""
        steps = np.zeros(SOW_WEEKS)
        steps[self.problem.weeks] = answer
        return steps


def plan_sowings(
    crops: pl.DataFrame,
    timing: pl.DataFrame,
    yields: pl.DataFrame,
    years: WeatherYears,
    fresh_needs: pl.DataFrame,
    put_by: pl.DataFrame,
    options: PlanOptions,
    *,
    rng: np.random.Generator,
    last_season: pl.DataFrame | None = None,
) -> PlanResult:
    """The sowing plan for one season.

    Args:
        crops: the crop reference (wide).
        timing: of ``fit_crop_timing``, with its extra columns.
        yields: of ``fit_yields``.
        years: of ``weather_years`` from ``options.first_day`` on: ``PLAN_DAYS`` days, and
            ``options.n_years + options.fresh_years`` years, of which the plan never sees the last.
        fresh_needs: crop, month (1 to 12), fresh_kg_per_week; a month without a row wants nothing.
        put_by: crop, kg_to_put_by (picked weight); with containers_to_make the reasons speak of containers.
        options: season, limits and weights.
        rng: source of chance; the same seed gives the same plan.
        last_season: core sowings to compare with, as if made again on the same days.

    Returns:
        The plan. A crop that cannot be planned is named in ``skipped`` with the reason.

    Raises:
        ValueError: too few or too short weather years.
    """
    season = season_of(years, options, rng)
    needs, skipped = _needs(fresh_needs, put_by, season, options)
    known, lacking = gather_crops(crops.filter(pl.col("crop").is_in(list(needs))), timing, yields)
    in_reference = set(crops["crop"])
    skipped |= {crop: "not in the crop reference" for crop in needs if crop not in in_reference} | lacking
    planned = []
    for crop in known:
        found = _prepare(crop, needs[crop.crop], season, options, rng)
        if isinstance(found, str):
            skipped[crop.crop] = found
        else:
            planned.append(found)
    policies, prices, dropped = _policies(planned, options, rng)
    for number, entry in enumerate(planned):
        if not policies[THIS_PLAN][number].any():
            name = entry.problem.crop.crop
            skipped[name] = "no room in the beds" if name in dropped else "no sowing of it is worth its work"
    if last_season is not None:
        repeated = repeated_steps(last_season, crops, [entry.problem.crop for entry in planned], season.monday)
        policies = {LAST_SEASON: repeated} | policies
    return _result(
        planned,
        policies,
        prices,
        dropped,
        skipped=skipped,
        season=season,
        put_by=put_by,
        options=options,
        weather_notes=years.notes,
    )


def _needs(
    fresh_needs: pl.DataFrame, put_by: pl.DataFrame, season: Season, options: PlanOptions
) -> tuple[dict[str, Need], dict[str, str]]:
    """What is wanted of each crop, in order of name, and crops of which nothing is."""
    months = [season.day(7 * week + 3).month for week in range(PLAN_WEEKS)]
    monthly: dict[str, dict[int, float]] = {}
    for crop, month, kg in fresh_needs.select("crop", "month", "fresh_kg_per_week").iter_rows():
        monthly.setdefault(crop, {})[month] = max(kg or 0.0, 0.0)
    shelf = {crop: max(kg or 0.0, 0.0) for crop, kg in put_by.select("crop", "kg_to_put_by").iter_rows()}
    in_all = sum(shelf.values())
    needs, skipped = {}, {}
    for crop in sorted(monthly.keys() | shelf.keys()):
        by_month, wanted = monthly.get(crop, {}), shelf.get(crop, 0.0)
        eaten = [kg for kg in by_month.values() if kg > 0]
        if not eaten and wanted <= 0:
            skipped[crop] = "nothing is wanted of it, fresh or put by"
            continue
        kitchen = options.kitchen_kg_per_week
        needs[crop] = Need(
            fresh_kg=np.array([by_month.get(month, 0.0) for month in months]),
            put_by_kg=wanted,
            put_by_kg_per_week=np.inf if kitchen is None or wanted <= 0 else kitchen * wanted / in_all,
            week_kg=max(float(np.mean(eaten)) if eaten else 0.0, wanted / SHELF_WEEKS),
        )
    return needs, skipped


def _prepare(
    crop: PlanCrop, need: Need, season: Season, options: PlanOptions, rng: np.random.Generator
) -> _Planned | str:
    """The crop's question on the training years and its trial on the fresh ones, or why there is none."""
    training = season.years(0, options.n_years)
    fresh = season.years(options.n_years, options.n_years + options.fresh_years)
    allowed, reason = sowing_weeks(crop, training, options)
    if not allowed.any():
        return reason
    kernel = harvest_kernel(crop, training, rng)
    noise = yield_noise(options.noise, options.n_years, rng)
    problem = crop_problem(crop, kernel, noise, allowed, need, options.weights, options.max_sowings)
    if isinstance(problem, str):
        return problem
    unseen = harvest_kernel(crop, fresh, rng, kernel.clearing)
    fresh_noise = yield_noise(options.noise, options.fresh_years, rng)
    return _Planned(problem, crop_trial(crop, unseen, fresh_noise, allowed & offered(kernel), need))


def _policies(
    planned: Sequence[_Planned], options: PlanOptions, rng: np.random.Generator
) -> tuple[dict[str, list[Floats]], Floats, list[str]]:
    """Steps by sowing week for every way of sowing, the price of bed area, and crops that found no room."""
    problems = [entry.problem for entry in planned]
    rules = [tuned_rules(problem) for problem in problems]
    best = [
        search(problem, np.array(list(tuned.values())), rng, options.rounds)[0]
        for problem, tuned in zip(problems, rules, strict=True)
    ]
    by_rule = {rule: [tuned[rule] for tuned in rules] for rule in RULES}
    prices, chosen, area = np.zeros(PLAN_WEEKS), best, options.bed_area_m2
    if area is not None and problems and area_used(problems, best).max() > area:
        chosen, prices = fit_to_beds(problems, best, list(by_rule.values()), area)
    dropped = [
        problem.crop.crop
        for problem, wanted, got in zip(problems, best, chosen, strict=True)
        if wanted.any() and not got.any()
    ]
    answers = {rule: scaled_to_beds(problems, found, area) for rule, found in by_rule.items()}
    answers[THIS_PLAN] = chosen
    in_weeks = {
        policy: [entry.in_weeks(answer) for entry, answer in zip(planned, found, strict=True)]
        for policy, found in answers.items()
    }
    return in_weeks, prices, dropped


def _result(
    planned: Sequence[_Planned],
    policies: dict[str, list[Floats]],
    prices: Floats,
    dropped: list[str],
    *,
    skipped: dict[str, str],
    season: Season,
    put_by: pl.DataFrame,
    options: PlanOptions,
    weather_notes: tuple[str, ...],
) -> PlanResult:
    trials, plan = [entry.trial for entry in planned], policies[THIS_PLAN]
    notes = [
        *weather_notes,
        *area_notes(prices, dropped, season),
        *gap_notes(trials, plan, season, options.longest_gap),
        *light_notes(trials, plan, season),
    ]
    return PlanResult(
        sowing_plan=plan_table(trials, plan, season, _jar_kg(put_by)),
        harvest_outlook=outlook_table(trials, plan, season),
        plan_comparison=compare(trials, policies) if planned else compare([], {}),
        skipped=pl.DataFrame(sorted(skipped.items()), schema=SKIPPED_SCHEMA, orient="row"),
        notes=tuple(notes),
    )


def _jar_kg(put_by: pl.DataFrame) -> dict[str, float]:
    """Picked kg that one container takes, where the frame says how many are to be made."""
    if "containers_to_make" not in put_by.columns:
        return {}
    return {
        crop: kg / count
        for crop, kg, count in put_by.select("crop", "kg_to_put_by", "containers_to_make").iter_rows()
        if kg and count
    }
