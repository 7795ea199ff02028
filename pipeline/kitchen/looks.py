"""What a shelf asks for on which day, and what a label says: frames for the calendar and for the label sheet."""

from __future__ import annotations

import datetime as dt

import polars as pl

from pipeline.shelf.ledger import (
    FERMENT_FIRST_DAYS,
    FERMENT_LOOK_DAYS,
    LID_YEAR_DAYS,
    PRACTICE,
)
from schemas.words.days import MONTH_DAYS

EVENT_TYPES: dict[str, pl.DataType] = {
    "kind": pl.String(),
    "batch_id": pl.String(),
    "crop": pl.String(),
    "method": pl.String(),
    "happens_on": pl.Date(),
    "due_on": pl.Date(),
    "repeat_days": pl.Int64(),
    "repeat_until": pl.Date(),
    "what": pl.String(),
    "source": pl.String(),
}
LID = "the metal lid is a year old: look for rust, change it, or use this one first"
SOURED = "ready in taste only: measure the pH before it is stored"


def shelf_events(batches: pl.DataFrame, use_first: pl.DataFrame, ready: pl.DataFrame, as_of: dt.date) -> pl.DataFrame:
    """Looks due, ready dates and lid changes of the batches on hand.

    A look that is overdue happens on ``as_of``; ``due_on`` keeps the day it was due. A ferment in its first four
    weeks is looked at again and again until they are over. A batch that is within its time of coming ready is
    told on the last day of that time.

    Args:
        batches: core batches.
        use_first: the ``use_first`` answer at ``as_of``; only its batches are on hand.
        ready: a frame of ``pipeline.kitchen.ready.ready_dates``.
        as_of: today.

    Returns:
        Columns and types of ``EVENT_TYPES``, sorted by day, kind (``lid``, ``look``, ``ready``) and batch.
    """
    today = pl.lit(as_of)
    shelf = use_first.join(batches.select("batch_id", "made_on", "lid"), on="batch_id")
    last_look = pl.col("made_on") + pl.duration(days=FERMENT_FIRST_DAYS)
    happens = pl.max_horizontal("due_on", today)
    repeats = (pl.col("method") == "ferment") & (happens < last_look)
    looks = shelf.drop_nulls("due_on").with_columns(
        kind=pl.lit("look"),
        happens_on=happens,
        repeat_days=pl.when(repeats).then(FERMENT_LOOK_DAYS),
        repeat_until=pl.when(repeats).then(last_look),
        what=pl.col("reason"),
    )
    coming = shelf.join(ready.drop_nulls("ready_from"), on="batch_id").filter(pl.col("ready_to") >= today)
    from_on = pl.when(pl.col("ready_from") >= today).then("ready_from").otherwise("ready_to")
    sours = pl.when(pl.col("method") == "ferment").then(pl.format("{}; {}", "ready_note", pl.lit(SOURED)))
    ripe = coming.with_columns(
        kind=pl.lit("ready"),
        happens_on=from_on,
        due_on=from_on,
        what=pl.coalesce(sours, "ready_note"),
        source=pl.format("{} ({})", "ready_source", "ready_read_as"),
    )
    change_on = pl.col("made_on") + pl.duration(days=LID_YEAR_DAYS)
    lids = shelf.filter(pl.col("lid") == "metal", change_on >= today).with_columns(
        kind=pl.lit("lid"), happens_on=change_on, due_on=change_on, what=pl.lit(LID), source=pl.lit(PRACTICE)
    )
    return pl.concat([_events(part) for part in (looks, ripe, lids)]).sort("happens_on", "kind", "batch_id")


def _events(rows: pl.DataFrame) -> pl.DataFrame:
    missing = [pl.lit(None).alias(name) for name in EVENT_TYPES if name not in rows.columns]
    return rows.with_columns(missing).select(pl.col(name).cast(kind) for name, kind in EVENT_TYPES.items())


LABEL_TYPES: dict[str, pl.DataType] = {
    "batch_id": pl.String(),
    "crop": pl.String(),
    "method": pl.String(),
    "made_on": pl.Date(),
    "containers": pl.Int64(),
    "salt_pct": pl.Float64(),
    "salt_basis": pl.String(),
    "produce_kg": pl.Float64(),
    "sweetener": pl.String(),
    "sweetener_kg": pl.Float64(),
    "ph": pl.Float64(),
    "ready_from": pl.Date(),
    "ready_to": pl.Date(),
    "ready_source": pl.String(),
    "look_on": pl.Date(),
    "look_every_days": pl.Int64(),
    "best_by": pl.Date(),
    "quality_months": pl.Float64(),
    "broken": pl.List(pl.String()),
    "warnings": pl.List(pl.String()),
    "cautions": pl.Int64(),
}
DAYS_OF_A_LABEL = ("ready_from", "ready_to", "look_on", "look_every_days", "best_by", "quality_months")
KRAUT_SALT_PCT = (2.0, 3.0)
DILL_SALT_PCT = (3.6, 3.9)
"""Salt of the published recipes; the second by the spoons and cups of the dill recipe, 3.7 % of everything."""

FOR_WHOM = ("honey_infants",)
"""Serious cautions that say who must not eat it, and break no limit."""

