"""The logbook for the garden gate: a page for a telephone, sheets for a pencil, written into the season folder."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from pipeline.errors import RowshelfError
from pipeline.intake.read import find_logs
from pipeline.logbook.disk import content_of, write_whole
from pipeline.logbook.lists import garden_lists
from pipeline.store.folder import SETTINGS_NAME, opened
from pipeline.store.load import load_folder
from reports.logbook_page import MADE_BY, log_sheets, logbook_page

PHONE_NAME, SHEETS_NAME = "logbook.html", "sheets.html"


def is_season(folder: Path) -> bool:
    """Whether a folder holds logs or settings already."""
    return folder.is_dir() and ((folder / SETTINGS_NAME).exists() or bool(find_logs(folder).logs))


def write_pages(folder: Path, today: dt.date, *, phone: bool, sheets: bool) -> list[Path]:
    """Write the pages asked for, with this garden's crops, plots and batches to pick from.

    A page of ours is replaced by the new one.

    Raises:
        RowshelfError: a file of that name is not ours, or cannot be written.
    """
    with opened(folder, None, in_memory=True) as (store, settings):
        load_folder(store, folder, settings, today)
        lists = garden_lists(store, settings, today)
    pages = ({PHONE_NAME: logbook_page(lists)} if phone else {}) | ({SHEETS_NAME: log_sheets(lists)} if sheets else {})
    written = []
    for name, page in pages.items():
        path = folder / name
        if path.exists() and MADE_BY.encode() not in content_of(path)[:2000]:
            message = f"{path}: is there already and no page of ours, so it was not touched. Rename it, and try again."
            raise RowshelfError(message)
        write_whole(path, page.encode())
        written.append(path)
    return written
