"""Invented households whose true risks are known, written as logs. Nothing here was observed.

Batches are started over 30 of 36 months, 4 to 12 containers each. Time to spoil is Weibull (shape 1.3) with a
gamma factor shared by a batch (variance ``shared``); a sound container is opened at a steady rate; the whole
house is looked over every 1 to 3 months. Opening a spoiled container makes the keeper look at its batch.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.keeping.histories import container_histories
from schemas.logs import LOGS

FloatArray = npt.NDArray[np.float64]

START = dt.date(2020, 1, 1)
SPAN_DAYS = 1095
AS_OF = START + dt.timedelta(days=SPAN_DAYS)
SHAPE = 1.3
YEAR = 365.0
MOST = 12
DTYPES = {"text": pl.String, "int": pl.Int64, "float": pl.Float64, "bool": pl.Boolean, "date": pl.Date}


@dataclass(frozen=True)
class Truth:
    """What the households are drawn from."""

    risk_12m: float = 0.15
    shared: float = 1.0
    opened_per_month: float = 0.08
    look_every_months: tuple[float, float] = (1.0, 3.0)


def hazard_12m(risk: float, shared: float) -> float:
    """Cumulative hazard of 12 months, before the shared factor, that gives a 12-month risk."""
    return float(-np.log1p(-risk)) if shared == 0 else float(((1 - risk) ** -shared - 1) / shared)


def core(name: str, rows: pl.DataFrame) -> pl.DataFrame:
    """Rows with every column of a core log."""
    schema = {column: DTYPES[kind] for column, kind in LOGS[name].core_columns.items()}
    return pl.concat([pl.DataFrame(schema=schema), rows], how="diagonal_relaxed").select(*schema)


def lifetimes(
    truth: Truth, multiplier: FloatArray, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Ages (days) at which containers of each batch spoil and would be opened, and which containers exist."""
    size = multiplier.size
    exists = np.arange(MOST) < rng.integers(4, MOST + 1, size)[:, None]
    rate = hazard_12m(truth.risk_12m, truth.shared) * multiplier
    if truth.shared:
        rate = rate * rng.gamma(1 / truth.shared, truth.shared, size)
    spoils = YEAR * (rng.exponential(size=(size, MOST)) / np.maximum(rate, 1e-12)[:, None]) ** (1 / SHAPE)
    opens = rng.exponential(30.4375 / truth.opened_per_month, (size, MOST))
    return np.where(exists, spoils, np.inf), np.where(exists, opens, np.inf), exists


def simulate(
    truth: Truth, household: npt.NDArray[np.int64], multiplier: FloatArray, rng: np.random.Generator
) -> pl.DataFrame:
    """Container histories, by way of the logs, of many households at once.

    Args:
        truth: what to draw from.
        household: household of each batch, codes from 0.
        multiplier: factor on the hazard of each batch.
        rng: random generator.

    Returns:
        Histories with ``household`` and ``batch`` (row of the batch).
    """
    size = household.size
    made = rng.integers(0, int(SPAN_DAYS * 30 / 36), size)
    spoils, opens, exists = lifetimes(truth, multiplier, rng)
    spoils, opens = np.ceil(spoils), np.ceil(opens)
    gaps = rng.uniform(*truth.look_every_months, (int(household.max()) + 1, 40)) * 30.4375
    house_looks = np.floor(np.cumsum(gaps, axis=1))[household] - made[:, None]
    looks = np.where((house_looks > 0) & (house_looks <= (SPAN_DAYS - made)[:, None]), house_looks, np.inf)
    looks = _with_openings(looks, spoils, opens, SPAN_DAYS - made)
    end = (SPAN_DAYS - made)[:, None]
    sound_use = exists & (opens < spoils) & (opens <= end)
    found = np.where(exists & (spoils <= opens), _first_at_or_after(looks, spoils), np.inf)
    return _through_the_logs(household, made, exists, looks, np.where(sound_use, opens, np.inf), found)


def _first_at_or_after(looks: FloatArray, ages: FloatArray) -> FloatArray:
    later = np.where(looks[:, None, :] >= ages[:, :, None], looks[:, None, :], np.inf)
    return later.min(axis=2)


def _with_openings(looks: FloatArray, spoils: FloatArray, opens: FloatArray, end: npt.NDArray[np.int64]) -> FloatArray:
    """Looks, and the openings that came upon a spoiled container before any look did."""
    surprise = np.where((spoils <= opens) & (opens <= end[:, None]), opens, np.inf)
    for place in np.argsort(surprise, axis=1).T:
        at = np.take_along_axis(surprise, place[:, None], axis=1)
        spoiled_at = np.take_along_axis(spoils, place[:, None], axis=1)
        unseen = ~((looks >= spoiled_at) & (looks <= at)).any(axis=1, keepdims=True)
        looks = np.column_stack([looks, np.where(unseen & np.isfinite(at), at, np.inf)])
    return looks


def _through_the_logs(
    household: npt.NDArray[np.int64],
    made: npt.NDArray[np.int64],
    exists: FloatArray,
    looks: FloatArray,
    used: FloatArray,
    found: FloatArray,
) -> pl.DataFrame:
    """Write the logs a keeper would have kept, and read them as the analysis does."""

    def rows(ages: FloatArray, count: str) -> pl.DataFrame:
        batch, place = np.nonzero(np.isfinite(ages))
        day = pl.Series(made[batch] + ages[batch, place].astype(np.int64))
        dates = pl.select(pl.lit(START) + pl.duration(days=day)).to_series()
        table = pl.DataFrame({"batch": batch, "day": dates})
        return table.group_by("batch", "day").agg(pl.len().cast(pl.Int64).alias(count))

    batches = pl.DataFrame(
        {
            "batch_id": [f"B{i}" for i in range(made.size)],
            "made_on": pl.select(pl.lit(START) + pl.duration(days=pl.Series(made))).to_series(),
            "method": "other",
            "crop": "invented",
            "containers": exists.sum(axis=1),
        }
    )
    name = ("B" + pl.col("batch").cast(pl.String)).alias("batch_id")
    bad = rows(looks, "looks").join(rows(found, "containers"), on=["batch", "day"], how="left")
    spoilage = bad.select(name, found_on="day", containers=pl.col("containers").fill_null(0))
    consumption = rows(used, "containers").select(name, "containers", used_on="day")
    logs = (core("batches", batches), core("spoilage", spoilage), core("consumption", consumption))
    number = pl.col("batch_id").str.slice(1).cast(pl.Int64)
    histories = container_histories(*logs, AS_OF).with_columns(batch=number)
    return histories.with_columns(household=pl.Series(household[histories["batch"].to_numpy()]))
