"""Do the 95 % intervals cover, and are innocents accused? Invented households with known risks.

By hand: ``python -m tests.benchmarks.coverage_spoilage [households]``. Each household goes through the logs and
back, so that dating by looks is part of what is tried.
"""

from __future__ import annotations

import sys
import time

import numpy as np
import polars as pl

from pipeline.analysis.keeping import estimate_keeping
from pipeline.analysis.permutation import worse_than_rest
from pipeline.analysis.salt import salt_response
from pipeline.analysis.spoilage import spoilage_table
from tests.benchmarks.households import YEAR, Truth, lifetimes, simulate

DRAWS = 199


def true_shares(truth: Truth, seed: int = 1) -> tuple[float, float]:
    """12-month risk if left alone, and share lost within 12 months while others are opened."""
    rng = np.random.default_rng(seed)
    spoils, opens, exists = lifetimes(truth, np.ones(200_000), rng)
    lost = (spoils <= YEAR) & (spoils < opens) & exists
    return truth.risk_12m, float(lost.sum() / exists.sum())


def coverage(households: int) -> None:
    """Table of coverage by risk, batches and shared fate."""
    print("risk  batches shared | kept: covers bias  width null | lost: covers bias  width")
    for risk in (0.05, 0.15, 0.35):
        for batches in (4, 8, 40):
            for shared in (0.0, 1.0):
                truth = Truth(risk, shared)
                rng = np.random.default_rng([int(100 * risk), batches, int(shared)])
                code = np.repeat(np.arange(households), batches)
                histories = simulate(truth, code, np.ones(code.size), rng)
                found = estimate_keeping(histories, "household", YEAR)
                alone, lost = true_shares(truth)
                kept = found.filter(pl.col("kept").is_not_null())
                inside = kept.select((pl.col("kept_low") <= 1 - alone) & (1 - alone <= pl.col("kept_high")))
                # Households not followed for 12 months are asked about the end of their follow-up.
                lost_in = found.select((pl.col("lost_low") <= lost) & (lost <= pl.col("lost_high")))
                print(
                    f"{risk:.2f} {batches:8d} {shared:6.0f} | {100 * _mean(inside):12.1f} "
                    f"{1 - alone - _mean(kept.select('kept')):+.3f} "
                    f"{_mean(kept.select(pl.col('kept_high') - pl.col('kept_low'))):6.2f} "
                    f"{found.height - kept.height:4d} | {100 * _mean(lost_in):12.1f} "
                    f"{_mean(found.select('lost_share')) - lost:+.3f} "
                    f"{_mean(found.select(pl.col('lost_high') - pl.col('lost_low'))):6.2f}"
                )


def _mean(frame: pl.DataFrame) -> float:
    return float(frame.to_series().cast(pl.Float64).mean())


def accusations(households: int) -> None:
    """How often some method is called worse though all are equal, and error of pooled and raw shares."""
    print("methods spread | some method flagged | rmse of 12-month share: raw, pooled")
    for methods in (4, 8):
        for spread in (0.0, 0.8):
            rng = np.random.default_rng([methods, int(10 * spread)])
            flagged, errors = 0, []
            for _ in range(households):
                size = rng.integers(2, 7, methods)
                method = np.repeat(np.arange(methods), size)
                effect = np.exp(spread * rng.standard_normal(methods))
                histories = simulate(Truth(), np.zeros(method.size, dtype=np.int64), effect[method], rng)
                histories = histories.with_columns(group=pl.Series(method[histories["batch"].to_numpy()]))
                flagged += worse_than_rest(histories, "group", rng, DRAWS)["p_value"].min() <= 0.05
                table = spoilage_table(histories, "group")
                hazard = effect[table["group"].cast(pl.Int64).to_numpy()] * (1 / 0.85 - 1)
                both = table.select(truth=pl.Series(1 / (1 + hazard)), raw="kept_12m", pooled="pooled_kept_12m")
                errors.append(both.drop_nulls())
            off = pl.concat(errors).select((pl.col("raw", "pooled") - pl.col("truth")).pow(2).mean().sqrt())
            raw, pooled = off.row(0)
            print(f"{methods:7d} {spread:6.1f} | {100 * flagged / households:19.1f} | {raw:.3f} {pooled:.3f}")


def salt_trends(households: int) -> None:
    """Size and power of the salt trend, and coverage of the hazard ratio's interval."""
    print("batches log ratio/point shared | p <= .05 | ratio: covers, mean log per point")
    for batches in (6, 12, 24):
        for slope in (0.0, float(np.log(0.25))):
            for shared in (0.0, 1.0):
                rng = np.random.default_rng([batches, int(-slope * 10), int(shared)])
                low, inside, logs, asked = 0, 0, [], 0
                for _ in range(households):
                    salt = rng.permutation(np.tile([1.5, 2.0, 2.5, 3.0], batches // 4 + 1)[:batches])
                    effect = np.exp(slope * (salt - 2.25))
                    truth = Truth(0.2, shared)
                    histories = simulate(truth, np.zeros(batches, dtype=np.int64), effect, rng)
                    salted = histories.with_columns(
                        salt=pl.Series(salt[histories["batch"].to_numpy()]), method=pl.lit("ferment")
                    ).with_columns(salt_pct="salt", salt_basis=pl.lit("of all"))
                    row = salt_response(salted, rng, DRAWS).row(0, named=True)
                    if row["p_value"] is None:
                        continue
                    asked += 1
                    low += row["p_value"] <= 0.05
                    inside += row["low"] <= np.exp(slope / 2) <= row["high"]
                    logs.append(2 * np.log(row["hazard_ratio_per_half_point"]))
                print(
                    f"{batches:7d} {slope:15.2f} {shared:6.0f} | {100 * low / households:8.1f} | "
                    f"{100 * inside / asked:13.1f} {np.mean(logs):+.2f} ({asked} of {households})"
                )


if __name__ == "__main__":
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    start = time.perf_counter()
    coverage(number)
    accusations(number)
    salt_trends(number)
    print(f"{number} households per row, {time.perf_counter() - start:.0f} s")
