"""What the shelf will have lost by a day if it is left alone, in plain sentences made by rule."""

from __future__ import annotations

from typing import Any

import polars as pl

from schemas.evidence import BEHIND
from schemas.page import Finding
from schemas.words.days import full_day
from schemas.words.numbers import count_of
from schemas.words.ways import WAYS

LEAST_LOST = 0.5
"""Expected losses below this are not worth a sentence."""


def forecast_findings(by_method: pl.DataFrame) -> list[Finding]:
    """How many containers of each way of keeping will be off by the day, most to lose first.

    Args:
        by_method: rows of the ``shelf_forecast`` answer for whole ways of keeping.
    """
    worth = by_method.filter(pl.col("expect_lost") >= LEAST_LOST)
    return [_forecast(row) for row in worth.iter_rows(named=True)]


def _forecast(row: dict[str, Any]) -> Finding:
    low, high = round(row["expect_lost_low"]), round(row["expect_lost_high"])
    way = WAYS.get(row["method"])
    range_ = f"{low} to {high}" if low != high else f"about {low}"
    sentence = (
        f"Of {row['on_hand']} {way.jars if way else 'containers'} on the shelf, {range_} will be off by "
        f"{full_day(row['by_date'])} if left alone (8 times in 10; {count_of(row['batches'], 'batch')}"
        f"{BEHIND[row['evidence']]})."
    )
    action = "Look through them, and use first what stands first on the list below."
    return Finding("shelf", sentence, row["evidence"], action, weight=10 + row["expect_lost"] / row["on_hand"])
