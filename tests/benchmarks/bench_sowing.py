"""Times and worth of the sowing plan on Seattle weather (NOAA, as packaged in vega_datasets). Run by hand.

    python tests/benchmarks/bench_sowing.py

Crops are those of the shipped reference; the household's needs are invented.
"""

from __future__ import annotations

import datetime as dt
import time

import numpy as np
import polars as pl
from vega_datasets import data

from pipeline.analysis.sowing_logs import fit_yields
from pipeline.analysis.sowing_model import fit_crop_timing
from pipeline.analysis.sowing_options import PLAN_DAYS, PlanOptions
from pipeline.analysis.sowing_plan import PlanResult, plan_sowings
from pipeline.analysis.weather_years import WEATHER_SCHEMA, weather_years
from pipeline.reference import crop_reference
from schemas.contracts import core_types

# Invented needs of an invented household: fresh kg per week (May to October), picked kg to put by.
NEEDS: dict[str, tuple[float, float]] = {
    "bean": (1.0, 12),
    "beetroot": (0.6, 5),
    "broccoli": (0.6, 4),
    "cabbage": (0.8, 10),
    "carrot": (1.0, 0),
    "chard": (0.5, 0),
    "courgette": (1.0, 0),
    "cucumber": (0.9, 8),
    "kohlrabi": (0.5, 6),
    "leaf lettuce": (0.8, 0),
    "pea": (0.6, 5),
    "potato": (1.5, 0),
    "radish": (0.3, 0),
    "spinach": (0.4, 4),
    "tomato": (1.5, 25),
}


def empty(log: str) -> pl.DataFrame:
    """An empty core log."""
    return pl.DataFrame(schema=core_types(log))


def seattle() -> pl.DataFrame:
    """Four years of daily weather."""
    frame = data.seattle_weather()
    columns = {"date": frame["date"].dt.date.tolist(), "tmin_c": frame["temp_min"].to_numpy()}
    return pl.DataFrame(columns | {"tmax_c": frame["temp_max"].to_numpy()}, schema=WEATHER_SCHEMA)


def plan(n_crops: int, options: PlanOptions, seed: int = 1) -> tuple[PlanResult, float]:
    """The plan and the processor seconds it took, without reading and weather."""
    crops, names = crop_reference(), list(NEEDS)[:n_crops]
    fresh = pl.DataFrame(
        [(crop, month, NEEDS[crop][0]) for crop in names for month in range(5, 11)],
        schema=["crop", "month", "fresh_kg_per_week"],
        orient="row",
    )
    put_by = pl.DataFrame([(crop, NEEDS[crop][1]) for crop in names], schema=["crop", "kg_to_put_by"], orient="row")
    yields = fit_yields(empty("sowings"), empty("harvests"), crops)
    starts = pl.DataFrame(
        schema={"sowing_id": pl.String(), "crop": pl.String(), "clock_from": pl.Date(), "first_pick_on": pl.Date()}
    )
    timing = fit_crop_timing(starts, seattle(), crops, yields)
    rng = np.random.default_rng(seed)
    count = options.n_years + options.fresh_years
    years = weather_years(seattle(), None, 47.6, options.first_day, PLAN_DAYS, count, rng)
    begin = time.process_time()
    result = plan_sowings(crops, timing, yields, years, fresh, put_by, options, rng=rng)
    return result, time.process_time() - begin


def main() -> None:
    """Print times and comparisons."""
    pl.Config.set_tbl_rows(100).set_tbl_width_chars(180).set_fmt_str_lengths(80)
    first = dt.date(2026, 1, 1)
    for n_crops, n_years, area in ((5, 20, None), (15, 20, None), (15, 40, None), (15, 40, 30.0), (15, 40, 15.0)):
        options = PlanOptions(first, latitude=47.6, n_years=n_years, fresh_years=200, bed_area_m2=area)
        result, seconds = plan(n_crops, options)
        print(f"{n_crops} crops, {n_years} years, beds {area or 'not limited'}: {seconds:.1f} s of processor")
        print(result.plan_comparison)
        print(result.notes)
    print(result.sowing_plan)
    print(result.skipped)


if __name__ == "__main__":
    main()
