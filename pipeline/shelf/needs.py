"""What next season needs of each crop: fresh per week, and containers to make."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass

import polars as pl

from pipeline.harvest.uses import put_by_produce
from pipeline.settings import CropNeed, Settings
from pipeline.shelf.ledger import WINDOW_DAYS
from schemas.answer_frame import answer_types
from schemas.words.days import MONTH_DAYS, YEAR_DAYS

DEFAULT_PEOPLE = 2.0
"""People, where the settings name none (judgement; the basis says so)."""

LEAST_DAYS = 28
"""A shelf watched for less than four weeks does not tell a year's use."""

MOST_LOST = 0.9
"""Expected losses are not made up for beyond this share; such a method needs mending, not more jars."""

FRESH_TYPES: dict[str, pl.DataType] = {
    "crop": pl.String(),
    "month": pl.Int64(),
    "fresh_kg_per_week": pl.Float64(),
    "basis": pl.String(),
}


def fresh_needs(
    consumption: pl.DataFrame, harvests: pl.DataFrame, crops: pl.DataFrame, settings: Settings, as_of: dt.date
) -> pl.DataFrame:
    """Fresh use wanted of each crop, by calendar month.

    A setting goes before the log, and the log before published amounts. The log says kilograms eaten over the
    ISO weeks with any of the crop eaten, in the last two years. Where ``settings.fresh_use`` does not say that
    fresh use is logged, the log is a part of what was eaten, so it counts only where it is more than the
    published amount or where there is none. Published amounts are per person and named as such.

    Args:
        consumption: typed consumption log.
        harvests: typed harvest log.
        crops: crop reference with ``fresh_kg_per_person_week``.
        settings: ``needs``, ``fresh_use`` and ``people`` are used; crops in ``needs`` go by the reference's name.
        as_of: last day that counts.

    Returns:
        ``crop``, ``month`` (1 to 12), ``fresh_kg_per_week`` (null where nothing is known) and ``basis``, for every
        crop picked, eaten fresh or named in the settings. Sorted by crop and month.
    """
    eaten = consumption.filter(
        pl.col("batch_id").is_null(),
        pl.col("crop").is_not_null(),
        pl.col("use").is_null() | (pl.col("use") == "eaten"),
        pl.col("used_on") <= as_of,
    )
    picked = harvests.filter(pl.col("picked_on") <= as_of)
    names = sorted({*picked["crop"].drop_nulls(), *eaten["crop"], *settings.needs})
    logged = _weekly_use(eaten, as_of)
    published = dict(crops.select("crop", "fresh_kg_per_person_week").iter_rows())
    rows = []
    for crop in names:
        monthly, basis = _fresh_need(crop, logged, published, settings)
        rows += [(crop, month, kg, basis) for month, kg in enumerate(monthly, start=1)]
    return pl.DataFrame(rows, schema=FRESH_TYPES, orient="row")


def _weekly_use(eaten: pl.DataFrame, as_of: dt.date) -> dict[str, tuple[float, int]]:
    """Mean kilograms of each crop over the weeks it was eaten, and how many weeks."""
    recent = eaten.filter(
        pl.col("used_on") > as_of - dt.timedelta(days=WINDOW_DAYS), pl.col("weight_kg") > 0
    ).with_columns(week=pl.col("used_on").dt.truncate("1w"))
    use = recent.group_by("crop").agg(kg=pl.col("weight_kg").sum(), weeks=pl.col("week").n_unique())
    return {crop: (kg / weeks, weeks) for crop, kg, weeks in use.iter_rows()}


def _fresh_need(
    crop: str,
    logged: dict[str, tuple[float, int]],
    published: dict[str, float | None],
    settings: Settings,
) -> tuple[tuple[float | None, ...], str]:
    """Kilograms per week for the twelve months, and where they come from."""
    wanted = settings.needs.get(crop, CropNeed()).fresh_kg_per_week
    if wanted is not None:
        return wanted, "setting"
    kg, weeks = logged.get(crop, (0.0, 0))
    per_person = published.get(crop)
    eating_weeks = f"{weeks} eating {'week' if weeks == 1 else 'weeks'}"
    if weeks and settings.fresh_use == "logged":
        return (kg,) * 12, f"log of {eating_weeks}"
    people = DEFAULT_PEOPLE if settings.people is None else settings.people
    amount = None if per_person is None else per_person * people
    if weeks and kg > (amount or 0.0):
        return (kg,) * 12, f"log in part, {eating_weeks}: at least this"
    if amount is None:
        return (None,) * 12, "not known"
    note = ", people not set" if settings.people is None else ""
    return (amount,) * 12, f"published amount for {people:g} people{note}"


@dataclass(frozen=True)
class _Shelf:
    """What the shelf says of one crop."""

    on_hand: int = 0
    used_per_year: float | None = None
    basis: str = "not known"
    kg_per_container: float | None = None


