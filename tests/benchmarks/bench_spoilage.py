"""Keeping estimates of 1e6 invented containers in 20 groups, against lifelines and statsmodels.

By hand: ``python -m tests.benchmarks.bench_spoilage [containers]``. The others have no batches: their variance
takes jars as independent, ours gives that and the one between batches.
"""

from __future__ import annotations

import sys
import time
import warnings
from collections.abc import Callable

import numpy as np
import polars as pl

from pipeline.keeping.curves import keeping_curves
from pipeline.keeping.differences import spoilage_differences
from pipeline.keeping.histories import container_histories
from pipeline.keeping.permutation import worse_than_rest
from pipeline.keeping.spoilage import estimate_keeping, spoilage_table
from tests.benchmarks.households import AS_OF, START, core

GROUPS, JARS = 20, 8


def invented(containers: int) -> pl.DataFrame:
    """Histories at a resolution of days; about a fifth spoiled, half used."""
    rng = np.random.default_rng(1)
    batches = containers // JARS
    life, opens = rng.weibull(1.3, (batches, JARS)) * 900, rng.exponential(400, (batches, JARS))
    look = rng.integers(30, 1000, (batches, 1)).astype(float)
    spoiled, used = (life < opens) & (life < look), (opens <= life) & (opens < look)
    day = np.where(spoiled, np.floor(life / 60) * 60, np.where(used, np.floor(opens), look)).ravel()
    batch = np.repeat(np.arange(batches), JARS)
    return pl.DataFrame(
        {
            "batch_id": "B" + pl.Series(batch).cast(pl.String),
            "method": "m" + pl.Series(batch % GROUPS).cast(pl.String),
            "last_sound_days": day,
            "found_days": pl.Series(np.where(spoiled.ravel(), day + 60, np.nan)).fill_nan(None),
            "fate": np.where(spoiled, "spoiled", np.where(used, "used", "on_shelf")).ravel(),
        }
    )


def seconds(work: Callable[[], object], repeats: int) -> float:
    """Best of some runs."""
    best = np.inf
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return float(best)


def logs(containers: int) -> tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame]:
    """Logs of as many containers: three looks at each batch, one container lost, three used."""
    rng = np.random.default_rng(2)
    size = containers // JARS
    name = "B" + pl.Series(np.arange(size)).cast(pl.String)

    def days(age: int) -> pl.Series:
        return pl.select(pl.lit(START) + pl.duration(days=pl.Series(rng.integers(age, age + 90, size)))).to_series()

    batches = pl.DataFrame({"batch_id": name, "made_on": START, "method": "jam", "crop": "plum", "containers": JARS})
    looks = [pl.DataFrame({"batch_id": name, "found_on": days(a), "containers": int(a > 300)}) for a in (100, 250, 400)]
    uses = [pl.DataFrame({"batch_id": name, "used_on": days(a), "containers": 1}) for a in (50, 150, 350)]
    return core("batches", batches), core("spoilage", pl.concat(looks)), core("consumption", pl.concat(uses))


def main(containers: int) -> None:
    """Print seconds, and ratios to ours."""
    warnings.simplefilter("ignore")
    from lifelines import AalenJohansenFitter, KaplanMeierFitter
    from statsmodels.duration.survfunc import CumIncidenceRight, SurvfuncRight

    table, written = invented(containers), logs(containers)
    rng = np.random.default_rng(3)
    batch = table["batch_id"].str.slice(1).cast(pl.Int64)
    lid, store, vented = batch % 3, batch % 7 // 2, batch % 5 < 2
    recorded = table.with_columns(lid=lid.cast(pl.String), store=store.cast(pl.String), vented=vented)
    age = table.select(
        pl.when(pl.col("fate") == "spoiled").then(pl.col("last_sound_days") + 30).otherwise("last_sound_days")
    ).to_series()
    cause = table["fate"].replace_strict({"spoiled": 1, "used": 2, "on_shelf": 0}, return_dtype=pl.Int64)
    parts = [
        (age.filter(table["method"] == f"m{k}").to_numpy(), cause.filter(table["method"] == f"m{k}").to_numpy())
        for k in range(GROUPS)
    ]
    ours = seconds(lambda: estimate_keeping(table, "method", 365), 5)
    others = {
        "lifelines Kaplan-Meier": lambda: [KaplanMeierFitter().fit(a, c == 1) for a, c in parts],
        "statsmodels Kaplan-Meier": lambda: [SurvfuncRight(a, c == 1) for a, c in parts],
        "statsmodels Aalen-Johansen": lambda: [CumIncidenceRight(a, c) for a, c in parts],
        "lifelines Aalen-Johansen": lambda: [
            AalenJohansenFitter(calculate_variance=True).fit(a, c, event_of_interest=1) for a, c in parts
        ],
    }
    print(f"{containers} containers, {GROUPS} groups")
    print(f"{ours:8.3f} s  estimate_keeping: both shares, plain and batch variances")
    for name, work in others.items():
        other = seconds(work, 1 if "lifelines A" in name else 3)
        print(f"{other:8.3f} s  {name} in a loop: {other / ours:.2f} of ours")
    for name, work, repeats in (
        ("spoilage_table", lambda: spoilage_table(table, "method"), 3),
        ("keeping_curves", lambda: keeping_curves(table, "method"), 3),
        ("worse_than_rest", lambda: worse_than_rest(table, "method", rng), 1),
        ("spoilage_differences: 3 records, 99 shuffles", lambda: spoilage_differences(recorded, rng, 99), 1),
        ("container_histories", lambda: container_histories(*written, AS_OF), 3),
    ):
        print(f"{seconds(work, repeats):8.3f} s  {name}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
