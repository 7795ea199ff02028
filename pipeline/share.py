"""The shared garden in one place: folders -> stores -> pooled and suppressed tables -> page and data package.

What is withheld is worked out for one report alone. Whoever holds two reports can take one from the other: if a
single plot joined, left or withdrew its consent between them, or logged more while the others did not, the
difference is that plot's. No report can undo an earlier one. So every folder remembers the reports made of it, and
what fewer plots than the smallest group have changed is left out of the next; the keeper is told so.
"""

from __future__ import annotations

import datetime as dt
import json
import secrets
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from pipeline import reference
from pipeline.errors import UsageError
from pipeline.garden.earlier import CHANGED, Report
from pipeline.garden.plots import FolderLogs, holds_a_name
from pipeline.garden.report import SharedGarden, shared_garden
from pipeline.store.folder import opened, read_settings
from pipeline.store.load import load_folder
from pipeline.store.output import claim, put
from pipeline.store.shared_reports import LIST_NAME, read_shared, write_shared
from pipeline.store.store import STORE_NAME
from schemas.logs import LOGS
from schemas.page import Garden

DEFAULT_OUT = Path("shared-garden")
EARLIER_REPORT = (
    "Some figures are left out: an earlier report was made of these folders, and whoever has both could work out what"
    " one or two plots changed. Share a season once, or again only when several plots have changed."
)
HOW_ROWS_BELONG = (
    "A row belongs to the plot it names, or to that of its sowing or batch. Write the plot beside these rows, or keep"
    " a folder for each plot."
)


@dataclass(frozen=True)
class Shared:
    """The page that was written, and what to tell the keeper of the folders, never the readers of the page."""

    page: Path
    notes: tuple[str, ...]


def share(
    folders: Sequence[Path],
    as_of: dt.date,
    out: Path | None,
    seed: int,
    progress: Callable[[str], None],
    *,
    pictures: bool = False,
    also: Sequence[str] = (),
    today: dt.date | None = None,
) -> Shared:
    """Pool the plots of one or many season folders that agreed to share.

    Writes ``index.html``, ``tables/*.csv`` and ``datapackage.json``, and the charts in ``charts/`` on request. A
    folder's store is brought in line where it has one; nothing is left in a folder that has none.

    Args:
        folders: season folders.
        as_of: today.
        out: where files go; a folder ``shared-garden`` here if None.
        seed: seed of the draws behind the sowing plan.
        progress: told what is being done.
        pictures: write every chart as SVG and PNG as well.
        also: names that the caller adds to the folder later.
        today: the day it is; rows after ``as_of`` and up to it do not count yet.

    Raises:
        UsageError: no folder, the same folder twice, or a folder that is not there.
    """
    from reports.picture import chart_files
    from reports.share_package import shared_descriptor, shared_files
    from reports.share_page import drawn_shared

    _check(folders)
    for folder in folders:
        read_settings(folder)
    known = [read_shared(folder) for folder in folders]
    target = claim(out, DEFAULT_OUT, "share", folders)
    logs = [_read(folder, as_of, progress, today) for folder in folders]
    progress("pooling the plots")
    crops = reference.crop_reference(logs[0].frames["crops"] if len(logs) == 1 else None)
    pooled = shared_garden(logs, crops, as_of, seed=seed, earlier=_earlier(known))
    progress("drawing the page")
    garden = _garden(logs, pooled, as_of)
    files = shared_files(pooled.tables)
    about = shared_descriptor(garden.name, as_of, files)
    files["datapackage.json"] = json.dumps(about, ensure_ascii=False, indent=1).encode()
    page = drawn_shared(garden, pooled.tables, pooled.notes)
    files["index.html"] = page.html.encode()
    if pictures:
        files |= chart_files(page.charts)
    changed = pooled.tables["shared_withheld"]["why"].str.contains(CHANGED, literal=True).any()
    earlier = (EARLIER_REPORT,) if changed else ()
    # first, so that no report is ever out that nobody remembers
    forgotten = _remember(folders, known, pooled)
    put(target, files, also)
    progress("")
    return Shared(
        target.shown / "index.html",
        (*_numbers(pooled.plots), *_unattributed(pooled.unattributed), *earlier, *forgotten),
    )


