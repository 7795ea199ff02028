"""Do the 95 % intervals cover, and are innocents accused? Invented households with known risks.

By hand: ``python -m tests.benchmarks.coverage_spoilage [households]``. Each household goes through the logs and
back, so that dating by looks is part of what is tried.
"""

from __future__ import annotations

import sys
import time

import numpy as np
import polars as pl

from pipeline.keeping.differences import spoilage_differences
from pipeline.keeping.permutation import worse_than_rest
from pipeline.keeping.salt import salt_response
from pipeline.keeping.spoilage import estimate_keeping, spoilage_table
from tests.benchmarks.households import YEAR, Truth, lifetimes, simulate

DRAWS = 199


def true_shares(truth: Truth, seed: int = 1) -> tuple[float, float]:
    """12-month risk if left alone, and share lost within 12 months while others are opened."""
    rng = np.random.default_rng(seed)
    spoils, opens, exists = lifetimes(truth, np.ones(200_000), rng)
    lost = (spoils <= YEAR) & (spoils < opens) & exists
    return truth.risk_12m, float(lost.sum() / exists.sum())


def coverage(households: int) -> None:
    """Coverage by risk, batches and shared fate: households of one kind of food, and of ten kinds in one table.

    Ten kinds of 4 batches have 40 between them, from which the correlation within a batch is learned.
    """
    print("risk kinds batches shared | kept: covers bias  width null | lost: covers bias  width")
    for risk in (0.05, 0.15, 0.35):
        for kinds, batches in ((1, 4), (1, 8), (1, 40), (10, 4)):
            for shared in (0.0, 1.0):
                truth = Truth(risk, shared)
                rng = np.random.default_rng([int(100 * risk), batches, int(shared), kinds])
                code = np.repeat(np.arange(households), kinds * batches)
                histories = simulate(truth, code, np.ones(code.size), rng)
                kind = pl.Series("kind", histories["batch"].to_numpy() % (kinds * batches) // batches)
                alone = histories.with_columns(kind).partition_by("household")
                found = pl.concat(estimate_keeping(one, "kind", YEAR) for one in alone)
                print(f"{risk:.2f} {kinds:5d} {batches:7d} {shared:6.0f} | {_covered(found, *true_shares(truth))}")


def _covered(found: pl.DataFrame, alone: float, lost: float) -> str:
    """How often the true shares lie inside, bias and width; those not followed for 12 months are asked of lost only."""
    kept = found.filter(pl.col("kept").is_not_null())
    inside = kept.select((pl.col("kept_low") <= 1 - alone) & (1 - alone <= pl.col("kept_high")))
    lost_inside = found.select((pl.col("lost_low") <= lost) & (lost <= pl.col("lost_high")))
    return (
        f"{100 * _mean(inside):12.1f} {_mean(kept.select('kept')) - 1 + alone:+.3f} "
        f"{_mean(kept.select(pl.col('kept_high') - pl.col('kept_low'))):6.2f} {found.height - kept.height:4d} | "
        f"{100 * _mean(lost_inside):12.1f} {_mean(found.select('lost_share')) - lost:+.3f} "
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
                flagged += worse_than_rest(histories, "group", rng, DRAWS).filter(pl.col("p_value") <= 0.05).height > 0
                table = spoilage_table(histories, "group")
                hazard = effect[table["group"].cast(pl.Int64).to_numpy()] * (1 / 0.85 - 1)
                both = table.select(truth=pl.Series(1 / (1 + hazard)), raw="kept_12m", pooled="pooled_kept_12m")
                errors.append(both.drop_nulls())
            off = pl.concat(errors).select((pl.col("raw", "pooled") - pl.col("truth")).pow(2).mean().sqrt())
            raw, pooled = off.row(0)
            print(f"{methods:7d} {spread:6.1f} | {100 * flagged / households:19.1f} | {raw:.3f} {pooled:.3f}")


def accused_values(households: int) -> None:
    """How often something recorded is accused: innocents, and a lid that does make jars spoil faster."""
    print("batches shared ratio | innocent accused | cloth accused | ratio of cloth: true, median, covers")
    for batches in (12, 24, 60):
        for shared in (0.0, 1.0):
            for ratio in (1.0, 4.0):
                rng = np.random.default_rng([batches, int(shared), int(ratio), 1])
                wrong, right, tables = 0, 0, []
                for _ in range(households):
                    found = spoilage_differences(_recorded(batches, shared, ratio, rng), rng, DRAWS)
                    accused = found.filter(pl.col("p_value") <= 0.05)
                    guilty = (pl.col("value") == "cloth") & (ratio > 1)
                    wrong += accused.filter(~guilty).height > 0
                    right += accused.filter(guilty).height > 0
                    tables.append(found.filter(pl.col("value") == "cloth"))
                cloth = pl.concat(tables)
                true = cloth["spoiled"].sum() / cloth["expected"].sum()
                holds = cloth.select((pl.col("low") <= true) & (true <= pl.col("high")))
                print(
                    f"{batches:7d} {shared:6.0f} {ratio:5.0f} | {100 * wrong / households:16.1f} | "
                    f"{100 * right / households:13.1f} | {true:.2f} {cloth['ratio'].median():.2f} "
                    f"{100 * _mean(holds):.1f}"
                )


def _recorded(batches: int, shared: float, ratio: float, rng: np.random.Generator) -> pl.DataFrame:
    """One household: three methods of unlike risk, a lid that may matter, and five records that do not."""
    method = rng.choice(["jam", "dry", "ferment"], batches)
    lid = rng.choice(["metal", "glass", "cloth"], batches, p=[0.5, 0.3, 0.2])
    risk = np.select([method == "jam", method == "dry"], [0.5, 1.0], 2.0) * np.where(lid == "cloth", ratio, 1.0)
    histories = simulate(Truth(0.15, shared), np.zeros(batches, dtype=np.int64), risk, rng)
    records = {
        "lid": lid,
        "store": rng.choice(["pantry", "cellar", "fridge"], batches, p=[0.6, 0.3, 0.1]),
        "piece": rng.choice(["whole", "chunk", "shred"], batches),
        "starter": rng.choice(["none", "whey", "old brine"], batches, p=[0.8, 0.15, 0.05]),
        "submerged": rng.random(batches) < 0.8,
        "vented": rng.random(batches) < 0.5,
    }
    batch = histories["batch"].to_numpy()
    return histories.with_columns(
        pl.Series("method", method[batch]), *(pl.Series(name, values[batch]) for name, values in records.items())
    )


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
    accused_values(number)
    salt_trends(number)
    print(f"{number} households per row, {time.perf_counter() - start:.0f} s")
