"""What no plan can go below, against full enumeration of small cases."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from small_plans import every_answer, plan_crop, small_problem

from pipeline.plan.beds import fit_to_beds
from pipeline.plan.bound import lower_bound
from pipeline.plan.options import PLAN_WEEKS
from pipeline.plan.problem import Need
from pipeline.plan.rules import RULES, tuned_rules


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("most_sowings", [1, 2, 5])
def test_the_bound_is_below_the_best_of_all_answers_and_near_it(seed: int, most_sowings: int) -> None:
    problem = small_problem(seed, most_sowings)
    best = float(problem.costs(every_answer(problem)).min())
    bound = lower_bound(problem, best, 100)
    assert bound <= best + 1e-9
    assert bound >= (0.98 if most_sowings == 1 else 0.8) * best


@pytest.mark.parametrize("moves", [1, 5, 30])
def test_the_bound_holds_however_little_or_wrongly_prices_were_moved(moves: int) -> None:
    problem = small_problem(3)
    best = float(problem.costs(every_answer(problem)).min())
    for known in (0.5 * best, best, 10 * best):
        assert lower_bound(problem, known, moves) <= best + 1e-9


@pytest.mark.parametrize("seed", range(3))
def test_the_bound_with_a_charge_on_beds(seed: int) -> None:
    problem = small_problem(seed)
    toll = np.linspace(0.0, 0.8, len(problem.weeks))
    best = float(problem.costs(every_answer(problem), toll).min())
    assert 0.8 * best <= lower_bound(problem, best, 100, toll) <= best + 1e-9


@pytest.mark.parametrize("seed", range(3))
def test_prices_of_full_beds_give_a_bound_for_the_whole_garden(seed: int) -> None:
    """Each crop charged for its bed, less the whole bed at its price, is below every plan that fits."""
    area_m2 = 1.5
    problems = [replace(small_problem(seed + k, 2), most=3) for k in (0, 50)]
    sets = [every_answer(problem) for problem in problems]
    wanted = [problem.best_of(answers)[0] for problem, answers in zip(problems, sets, strict=True)]
    rules = [[tuned_rules(problem)[rule] for problem in problems] for rule in RULES]
    _, prices = fit_to_beds(problems, wanted, rules, area_m2)
    assert prices.max() > 0
    bound = -area_m2 * float(prices.sum())
    for problem in problems:
        toll = problem.occupied_m2 @ prices
        bound += lower_bound(problem, float(problem.costs(every_answer(problem), toll).min()), 100, toll)
    costs = [problem.costs(some) for problem, some in zip(problems, sets, strict=True)]
    use = [some @ problem.occupied_m2[:, :8] for problem, some in zip(problems, sets, strict=True)]
    fits = (use[0][:, None] + use[1][None] <= area_m2 + 1e-9).all(axis=2)
    best = np.where(fits, costs[0][:, None] + costs[1][None], np.inf).min()
    assert 0.75 * best <= bound <= best + 1e-9


def test_one_sowing_week_one_year_is_solved_exactly() -> None:
    """3 kg wanted in the week, 1 kg a step: three steps, 0.75 for the work and 0.01 for each step's half m2."""
    problem = replace(
        small_problem(0),
        crop=plan_crop(life_weeks=0),
        need=Need(np.zeros(PLAN_WEEKS), 0.0, np.inf, 1.0),
        weeks=np.arange(1),
        running=np.ones((1, 1, 1)),
        wanted=np.full((1, 1), 3.0),
        occupied_m2=np.zeros((1, PLAN_WEEKS)),
    )
    assert problem.costs(every_answer(problem)).min() == pytest.approx(0.78)
    assert lower_bound(problem, 0.78, 200) == pytest.approx(0.78, rel=0.01)
