"""What kept and what spoiled, by group, and what was found on containers."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl

from pipeline.keeping.curves import ESTIMATES, group_label, keeping_curves, lost_of_those_made, seen_keeping
from pipeline.keeping.estimates import estimate_keeping, fit_keeping
from pipeline.keeping.histories import batch_findings
from pipeline.keeping.model import Fit
from pipeline.keeping.permutation import HORIZON_DAYS, batch_exposure, worse_than_rest
from pipeline.keeping.pooling import pooled_risk
from pipeline.keeping.risk import follow, names
from schemas.words.days import MONTH_DAYS


def rows_to_group(histories: pl.DataFrame, columns: Sequence[str]) -> pl.DataFrame:
    """The containers that a grouping is about.

    Salt is what keeps a ferment and only seasons the rest, so groups of salt alone are of ferments. Nobody
    writes down a starter that was not there.
    """
    rows = histories
    if "starter" in columns:
        rows = rows.with_columns(pl.col("starter").fill_null("none recorded"))
    if "salt_band" in columns:
        rows = rows.filter(pl.col("salt_band").is_not_null())
        if "method" not in columns:
            rows = rows.filter(pl.col("method") == "ferment")
    return rows


def grouped(
    histories: pl.DataFrame, columns: Sequence[str], model: Fit | None = None
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The ``spoilage`` and ``keeping_curves`` answers of one grouping."""
    rows = rows_to_group(histories, columns)
    return spoilage_table(rows, columns, model), keeping_curves(rows, columns)


def worse_groups(histories: pl.DataFrame, columns: Sequence[str], rng: np.random.Generator) -> pl.DataFrame:
    """Which groups stand out, by :func:`worse_than_rest`.

    Lids, cuts and such are compared among food kept the same way: shredded food is mostly fermented, and a cut
    is not to be blamed for what ferments lose.
    """
    within = () if "method" in columns else ("method",)
    return worse_than_rest(rows_to_group(histories, columns), columns, rng, within=within)


def spoilage_table(histories: pl.DataFrame, by: Sequence[str] | str, model: Fit | None = None) -> pl.DataFrame:
    """What kept and what spoiled, one row per group.

    ``lost_share`` is what was lost by now of all that was made, whatever its age; ``kept_12m`` is at 365 days for
    containers left alone, null where the group was not followed so long; ``pooled_kept_12m`` is drawn
    towards all groups of the table and null where ``kept_12m`` is. ``batches`` are those followed at all;
    containers are counted in all. Months are of 30.4375 days; a spoiled container is followed to the middle
    of (last known sound, found].

    Args:
        histories: container histories with the columns of ``by``.
        by: grouping columns.
        model: of ``fit_keeping`` for these batches or more; fitted here where it is left out.

    Returns:
        The ``spoilage`` answer table, sorted by group.
    """
    columns = names(by)
    followed = follow(histories, columns)
    found = model or fit_keeping(histories, columns)
    year = estimate_keeping(histories, columns, HORIZON_DAYS, found).select(
        kept_12m="kept", kept_12m_low="kept_low", kept_12m_high="kept_high"
    )
    now = seen_keeping(followed, np.inf).drop(*ESTIMATES)
    counts = pl.DataFrame(
        {
            "container_months": followed.total(followed.age) / MONTH_DAYS,
            "used": followed.total(followed.used).astype(np.int64),
            "followed_months": followed.end / MONTH_DAYS,
        },
        schema_overrides={"container_months": pl.Float64, "followed_months": pl.Float64},
    )
    pooled = pl.Series("pooled", 1 - _pooled_risk(histories, followed.groups, columns))
    table = pl.concat([now, lost_of_those_made(followed), year, counts], how="horizontal").with_columns(pooled)
    return table.select(
        pl.lit(", ".join(columns) or "all").alias("grouping"),
        group_label(columns).alias("group"),
        "batches",
        "containers",
        "container_months",
        "spoiled",
        "used",
        (pl.col("containers") - pl.col("spoiled") - pl.col("used")).alias("on_shelf"),
        "lost_share",
        "lost_low",
        "lost_high",
        "kept_12m",
        "kept_12m_low",
        "kept_12m_high",
        pl.when(pl.col("kept_12m").is_not_null()).then("pooled").alias("pooled_kept_12m"),
        "followed_months",
        "evidence",
    )


def _pooled_risk(histories: pl.DataFrame, groups: pl.DataFrame, columns: list[str]) -> pl.Series:
    """12-month risk of each row of ``groups``, partially pooled."""
    batches = batch_exposure(histories, columns)
    if not columns:
        codes = pl.zeros(batches.height, pl.Int64, eager=True)
    else:
        coded = groups.with_columns(code=pl.int_range(pl.len(), dtype=pl.Int64))
        codes = batches.join(coded, on=columns, how="left", nulls_equal=True, maintain_order="left")["code"]
    exposure = batches["exposure"].to_numpy()
    return pl.Series(pooled_risk(batches["spoiled"].to_numpy(), exposure, codes.to_numpy(), groups.height))


def spoilage_causes(spoilage: pl.DataFrame, batches: pl.DataFrame) -> pl.DataFrame:
    """What was found on containers, by method and cause; looks that found nothing are left out.

    Args:
        spoilage: core spoilage rows; fresh produce is left out.
        batches: core batches.

    Returns:
        The ``spoilage_causes`` answer table, most lost first within a method.
    """
    found = batch_findings(spoilage).filter(pl.col("found") > 0)
    rows = found.join(batches.select("batch_id", "method"), on="batch_id")
    table = rows.group_by("method", pl.col("cause").fill_null("not recorded")).agg(
        containers=pl.col("found").sum(), lost=pl.col("lost").sum(), batches=pl.col("batch_id").n_unique()
    )
    table = table.select("method", "cause", pl.col("containers", "lost", "batches").cast(pl.Int64))
    return table.sort("method", "lost", "containers", "cause", descending=[False, True, True, False])
