"""Where the harvest went: the balance per crop and week, and the waste that came of gluts."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.harvest import evenness
from pipeline.harvest.flow import (
    ASSUMED,
    DEFAULT_KEEPING_DAYS,
    EATEN,
    EXPIRED,
    GIVEN,
    LEFT,
    LOGGED_KINDS,
    PUT_BY,
    WASTED,
    Flow,
    keeping_days,
    perishable_flow,
)
from pipeline.harvest.grid import (
    Flags,
    Floats,
    Grid,
    assumed_wish_g,
    capacity_g,
    even_loss_g,
    from_gluts_g,
    harvest_grid,
    lost_g,
    place_on,
)
from pipeline.harvest.uses import in_grams, logged_uses, put_by_produce, unweighed_notes
from pipeline.settings import Settings
from schemas.answer_frame import as_answer

UNEVENNESS_TYPES: dict[str, pl.DataType] = {
    "crop": pl.String(),
    "peak_to_mean": pl.Float64(),
    "weeks_without": pl.Int64(),
    "best_two_weeks_share": pl.Float64(),
    "gini": pl.Float64(),
}


@dataclass(frozen=True)
class GlutAnswers:
    """The balance of the harvest.

    ``glut_weeks``, ``glut_waste`` and ``sowing_waste`` are answer tables. ``unevenness`` has a row per crop
    picked: ``crop``, ``peak_to_mean``, ``weeks_without``, ``best_two_weeks_share`` and ``gini`` of the weeks
    of its harvest windows. ``notes`` are sentences on what the balance could not know.
    """

    glut_weeks: pl.DataFrame
    glut_waste: pl.DataFrame
    sowing_waste: pl.DataFrame
    unevenness: pl.DataFrame
    notes: tuple[str, ...]


def glut_balance(
    harvests: pl.DataFrame,
    batches: pl.DataFrame,
    ingredients: pl.DataFrame,
    consumption: pl.DataFrame,
    spoilage: pl.DataFrame,
    crops: pl.DataFrame,
    needs_fresh: pl.DataFrame,
    *,
    settings: Settings,
    as_of: dt.date,
    season: tuple[dt.date, dt.date] | None = None,
    storage_c: float | None = None,
) -> GlutAnswers:
    """Account for every gram picked.

    The whole log up to ``as_of`` is followed, so that what a season inherits is known. ``season`` then keeps
    its pickings and what became of them, and the weeks that touch it. Where ``settings.fresh_use`` is not
    ``logged``, eating is assumed at the household's need, less what was logged that week, up to what later
    logged uses leave; ``eaten_basis`` says so. A crop of unknown need has no capacity and no gluts then.

    Per crop, picked + over-used = eaten + put by + given + wasted + expired + left, to the gram. Per week the
    same holds with what was left the week before added on the left side.

    Args:
        harvests: typed harvest log.
        batches: typed batch log.
        ingredients: typed ingredient log.
        consumption: typed consumption log.
        spoilage: typed spoilage log.
        crops: crop reference; a crop that is not in it keeps 7 days.
        needs_fresh: ``crop``, ``month`` (1 to 12), ``fresh_kg_per_week`` (null where not known).
        settings: ``fresh_use``, ``kitchen_kg_per_week`` and the start of the garden year are used.
        as_of: last day that counts.
        season: first and last day of the pickings wanted; None for all.
        storage_c: temperature of the store, C; None for each crop's own best.

    Returns:
        The answer tables, with kilograms exact to the gram.
    """
    picked = harvests.filter(pl.col("picked_on") <= as_of, pl.col("weight_kg").is_not_null()).select(
        "crop", "sowing_id", day="picked_on", grams=in_grams("weight_kg")
    )
    put_by = put_by_produce(batches, ingredients, crops)
    uses = logged_uses(put_by, consumption, spoilage, as_of)
    notes = unweighed_notes(batches, ingredients, consumption, spoilage)
    keeps = keeping_days(crops, storage_c)
    grid = harvest_grid(picked, uses, keeps, needs_fresh, settings, as_of, season)
    logged = settings.fresh_use == "logged"
    wish = np.zeros_like(grid.picked_g) if logged else assumed_wish_g(grid)
    flow = perishable_flow(grid.picked_g, grid.logged_g, wish, grid.life_days)
    unknown = [] if logged else _without_need(grid, needs_fresh)
    capacity = capacity_g(grid, settings.kitchen_kg_per_week)
    capacity[[grid.crops.index(crop) for crop in unknown]] = np.inf
    from_gluts = from_gluts_g(grid, flow, capacity)
    notes += _notes(grid, keeps, unknown)
    unevenness = _unevenness(grid)
    waste = _waste_table(grid, flow, from_gluts, _trimmed_share(put_by, as_of), unevenness, logged=logged)
    return GlutAnswers(
        glut_weeks=_week_table(grid, flow, capacity, logged=logged),
        glut_waste=waste,
        sowing_waste=_sowing_table(grid, flow, from_gluts, picked),
        unevenness=unevenness,
        notes=tuple(notes),
    )


def _unevenness(grid: Grid) -> pl.DataFrame:
    """How unevenly each crop came, over the weeks of its harvest windows."""
    picked = grid.weekly(grid.picked_g * grid.in_season)
    inside = grid.weekly((grid.windows & grid.in_season).astype(np.int64)) > 0
    rows = []
    for at, crop in enumerate(grid.crops):
        weekly = picked[at][inside[at]]
        if weekly.sum() > 0:
            rows.append(
                (
                    crop,
                    evenness.peak_to_mean(weekly),
                    evenness.weeks_without(weekly),
                    evenness.best_two_weeks_share(weekly),
                    evenness.gini(weekly),
                )
            )
    return pl.DataFrame(rows, schema=UNEVENNESS_TYPES, orient="row")


def _trimmed_share(put_by: pl.DataFrame, as_of: dt.date) -> dict[str, float]:
    """Share of what was put by of each crop, as picked, that was trimmed away."""
    made = put_by.filter(pl.col("made_on") <= as_of, pl.col("picked_g") > 0)
    share = 1 - pl.col("prepared_g").sum() / pl.col("picked_g").sum()
    return dict(made.group_by("crop").agg(share=share).iter_rows())


def _week_table(grid: Grid, flow: Flow, capacity: Floats, *, logged: bool) -> pl.DataFrame:
    """The ``glut_weeks`` answer table."""
    by_kind = [grid.weekly(grid.logged_g[:, :, kind]) for kind in range(LOGGED_KINDS)]
    assumed, expired = grid.weekly(flow.by_day(ASSUMED)), grid.weekly(flow.by_day(EXPIRED))
    picked, over_used = grid.weekly(grid.picked_g), grid.weekly(flow.over_used_g.sum(axis=2))
    left = np.cumsum(picked + over_used - sum(by_kind) - assumed - expired, axis=1)
    grams = {
        "picked_kg": picked,
        "eaten_kg": by_kind[EATEN] + assumed,
        "put_by_kg": by_kind[PUT_BY],
        "given_kg": by_kind[GIVEN],
        "wasted_kg": by_kind[WASTED],
        "expired_kg": expired,
        "left_kg": left,
        "over_used_kg": over_used,
    }
    inside = grid.weekly(grid.windows.astype(np.int64)) > 0
    season = grid.weekly(grid.in_season.astype(np.int64)[None, :]) > 0
    shown = (inside | (np.stack(list(grams.values())) > 0).any(axis=0)) & season
    crop, week = np.nonzero(shown)
    basis = (assumed == 0) & (by_kind[EATEN] > 0) | logged
    table = pl.DataFrame(
        {name: np.round(values[shown]) / 1000 for name, values in grams.items()}
        | {
            "crop": [grid.crops[at] for at in crop],
            "week": [grid.first + dt.timedelta(weeks=int(at)) for at in week],
            "capacity_kg": pl.Series([round(g) / 1000 if np.isfinite(g) else None for g in capacity[shown]]),
            "is_glut": (picked > capacity)[shown],
            "eaten_basis": _basis(basis[shown]),
        }
    )
    return as_answer(table, "glut_weeks")


def _basis(is_logged: Flags) -> pl.Series:
    words = ["logged" if each else "assumed" for each in is_logged]
    return pl.Series(words, dtype=pl.String)


def _waste_table(
    grid: Grid,
    flow: Flow,
    from_gluts: Floats,
    trimmed: dict[str, float],
    unevenness: pl.DataFrame,
    *,
    logged: bool,
) -> pl.DataFrame:
    """The ``glut_waste`` answer table: what became of the season's lots, and use beyond them."""
    season = grid.in_season
    over = (flow.over_used_g * season[None, :, None]).sum(axis=1)
    lots = {kind: (flow.by_lot(kind) * season).sum(axis=1) for kind in range(LEFT + 1)}
    eaten, put_by, given, wasted = (lots[kind] + over[:, kind] for kind in range(LOGGED_KINDS))
    lost = wasted + lots[EXPIRED]
    week_gluts = np.round(grid.weekly(from_gluts))
    gluts = week_gluts.sum(axis=1)
    worst = [grid.first + dt.timedelta(weeks=int(row.argmax())) if row.any() else None for row in week_gluts]
    share = [trimmed.get(crop, 0.0) for crop in grid.crops]
    grams = {
        "picked_kg": (grid.picked_g * season).sum(axis=1),
        "eaten_kg": eaten + lots[ASSUMED],
        "put_by_kg": put_by,
        "given_kg": given,
        "wasted_kg": wasted,
        "expired_kg": lots[EXPIRED],
        "left_kg": lots[LEFT],
        "over_used_kg": over.sum(axis=1),
        "trimmings_kg": put_by * np.array(share, np.float64),
        "from_gluts_kg": gluts,
        "even_loss_kg": even_loss_g(grid),
    }
    table = pl.DataFrame(
        {name: np.round(values) / 1000 for name, values in grams.items()}
        | {
            "crop": pl.Series(grid.crops, dtype=pl.String),
            "from_gluts_share": [float(part / all_) if all_ else None for part, all_ in zip(gluts, lost, strict=True)],
            "worst_week": worst,
            "eaten_basis": _basis((lots[ASSUMED] == 0) & (eaten > 0) | logged),
        }
    )
    busy = (pl.col("picked_kg") > 0) | (pl.col("over_used_kg") > 0)
    return as_answer(table.filter(busy).join(unevenness, on="crop", how="left", maintain_order="left"), "glut_waste")


