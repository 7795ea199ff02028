"""The share kept when looks are far apart: the estimator that takes intervals as they are.

Turnbull 1976, J R Statist Soc B 38:290. Dating a spoiled container to the middle of its interval is good
while looks are closer together than the age asked about (checked by simulation); beyond that, see this.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.keeping.curves import group_label, seen_keeping
from pipeline.keeping.risk import FloatArray, follow, names

EXACT, CLOSED, OPEN = 0, 1, 2
"""Order of end points at one age: an exact age begins, intervals (left, right] end, others begin."""


def npmle(
    left: npt.ArrayLike, right: npt.ArrayLike, weights: npt.ArrayLike | None = None, tolerance: float = 1e-10
) -> pl.DataFrame:
    """Non-parametric maximum likelihood estimate of ages at which things happen, known as intervals.

    Args:
        left: last age known not to have happened; the event lies in (left, right].
        right: age known to have happened; infinity where not seen; equal to ``left`` where exact.
        weights: count of each row, 1 by default.
        tolerance: largest change of any mass at which the iteration stops.

    Returns:
        ``left``, ``right``, ``mass`` (sums to 1), sorted: the intervals that can hold mass. Where in an
        interval its mass lies cannot be known.

    Raises:
        ValueError: a right end before its left end.
    """
    a, b = np.asarray(left, dtype=np.float64), np.asarray(right, dtype=np.float64)
    if np.any(b < a):
        message = "an interval ends before it begins: right must not be below left"
        raise ValueError(message)
    w = np.ones(a.size) if weights is None else np.asarray(weights, dtype=np.float64)
    rows = pl.DataFrame({"a": a, "b": b, "w": w}).group_by("a", "b").agg(pl.col("w").sum()).sort("a", "b")
    a, b, w = (rows[name].to_numpy() for name in ("a", "b", "w"))
    start, stop = _innermost(a, b)
    from_kind = np.where(a == b, EXACT, OPEN)
    cell_kind = np.where(start == stop, EXACT, OPEN)
    begins_inside = (start > a[:, None]) | ((start == a[:, None]) & (cell_kind >= from_kind[:, None]))
    inside = (begins_inside & (stop <= b[:, None])).astype(np.float64)
    mass = _maximise(inside, w, tolerance)
    return pl.DataFrame({"left": start, "right": stop, "mass": mass})


def _innermost(left: FloatArray, right: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Every left end that is followed at once by a right end, in order of age."""
    ages = np.concatenate([left, right])
    kinds = np.concatenate([np.where(left == right, EXACT, OPEN), np.full(right.size, CLOSED)])
    order = np.lexsort((kinds, ages))
    ages, ends = ages[order], kinds[order] == CLOSED
    first = np.flatnonzero(~ends[:-1] & ends[1:])
    return ages[first], ages[first + 1]


def _maximise(inside: FloatArray, weights: FloatArray, tolerance: float, rounds: int = 20_000) -> FloatArray:
    """Self-consistent masses by the EM iteration."""
    mass = np.full(inside.shape[1], 1 / max(inside.shape[1], 1))
    total = weights.sum()
    for _ in range(rounds):
        new: FloatArray = mass * ((weights / (inside @ mass)) @ inside) / total
        if np.max(np.abs(new - mass), initial=0.0) < tolerance:
            return new
        mass = new
    return mass


def looks_far_apart(histories: pl.DataFrame, by: str | Sequence[str], horizon_days: float) -> pl.DataFrame:
    """Whether spoiled containers are dated too coarsely for ``kept`` at ``horizon_days`` to be read closely.

    Args:
        histories: container histories.
        by: grouping columns.
        horizon_days: age asked about.

    Returns:
        ``group``, ``median_gap_days`` (last known sound to found, spoiled containers; null without any),
        ``kept`` (by midpoints), ``far_apart`` (the gap exceeds the horizon) and, where so, ``kept_least`` and
        ``kept_most``: the interval estimate, with the mass that straddles the horizon all before or all after
        it. The three shares are null where the group was not followed to the horizon.
    """
    columns = names(by)
    gap = (pl.col("found_days") - pl.col("last_sound_days")).filter(pl.col("fate") == "spoiled")
    label = group_label(columns).alias("group")
    gaps = histories.group_by(label).agg(median_gap_days=gap.median())
    kept = seen_keeping(follow(histories, columns), horizon_days).select(label, "kept")
    out = kept.join(gaps, on="group", maintain_order="left").with_columns(
        far_apart=(pl.col("median_gap_days") > horizon_days).fill_null(value=False)
    )
    far = out.filter(pl.col("far_apart") & pl.col("kept").is_not_null())["group"]
    dated = histories.select(label, "last_sound_days", "found_days").filter(pl.col("group").is_in(far.to_list()))
    bounds = [(key[0], *_kept_bounds(part, horizon_days)) for key, part in dated.group_by("group")]
    schema = {"group": pl.String(), "kept_least": pl.Float64(), "kept_most": pl.Float64()}
    ranges = pl.DataFrame(bounds, schema=schema, orient="row")
    return out.join(ranges, on="group", how="left", maintain_order="left").select(
        "group", "median_gap_days", "kept", "far_apart", "kept_least", "kept_most"
    )


def _kept_bounds(part: pl.DataFrame, horizon_days: float) -> tuple[float, float]:
    """Least and most share kept at the horizon that the interval estimate allows."""
    estimate = npmle(part["last_sound_days"], part["found_days"].fill_null(float("inf")))
    left, right, mass = (estimate[name].to_numpy() for name in ("left", "right", "mass"))
    return float(mass[left >= horizon_days].sum()), float(mass[right > horizon_days].sum())
