"""From the logs to one row per container: how long it was known sound, and what became of it.

What is known of a container is an interval. A container found spoiled went off some time after it was last
known sound and before it was found. A container used was sound on that day. A container on the shelf is
known sound up to the last look at its batch, and no further: today says nothing about a closed jar.
"""

from __future__ import annotations

import datetime as dt

import polars as pl

from schemas.codes import HARMLESS_CAUSES, LOST_ACTIONS
from schemas.factors import FACTORS

FATES = ("spoiled", "used", "on_shelf")

MADE_HERE = {"batch_id", "year"}
"""Columns of a factor that the histories give themselves."""

BATCH_COLUMNS = (
    *(column for factor in FACTORS for column in factor.columns if column not in MADE_HERE),
    "made_on",
    "salt_pct",
)
"""Columns of a batch that its containers carry where the batches have them."""


def batch_findings(spoilage: pl.DataFrame) -> pl.DataFrame:
    """Rows of the spoilage log that name a batch, with the containers found bad and those of them lost.

    A row without a count of containers tells of one container where it names a cause, a weight or an action
    that throws away, and is a plain look otherwise. Containers trimmed, skimmed, redried or kept are not
    lost. Where no action is given, a finding counts as lost unless it is yeast film or rust.

    Args:
        spoilage: core spoilage rows.

    Returns:
        ``found_on``, ``batch_id``, ``cause``, ``found`` and ``lost`` (Int64, containers), one row per row.
    """
    thrown_away = pl.col("action").is_in(list(LOST_ACTIONS)).fill_null(value=False)
    something = thrown_away | pl.col("cause").is_not_null() | (pl.col("weight_kg") > 0).fill_null(value=False)
    surface = pl.col("cause").is_in(list(HARMLESS_CAUSES)).fill_null(value=False)
    is_lost = thrown_away | (pl.col("action").is_null() & ~surface)
    found = pl.coalesce("containers", something.cast(pl.Int64))
    return spoilage.filter(pl.col("batch_id").is_not_null()).select(
        "found_on", "batch_id", "cause", found=found, lost=pl.when(is_lost).then(found).otherwise(0)
    )


def container_histories(
    batches: pl.DataFrame, spoilage: pl.DataFrame, consumption: pl.DataFrame, as_of: dt.date
) -> pl.DataFrame:
    """One row per container made by ``as_of``.

    A look covers every container still on the shelf that day; a row that finds spoiled containers is a look
    too, and the others were sound then. Opening a container for use reveals that container only. A use
    without a count is one container. Containers beyond those made are not counted.

    Args:
        batches: core batches, with the salt measures where wanted.
        spoilage: core spoilage rows; fresh produce (no ``batch_id``) is left out.
        consumption: core consumption rows; fresh produce is left out.
        as_of: rows dated later are left out.

    Returns:
        ``batch_id``, ``last_sound_days`` (Float64, age when last known sound; 0 for a container never looked
        at), ``found_days`` (Float64, age when found spoiled, else null), ``fate`` (``spoiled``, ``used``,
        ``on_shelf``), the columns of ``BATCH_COLUMNS`` that ``batches`` has, and ``year`` (Int64, calendar
        year made). Ordered by batch as given, then by the day it left the shelf.
    """
    made = batches.filter(pl.col("made_on") <= as_of).with_row_index("batch")
    key = made.select("batch", "batch_id", "made_on", made_containers="containers")
    seen = batch_findings(spoilage).join(key, on="batch_id")
    seen = seen.filter(pl.col("found_on") <= as_of)
    looks = _looks(seen)
    exits = pl.concat([_spoiled(seen, looks), _used(consumption, key, as_of)]).sort("batch", "on", "fate")
    earlier = pl.col("n").cum_sum().over("batch") - pl.col("n")
    left = (pl.col("made_containers") - earlier).clip(lower_bound=0)
    exits = exits.with_columns(n=pl.min_horizontal("n", left))
    rows = pl.concat([exits, _on_shelf(key, exits, looks)]).sort("batch", "on", "fate", nulls_last=True)
    rows = rows.select("batch", "fate", "n", last_sound_days=_age("sound_on"), found_days=_age("found_on"))
    rows = rows.select(pl.exclude("n").repeat_by("n").explode(empty_as_null=False)).join(
        _carried(made), on="batch", maintain_order="left"
    )
    first = ("batch_id", "last_sound_days", "found_days")
    return rows.select(*first, pl.exclude(*first, "batch"))


def _age(day: str) -> pl.Expr:
    """Age of the batch on a day."""
    return (pl.col(day) - pl.col("made_on")).dt.total_days().clip(0).cast(pl.Float64)


def _carried(made: pl.DataFrame) -> pl.DataFrame:
    """What a container carries from its batch."""
    carried = [name for name in BATCH_COLUMNS if name in made.columns]
    return made.select("batch", "batch_id", *carried, year=pl.col("made_on").dt.year().cast(pl.Int64))


def _looks(seen: pl.DataFrame) -> pl.DataFrame:
    """Days on which a batch was looked at, each with the last earlier day it was known sound."""
    looks = seen.select("batch", "made_on", "found_on").unique().sort("batch", "found_on")
    before = pl.col("found_on").shift(1).over("batch")
    return looks.with_columns(sound_on=pl.coalesce(before, "made_on"))


def _spoiled(seen: pl.DataFrame, looks: pl.DataFrame) -> pl.DataFrame:
    """Containers lost, by batch and day found."""
    lost = seen.filter(pl.col("lost") > 0).group_by("batch", "made_on", "made_containers", "found_on")
    dated = lost.agg(n=pl.col("lost").sum()).join(looks.drop("made_on"), on=["batch", "found_on"])
    columns = ("batch", "made_on", "made_containers", "sound_on", "found_on", "n")
    return dated.select(*columns, on="found_on", fate=pl.lit("spoiled"))


def _used(consumption: pl.DataFrame, key: pl.DataFrame, as_of: dt.date) -> pl.DataFrame:
    """Containers used sound, by batch and day."""
    rows = consumption.filter(pl.col("batch_id").is_not_null() & (pl.col("used_on") <= as_of))
    rows = rows.select("batch_id", "used_on", n=pl.col("containers").fill_null(1)).join(key, on="batch_id")
    days = rows.group_by("batch", "made_on", "made_containers", "used_on").agg(pl.col("n").sum())
    return days.select(
        "batch",
        "made_on",
        "made_containers",
        sound_on="used_on",
        found_on=pl.lit(None, pl.Date),
        n="n",
        on="used_on",
        fate=pl.lit("used"),
    )


def _on_shelf(key: pl.DataFrame, exits: pl.DataFrame, looks: pl.DataFrame) -> pl.DataFrame:
    """Containers neither lost nor used, sound at the last look at their batch."""
    gone = exits.group_by("batch").agg(gone=pl.col("n").sum())
    last = looks.group_by("batch").agg(last_look=pl.col("found_on").max())
    rest = key.join(gone, on="batch", how="left").join(last, on="batch", how="left")
    return rest.select(
        "batch",
        "made_on",
        "made_containers",
        sound_on=pl.coalesce("last_look", "made_on"),
        found_on=pl.lit(None, pl.Date),
        n=pl.col("made_containers") - pl.col("gone").fill_null(0),
        on=pl.lit(None, pl.Date),
        fate=pl.lit("on_shelf"),
    )
