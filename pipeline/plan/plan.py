"""The staggered sowing plan: what to sow, how much and when, for even harvests and a shelf that is filled.

For each crop, sowing week and weather year the harvest of every week is worked out from warmth, frost and
picking habits; a search then finds the sowings that do best over all years, each year's harvest being used
as well as it can be. Simple ways of sowing, tuned on the same years, are compared with it on years that
neither has seen.

Crops that run to seed in long days are kept out of them. Not modelled: heat that spoils a crop, pests, one crop
eaten for want of another, the shape of beds; a frost that comes when a crop is ripe and waiting. The kitchen's
week is shared between crops in proportion to what is to be put by.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.plan.beds import cut_to_beds, fit_to_beds, fits_beds
from pipeline.plan.bound import lower_bound
from pipeline.plan.crops import SKIPPED_SCHEMA, PlanCrop, gather_crops
from pipeline.plan.kernel import harvest_kernel, yield_noise
from pipeline.plan.last_season import repeated_steps
from pipeline.plan.notes import (
    area_notes,
    bound_note,
    gap_notes,
    light_notes,
    simple_note,
    standing_notes,
    surplus_notes,
)
from pipeline.plan.options import PLAN_WEEKS, SOW_WEEKS, PlanOptions
from pipeline.plan.problem import Need, Problem, crop_problem, offered
from pipeline.plan.rules import EQUAL_WARMTH, RULES, tuned_rules
from pipeline.plan.scores import Trial, compare, crop_trial, yearly_costs
from pipeline.plan.search import search
from pipeline.plan.season import BOLTS_ABOVE_HOURS, Season, bolting_weeks, season_of, sowing_weeks
from pipeline.plan.standing import Ground, Stand, standing, stands_of
from pipeline.plan.tables import bed_price_table, outlook_table, plan_table
from pipeline.warmth.weather_years import WeatherYears

Floats = NDArray[np.float64]

SHELF_WEEKS = 20.0
"""A crop that is mainly put by is measured in twentieths of that."""
BOLTS = f"it would bolt: every sowing ripens in days of over {BOLTS_ABOVE_HOURS:g} hours"
THIS_PLAN, LAST_SEASON = "this plan", "last season"


@dataclass(frozen=True)
class PlanResult:
    """The plan and what goes with it; the first three are the answer tables of the same names."""

    sowing_plan: pl.DataFrame
    harvest_outlook: pl.DataFrame
    plan_comparison: pl.DataFrame
    last_season_outlook: pl.DataFrame
    """As ``harvest_outlook``, were last season's sowings made again; empty where none are given."""
    skipped: pl.DataFrame
    """crop, reason: crops that were wanted and are not in the plan."""
    bed_prices: pl.DataFrame
    """month (its first day), weeks_worth_per_m2: what the next square metre would save in each month in which the
    beds are full, in weeks' worth of one crop."""
    notes: tuple[str, ...]
    policy: str = THIS_PLAN
    """The row of ``plan_comparison`` that is the plan."""
    cost: float | None = None
    """What is missed, wasted, worked and covered by the weights of the plan, in weeks' worth, on the weather years
    that it was made for."""
    least_cost: float | None = None
    """What no plan can go below, proved; None where it was not asked for."""


@dataclass(frozen=True)
class Planned:
    """One crop with its question and its fresh years."""

    problem: Problem
    trial: Trial

    def in_weeks(self, answer: Floats) -> Floats:
        """Steps in each sowing week of the season."""
        steps = np.zeros(SOW_WEEKS)
        steps[self.problem.weeks] = answer
        return steps


@dataclass(frozen=True)
class Asked:
    """Everything that is to be planned: crops with their questions, and why others have none."""

    planned: tuple[Planned, ...]
    skipped: dict[str, str]
    season: Season
    options: PlanOptions
    notes: tuple[str, ...]
    taken_m2: Floats
    """Bed that what is in the ground already takes in each plan week."""

    @property
    def room_m2(self) -> Floats | None:
        """Free bed in each plan week; None where beds are no limit."""
        area = self.options.bed_area_m2
        return None if area is None else np.maximum(area - self.taken_m2, 0.0)

    @property
    def policy(self) -> str:
        """The way of sowing that is the plan."""
        return EQUAL_WARMTH if self.options.simple else THIS_PLAN

    @property
    def problems(self) -> list[Problem]:
        """The question of each crop."""
        return [entry.problem for entry in self.planned]


