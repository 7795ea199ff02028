"""Small invented gardens for the tests of the sowing plan: a person can check their sums by eye."""

from __future__ import annotations

import datetime as dt
import itertools
from dataclasses import dataclass, fields

import numpy as np
import polars as pl
from core_frames import core, reference

from pipeline.plan.crops import PlanCrop
from pipeline.plan.options import PLAN_DAYS, PLAN_WEEKS, PlanOptions, PlanWeights
from pipeline.plan.plan import PlanResult, plan_sowings
from pipeline.plan.problem import Need, Problem
from pipeline.plan.season import Season
from pipeline.plan.standing import Ground
from pipeline.warmth.starts import fit_yields
from pipeline.warmth.timing import fit_crop_timing
from pipeline.warmth.weather_years import WEATHER_SCHEMA, WeatherYears, weather_years

NO_WEATHER = pl.DataFrame(schema=WEATHER_SCHEMA)
# Invented normals of a cool oceanic place.
NORMALS = pl.DataFrame(
    {
        "month": range(1, 13),
        "tmin_c": [1.0, 1.5, 2.5, 4.0, 7.0, 10.0, 12.0, 12.0, 9.5, 6.5, 3.5, 1.5],
        "tmax_c": [6.0, 8.0, 11.0, 14.0, 18.0, 21.0, 24.0, 24.0, 20.0, 15.0, 9.0, 6.0],
    }
)
LETTUCE = {
    "base_c": 0.0,
    "upper_c": 28.0,
    "degree_days_to_first_pick": 720.0,
    "picking_days": 18.0,
    "holding_days": 5.0,
    "keeping_days": 9.0,
    "yield_kg_per_m": 1.0,
    "in_row_cm": 8.0,
    "row_spacing_cm": 30.0,
    "kill_temperature_c": -3.0,
}
TOMATO = {
    "base_c": 10.0,
    "upper_c": 30.0,
    "degree_days_to_first_pick": 500.0,
    "picking_days": 50.0,
    "holding_days": 6.0,
    "keeping_days": 8.0,
    "clock_from_planting_out": 1.0,
    "raising_days": 42.0,
    "yield_kg_per_m": 3.0,
    "in_row_cm": 50.0,
    "row_spacing_cm": 80.0,
    "kill_temperature_c": 0.0,
    "frost_weeks": 1.0,
}


def day(text: str) -> dt.date:
    return dt.date.fromisoformat(text)


def plan_crop(**values: object) -> PlanCrop:
    """10 C a day over a base of 0: 500 C d are 50 days. One metre gives 1 kg, over 14 days."""
    return PlanCrop(
        **(
            {
                "crop": "kohlrabi",
                "base_c": 0.0,
                "upper_c": 30.0,
                "need": 500.0,
                "days": None,
                "sd": 0.0,
                "need_sd": 0.0,
                "picking_days": 14.0,
                "ripening_days": 14.0,
                "life_weeks": 1,
                "raised": False,
                "raising_days": 0,
                "kill_c": None,
                "least_c": None,
                "frost_weeks": None,
                "unit": "m",
                "step": 1.0,
                "step_m": 1.0,
                "step_m2": 0.5,
                "step_kg": 1.0,
                "sown_again": True,
            }
            | values
        )
    )


def steady_season(n_years: int = 1, celsius: float = 10.0) -> Season:
    flat = np.full((n_years, 7 * PLAN_WEEKS), celsius)
    number = np.arange(7 * PLAN_WEEKS) % 365 + 1
    return Season(day("2026-01-05"), flat, flat.copy(), np.zeros_like(flat, dtype=bool), number, None)


