"""How far the search is from the best possible, crop by crop, against HiGHS. Run by hand; a quarter of an hour.

    uv run python -m tests.benchmarks.bench_plan_gap SECONDS

Each crop's whole question, 20 weather years with every use in every week, goes to HiGHS as one integer programme for at
most SECONDS. Its proved bound is compared with the cost of our plan, and its own best answer with ours. Seattle weather
(NOAA, as packaged in vega_datasets); invented needs; beds not limited.
"""

from __future__ import annotations

import datetime as dt
import sys
import time

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import block_diag, csr_array, eye_array, hstack, kron

from pipeline.analysis.plan_problem import Problem
from pipeline.analysis.sowing_options import PlanOptions
from pipeline.analysis.sowing_plan import THIS_PLAN, find_plan
from tests.benchmarks.bench_sowing import NEEDS, Climate, asked_for, seattle


def programme(problem: Problem, seconds: float) -> tuple[float, float | None]:
    """Proved lower bound, and the cost of the best answer found, of one crop.

    Variables: steps and whether sown by sowing week; then by year and week eaten, put by and lost, kg. What has left
    by a week is at most what was ready by then, and at least what was ready longer ago than it keeps.
    """
    weeks, n_sowings, n_years = problem.running.shape
    life = min(problem.crop.life_weeks, weeks)
    unit, weights = problem.need.week_kg, problem.weights
    triangle = csr_array(np.tril(np.ones((weeks, weeks))))
    left = hstack([triangle] * 3)
    by_year = block_diag([left] * n_years, format="csr")
    running = problem.running.transpose(2, 0, 1).reshape(n_years * weeks, n_sowings)
    old = np.zeros_like(problem.running)
    old[life:] = problem.running[: weeks - life]
    old[-1] = problem.running[-1]
    old = old.transpose(2, 0, 1).reshape(n_years * weeks, n_sowings)
    nothing = csr_array((n_years * weeks, n_sowings))
    shelf = kron(eye_array(n_years), np.concatenate([np.zeros(weeks), np.ones(weeks), np.zeros(weeks)])[None])
    steps = hstack([eye_array(n_sowings), -problem.most * eye_array(n_sowings)])
    rest = csr_array((n_sowings, 3 * weeks * n_years))
    rows = [
        LinearConstraint(hstack([-csr_array(running), nothing, by_year]), -np.inf, 0.0),
        LinearConstraint(hstack([-csr_array(old), nothing, by_year]), 0.0, np.inf),
        LinearConstraint(hstack([csr_array((n_years, 2 * n_sowings)), shelf]), -np.inf, problem.need.put_by_kg),
        LinearConstraint(hstack([steps, rest]), -np.inf, 0.0),
        LinearConstraint(
            np.concatenate([np.zeros(n_sowings), np.ones(n_sowings), np.zeros(3 * weeks * n_years)])[None],
            -np.inf,
            problem.most_sowings,
        ),
    ]
    each = np.concatenate(
        [
            np.full(weeks, -weights.unmet_fresh),
            np.full(weeks, -weights.unmet_shelf),
            np.full(weeks, weights.waste),
        ]
    ) / (unit * n_years)
    cost = np.concatenate(
        [
            np.full(n_sowings, weights.area * problem.crop.step_m2),
            np.full(n_sowings, weights.sowing),
            np.tile(each, n_years),
        ]
    )
    cap = min(problem.need.put_by_kg_per_week, problem.need.put_by_kg)
    most = [np.concatenate([wanted, np.full(weeks, cap), np.full(weeks, np.inf)]) for wanted in problem.wanted.T]
    upper = np.concatenate([np.full(n_sowings, problem.most), np.ones(n_sowings), *most])
    whole = np.concatenate([np.ones(2 * n_sowings), np.zeros(3 * weeks * n_years)])
    given = (
        weights.unmet_fresh * problem.wanted.sum(axis=0).mean() + weights.unmet_shelf * problem.need.put_by_kg
    ) / unit
    solved = milp(
        cost,
        constraints=rows,
        bounds=Bounds(np.zeros(len(upper)), upper),
        integrality=whole,
        options={"time_limit": seconds, "mip_rel_gap": 1e-4},
    )
    found = None if solved.x is None else float(problem.costs(np.round(solved.x[:n_sowings])[None])[0])
    return float(solved.mip_dual_bound + given), found


def main(seconds: float) -> None:
    """Print a row per crop and the sums."""
    climate = Climate("Seattle", seattle(), 47.6, dt.date(2026, 1, 1))
    options = PlanOptions(climate.first_day, latitude=climate.latitude, n_years=20)
    asked, rng = asked_for(climate, len(NEEDS), options, 1)
    begin = time.process_time()
    ours = find_plan(asked, rng).answers[THIS_PLAN]
    print(f"our search, {len(ours)} crops, 20 years: {time.process_time() - begin:.1f} s of processor")
    print("| crop | ours | HiGHS best | proved bound | ours above it |\n|---|---|---|---|---|")
    sums = np.zeros(2)
    for problem, answer in zip(asked.problems, ours, strict=True):
        cost = float(problem.costs(answer[None])[0])
        bound, found = programme(problem, seconds)
        sums += cost, bound
        best = "none" if found is None else f"{found:.3f}"
        print(f"| {problem.crop.crop} | {cost:.3f} | {best} | {bound:.3f} | {cost / bound - 1:.2%} |", flush=True)
    print(f"| all | {sums[0]:.2f} | | {sums[1]:.2f} | {sums[0] / sums[1] - 1:.2%} |")


if __name__ == "__main__":
    main(float(sys.argv[1]))