WORST = (
    *("felt_ill", "bulging_or_leak", "spoiled_kept", "mould_kept"),
    *("ph_above_limit", "low_acid_bottled", "low_acid_jam", "low_acid_shelf", "in_oil"),
)
"""What was seen goes first, then what was measured, then what closed jars hold; the others as the rules stand."""


def label_facts(
    batches: pl.DataFrame,
    use_first: pl.DataFrame,
    ready: pl.DataFrame,
    cautions: pl.DataFrame,
    as_of: dt.date,
) -> pl.DataFrame:
    """What the label of each batch on hand says.

    Args:
        batches: core batches with the columns of ``with_salt_measures``.
        use_first: the ``use_first`` answer at ``as_of``; a batch that is not in it gets no label.
        ready: a frame of ``pipeline.kitchen.ready.ready_dates``.
        cautions: the ``cautions`` answer.
        as_of: today.

    Returns:
        Columns and types of ``LABEL_TYPES``, one row per batch on hand in the order of ``batches``. ``containers``
        are those on hand. ``best_by`` is the published quality time from the day made, for a ferment from the last
        day of its time of coming ready. ``look_on`` is the next look where that is before ``best_by``. ``broken`` are
        the serious limits that the batch breaks, worst first; with any of them there is no day on which it is ready,
        looked at or best. ``warnings`` say who must not eat it; ``cautions`` counts the others. ``ready_source`` is
        named only where the batch is made as that source says.
    """
    serious = pl.col("severity") == "serious"
    for_whom = pl.col("rule").is_in(FOR_WHOM)
    first = pl.col("rule").replace_strict(list(WORST), range(len(WORST)), default=len(WORST), return_dtype=pl.Int64)
    warned = (
        cautions.with_columns(first=first)
        .sort("first", maintain_order=True)
        .group_by("batch_id", maintain_order=True)
        .agg(
            broken=_broken_limit().filter(serious & ~for_whom),
            warnings=pl.col("limit").filter(serious & for_whom),
            cautions=(~serious).sum().cast(pl.Int64),
        )
    )
    months = pl.col("quality_months")
    whole = months.floor().cast(pl.Int64)
    # Quality times of ferments are of those that have soured.
    from_on = pl.when(pl.col("method") == "ferment").then(pl.coalesce("ready_to", "made_on")).otherwise("made_on")
    best_by = from_on.dt.offset_by(pl.format("{}mo", whole)) + pl.duration(
        days=((months - whole) * MONTH_DAYS).round().cast(pl.Int64)
    )
    due = use_first.select("batch_id", "on_hand", "age_days", "quality_months", "due_on")
    look_on = pl.max_horizontal("due_on", pl.lit(as_of))
    young = (pl.col("method") == "ferment") & (pl.col("age_days") <= FERMENT_FIRST_DAYS)
    return (
        batches.join(due, on="batch_id", maintain_order="left")
        .join(ready, on="batch_id", how="left", maintain_order="left")
        .join(warned, on="batch_id", how="left", maintain_order="left")
        .with_columns(
            containers=pl.col("on_hand"),
            sweetener_kg=pl.col("sweetener_weight_g") / 1000,
            best_by=best_by,
            look_every_days=pl.when(young).then(FERMENT_LOOK_DAYS),
            broken=pl.col("broken").fill_null([]),
            warnings=pl.col("warnings").fill_null([]),
            ready_source=pl.when(_as_published()).then("ready_source"),
            cautions=pl.col("cautions").fill_null(0),
        )
        .with_columns(look_on=pl.when(pl.col("best_by").is_null() | (look_on < pl.col("best_by"))).then(look_on))
        .with_columns(pl.when(pl.col("broken").list.len() == 0).then(day).alias(day) for day in DAYS_OF_A_LABEL)
        .select(pl.col(name).cast(kind) for name, kind in LABEL_TYPES.items())
    )


def _broken_limit() -> pl.Expr:
    """What was found beside what is allowed: ``pH 5.9, limit 4.6``."""
    ph = pl.col("limit").str.extract(r"^pH (\d+(?:\.\d+)?) or lower$")
    measured = pl.col("found").str.starts_with("pH ") & ph.is_not_null()
    return (
        pl.when(measured)
        .then(pl.format("{}, limit {}", "found", ph))
        .otherwise(pl.format("{}; limit: {}", "found", "limit"))
    )


def _as_published() -> pl.Expr:
    """Whether a batch is made as the source of its ready time says, by what is logged of it.

    Cabbage with 2 to 3 % salt of its weight is; cucumbers with the vinegar and the salt of the dill recipe, 3.7 % of
    everything, are. Conditioning is the same for any dried fruit. Of all others it is not known.
    """
    salt = pl.col("salt_pct")
    cabbage = (pl.col("crop") == "cabbage") & (pl.col("salt_basis") == "of produce") & salt.is_between(*KRAUT_SALT_PCT)
    dill = (pl.col("crop") == "cucumber") & (pl.col("salt_basis") == "of all") & salt.is_between(*DILL_SALT_PCT)
    ferment = (pl.col("method") == "ferment") & (cabbage | (dill & (pl.col("vinegar_ml") > 0)))
    practice = pl.col("ready_source").str.starts_with("common practice")
    return ferment | (pl.col("method") == "dry") | practice
