"""What is on the shelf, how long it lasts, which to use first and which to look at.

Quality, not safety: a published time says how long a good quality is to be expected. Whether a jar can be
eaten is for a tested recipe and a food-safety authority to say.
"""

from __future__ import annotations

import datetime as dt

import polars as pl

from pipeline.keeping.histories import batch_findings
from pipeline.keeping.intervals import garwood_interval
from schemas.answer_frame import as_answer
from schemas.words.days import MONTH_DAYS

WINDOW_DAYS = 731
"""Uses of the last two years tell the rate."""

ENOUGH_FOR_MONTHS = 24.0
"""Above this many months of use on hand, more is not needed."""

LONGEST_MONTHS = 1200.0
"""A run-out date further ahead says nothing."""


FERMENT_LOOK_DAYS, FERMENT_FIRST_DAYS = 3, 28
FERMENT_LOOK = "first weeks of a ferment: look several times a week, skim a pale flat film, discard what is off"
FERMENT_SOURCE = "USDA Complete Guide to Home Canning, guide 6: check several times a week (read in a copy)"

OPEN_LOOK_DAYS = 7
PRACTICE = "common practice, no source"
LID_YEAR_DAYS = 365
CURVE_SHARE = 0.9
"""The measured curve says to use a batch by the age at which one container in ten was no longer sound."""

ONES_OWN = "this garden's log"

DUE_TYPES: dict[str, pl.DataType] = {
    "batch_id": pl.String(),
    "due_on": pl.Date(),
    "reason": pl.String(),
    "source": pl.String(),
}


def shelf_ledger(
    batches: pl.DataFrame, spoilage: pl.DataFrame, consumption: pl.DataFrame, as_of: dt.date
) -> pl.DataFrame:
    """What became of the containers of each batch made by a day.

    A use without a count is one container. Only containers that were lost count as spoiled: those trimmed,
    skimmed, redried or kept are still there.

    Args:
        batches: typed batch log.
        spoilage: typed spoilage log.
        consumption: typed consumption log.
        as_of: last day that counts.

    Returns:
        ``batch_id``, ``crop``, ``method``, ``made_on``, ``made``, ``used``, ``spoiled``, ``on_hand`` (Int64,
        containers; never below 0) and ``last_look`` (date the batch was last looked at; null if never), sorted
        by day made and batch.
    """
    used = (
        consumption.filter(pl.col("batch_id").is_not_null(), pl.col("used_on") <= as_of)
        .group_by("batch_id")
        .agg(used=pl.col("containers").fill_null(1).sum())
    )
    seen = (
        batch_findings(spoilage)
        .filter(pl.col("found_on") <= as_of)
        .group_by("batch_id")
        .agg(spoiled=pl.col("lost").sum(), last_look=pl.col("found_on").max())
    )
    count = pl.col("used", "spoiled").fill_null(0).cast(pl.Int64)
    return (
        batches.filter(pl.col("made_on") <= as_of)
        .select("batch_id", "crop", "method", "made_on", made=pl.col("containers"))
        .join(used, on="batch_id", how="left")
        .join(seen, on="batch_id", how="left")
        .with_columns(count)
        .with_columns(on_hand=(pl.col("made") - pl.col("used") - pl.col("spoiled")).clip(lower_bound=0))
        .select("batch_id", "crop", "method", "made_on", "made", "used", "spoiled", "on_hand", "last_look")
        .sort("made_on", "batch_id")
    )


def shelf_table(ledger: pl.DataFrame, consumption: pl.DataFrame, as_of: dt.date) -> pl.DataFrame:
    """What is on the shelf by crop and method, and when it runs out.

    Rate of use: containers used over the months since the first batch of that crop and method was made, at most
    the last two years, with the exact Poisson interval (Garwood 1936), which takes uses as independent. The
    run-out date is from the rate, its range from the interval; null where nothing is on hand, where the rate is
    0, or where it lies more than a century ahead.

    Args:
        ledger: result of ``shelf_ledger``.
        consumption: typed consumption log.
        as_of: today.

    Returns:
        The ``shelf`` answer table, sorted by crop and method.
    """
    groups = ledger.group_by("crop", "method").agg(
        pl.col("made", "used", "spoiled", "on_hand").sum(), first_made=pl.col("made_on").min()
    )
    window = as_of - dt.timedelta(days=WINDOW_DAYS)
    recent = (
        consumption.filter(pl.col("used_on") > window, pl.col("used_on") <= as_of)
        .join(ledger.select("batch_id", group_crop="crop", method="method"), on="batch_id")
        .group_by(crop="group_crop", method="method")
        .agg(recent=pl.col("containers").fill_null(1).sum())
    )
    days = (pl.lit(as_of) - pl.max_horizontal("first_made", pl.lit(window))).dt.total_days()
    rows = (
        groups.join(recent, on=["crop", "method"], how="left")
        .with_columns(pl.col("recent").fill_null(0), months=days / MONTH_DAYS)
        .sort("crop", "method")
    )
    low, high = garwood_interval(rows["recent"].to_numpy())
    rows = rows.with_columns(
        used_per_month=_per_month(pl.col("recent")),
        low=_per_month(pl.lit(pl.Series(low, dtype=pl.Float64))),
        high=_per_month(pl.lit(pl.Series(high, dtype=pl.Float64))),
    ).with_columns(
        runs_out_on=_runs_out("used_per_month", as_of),
        runs_out_low=_runs_out("high", as_of),
        runs_out_high=_runs_out("low", as_of),
        weeks_left=_months_left("used_per_month") * MONTH_DAYS / 7,
    )
    return as_answer(rows.with_columns(note=_shelf_note()), "shelf")


