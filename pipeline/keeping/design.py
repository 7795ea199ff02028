"""Container histories arranged for the model: one row per batch, one column per effect.

What a batch says is summed up by its losses and, for each shape of the age curve on a grid, by its exposure
(the sum of age to the power of the shape over its containers, ages in years).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.keeping.risk import FloatArray, IntArray
from schemas.factors import FACTORS
from schemas.words.days import YEAR_DAYS

SHAPE_GRID = np.exp(np.linspace(np.log(1.2) - 4.5 * 0.35, np.log(1.2) + 4.5 * 0.35, 37))
"""Shapes of the age curve for which exposures are summed; between them the logarithm is taken as straight."""

FIRST_AGE_YEARS = 0.5 / YEAR_DAYS
"""A container found spoiled on the day it was made is taken to have lasted half a day."""

SHELVED = ("year", "month")
"""Effects of the day on which a batch was made; both need ``made_on``."""

LEAST_VALUES = 2

OF_CONTAINERS = {"batch_id", "last_sound_days", "found_days", "fate"}


@dataclass(frozen=True)
class Kind:
    """One kind of effect: its name, its values, and its columns among all effects."""

    name: str
    values: tuple[str, ...]
    first: int

    @property
    def columns(self) -> slice:
        """Its columns among all effects."""
        return slice(self.first, self.first + len(self.values))


@dataclass(frozen=True)
class Design:
    """Batches for the fit."""

    batches: pl.DataFrame
    """One row per batch: ``batch_id`` and the columns that effects and groups are made of."""
    spoiled: FloatArray
    log_age_sum: FloatArray
    """Sum of the log ages of the spoiled containers."""
    log_exposure: FloatArray
    """Log of the sum of age to the power of each shape of ``SHAPE_GRID`` (rows), by batch."""
    effects: FloatArray
    """One row per batch; column 0 is the level of all, then the kinds, then the slopes."""
    kinds: tuple[Kind, ...]
    slopes: tuple[str, ...]
    """Names of the numbers that enter as slopes, in the last columns of ``effects``."""
    containers: IntArray


def design_of(histories: pl.DataFrame, by: Sequence[str] = ()) -> Design:
    """Arrange histories for :func:`pipeline.keeping.model.fit`.

    Effects are the grouping columns, the year and month made where ``made_on`` is there, and every factor of
    ``schemas/factors.py`` that the histories carry, each only where at least two values were recorded. Salt of
    ferments is a slope, and so is the mean salt of the crop (Mundlak 1978, Econometrica 46:69; from memory).

    Args:
        histories: one row per container, ages in days, as for ``estimate_keeping``.
        by: grouping columns.
    """
    batches = _batches(histories)
    code = histories.select("batch_id").join(
        batches.select("batch_id", code=pl.int_range(pl.len())), on="batch_id", maintain_order="left"
    )["code"]
    place, count = code.to_numpy(), batches.height
    last = histories["last_sound_days"].cast(pl.Float64).fill_null(0.0).to_numpy()
    spoiled = (histories["fate"].cast(pl.String) == "spoiled").to_numpy()
    found = histories["found_days"].cast(pl.Float64).fill_null(0.0).to_numpy()
    age = np.where(spoiled, (last + found) / 2, last) / YEAR_DAYS
    age = np.where(spoiled, np.maximum(age, FIRST_AGE_YEARS), age)
    seen = age > 0
    log_age = np.log(age, out=np.zeros_like(age), where=seen)
    exposure = np.stack(
        [np.bincount(place[seen], np.exp(shape * log_age[seen]), minlength=count) for shape in SHAPE_GRID]
    )
    effects, kinds, slopes = _effects(batches, by)
    return Design(
        batches=batches,
        spoiled=np.bincount(place[spoiled], minlength=count).astype(np.float64),
        log_age_sum=np.bincount(place[spoiled], log_age[spoiled], minlength=count).astype(np.float64),
        log_exposure=np.log(np.maximum(exposure, 1e-300)),
        effects=effects,
        kinds=kinds,
        slopes=slopes,
        containers=np.bincount(place, minlength=count),
    )


def _batches(histories: pl.DataFrame) -> pl.DataFrame:
    there = [column for column in histories.columns if column not in OF_CONTAINERS]
    batches = histories.group_by("batch_id", maintain_order=True).agg(pl.col(there).first())
    if "made_on" in there:
        batches = batches.with_columns(
            year=pl.col("made_on").dt.year().cast(pl.Int64), month=pl.col("made_on").dt.month().cast(pl.Int64)
        )
    return batches


def _named(batches: pl.DataFrame, by: Sequence[str]) -> list[str]:
    """Columns that make effects, grouping columns first."""
    made = SHELVED if "made_on" in batches.columns else ()
    # Salt whose percent is known enters as a slope.
    passed = {"batch_id", *(("salt_band", "salt_basis") if "salt_pct" in batches.columns else ())}
    wanted = dict.fromkeys([*by, *made, *(factor.columns[0] for factor in FACTORS if factor.modelled)])
    return [name for name in wanted if name in batches.columns and name not in passed]


def _effects(batches: pl.DataFrame, by: Sequence[str]) -> tuple[FloatArray, tuple[Kind, ...], tuple[str, ...]]:
    columns, kinds, first = [np.ones((batches.height, 1))], [], 1
    seen: list[FloatArray] = []
    for name in _named(batches, by):
        values = batches[name].cast(pl.String)
        known = sorted(values.drop_nulls().unique().to_list())
        if len(known) < LEAST_VALUES or len(known) == batches.height:
            continue
        held = (values.to_numpy()[:, None] == np.array(known, dtype=object)).astype(np.float64)
        if any(held.shape == other.shape and _same_partition(held, other) for other in seen):
            continue
        seen.append(held)
        columns.append(held)
        kinds.append(Kind(name, tuple(known), first))
        first += len(known)
    slopes = _salt_slopes(batches)
    columns.extend(slope[:, None] for slope in slopes.values())
    return np.hstack(columns), tuple(kinds), tuple(slopes)


def _same_partition(one: FloatArray, other: FloatArray) -> bool:
    """Whether two sets of values part the batches in the same way, as a method for each store would."""
    together = one.T @ other
    return bool(((together > 0).sum(axis=0) == 1).all() and ((together > 0).sum(axis=1) == 1).all())


def _salt_slopes(batches: pl.DataFrame) -> dict[str, FloatArray]:
    """Salt of ferments in half points about its mean, within each basis, and the mean of the crop's batches."""
    if not {"method", "salt_pct", "salt_basis"} <= set(batches.columns):
        return {}
    salted = (pl.col("method") == "ferment") & pl.col("salt_pct").is_not_null()
    own = pl.when(salted).then(2 * pl.col("salt_pct").cast(pl.Float64))
    table = batches.with_columns(own=own)
    table = table.with_columns(own=(pl.col("own") - pl.col("own").mean().over("method", "salt_basis")).fill_null(0.0))
    slope = table["own"].to_numpy()
    if not np.any(np.abs(slope) > 1e-9):
        return {}
    slopes = {"salt": slope}
    if "crop" in batches.columns:
        mean = table.select(pl.when(salted).then(pl.col("own").mean().over("crop", "method")).fill_null(0.0))
        values = mean.to_series().to_numpy()
        if np.any(np.abs(values) > 1e-9) and np.any(np.abs(values - slope) > 1e-9):
            slopes["salt of the crop"] = values
    return slopes
