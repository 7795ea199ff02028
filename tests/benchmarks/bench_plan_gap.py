"""How far the search is from the best possible, crop by crop, against HiGHS. Run by hand; a quarter of an hour.

    uv run --with highspy python -m tests.benchmarks.bench_plan_gap SECONDS

Each crop's whole question, 20 weather years with every use in every week, goes to HiGHS as one integer programme for at
most SECONDS, with amounts in fractions and our answer to start from. Its bound is
compared with the cost of our plan. Seattle weather (NOAA, as packaged in vega_datasets); invented needs; beds not
limited.
"""

from __future__ import annotations

import datetime as dt
import sys
import time

import highspy
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import block_diag, csr_array, diags_array, eye_array, hstack, kron, vstack

from pipeline.answers import BOUND_MOVES
from pipeline.plan.bound import lower_bound, most_amounts
from pipeline.plan.options import PlanOptions
from pipeline.plan.plan import THIS_PLAN, find_plan
from pipeline.plan.problem import Problem
from tests.benchmarks.bench_sowing import NEEDS, Climate, asked_for, seattle

Floats = NDArray[np.float64]


def proved(problem: Problem, answer: Floats, seconds: float) -> float:
    """Lower bound on the cost of every answer to one crop's question.

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
    # A sowing never pays beyond the amount that is best if it is the only one.
    amounts = most_amounts(problem, None)
    steps = hstack([eye_array(n_sowings), -diags_array(amounts)])
    rest = csr_array((n_sowings, 3 * weeks * n_years))
    sown = np.concatenate([np.zeros(n_sowings), np.ones(n_sowings), np.zeros(3 * weeks * n_years)])
    rows = vstack(
        [
            hstack([-csr_array(running), nothing, by_year]),
            hstack([csr_array(old), nothing, -by_year]),
            hstack([csr_array((n_years, 2 * n_sowings)), shelf]),
            hstack([steps, rest]),
            csr_array(sown[None]),
        ],
        format="csr",
    )
    limits = np.zeros(rows.shape[0])
    limits[2 * n_years * weeks :][:n_years] = problem.need.put_by_kg
    limits[-1] = problem.most_sowings
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
    upper = np.concatenate([amounts, np.ones(n_sowings), *most])
    given = (
        weights.unmet_fresh * problem.wanted.sum(axis=0).mean() + weights.unmet_shelf * problem.need.put_by_kg
    ) / unit
    model = highspy.HighsLp()
    model.num_col_, model.num_row_ = rows.shape[1], rows.shape[0]
    model.col_cost_, model.col_lower_, model.col_upper_ = cost, np.zeros(len(upper)), upper
    model.row_lower_, model.row_upper_ = np.full(len(limits), -highspy.kHighsInf), limits
    model.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    model.a_matrix_.start_, model.a_matrix_.index_, model.a_matrix_.value_ = rows.indptr, rows.indices, rows.data
    kinds = highspy.HighsVarType.kContinuous, highspy.HighsVarType.kInteger
    model.integrality_ = [kinds[int(whole)] for whole in sown]
    solver = highspy.Highs()
    for option, value in (
        ("output_flag", False),
        ("threads", 1),
        ("time_limit", seconds),
        ("mip_rel_gap", 1e-4),
        ("mip_heuristic_effort", 0.02),
    ):
        solver.setOptionValue(option, value)
    solver.passModel(model)
    places = np.arange(2 * n_sowings, dtype=np.int32)
    solver.setSolution(len(places), places, np.concatenate([np.minimum(answer, amounts), answer > 0]).astype(float))
    solver.run()
    return float(solver.getInfo().mip_dual_bound + given)


def main(seconds: float) -> None:
    """Print a row per crop and the sums."""
    climate = Climate("Seattle", seattle(), 47.6, dt.date(2026, 1, 1))
    options = PlanOptions(climate.first_day, latitude=climate.latitude, n_years=20)
    asked, rng = asked_for(climate, len(NEEDS), options, 1)
    begin = time.process_time()
    ours = find_plan(asked, rng).answers[THIS_PLAN]
    print(f"our search, {len(ours)} crops, 20 years: {time.process_time() - begin:.1f} s of processor")
    print("| crop | ours | proved by HiGHS | proved by us | ours above the higher |\n|---|---|---|---|---|")
    sums = np.zeros(2)
    for problem, answer in zip(asked.problems, ours, strict=True):
        cost = float(problem.costs(answer[None])[0])
        by_highs, by_us = proved(problem, answer, seconds), lower_bound(problem, cost, BOUND_MOVES)
        bound = max(by_highs, by_us)
        sums += cost, bound
        print(
            f"| {problem.crop.crop} | {cost:.3f} | {by_highs:.3f} | {by_us:.3f} | {cost / bound - 1:.2%} |", flush=True
        )
    print(f"| all | {sums[0]:.2f} | | {sums[1]:.2f} | {sums[0] / sums[1] - 1:.2%} |")


if __name__ == "__main__":
    main(float(sys.argv[1]))