def _per_month(count: pl.Expr) -> pl.Expr:
    return pl.when(pl.col("months") > 0).then(count / pl.col("months"))


def _months_left(rate: str) -> pl.Expr:
    left = pl.when(pl.col(rate) > 0).then(pl.col("on_hand") / pl.col(rate))
    return pl.when(pl.col("on_hand") == 0).then(0.0).otherwise(left)


def _runs_out(rate: str, as_of: dt.date) -> pl.Expr:
    months = _months_left(rate)
    days = pl.when(pl.col("on_hand") > 0, months <= LONGEST_MONTHS).then(months * MONTH_DAYS)
    return pl.lit(as_of) + pl.duration(days=days.round().cast(pl.Int64))


def _shelf_note() -> pl.Expr:
    months = pl.col("months").round(0).cast(pl.Int64)
    unused = pl.format("never used in {} months", months)
    # Nothing used so far: the highest rate that fits says whether even that would leave more than enough.
    lasts = pl.coalesce(_months_left("used_per_month"), _months_left("high"))
    plenty = pl.lit(f"stop making more: lasts beyond {ENOUGH_FOR_MONTHS / 12:g} years of use")
    said = [
        pl.when(pl.col("on_hand") == 0).then(pl.lit("none left")),
        pl.when(pl.col("on_hand") > 0, pl.col("recent") == 0, months > 0).then(unused),
        pl.when(lasts > ENOUGH_FOR_MONTHS).then(plenty),
    ]
    return pl.concat_str(said, separator="; ", ignore_nulls=True)


def use_first(
    ledger: pl.DataFrame,
    batches: pl.DataFrame,
    quality_months: pl.DataFrame,
    keeping_curves: pl.DataFrame | None,
    as_of: dt.date,
    ready: pl.DataFrame | None = None,
) -> pl.DataFrame:
    """Batches on hand by the day on which to use them or look at them.

    A batch can be due for several reasons; the earliest gives ``due_on``, and every reason that has come due by
    then or by today is named. Reasons: its published quality time; the age by which one container in ten of its
    method was no longer sound in this garden; a ferment in its first four weeks (a look every 3 days, since the
    last look); anything not kept under its liquid or under cloth or no lid (a look every week); a metal lid
    older than a year.

    Args:
        ledger: result of ``shelf_ledger``.
        batches: typed batch log.
        quality_months: ``method``, ``store`` (null: any), ``crop`` (null: general), ``months``, ``source``,
            ``read_as``. The row that names both crop and store goes before one that names the crop, then the
            store, then neither. A batch without a store takes the row for any store, else the shortest time.
        keeping_curves: the ``keeping_curves`` answer table, of which the rows grouped by ``method`` are used.
        as_of: today.
        ready: ``batch_id`` and ``ready_to`` (last day of the published ready time, null where none); a batch that
            has to ripen first counts its quality time from then.

    Returns:
        The ``use_first`` answer table, sorted by ``due_on``, then oldest first; batches without any known time
        come last, with no ``due_on``.
    """
    place = batches.select("batch_id", "lid", "store", "submerged")
    shelf = ledger.filter(pl.col("on_hand") > 0).join(place, on="batch_id")
    ripe = batches.select("batch_id", ready_to=pl.lit(None, dtype=pl.Date)) if ready is None else ready
    shelf = shelf.join(ripe.select("batch_id", "ready_to"), on="batch_id", how="left", maintain_order="left")
    shelf = shelf.with_columns(
        counts_from=pl.coalesce("ready_to", "made_on"),
        age_days=(pl.lit(as_of) - pl.col("made_on")).dt.total_days(),
        looked_on=pl.max_horizontal("made_on", "last_look"),
    )
    quality = _quality(shelf, quality_months)
    parts = [_past_quality(quality), _ferments(shelf), _open(shelf), _old_lids(shelf)]
    if keeping_curves is not None:
        parts.append(_measured(shelf, keeping_curves))
    due = pl.concat([part.select(*DUE_TYPES).cast(DUE_TYPES) for part in parts])  # type: ignore[arg-type]
    first = pl.col("due_on").min().over("batch_id")
    named = due.filter(pl.col("due_on") <= pl.max_horizontal(first, pl.lit(as_of))).sort("due_on", "reason")
    per_batch = named.group_by("batch_id", maintain_order=True).agg(
        pl.col("due_on").min(), pl.col("reason").str.join("; "), pl.col("source").unique(maintain_order=True)
    )
    rows = (
        shelf.join(quality.select("batch_id", "quality_months"), on="batch_id", how="left")
        .join(per_batch.with_columns(pl.col("source").list.join("; ")), on="batch_id", how="left")
        .with_columns(pl.col("reason").fill_null("no published time is known for it: use the oldest first"))
    )
    return as_answer(rows.sort("due_on", "made_on", "batch_id", nulls_last=True), "use_first")


