"""What of the shelf will be off by a day, if it is left alone: counts drawn from the model, batch by batch."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np
import polars as pl

from pipeline.keeping.estimates import SEED
from pipeline.keeping.model import Fit
from pipeline.keeping.predict import lost_counts, lost_in_batches
from pipeline.keeping.risk import FloatArray, IntArray
from schemas.answer_frame import answer_types, as_answer
from schemas.evidence import evidence
from schemas.words.days import YEAR_DAYS

LOW, HIGH = 0.1, 0.9


def shelved(histories: pl.DataFrame) -> pl.DataFrame:
    """Containers on the shelf by batch and the age at which they were last known sound.

    Returns:
        ``batch_id``, ``made_on``, ``method``, ``crop``, ``last_sound_days``, ``on_hand``; batches as given.
    """
    held = histories.filter(pl.col("fate").cast(pl.String) == "on_shelf", pl.col("made_on").is_not_null())
    keys = ("batch_id", "made_on", "method", "crop")
    return held.group_by(*keys, pl.col("last_sound_days").fill_null(0.0), maintain_order=True).agg(
        on_hand=pl.len().cast(pl.Int64)
    )


def shelf_forecast(
    histories: pl.DataFrame, model: Fit | None, by_date: dt.date, by: Sequence[str] = ("method", "crop")
) -> pl.DataFrame:
    """How many containers now on the shelf will be off by a day if nothing is used until then.

    Counted from the day on which each was last known sound, so what went off unseen since then is in it. Containers
    of one batch share their fate, and what a batch has shown so far counts.

    Args:
        histories: container histories with ``made_on``, ``method``, ``crop``.
        model: of ``fit_keeping`` for these histories.
        by_date: the day; not before the day of the histories.
        by: what rows are about, of ``method`` and ``crop``; what is not named stays empty.

    Returns:
        The ``shelf_forecast`` answer, most to lose first, with 80 % ranges.
    """
    stock = shelved(histories)
    if model is None or stock.is_empty():
        return pl.DataFrame(schema=answer_types("shelf_forecast"))
    drawn = _drawn(stock, model, by_date)
    groups = stock.with_row_index("row").group_by(by, maintain_order=True)
    summed = groups.agg("row", batches=pl.col("batch_id").n_unique().cast(pl.Int64), on_hand=pl.col("on_hand").sum())
    lost = [drawn[:, rows].sum(axis=1) for rows in summed["row"].to_list()]
    low, high = np.quantile(np.array(lost), [LOW, HIGH], axis=1)
    rows = summed.with_columns(
        *(pl.lit(None, dtype=pl.String).alias(name) for name in ("method", "crop") if name not in by),
        by_date=pl.lit(by_date),
        expect_lost=pl.Series([float(one.mean()) for one in lost], dtype=pl.Float64),
        expect_lost_low=pl.Series(low, dtype=pl.Float64),
        expect_lost_high=pl.Series(high, dtype=pl.Float64),
        evidence=evidence(pl.col("batches")),
    )
    return as_answer(rows, "shelf_forecast").sort("expect_lost", "method", "crop", descending=[True, False, False])


def batch_risk(histories: pl.DataFrame, model: Fit | None, as_of: dt.date, days: int) -> pl.DataFrame:
    """Chance that a container of each batch on the shelf goes off in the coming days, by batch.

    Of containers that are still sound today, whether or not they were looked at since.

    Returns:
        ``batch_id``, ``risk`` (Float64), one row for each batch on hand.
    """
    stock = shelved(histories).unique("batch_id", keep="first", maintain_order=True)
    if model is None or stock.is_empty():
        return pl.DataFrame(schema={"batch_id": pl.String(), "risk": pl.Float64()})
    rows = _rows(stock, model)
    age = _ages(stock, as_of)
    risk = lost_in_batches(model, rows, age, age + days / YEAR_DAYS).mean(axis=0)
    return stock.select("batch_id", risk=pl.Series(risk))


def _rows(stock: pl.DataFrame, model: Fit) -> IntArray:
    places = model.design.batches.select("batch_id", place=pl.int_range(pl.len(), dtype=pl.Int64))
    rows: IntArray = stock.join(places, on="batch_id", how="left", maintain_order="left")["place"].to_numpy()
    return rows


def _ages(stock: pl.DataFrame, day: dt.date) -> FloatArray:
    days = stock.select((pl.lit(day) - pl.col("made_on")).dt.total_days().clip(0)).to_series().to_numpy()
    ages: FloatArray = days / YEAR_DAYS
    return ages


def _drawn(stock: pl.DataFrame, model: Fit, by_date: dt.date) -> FloatArray:
    seen = stock["last_sound_days"].to_numpy() / YEAR_DAYS
    ends = np.maximum(_ages(stock, by_date), seen)
    return lost_counts(model, _rows(stock, model), seen, ends, stock["on_hand"].to_numpy(), np.random.default_rng(SEED))
