"""The glut balance of 1e6 pickings and 1e6 fresh uses, against a DuckDB group-by of the same rows. By hand:

    python tests/benchmarks/bench_gluts.py

Invented logs: 40 crops over three years; weights are whole grams. Each side starts from the typed frames in
memory and is timed as the best of three.
"""

from __future__ import annotations

import datetime as dt
import sys
import time
from collections.abc import Callable
from pathlib import Path

import duckdb
import numpy as np
import polars as pl

sys.path.insert(0, str(Path(__file__).parents[1]))

from core_frames import core, reference

from pipeline.harvest.gluts import GlutAnswers, glut_balance
from pipeline.settings import Settings
from schemas.contracts import core_types

CROPS, YEARS, SOWINGS = 40, 3, 2000
FIRST, AS_OF = dt.date(2023, 1, 1), dt.date(2025, 12, 31)


class Arrow:
    """Hands a polars frame to DuckDB without pyarrow."""

    def __init__(self, frame: pl.DataFrame) -> None:
        self.frame = frame

    def __arrow_c_stream__(self, requested_schema: object = None) -> object:
        return self.frame.__arrow_c_stream__(requested_schema)


def rows(log: str, values: dict[str, object]) -> pl.DataFrame:
    """A typed log of many rows; columns not given are null."""
    frame = pl.DataFrame(values)
    return frame.select(
        (pl.col(name) if name in values else pl.lit(None)).cast(kind).alias(name)
        for name, kind in core_types(log).items()
    )


def invented(n: int) -> dict[str, pl.DataFrame]:
    """``n`` pickings and ``n`` fresh uses."""
    rng = np.random.default_rng(11)
    names = np.array([f"crop {at:02d}" for at in range(CROPS)])
    days = np.datetime64(FIRST) + rng.integers(0, 365 * YEARS, (2, n))
    crops = names[rng.integers(0, CROPS, (2, n))]
    kg = rng.integers(50, 3000, (2, n)) / 1000
    uses = np.array(["eaten", "given", "donated"])[rng.integers(0, 3, n)]
    sown = np.array([f"S{at}" for at in range(SOWINGS)])[rng.integers(0, SOWINGS, n)]
    return {
        "harvests": rows("harvests", {"picked_on": days[0], "crop": crops[0], "weight_kg": kg[0], "sowing_id": sown}),
        "consumption": rows("consumption", {"used_on": days[1], "crop": crops[1], "weight_kg": kg[1], "use": uses}),
        "batches": core("batches"),
        "ingredients": core("ingredients"),
        "spoilage": core("spoilage"),
        "crops": reference(**{name: {"keeping_days": 3.0 + at} for at, name in enumerate(names)}),
        "needs_fresh": pl.DataFrame(
            [(name, month, 20.0) for name in names for month in range(1, 13)],
            schema={"crop": pl.String, "month": pl.Int64, "fresh_kg_per_week": pl.Float64},
            orient="row",
        ),
    }


def best_of_three(work: Callable[[], object]) -> float:
    """Shortest of three runs, seconds."""
    seconds = []
    for _ in range(3):
        began = time.perf_counter()
        work()
        seconds.append(time.perf_counter() - began)
    return min(seconds)


def group_by(logs: dict[str, pl.DataFrame]) -> None:
    """The plain sums by crop and week that the balance is compared with."""
    harvests, consumption = Arrow(logs["harvests"]), Arrow(logs["consumption"])
    assert harvests is not None
    assert consumption is not None
    with duckdb.connect() as connection:
        connection.execute(
            "select crop, date_trunc('week', picked_on), sum(weight_kg) from harvests group by all"
        ).fetchall()
        connection.execute(
            "select crop, date_trunc('week', used_on), \"use\", sum(weight_kg) from consumption group by all"
        ).fetchall()


def main() -> None:
    """Print the ratio for three sizes."""
    sys.stdout.write(f"{'pickings':>10} {'uses':>10} {'group-by s':>11} {'balance s':>10} {'ratio':>6}\n")
    for n in (10_000, 100_000, 1_000_000):
        logs = invented(n)

        def balance(logs: dict[str, pl.DataFrame] = logs) -> GlutAnswers:
            return glut_balance(**logs, settings=Settings(), as_of=AS_OF)

        plain = best_of_three(lambda logs=logs: group_by(logs))
        ours = best_of_three(balance)
        sys.stdout.write(f"{n:>10} {n:>10} {plain:>11.3f} {ours:>10.3f} {ours / plain:>6.1f}\n")


if __name__ == "__main__":
    main()