def _quality(shelf: pl.DataFrame, quality_months: pl.DataFrame) -> pl.DataFrame:
    """The published quality time that fits each batch best."""
    times = quality_months.filter(pl.col("months").is_not_null()).rename({"crop": "for_crop", "store": "for_store"})
    fits_crop = pl.col("for_crop").is_null() | (pl.col("for_crop") == pl.col("crop"))
    fits_store = pl.col("for_store").is_null() | pl.col("store").is_null() | (pl.col("for_store") == pl.col("store"))
    return (
        shelf.select("batch_id", "crop", "method", "store", "made_on", "counts_from")
        .join(times, on="method")
        .filter(fits_crop, fits_store)
        .sort(pl.col("for_crop").is_null(), pl.col("for_store").is_null() != pl.col("store").is_null(), "months")
        .group_by("batch_id", maintain_order=True)
        .first()
        .rename({"months": "quality_months"})
    )


def _past_quality(quality: pl.DataFrame) -> pl.DataFrame:
    months = pl.col("quality_months")
    whole = months.floor().cast(pl.Int64)
    # A calendar month where months are whole; a part of a month in days.
    due = pl.col("counts_from").dt.offset_by(pl.format("{}mo", whole)) + pl.duration(
        days=((months - whole) * MONTH_DAYS).round().cast(pl.Int64)
    )
    return quality.select(
        "batch_id",
        due_on=due,
        reason=_quality_reason(months)
        + pl.when(pl.col("counts_from") > pl.col("made_on")).then(pl.lit(" of being ready")).otherwise(pl.lit("")),
        source=pl.format("{} ({})", "source", "read_as"),
    )


def _quality_reason(months: pl.Expr) -> pl.Expr:
    number = months.round(1).cast(pl.String).str.strip_suffix(".0")
    unit = pl.when(months == 1).then(pl.lit("month")).otherwise(pl.lit("months"))
    in_months = pl.format("best used within {} {}", number, unit)
    in_days = pl.format("best used within {} days", (months * MONTH_DAYS).round().cast(pl.Int64))
    return pl.when(months >= 1).then(in_months).when(months > 0).then(in_days).otherwise(pl.lit("best used at once"))


def _ferments(shelf: pl.DataFrame) -> pl.DataFrame:
    young = shelf.filter(pl.col("method") == "ferment", pl.col("age_days") <= FERMENT_FIRST_DAYS)
    return young.select(
        "batch_id",
        due_on=pl.col("looked_on") + pl.duration(days=FERMENT_LOOK_DAYS),
        reason=pl.lit(FERMENT_LOOK),
        source=pl.lit(FERMENT_SOURCE),
    )


def _open(shelf: pl.DataFrame) -> pl.DataFrame:
    """Batches that air can reach; crates of cured produce and frozen bags are meant to be so."""
    liquid = ~pl.col("method").is_in(["cure", "freeze"])
    above = (~pl.col("submerged")).fill_null(value=False)
    unlidded = pl.col("lid").is_in(["cloth", "none"]).fill_null(value=False)
    what = pl.when(above).then(pl.lit("not all under the liquid")).otherwise(pl.lit("no tight lid"))
    return shelf.filter(liquid & (above | unlidded)).select(
        "batch_id",
        due_on=pl.col("looked_on") + pl.duration(days=OPEN_LOOK_DAYS),
        reason=pl.format("{}: look every week", what),
        source=pl.lit(PRACTICE),
    )


def _old_lids(shelf: pl.DataFrame) -> pl.DataFrame:
    old = shelf.filter(pl.col("lid") == "metal", pl.col("age_days") > LID_YEAR_DAYS)
    return old.select(
        "batch_id",
        due_on=pl.col("made_on") + pl.duration(days=LID_YEAR_DAYS),
        reason=pl.lit("metal lid older than a year: look for rust and a loose seal"),
        source=pl.lit(PRACTICE),
    )


def _measured(shelf: pl.DataFrame, keeping_curves: pl.DataFrame) -> pl.DataFrame:
    """The age at which this garden's own batches of a method had lost one container in ten."""
    fell = keeping_curves.filter(pl.col("grouping") == "method", pl.col("kept") <= CURVE_SHARE)
    ages = fell.group_by(method="group").agg(days=pl.col("age_days").min())
    return shelf.join(ages, on="method").select(
        "batch_id",
        due_on=pl.col("made_on") + pl.duration(days=pl.col("days")),
        reason=pl.format("by {} days, 1 in 10 of your {} containers was no longer sound", "days", "method"),
        source=pl.lit(ONES_OWN),
    )