def _sowing_table(grid: Grid, flow: Flow, from_gluts: Floats, picked: pl.DataFrame) -> pl.DataFrame:
    """The ``sowing_waste`` answer table: each lot's waste by the sowings' shares of its picking."""
    rows = picked.group_by("sowing_id", "crop", "day").agg(pl.col("grams").sum()).filter(pl.col("grams") > 0)
    crop, day = place_on(rows, grid.crops, grid.first)
    share = rows["grams"].to_numpy() / np.maximum(grid.picked_g[crop, day], 1)
    rows = rows.with_columns(
        kg=pl.Series(share * lost_g(grid, flow)[crop, day] / 1000, dtype=pl.Float64),
        from_gluts_kg=pl.Series(share * from_gluts[crop, day] / 1000, dtype=pl.Float64),
    ).filter(pl.Series(grid.in_season[day], dtype=pl.Boolean))
    sums = rows.sort("day").group_by("sowing_id", "crop", maintain_order=True)
    table = sums.agg(pl.col("kg", "from_gluts_kg").sum()).sort("crop", "sowing_id", nulls_last=True)
    return as_answer(table, "sowing_waste")


def _without_need(grid: Grid, needs_fresh: pl.DataFrame) -> list[str]:
    """Crops picked of which it is not known how much is wanted fresh."""
    known = needs_fresh.filter(pl.col("fresh_kg_per_week").is_not_null())["crop"].to_list()
    return [crop for crop in _picked(grid) if crop not in known]


def _picked(grid: Grid) -> list[str]:
    return [crop for crop, row in zip(grid.crops, grid.picked_g, strict=True) if row.any()]


def _notes(grid: Grid, keeps: pl.DataFrame, unknown: list[str]) -> list[str]:
    """Sentences on crops for which a value had to be assumed."""
    notes = []
    if unknown:
        notes.append(
            f"No need is known for {', '.join(unknown)}: nothing is assumed to be eaten fresh, so waste may be "
            "overstated, and no week is called a glut. Write fresh_kg_per_week under [needs.CROP] in rowshelf.toml."
        )
    strange = [crop for crop in _picked(grid) if crop not in keeps["crop"].to_list()]
    if strange:
        notes.append(
            f"Not in the crop reference: {', '.join(strange)}; taken to keep {DEFAULT_KEEPING_DAYS:g} days "
            "once picked (common practice, no source). Write keeping_days in crops.csv."
        )
    return notes
