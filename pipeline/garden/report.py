"""The shared garden: what many plots gave together, without exposing anyone."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import polars as pl

from pipeline.garden.earlier import Report
from pipeline.garden.keeping import keeping_tables
from pipeline.garden.plots import FolderLogs, Pool, pool
from pipeline.garden.suppression import Rule
from pipeline.garden.surplus import surplus_table
from pipeline.garden.tables import WITHHELD_TYPES, as_shared, harvest_tables, use_tables
from pipeline.garden.timetable import even_needs, shared_plan
from pipeline.keeping.histories import container_histories
from pipeline.seasons import logged_seasons, usual_season
from schemas.shared import SHARED

NO_PLOT = "rows that name no plot, in a folder of several"
DECLINED = "plots whose grower did not agree to share"


@dataclass(frozen=True)
class SharedGarden:
    """Every table of ``schemas/shared.py``, ready to be shown, and what else to say."""

    tables: Mapping[str, pl.DataFrame]
    notes: tuple[str, ...]
    plots: pl.DataFrame
    """``own_name`` and ``label`` of each plot, by ``folder``: for the keeper, not for the page."""
    marks: pl.DataFrame
    """``cell``, ``holder`` and ``mark``: what the folders are to remember of this report."""
    unattributed: pl.DataFrame
    """``log`` and ``rows`` that name no plot: for the keeper of the folder, not for the page."""


def shared_garden(
    folders: Sequence[FolderLogs],
    crops: pl.DataFrame,
    as_of: dt.date,
    *,
    seed: int,
    earlier: Sequence[Report] = (),
) -> SharedGarden:
    """Pool the plots that agreed to share, and withhold whatever would expose one.

    The season is the last garden year, by the first folder's settings, of which enough is shared. What
    kept is told of all years. Of several ``smallest_group`` settings the largest counts.

    Args:
        folders: typed logs and settings of each folder; at least one.
        crops: crop reference.
        as_of: today.
        seed: seed of the draws behind the sowing plan.
        earlier: what the folders remember of earlier reports.

    Raises:
        ValueError: no folder.
    """
    if not folders:
        message = "a shared garden needs at least one folder"
        raise ValueError(message)
    shared = pool(folders)
    rule = Rule(smallest_group=max(folder.settings.smallest_group for folder in folders))
    season = _season(shared, folders[0], as_of)
    so_far = season[0], min(season[1], as_of)
    harvest = harvest_tables(shared, crops, so_far, rule, earlier)
    uses, uses_withheld, use_marks = use_tables(shared, crops, so_far, rule, earlier)
    histories = container_histories(shared["batches"], shared["spoilage"], shared["consumption"], as_of)
    spoilage, keeping, keeping_withheld, kept_marks = keeping_tables(histories, shared.plots, rule, earlier)
    settings = [folder.settings for folder in folders]
    surplus, surplus_withheld = surplus_table(shared, settings, crops, harvest.calendar, as_of, rule)
    main = max(folders, key=lambda folder: folder.frames["weather"].height)
    needs = even_needs(harvest.crops, harvest.calendar)
    plan = shared_plan(shared, main, crops, needs, season, as_of, rule, seed=seed)
    left_out = _left_out(shared)
    parts = (harvest.withheld, uses_withheld, keeping_withheld, surplus_withheld, plan.withheld, left_out)
    tables = {
        "shared_garden": harvest.garden,
        "shared_crops": harvest.crops,
        "shared_calendar": harvest.calendar,
        "shared_uses": uses,
        "shared_spoilage": spoilage,
        "shared_keeping": keeping,
        "shared_surplus": surplus,
        "shared_sowings": as_shared(plan.sowings, "shared_sowings"),
        "shared_outlook": plan.outlook,
        "shared_plan_worth": plan.worth,
        "shared_withheld": as_shared(pl.concat(parts), "shared_withheld"),
    }
    marks = pl.concat([harvest.marks, use_marks, kept_marks])
    marks = marks.filter(pl.col("holder").n_unique().over("cell") >= rule.smallest_group)
    return SharedGarden({name: tables[name] for name in SHARED}, plan.notes, shared.plots, marks, shared.unattributed)


def _season(shared: Pool, folder: FolderLogs, as_of: dt.date) -> tuple[dt.date, dt.date]:
    """First and last day of the season shared."""
    logged = logged_seasons(shared["harvests"], shared["sowings"], folder.settings)
    return usual_season(logged, folder.settings, as_of)


def _left_out(shared: Pool) -> pl.DataFrame:
    """Logs with rows that name no plot, and whether plots declined; no counts, which may be one grower's."""
    rows = [(log, NO_PLOT, None) for log in shared.unattributed["log"]]
    if shared.some_declined:
        rows.append(("plots", DECLINED, None))
    return pl.DataFrame(rows, schema=WITHHELD_TYPES, orient="row")
