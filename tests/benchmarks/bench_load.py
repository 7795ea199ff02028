"""Loading a large harvest log, against DuckDB's own reader of the same file.

Run by hand, from the top of the project: ``python -m tests.benchmarks.bench_load 1e5 1e6 1e7``. Each figure is
taken in a process of its own, ours and DuckDB's in turns; imports are not counted, and said beside it.
The logs are INVENTED at random: 12 columns, mixed units, 1 % rows that cannot be read.
"""

from __future__ import annotations

import datetime as dt
import json
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import duckdb
import numpy as np
import polars as pl

AS_OF = dt.date(2026, 11, 20)
AT_ONCE = 1_000_000
CROPS = ("carrot", "Carrots", "kohlrabi", "pea", "peas", "Tomato", "tomatoes", "leek", "spinach", "cabbage")
NOTES = ("fine weather", 'some, with "commas"', "two\nlines", None)


def write_log(path: Path, rows: int, seed: int = 1) -> None:
    """An invented harvest log: 3 forms of date, 5 of weight, 4 columns that the log does not know."""
    rng = np.random.default_rng(seed)
    with path.open("wb") as file:
        for start in range(0, rows, AT_ONCE):
            frame = _some_rows(rng, min(AT_ONCE, rows - start))
            file.write(frame.write_csv(include_header=start == 0).encode())


def _some_rows(rng: np.random.Generator, rows: int) -> pl.DataFrame:
    day = pl.Series(np.datetime64("2018-01-01") + rng.integers(0, 3000, rows)).cast(pl.Date)
    drawn = pl.DataFrame(
        {
            "iso": day.dt.strftime("%Y-%m-%d"),
            "named": day.dt.strftime("%d %b %Y"),
            "kg": rng.lognormal(0, 0.8, rows),
            "form": rng.random(rows),
            "date_form": rng.random(rows),
            "bad": rng.random(rows),
            "note": rng.choice(len(NOTES), rows, p=[0.4, 0.09, 0.01, 0.5]),
        }
    )
    grams, ounces = (pl.col("kg") * 1000).round(0).cast(pl.Int64), (pl.col("kg") * 32).floor().cast(pl.Int64)
    kilos = (pl.col("kg").clip(0.01)).round(2).cast(pl.String)
    form, bad = pl.col("form"), pl.col("bad")
    weight = (
        pl.when(form < 0.5)
        .then(pl.format("{} g", grams))
        .when(form < 0.8)
        .then(pl.format("{} kg", kilos))
        .when(form < 0.9)
        .then(pl.format("{} lb {} oz", ounces // 16, ounces % 16))
        .otherwise(pl.format("{} kg", kilos.str.replace(".", ",", literal=True)))
    )
    return drawn.select(
        picked_on=pl.when(bad < 0.002)
        .then(pl.lit("soon"))
        .when(bad < 0.004)
        .then(pl.lit("2026-02-31"))
        .when(pl.col("date_form") < 0.2)
        .then("named")
        .otherwise("iso"),
        crop=pl.Series(rng.choice(CROPS, rows)),
        weight=pl.when(bad > 0.997).then(pl.lit("5")).when(bad > 0.994).then(pl.lit("1,234 g")).otherwise(weight),
        sowing_id=pl.format("S{}", pl.Series(rng.integers(1, 5000, rows))),
        plot=pl.format("P{}", pl.Series(rng.integers(1, 300, rows))),
        bed=pl.Series(rng.choice(list("ABCDEFGH"), rows)),
        grower=pl.format("grower {}", pl.Series(rng.integers(1, 300, rows))),
        note=pl.col("note").replace_strict(dict(enumerate(NOTES)), return_dtype=pl.String),
        quality=pl.Series(rng.integers(1, 5, rows)),
        moisture=pl.Series(rng.random(rows).round(2)),
        pieces=pl.Series(rng.integers(1, 50, rows)),
        basket=pl.Series(rng.choice(["blue", "red", "green"], rows)),
    )


def load_ours(log: Path, folder: Path) -> dict[str, float]:
    """A first load into a store of its own, and a second that finds nothing changed."""
    from pipeline.settings import Settings
    from pipeline.store.load import load_folder
    from pipeline.store.store import STORE_NAME, open_store

    season = folder / "season"
    season.mkdir()
    (season / "harvests.csv").symlink_to(log)
    warm = folder / "warm"
    warm.mkdir()
    write_log(warm / "harvests.csv", 10)
    with open_store(None) as store:  # imports and the contract are made here
        load_folder(store, warm, Settings(), AS_OF)
    seconds, cpu = time.perf_counter(), time.process_time()
    with open_store(season / STORE_NAME) as store:
        load_folder(store, season, Settings(), AS_OF)
    first = {"seconds": time.perf_counter() - seconds, "cpu": time.process_time() - cpu}
    again = time.perf_counter()
    with open_store(season / STORE_NAME) as store:
        load_folder(store, season, Settings(), AS_OF)
        summary = store.answer("load_summary").row(0, named=True)
    assert summary["rows"] == summary["accepted"] + summary["set_aside"]
    size = (season / STORE_NAME).stat().st_size
    return first | {"again": time.perf_counter() - again, "rows": summary["rows"], "store_mib": size / 2**20}


def load_duckdb(log: Path, folder: Path) -> dict[str, float]:
    """DuckDB's reader into one table of text, in a file."""
    seconds, cpu = time.perf_counter(), time.process_time()
    path = folder / "raw.duckdb"
    con = duckdb.connect(str(path))
    con.execute("create table harvests as from read_csv(?, all_varchar=true)", [str(log)])
    con.close()
    return {"seconds": time.perf_counter() - seconds, "cpu": time.process_time() - cpu}


WAYS = {"ours": load_ours, "duckdb": load_duckdb}


def in_a_process(way: str, log: Path) -> dict[str, float]:
    """One load in a process of its own."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.bench_load", f"--{way}", str(log)],
        capture_output=True,
        text=True,
        check=True,
    )
    return json.loads(done.stdout)


def main(arguments: list[str]) -> None:
    if arguments[0].startswith("--"):
        with tempfile.TemporaryDirectory() as folder:
            figures = WAYS[arguments[0].removeprefix("--")](Path(arguments[1]), Path(folder))
        figures["peak_mib"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(json.dumps(figures))
        return
    print("| rows | MB | DuckDB s (cpu) | ours s (cpu) | ratio | ratio cpu | peak MiB | again |")
    print("|---|---|---|---|---|---|---|---|")
    for rows in (int(float(text)) for text in arguments):
        with tempfile.TemporaryDirectory() as folder:
            log = Path(folder) / "harvests.csv"
            write_log(log, rows)
            times = 5 if rows <= 100_000 else 3 if rows <= 1_000_000 else 1
            found: dict[str, list[dict[str, float]]] = {way: [] for way in WAYS}
            for _ in range(times):
                for way, runs in found.items():
                    runs.append(in_a_process(way, log))
            ours, theirs = (
                {name: statistics.median(run[name] for run in runs) for name in runs[0]} for runs in found.values()
            )
            print(
                f"| {rows:.0e} | {log.stat().st_size / 1e6:.0f} | {theirs['seconds']:.2f} ({theirs['cpu']:.2f}) "
                f"| {ours['seconds']:.2f} ({ours['cpu']:.2f}) | {ours['seconds'] / theirs['seconds']:.2f} "
                f"| {ours['cpu'] / theirs['cpu']:.2f} | {ours['peak_mib']:.0f} "
                f"| {ours['again'] / ours['seconds']:.3f} |",
                flush=True,
            )


if __name__ == "__main__":
    main(sys.argv[1:])
