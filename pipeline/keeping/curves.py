"""How long things keep and what share was lost, by group; curves of the share still sound.

The batch, not the jar, is the independent unit: jars of one batch go off together.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl

from pipeline.keeping.intervals import fate_correlation, moderated_interval
from pipeline.keeping.risk import (
    FloatArray,
    Followed,
    Share,
    follow,
    lost_if_left_alone,
    lost_of_made,
    lost_so_far,
    names,
)
from schemas.evidence import evidence

MOST_POINTS = 120
"""Points of a curve; more would not be seen."""

ESTIMATES = ("kept", "kept_low", "kept_high", "lost_share", "lost_low", "lost_high")


def group_label(by: str | Sequence[str]) -> pl.Expr:
    """One label per group: its values joined by a dot, ``not recorded`` where empty; ``all`` without any."""
    columns = names(by)
    if not columns:
        return pl.lit("all")
    values = [pl.col(name).cast(pl.String).fill_null("not recorded") for name in columns]
    return pl.concat_str(values, separator=" · ")


def seen_keeping(followed: Followed, horizon_days: float) -> pl.DataFrame:
    """Kaplan-Meier share kept and Aalen-Johansen share lost by group, with intervals between batches.

    The picture of what was seen, and the check on the model; the columns are those of
    :func:`pipeline.keeping.estimates.estimate_keeping`. From 30 batches in all, the correlation of fates within a
    batch that the intervals rest on is estimated from all groups together.
    """
    ages, correlation = np.minimum(horizon_days, followed.end), _correlation(followed)
    kept_low, kept, kept_high = _kept(followed, lost_if_left_alone(followed, ages), correlation)
    lost = lost_so_far(followed, ages)
    lost_low, lost_high = _interval(followed, lost, correlation)
    beyond = np.isfinite(horizon_days) & (followed.end < horizon_days)
    values = dict(zip(ESTIMATES, (kept, kept_low, kept_high, lost.share, lost_low, lost_high), strict=True))
    counts = {
        "batches": followed.batches.astype(np.int64),
        "containers": followed.total(np.ones(followed.group.size)).astype(np.int64),
        "spoiled": followed.total(followed.spoiled).astype(np.int64),
    }
    out = followed.groups.with_columns(
        *(pl.Series(name, column, pl.Float64) for name, column in values.items()),
        *(pl.Series(name, column, pl.Int64) for name, column in counts.items()),
    )
    said = pl.lit(pl.Series(~beyond))
    kept_columns = (pl.when(said).then(name).alias(name) for name in ESTIMATES[:3])
    return out.with_columns(*kept_columns, evidence=evidence(pl.col("batches")))


def lost_of_those_made(followed: Followed) -> pl.DataFrame:
    """``lost_share``, ``lost_low``, ``lost_high`` by group: lost by now of all that were made, 95 % between batches."""
    lost = lost_of_made(followed)
    low, high = _interval(followed, lost, _correlation(followed))
    return pl.DataFrame({"lost_share": lost.share, "lost_low": low, "lost_high": high})


def _correlation(followed: Followed) -> float:
    """Correlation of fates within a batch, from all that was lost: the same for every age asked about."""
    lost = lost_so_far(followed, followed.end)
    return fate_correlation(lost.share, lost.variance, lost.batch_variance, followed.batches)


def _interval(followed: Followed, lost: Share, correlation: float) -> tuple[FloatArray, FloatArray]:
    spreads = (lost.variance, lost.batch_variance, lost.jars_at_extreme)
    return moderated_interval(lost.share, *spreads, followed.batches, correlation)


def _kept(followed: Followed, lost: Share, correlation: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Low, estimate and high of the share kept."""
    low, high = _interval(followed, lost, correlation)
    return 1 - high, 1 - lost.share, 1 - low


def keeping_curves(histories: pl.DataFrame, by: Sequence[str] | str) -> pl.DataFrame:
    """Share still sound by age if left alone, as steps, with pointwise 95 % intervals.

    Points stand at age 0, at ages (whole days, rounded up) by which something spoiled, and at the end of
    follow-up; where there are more than about 120, evenly thinned. Each point holds the share at its own age.

    Returns:
        The ``keeping_curves`` answer table, sorted by group and age.
    """
    followed = follow(histories, by)
    points, correlation = _points(followed), _correlation(followed)
    columns = ("group_code", "age_days", "at_risk", "kept", "kept_low", "kept_high")
    pieces = []
    for place in range(points.shape[1]):
        ages = points[:, place]
        there = np.isfinite(ages)
        lost = lost_if_left_alone(followed, np.where(there, ages, 0.0))
        low, kept, high = _kept(followed, lost, correlation)
        values = (np.arange(there.size), np.where(there, ages, 0.0), lost.at_risk, kept, low, high)
        pieces.append(pl.DataFrame({n: v[there] for n, v in zip(columns, values, strict=True)}))
    label = followed.groups.select(
        pl.lit(", ".join(names(by)) or "all").alias("grouping"),
        group_label(by).alias("group"),
        group_code=pl.int_range(pl.len(), dtype=pl.Int64),
    )
    rows = pl.concat([pl.DataFrame(schema=dict.fromkeys(columns, pl.Float64())), *pieces], how="vertical_relaxed")
    rows = rows.with_columns(pl.col("group_code", "age_days", "at_risk").cast(pl.Int64))
    joined = rows.join(label, on="group_code").sort("group_code", "age_days")
    return joined.select("grouping", "group", "age_days", "at_risk", "kept", "kept_low", "kept_high")


def _points(followed: Followed) -> FloatArray:
    """Ages of the points of each group's curve: one row per group, filled up with NaN."""
    lost = followed.table["spoiled"] > 0
    ages = pl.DataFrame({"group": followed.table_group[lost], "age": np.ceil(followed.table["age"][lost])})
    groups = np.arange(followed.groups.height)
    ends = pl.DataFrame(
        {
            "group": np.concatenate([groups, groups]),
            "age": np.concatenate([np.zeros(groups.size), np.ceil(followed.end)]),
        }
    )
    every = pl.concat([ages, ends]).unique().sort("group", "age")
    place, size = pl.int_range(pl.len()).over("group"), pl.len().over("group")
    # A point stays where it opens a new one of MOST_POINTS equal parts of its group's points.
    part = place * MOST_POINTS // pl.max_horizontal(size, MOST_POINTS)
    opens = part != part.shift(1).over("group")
    kept = every.filter((size <= MOST_POINTS) | opens.fill_null(value=True) | (place == size - 1))
    kept = kept.with_columns(place=pl.int_range(pl.len()).over("group"))
    places = kept["place"].to_numpy()
    points = np.full((groups.size, int(places.max(initial=-1)) + 1), np.nan)
    points[kept["group"].to_numpy(), places] = kept["age"].to_numpy()
    return points