def _earlier(known: Sequence[Sequence[Mapping[str, Any]]]) -> list[Report]:
    """What all folders together remember, report by report."""
    holders: dict[str, dict[str, int]] = {}
    marks: dict[str, dict[str, Counter[str]]] = {}
    for report in (one for reports in known for one in reports):
        name = report["report"]
        for cell, found in report["cells"].items():
            holders.setdefault(name, {})[cell] = found["holders"]
            marks.setdefault(name, {}).setdefault(cell, Counter()).update(found["own"])
    return [Report(holders[name], marks[name]) for name in holders]


def _remember(folders: Sequence[Path], known: Sequence[Sequence[Mapping[str, Any]]], pooled: SharedGarden) -> list[str]:
    """Write into every folder what it is to remember of this report; gives what could not be written."""
    counts = dict(pooled.marks.group_by("cell").agg(pl.col("holder").n_unique()).iter_rows())
    # a grower of several folders is remembered in the first
    first = pooled.plots.group_by("holder").agg(pl.col("folder").min())
    owned = pooled.marks.join(first, on="holder").group_by("folder", "cell").agg(pl.col("mark").sort())
    own = {(folder, cell): marks for folder, cell, marks in owned.iter_rows()}
    now = [
        {cell: {"holders": count, "own": own.get((number, cell), [])} for cell, count in counts.items()}
        for number in range(len(folders))
    ]
    same = [
        {report["report"] for report in reports if report["cells"] == cells}
        for reports, cells in zip(known, now, strict=True)
    ]
    if set.intersection(*same) or not counts:
        return []  # the very same figures are out already
    name = secrets.token_hex(8)
    forgotten = []
    for folder, reports, cells in zip(folders, known, now, strict=True):
        if why := write_shared(folder, [*reports, {"report": name, "cells": cells}]):
            forgotten.append(
                f"{folder}: this report could not be remembered there ({why}), so that a later one cannot tell what"
                f" the two give away. Make the folder writable for {LIST_NAME}."
            )
    return forgotten


def _numbers(plots: pl.DataFrame) -> Iterator[str]:
    """Which plot goes by which number, so that the keeper can tell each grower theirs."""
    told = [
        f"{name} is {label}"
        for label, name in plots.select("label", "own_name").iter_rows()
        if not label.endswith(name)
    ]
    if told:
        yield f"On the page, {'; '.join(told)}. A column label in plots.csv gives a plot a name for all to see."


def _unattributed(counts: pl.DataFrame) -> Iterator[str]:
    """How many rows of each log were left out since nothing tells which plot they belong to."""
    for log, rows in counts.iter_rows():
        belong = "1 row belongs" if rows == 1 else f"{rows} rows belong"
        yield f"{log}: {belong} to no plot, and {'is' if rows == 1 else 'are'} left out."
    if counts.height:
        yield HOW_ROWS_BELONG


def _check(folders: Sequence[Path]) -> None:
    if not folders:
        message = "share: name the season folders to share, one or several."
        raise UsageError(message)
    seen: set[Path] = set()
    for folder in folders:
        place = folder.resolve()
        if place in seen:
            message = f"{folder}: named twice; its plots would count double. Name each folder once."
            raise UsageError(message)
        seen.add(place)


def _read(folder: Path, as_of: dt.date, progress: Callable[[str], None], today: dt.date | None) -> FolderLogs:
    has_store = (folder / STORE_NAME).exists()
    with opened(folder, None, in_memory=not has_store) as (store, settings):
        load_folder(store, folder, settings, as_of, progress, today)
        return FolderLogs({name: store.core(name) for name in LOGS}, settings)


def _garden(logs: Sequence[FolderLogs], pooled: SharedGarden, as_of: dt.date) -> Garden:
    """Facts for the head of the page. Several gardens go by their number: a name may be a person's."""
    settings = [folder.settings for folder in logs]
    fact = pooled.tables["shared_garden"].row(0, named=True)
    first, last = fact["first_day"], fact["last_day"]
    following = settings[0].season_of(max(settings[0].season_of(last)[1] + dt.timedelta(days=1), as_of))
    invented = all("invented" in one.name.casefold() for one in settings)
    name = f"{len(settings)} gardens together" if len(settings) > 1 else settings[0].name
    if len(settings) == 1 and holds_a_name(name, logs[0].frames):
        name = "Shared garden"
    return Garden(name, as_of, first, last, *following, invented=invented)
