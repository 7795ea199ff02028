"""The shared garden in one place: folders -> stores -> pooled and suppressed tables -> page and data package."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable, Sequence
from pathlib import Path

from pipeline import reference
from pipeline.analysis.shared_garden import SharedGarden, shared_garden
from pipeline.analysis.shared_plots import FolderLogs
from pipeline.build import _write as write_files
from pipeline.errors import UsageError
from pipeline.folder import opened, output_folder
from pipeline.load import load_folder
from pipeline.settings import Settings
from pipeline.store import STORE_NAME
from schemas.logs import LOGS
from schemas.page import Garden

DEFAULT_OUT = Path("shared-garden")


def share(
    folders: Sequence[Path], as_of: dt.date, out: Path | None, seed: int, progress: Callable[[str], None]
) -> Path:
    """Pool the plots of one or many season folders that agreed to share; the page's path is returned.

    Writes ``index.html``, ``tables/*.csv`` and ``datapackage.json``. A folder's store is brought in line where
    it has one; nothing is left in a folder that has none.

    Args:
        folders: season folders.
        as_of: today.
        out: where files go; a folder ``shared-garden`` here if None.
        seed: seed of the draws behind the sowing plan.
        progress: told what is being done.

    Raises:
        UsageError: no folder, the same folder twice, or a folder that is not there.
    """
    from reports.share_package import shared_descriptor, shared_files
    from reports.share_page import shared_page

    _check(folders)
    logs = [_read(folder, as_of, progress) for folder in folders]
    progress("pooling the plots")
    crops = reference.crop_reference(logs[0].frames["crops"] if len(logs) == 1 else None)
    pooled = shared_garden(logs, crops, as_of, seed=seed)
    progress("drawing the page")
    garden = _garden([folder.settings for folder in logs], pooled, as_of)
    files = shared_files(pooled.tables)
    about = shared_descriptor(garden.name, as_of, files)
    files["datapackage.json"] = json.dumps(about, ensure_ascii=False, indent=1).encode()
    files["index.html"] = shared_page(garden, pooled.tables, pooled.notes).encode()
    target = output_folder(out, DEFAULT_OUT)
    write_files(target, files)
    progress("")
    return target / "index.html"


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


def _read(folder: Path, as_of: dt.date, progress: Callable[[str], None]) -> FolderLogs:
    has_store = (folder / STORE_NAME).exists()
    with opened(folder, None, in_memory=not has_store) as (store, settings):
        load_folder(store, folder, settings, as_of, progress)
        return FolderLogs({name: store.core(name) for name in LOGS}, settings)


def _garden(settings: Sequence[Settings], pooled: SharedGarden, as_of: dt.date) -> Garden:
    """Facts for the head of the page. Several gardens go by their number: a name may be a person's."""
    fact = pooled.tables["shared_garden"].row(0, named=True)
    first, last = fact["first_day"], fact["last_day"]
    following = settings[0].season_of(max(settings[0].season_of(last)[1] + dt.timedelta(days=1), as_of))
    invented = all("invented" in one.name.casefold() for one in settings)
    name = settings[0].name if len(settings) == 1 else f"{len(settings)} gardens together"
    return Garden(name, as_of, first, last, *following, invented=invented)