def small_problem(seed: int, most_sowings: int = 3, step_m2: float = 0.5) -> Problem:
    """Five sowing weeks, eight harvest weeks, three years of invented chance; at most 4 steps each."""
    rng = np.random.default_rng(seed)
    harvest = np.zeros((8, 5, 3))
    for sown in range(5):
        for year in range(3):
            start = sown + int(rng.integers(0, 3))
            harvest[start : start + 2, sown, year] = rng.uniform(0.2, 1.2)
    occupied = np.zeros((5, PLAN_WEEKS))
    for sown in range(5):
        occupied[sown, sown : sown + 4] = step_m2
    crop = plan_crop(life_weeks=int(rng.integers(0, 3)), step_m2=step_m2)
    wanted = rng.uniform(0.5, 1.5, (8, 3))
    need = Need(np.zeros(PLAN_WEEKS), float(rng.choice([0.0, 3.0])), 1.0, 1.0)
    return Problem(
        crop=crop,
        need=need,
        weights=PlanWeights(),
        weeks=np.arange(5),
        running=harvest.cumsum(axis=0),
        wanted=wanted,
        median_ready=7.0 * np.arange(1, 6),
        occupied_m2=occupied,
        most=4,
        most_sowings=most_sowings,
    )


def every_answer(problem: Problem) -> np.ndarray:
    answers = np.array(list(itertools.product(range(problem.most + 1), repeat=len(problem.weeks))), dtype=float)
    return answers[np.count_nonzero(answers, axis=1) <= problem.most_sowings]


@dataclass(frozen=True)
class Asking:
    """What a small plan is asked for: the arguments of ``plan_sowings``."""

    crops: pl.DataFrame
    timing: pl.DataFrame
    yields: pl.DataFrame
    years: WeatherYears
    fresh_needs: pl.DataFrame
    put_by: pl.DataFrame
    options: PlanOptions
    rng: np.random.Generator


def small_plan(last_season: pl.DataFrame | None = None, ground: Ground | None = None, **asked: object) -> PlanResult:
    """The plan of a small garden; ``asked`` as for ``small_asking``."""
    asking = small_asking(**asked)
    *given, rng = (getattr(asking, field.name) for field in fields(asking))
    return plan_sowings(*given, rng=rng, last_season=last_season, ground=ground)


def small_asking(
    crops: pl.DataFrame | None = None,
    first_day: str = "2026-01-01",
    climate: pl.DataFrame | None = NORMALS,
    weather: pl.DataFrame = NO_WEATHER,
    fresh: dict[str, float] | None = None,
    shelf: dict[str, float] | None = None,
    seed: int = 1,
    **changes: object,
) -> Asking:
    """Six years to fit and ten to judge; fresh needs from the fifth to the tenth month of the season."""
    crops = reference(lettuce=LETTUCE, tomato=TOMATO) if crops is None else crops
    options = PlanOptions(
        day(first_day), **({"latitude": 50.0, "n_years": 6, "fresh_years": 10, "rounds": 1, "bound_moves": 0} | changes)
    )
    rng = np.random.default_rng(seed)
    years = weather_years(
        weather, climate, options.latitude, options.first_day, PLAN_DAYS, options.n_years + options.fresh_years, rng
    )
    months = [(options.first_day.month + k - 1) % 12 + 1 for k in range(4, 10)]
    fresh = {"lettuce": 0.8, "tomato": 1.0} if fresh is None else fresh
    needs = pl.DataFrame(
        [(crop, month, kg) for crop, kg in fresh.items() for month in months],
        schema={"crop": pl.String, "month": pl.Int64, "fresh_kg_per_week": pl.Float64},
        orient="row",
    )
    put_by = pl.DataFrame(
        [(crop, kg, 10) for crop, kg in (shelf or {}).items()],
        schema={"crop": pl.String, "kg_to_put_by": pl.Float64, "containers_to_make": pl.Int64},
        orient="row",
    )
    starts = pl.DataFrame(
        schema={"sowing_id": pl.String(), "crop": pl.String(), "clock_from": pl.Date(), "first_pick_on": pl.Date()}
    )
    yields = fit_yields(core("sowings"), core("harvests"), crops)
    timing = fit_crop_timing(starts, NO_WEATHER, crops, yields)
    return Asking(crops, timing, yields, years, needs, put_by, options, rng)