@dataclass(frozen=True)
class Found:
    """Answers to the questions: one array per crop for every way of sowing, by name; the plan among them."""

    answers: dict[str, list[Floats]]
    prices: Floats
    """Price of a square metre in each plan week; 0 where beds are not the limit."""
    dropped: list[str]
    """Crops that found no room."""


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
    ground: Ground | None = None,
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
        ground: what may be in the ground already; its harvest counts and its bed is taken.

    Returns:
        The plan. A crop that cannot be planned is named in ``skipped`` with the reason.

    Raises:
        ValueError: too few or too short weather years.
    """
    asked = ask(crops, timing, yields, years, fresh_needs, put_by, options, rng=rng, ground=ground)
    found = find_plan(asked, rng)
    repeated = None
    if last_season is not None:
        planned = [entry.problem.crop for entry in asked.planned]
        repeated = repeated_steps(last_season, crops, planned, asked.season.monday)
    return told(asked, found, put_by, repeated)


def ask(
    crops: pl.DataFrame,
    timing: pl.DataFrame,
    yields: pl.DataFrame,
    years: WeatherYears,
    fresh_needs: pl.DataFrame,
    put_by: pl.DataFrame,
    options: PlanOptions,
    *,
    rng: np.random.Generator,
    ground: Ground | None = None,
) -> Asked:
    """The question of every crop that can be planned; arguments as in ``plan_sowings``."""
    season = season_of(years, options, rng)
    needs, skipped = _needs(fresh_needs, put_by, season, options)
    known, lacking = gather_crops(crops.filter(pl.col("crop").is_in(list(needs))), timing, yields)
    in_reference = set(crops["crop"])
    skipped |= {crop: "not in the crop reference" for crop in needs if crop not in in_reference} | lacking
    stands = {} if ground is None else stands_of(ground, crops, known, season)
    planned, taken = [], np.zeros(PLAN_WEEKS)
    for crop in known:
        entry, occupied = _prepare(crop, needs[crop.crop], stands.get(crop.crop, []), season, options, rng)
        taken += occupied
        if isinstance(entry, str):
            skipped[crop.crop] = entry
        else:
            planned.append(entry)
    return Asked(tuple(planned), skipped, season, options, years.notes, taken)


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
    crop: PlanCrop,
    need: Need,
    stands: Sequence[Stand],
    season: Season,
    options: PlanOptions,
    rng: np.random.Generator,
) -> tuple[Planned | str, Floats]:
    """The crop's question on the training years and its trial on the fresh ones, or why there is none.

    With it the bed that its stands take.
    """
    training = season.years(0, options.n_years)
    fresh = season.years(options.n_years, options.n_years + options.fresh_years)
    there, later = (standing(crop, stands, some, options.noise, rng) for some in (training, fresh))
    allowed, reason = sowing_weeks(crop, training, options)
    if not allowed.any():
        return reason, there.occupied_m2
    kernel = harvest_kernel(crop, training, rng)
    allowed &= ~bolting_weeks(crop, kernel.ready, training)
    if not allowed.any():
        return BOLTS, there.occupied_m2
    noise = yield_noise(options.noise, options.n_years, rng)
    limits = options.min_sowings, options.max_sowings
    problem = crop_problem(crop, kernel, noise, allowed, need, options.weights, limits, there)
    if isinstance(problem, str):
        return problem, there.occupied_m2
    unseen = harvest_kernel(crop, fresh, rng, kernel.clearing)
    fresh_noise = yield_noise(options.noise, options.fresh_years, rng)
    trial = crop_trial(crop, unseen, fresh_noise, allowed & offered(kernel), need, later)
    return Planned(problem, trial), there.occupied_m2


def find_plan(asked: Asked, rng: np.random.Generator) -> Found:
    """Every way of sowing, each as good as it can be made, and the plan."""
    problems, room = asked.problems, asked.room_m2
    rules = [tuned_rules(problem) for problem in problems]
    best = [
        search(problem, np.array(list(tuned.values())), rng, asked.options.rounds)[0]
        for problem, tuned in zip(problems, rules, strict=True)
    ]
    by_rule = {rule: [tuned[rule] for tuned in rules] for rule in RULES}
    prices, chosen = np.zeros(PLAN_WEEKS), best
    if room is not None and not fits_beds(problems, best, room):
        chosen, prices = fit_to_beds(problems, best, list(by_rule.values()), room)
    answers = {rule: cut_to_beds(problems, found, room) for rule, found in by_rule.items()}
    dropped = [
        problem.crop.crop
        for problem, wanted, got in zip(problems, best, chosen, strict=True)
        if wanted.any() and not got.any()
    ]
    return Found(answers | {THIS_PLAN: chosen}, prices, dropped)


def told(asked: Asked, found: Found, put_by: pl.DataFrame, repeated: list[Floats] | None = None) -> PlanResult:
    """The answers as tables and notes.

    Args:
        asked: the questions.
        found: the answers.
        put_by: as in ``plan_sowings``.
        repeated: last season's steps in each sowing week, one array per crop.
    """
    season, options, policy = asked.season, asked.options, asked.policy
    in_weeks = {
        name: [entry.in_weeks(answer) for entry, answer in zip(asked.planned, answers, strict=True)]
        for name, answers in found.answers.items()
    }
    trials, plan = [entry.trial for entry in asked.planned], in_weeks[policy]
    policies = in_weeks if repeated is None else {LAST_SEASON: repeated} | in_weeks
    bed_prices = bed_price_table(found.prices, season)
    cost, least = _cost(asked, found.answers[policy]), _least_cost(asked, found)
    notes = [
        *asked.notes,
        *([bound_note(cost, least)] if least is not None else []),
        *area_notes(bed_prices, found.dropped),
        *_simple_notes(trials, in_weeks, options),
        *standing_notes(trials),
        *surplus_notes(trials, plan),
        *gap_notes(trials, plan, season, options.longest_gap),
        *light_notes(trials, plan, season),
    ]
    return PlanResult(
        sowing_plan=plan_table(trials, plan, season, _jar_kg(put_by)),
        harvest_outlook=outlook_table(trials, plan, season),
        plan_comparison=compare(trials, policies if trials else {}),
        last_season_outlook=outlook_table(trials, repeated, season) if repeated else outlook_table([], [], season),
        skipped=_skipped(asked, found.answers[policy], found.dropped),
        bed_prices=bed_prices,
        notes=tuple(notes),
        policy=policy,
        cost=cost if trials else None,
        least_cost=least,
    )


def _cost(asked: Asked, answers: Sequence[Floats]) -> float:
    return sum(float(p.costs(answer[None])[0]) for p, answer in zip(asked.problems, answers, strict=True))


def _least_cost(asked: Asked, found: Found) -> float | None:
    """What no plan can go below; full beds are charged for at their prices, and the whole bed is credited."""
    moves, room = asked.options.bound_moves, asked.room_m2
    if moves == 0 or not asked.planned:
        return None
    least = 0.0 if room is None else -float(found.prices @ room)
    for problem, answer in zip(asked.problems, found.answers[THIS_PLAN], strict=True):
        toll = problem.occupied_m2 @ found.prices
        least += lower_bound(problem, float(problem.costs(answer[None], toll)[0]), moves, toll)
    return least


def _simple_notes(trials: Sequence[Trial], in_weeks: dict[str, list[Floats]], options: PlanOptions) -> list[str]:
    if not trials:
        return []
    simple, full = (yearly_costs(trials, in_weeks[policy], options.weights) for policy in (EQUAL_WARMTH, THIS_PLAN))
    return simple_note(simple, full, chosen=options.simple)


def _skipped(asked: Asked, answers: Sequence[Floats], dropped: Sequence[str]) -> pl.DataFrame:
    skipped = dict(asked.skipped)
    for problem, answer in zip(asked.problems, answers, strict=True):
        name = problem.crop.crop
        if not answer.any():
            skipped[name] = "no room in the beds" if name in dropped else "no sowing of it is worth its work"
    return pl.DataFrame(sorted(skipped.items()), schema=SKIPPED_SCHEMA, orient="row")


def _jar_kg(put_by: pl.DataFrame) -> dict[str, float]:
    """Picked kg that one container takes, where the frame says how many are to be made."""
    if "containers_to_make" not in put_by.columns:
        return {}
    return {
        crop: kg / count
        for crop, kg, count in put_by.select("crop", "kg_to_put_by", "containers_to_make").iter_rows()
        if kg and count
    }
