"""Last season's sowings as if repeated: the way of sowing that a grower can compare the plan with."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.plan.crops import PlanCrop
from pipeline.plan.options import SOW_WEEKS
from pipeline.warmth.starts import row_metres

Floats = NDArray[np.float64]


def repeated_steps(
    sowings: pl.DataFrame, crops: pl.DataFrame, planned: Sequence[PlanCrop], monday: dt.date
) -> list[Floats]:
    """Steps in each sowing week, one array per planned crop, were last season's sowings made again.

    Args:
        sowings: core sowings of one season.
        crops: crop, in_row_cm, row_spacing_cm.
        planned: the crops of the plan.
        monday: first day of the season to plan; a day outside it is moved by whole years.
    """
    steps = {crop.crop: np.zeros(SOW_WEEKS) for crop in planned}
    by_name = {crop.crop: crop for crop in planned}
    for row in row_metres(sowings, crops).iter_rows(named=True):
        crop = by_name.get(row["crop"])
        if crop is None or row["row_m"] is None:
            continue
        clock = row["sown_on"]
        if crop.raised:
            clock = row["planted_out_on"] or row["sown_on"] + dt.timedelta(days=crop.raising_days)
        week = ((clock - monday).days % 365) // 7
        steps[crop.crop][min(week, SOW_WEEKS - 1)] += row["row_m"] / crop.step_m
    return [steps[crop.crop] for crop in planned]
