"""What kept and what spoiled on all shared plots together, and how far the plots differ."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.garden.earlier import CHANGED, Report, marks_of, rows_that_tell
from pipeline.garden.suppression import Rule, enough_plots
from pipeline.garden.tables import WITHHELD_TYPES, as_shared, count_withheld, shared_types
from pipeline.keeping.estimates import estimate_keeping
from pipeline.keeping.permutation import batch_exposure
from pipeline.keeping.spoilage import spoilage_table
from schemas.words.days import MONTH_DAYS

AGES_MONTHS = tuple(range(0, 25, 3))
"""Ages of the points of a curve. A curve with a step for each loss would show single containers."""

FEW_AT_AGE = "too few plots kept food that long"
FEW_LOSSES = "too few plots behind what was lost"
LOSSES = (
    "spoiled",
    "lost_share",
    "lost_low",
    "lost_high",
    "kept_12m",
    "kept_12m_low",
    "kept_12m_high",
    "lost_per_100",
    "plot_sd_per_100",
    "evidence",
)
"""Figures from which the containers that spoiled can be worked out, given how many were made."""
FEW_FOR_SPREAD = "too few plots for their spread"


def keeping_tables(
    histories: pl.DataFrame, holders: pl.DataFrame, rule: Rule, earlier: Sequence[Report] = ()
) -> tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame, pl.DataFrame]:
    """The ``shared_spoilage`` and ``shared_keeping`` tables, what was withheld of them, and their marks.

    There is no row for all ways of keeping together, so no total from which a withheld one could be worked out.

    Args:
        histories: container histories of the shared batches, with ``method`` and ``plot``.
        holders: ``plot`` and ``holder``, who stands behind it.
        rule: when a figure is sensitive. The spread between plots is one more figure about the same plots, so
            that it takes one plot more.
        earlier: what is remembered of earlier reports.
    """
    rows = histories.join(holders.select("plot", "holder"), on="plot", how="inner", maintain_order="left")
    groups = _enough_behind(rows, rule)
    shown = groups.filter(pl.col("withheld").is_null())
    marks = _marks(rows.filter(pl.col("method").is_in(shown["group"].to_list())))
    told = rows_that_tell(marks, earlier, rule)
    marks, shown = marks.filter(~pl.col("row").is_in(told)), shown.filter(~pl.col("group").is_in(told))
    kept = rows.filter(pl.col("method").is_in(shown["group"].to_list()))
    spread = _spread(kept, rule)
    table = (
        spoilage_table(kept, ["method"])
        .join(shown, on="group", how="left", maintain_order="left")
        .join(spread, left_on="group", right_on="method", how="left", maintain_order="left")
        .rename({"group": "method"})
    )
    lone = _lone_losses(kept, rule)
    points, hidden = _curves(kept, rule)
    without = table.filter(pl.col("plot_sd_per_100").is_null(), pl.col("plots") <= rule.smallest_group).height
    table = table.with_columns(pl.when(~pl.col("method").is_in(lone)).then(pl.col(LOSSES)))
    counts = [
        ("shared_spoilage", FEW_FOR_SPREAD, without),
        ("shared_spoilage", CHANGED, len(told)),
        ("shared_spoilage", FEW_LOSSES, len(LOSSES) * len(lone)),
        ("shared_keeping", FEW_AT_AGE, hidden),
    ]
    withheld = pl.DataFrame([row for row in counts if row[2]], schema=WITHHELD_TYPES, orient="row")
    withheld = pl.concat([count_withheld(groups, "shared_spoilage"), withheld])
    return as_shared(table, "shared_spoilage"), points, withheld, marks


def _marks(rows: pl.DataFrame) -> pl.DataFrame:
    """Containers made and spoiled, by method and holder, as they are remembered."""
    one = rows.select(row="method", column=pl.lit("containers"), plot="holder", value=pl.lit(1.0))
    bad = pl.col("fate") == "spoiled"
    spoiled = rows.filter(bad).select(row="method", column=pl.lit("spoiled"), plot="holder", value=pl.lit(1.0))
    return marks_of("kept", pl.concat([one, spoiled]))


def _enough_behind(rows: pl.DataFrame, rule: Rule) -> pl.DataFrame:
    """Which methods may be shown: neither their batches nor their containers are nearly all of one plot."""
    batches = rows.unique("batch_id").select(group="method", plot="holder", value=pl.lit(1.0))
    containers = rows.select(group="method", plot="holder", value=pl.lit(1.0))
    one, other = enough_plots(batches, rule), enough_plots(containers, rule)
    joined = one.join(other.select("group", more="withheld"), on="group", how="left", maintain_order="left")
    why = pl.coalesce("withheld", "more")
    return joined.with_columns(pl.when(why.is_null()).then("plots").alias("plots"), withheld=why).drop("more")


def _lone_losses(rows: pl.DataFrame, rule: Rule) -> list[str]:
    """Methods whose spoiled containers are those of too few plots, or nearly all of one."""
    spoiled = rows.filter(pl.col("fate") == "spoiled")
    groups = enough_plots(spoiled.select(group="method", plot="holder", value=pl.lit(1.0)), rule)
    lone: list[str] = groups.filter(pl.col("withheld").is_not_null())["group"].to_list()
    return lone


def _spread(rows: pl.DataFrame, rule: Rule) -> pl.DataFrame:
    """Containers lost of 100 followed for a year, and how far plots differ in that, by method."""
    types = {"method": pl.String(), "lost_per_100": pl.Float64(), "plot_sd_per_100": pl.Float64()}
    out = []
    for (method,), group in rows.group_by("method", maintain_order=True):
        batches = batch_exposure(group, ["holder"]).filter(pl.col("exposure") > 0)
        if batches.is_empty():
            continue
        spoiled, exposure = batches["spoiled"].to_numpy(), batches["exposure"].to_numpy()
        rate = 100 * float(spoiled.sum() / exposure.sum())
        plots = batches["holder"].n_unique()
        code = batches["holder"].rank("dense").to_numpy() - 1
        sd = plot_spread(100 * spoiled / exposure, exposure, code.astype(np.int64))
        out.append((method, rate, sd if plots > rule.smallest_group else None))
    return pl.DataFrame(out, schema=types, orient="row")


def plot_spread(value: NDArray[np.float64], weight: NDArray[np.float64], plot: NDArray[np.int64]) -> float | None:
    """Standard deviation between plots beyond what their batches explain; None where no plot has two batches.

    The estimator of the one-way analysis of variance with unequal numbers, observation ``i`` having the variance
    ``phi / weight_i`` (Searle, Casella and McCulloch 1992, Variance Components, section 3.6; from memory);
    0 where the plots differ less than chance would make them.

    Args:
        value: value of each batch.
        weight: weight of each batch, above 0.
        plot: code of its plot, 0 and up, none left out.
    """
    by_plot = np.bincount(plot, weight)
    count, groups, total = len(value), len(by_plot), weight.sum()
    if groups < 2 or count <= groups:
        return None
    means = np.bincount(plot, weight * value) / by_plot
    between = (by_plot * (means - (weight @ value) / total) ** 2).sum() / (groups - 1)
    within = (weight * (value - means[plot]) ** 2).sum() / (count - groups)
    size = (total - (by_plot**2).sum() / total) / (groups - 1)
    return float(np.sqrt(max((between - within) / size, 0.0)))


def _curves(rows: pl.DataFrame, rule: Rule) -> tuple[pl.DataFrame, int]:
    """Share still sound at each of ``AGES_MONTHS``, as long as enough plots are followed, and points withheld."""
    followed = rows.group_by("method", "holder").agg(
        until=pl.max_horizontal(pl.col("last_sound_days").fill_null(0), pl.col("found_days").fill_null(0)).max()
    )
    parts, hidden = [pl.DataFrame(schema=shared_types("shared_keeping"))], 0
    shown_to: dict[str, float] = {}
    for months in AGES_MONTHS:
        days = months * MONTH_DAYS
        at = estimate_keeping(rows, ["method"], days).filter(pl.col("kept").is_not_null())
        followed_there = set(_methods_followed(followed, days, rule))
        enough = [
            name for name in sorted(followed_there) if _may_step(rows, name, shown_to.get(name, -1.0), days, rule)
        ]
        shown_to |= dict.fromkeys(enough, days)
        hidden += at.filter(~pl.col("method").is_in(enough)).height
        points = at.filter(pl.col("method").is_in(enough)).with_columns(age_months=pl.lit(months, pl.Int64))
        parts.append(as_shared(points, "shared_keeping"))
    return pl.concat(parts).sort("method", "age_months"), hidden


def _may_step(rows: pl.DataFrame, method: str, since: float, days: float, rule: Rule) -> bool:
    """Whether what was lost since the last point that is shown, and in all, is not that of too few plots."""
    lost = rows.filter(pl.col("method") == method, pl.col("fate") == "spoiled")
    until = lost.filter(pl.col("last_sound_days").fill_null(0) <= days)
    step = until.filter(pl.col("found_days") > since)
    return method not in _lone_losses(lost, rule) and not _lone_losses(step, rule)


def _methods_followed(followed: pl.DataFrame, days: float, rule: Rule) -> Sequence[str]:
    """Methods that enough plots followed to an age."""
    there = followed.filter(pl.col("until") >= days).group_by("method").agg(plots=pl.len())
    methods: list[str] = there.filter(pl.col("plots") >= rule.smallest_group)["method"].to_list()
    return methods