def needs_table(
    fresh: pl.DataFrame,
    ledger: pl.DataFrame,
    batches: pl.DataFrame,
    ingredients: pl.DataFrame,
    consumption: pl.DataFrame,
    crops: pl.DataFrame,
    *,
    settings: Settings,
    as_of: dt.date,
    spoilage_by_method: pl.DataFrame | None = None,
) -> pl.DataFrame:
    """What next season needs of each crop.

    ``fresh_kg_per_week`` is the mean over the months in which any is wanted. ``containers_per_year``: a setting,
    or containers used since the crop's first batch (at most two years) scaled to a year; the basis names the
    months behind it. ``containers_to_make`` lasts one year from the start of the next garden year: from the
    year's use goes what is expected still to be on the shelf and sound then; what is left is made larger by the
    share expected to be lost. ``kg_to_put_by`` is as picked, by the crop's own average per container.

    Args:
        fresh: result of ``fresh_needs``.
        ledger: result of ``shelf_ledger``.
        batches: typed batch log.
        ingredients: typed ingredient log.
        consumption: typed consumption log.
        crops: crop reference with ``refuse_pct``.
        settings: ``needs`` and the start of the garden year are used.
        as_of: today.
        spoilage_by_method: the ``spoilage`` answer table grouped by ``method``; None expects no loss.

    Returns:
        The ``needs`` answer table, sorted by crop.
    """
    weekly = fresh.filter(pl.col("fresh_kg_per_week") > 0).group_by("crop").agg(pl.col("fresh_kg_per_week").mean())
    fresh_kg = dict(weekly.iter_rows())
    fresh_basis = dict(fresh.select("crop", "basis").iter_rows())
    shelves = _shelves(ledger, batches, put_by_produce(batches, ingredients, crops), consumption, as_of)
    lost = _lost_by_crop(ledger, spoilage_by_method)
    next_year = settings.season_of(as_of)[1] + dt.timedelta(days=1)
    years_ahead = (next_year - as_of).days / YEAR_DAYS
    rows = []
    for crop in sorted({*fresh_basis, *shelves, *settings.needs}):
        shelf = shelves.get(crop, _Shelf())
        wanted = settings.needs.get(crop, CropNeed()).containers_per_year
        per_year, basis = (shelf.used_per_year, shelf.basis) if wanted is None else (wanted, "setting")
        to_make = _to_make(per_year, shelf.on_hand, lost.get(crop, 0.0), years_ahead)
        kg = shelf.kg_per_container
        rows.append(
            {
                "crop": crop,
                "fresh_kg_per_week": fresh_kg.get(crop),
                "containers_per_year": per_year,
                "containers_to_make": to_make,
                "kg_to_put_by": None if to_make is None or kg is None else to_make * kg,
                "basis": f"fresh: {fresh_basis.get(crop, 'not known')}; containers: {basis}",
            }
        )
    return pl.DataFrame(rows, schema=answer_types("needs"))


def _shelves(
    ledger: pl.DataFrame,
    batches: pl.DataFrame,
    put_by: pl.DataFrame,
    consumption: pl.DataFrame,
    as_of: dt.date,
) -> dict[str, _Shelf]:
    """What the shelf says of each crop of which a batch was made; a mixed batch belongs to its main crop."""
    window = as_of - dt.timedelta(days=WINDOW_DAYS)
    used = (
        consumption.filter(pl.col("used_on") > window, pl.col("used_on") <= as_of)
        .join(ledger.select("batch_id", main="crop"), on="batch_id")
        .group_by(crop="main")
        .agg(used=pl.col("containers").fill_null(1).sum())
    )
    filled = (
        put_by.join(batches.select("batch_id", "containers", main="crop"), on="batch_id")
        .filter(pl.col("crop") == pl.col("main"))
        .group_by("crop", "batch_id")
        .agg(pl.col("picked_g").sum(), pl.col("containers").first())
        .group_by("crop")
        .agg(kg_per_container=pl.col("picked_g").sum() / 1000 / pl.col("containers").sum())
    )
    crops = (
        ledger.group_by("crop")
        .agg(pl.col("on_hand").sum(), first=pl.col("made_on").min())
        .with_columns(days=(pl.lit(as_of) - pl.max_horizontal("first", pl.lit(window))).dt.total_days())
        .join(used, on="crop", how="left")
        .join(filled, on="crop", how="left")
        .with_columns(pl.col("used").fill_null(0))
    )
    shelves = {}
    for row in crops.iter_rows(named=True):
        known = row["days"] >= LEAST_DAYS
        months = round(row["days"] / MONTH_DAYS)
        shelves[row["crop"]] = _Shelf(
            on_hand=row["on_hand"],
            used_per_year=row["used"] / row["days"] * YEAR_DAYS if known else None,
            basis=f"log of {months} {'month' if months == 1 else 'months'}" if known else "log too short",
            kg_per_container=row["kg_per_container"],
        )
    return shelves


def _lost_by_crop(ledger: pl.DataFrame, spoilage_by_method: pl.DataFrame | None) -> dict[str, float]:
    """Share of each crop's containers expected to be lost: its methods' shares, by containers made."""
    if spoilage_by_method is None:
        return {}
    shares = spoilage_by_method.filter(pl.col("grouping") == "method").select(method="group", share="lost_share")
    made = ledger.join(shares, on="method").filter(pl.col("share").is_not_null())
    mean = (pl.col("share") * pl.col("made")).sum() / pl.col("made").sum()
    return dict(made.group_by("crop").agg(mean).iter_rows())


def _to_make(per_year: float | None, on_hand: int, lost_share: float, years_ahead: float) -> int | None:
    """Containers to make so that a year's use is there, sound, from the start of the next garden year."""
    if per_year is None:
        return None
    sound = 1 - min(lost_share, MOST_LOST)
    still_there = max(on_hand - per_year * years_ahead, 0.0) * sound
    return math.ceil(max(per_year - still_there, 0.0) / sound - 1e-9)
