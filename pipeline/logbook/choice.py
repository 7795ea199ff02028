"""Which of a folder's files a new row goes to: the one of its plot or batch, then the newest season."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import PurePosixPath
from typing import TYPE_CHECKING

import polars as pl

from pipeline.errors import RowshelfError, UsageError
from schemas.logs import LATEST_DATE_COLUMN, Log

if TYPE_CHECKING:
    from pipeline.intake.read import LogFile
    from pipeline.store.store import Store

MOST_NAMED = 4


def file_for(
    log: Log, files: Sequence[LogFile], into: str | None, cells: Mapping[str, str], store: Store
) -> tuple[LogFile | None, tuple[str, ...]]:
    """The file to write to, and what to say of the choice; None where one is to be made.

    Args:
        log: the log of the row.
        files: all logs of the folder.
        into: the file asked for, if any.
        cells: texts of the row by column.
        store: the folder's rows.

    Raises:
        RowshelfError: the log is kept in a workbook.
        UsageError: the file asked for is not there, or which of several folders is meant cannot be told.
    """
    own = [file for file in files if file.kind == log.name]
    texts = [file for file in own if file.sheet is None]
    if into is not None:
        named = [file for file in own if into in {file.name, PurePosixPath(file.name).name}]
        if len(named) != 1:
            known = ", ".join(file.name for file in texts) or f"{log.name}.csv"
            message = f"--file {into}: not one of the {log.name} files here; name one of {known}."
            raise UsageError(message)
        texts = [file for file in named if file.sheet is None]
    if own and not texts:
        message = (
            f"{own[0].name}: these rows are kept in a workbook, which only a spreadsheet program writes to. Type the "
            f"row there; or save the sheet as {log.name}.csv, take it out of the workbook, and add rows from then on."
        )
        raise RowshelfError(message)
    if len(texts) < 2:
        return (texts[0] if texts else None), ()
    chosen = _newest(log, _of_one_folder(log, _of_its_plot(log, texts, cells, store), cells, store), cells, store)
    return chosen, (f"{len(texts)} files hold {log.name}; written to {chosen.name} (--file names another).",)


def _folder(name: str) -> PurePosixPath:
    return PurePosixPath(name).parent


def _of_its_plot(log: Log, files: list[LogFile], cells: Mapping[str, str], store: Store) -> list[LogFile]:
    """Files in a folder called as the row's plot, or with rows of it; all where there is none such."""
    plot = cells.get("plot", "").casefold()
    if not plot:
        return files
    rows = store.core(log.name).filter(pl.col("plot").str.to_lowercase() == plot)
    named = set(rows["source_file"])
    own = [
        file for file in files if file.name in named or plot in {part.casefold() for part in _folder(file.name).parts}
    ]
    return own or files


def _of_one_folder(log: Log, files: list[LogFile], cells: Mapping[str, str], store: Store) -> list[LogFile]:
    """Files in the folder of the row's batch, else those that lie together; never a guess between folders.

    Raises:
        UsageError: they lie in several folders, none of which the row points to.
    """
    batch = cells.get("batch_id", "").casefold()
    homes = store.core("batches").filter(pl.col("batch_id").str.to_lowercase() == batch)["source_file"].to_list()
    beside = [file for file in files if any(_folder(file.name) == _folder(home) for home in homes)]
    files = beside or files
    folders = {_folder(file.name) for file in files}
    if len(folders) == 1:
        return files
    top = [file for file in files if _folder(file.name) == PurePosixPath()]
    if top:
        return top
    names = ", ".join(file.name for file in files[:MOST_NAMED]) + (", ..." if len(files) > MOST_NAMED else "")
    message = f"{log.name}: kept in {len(folders)} folders ({names}), so say which with --file, or name that folder."
    raise UsageError(message)


def _newest(log: Log, files: Sequence[LogFile], cells: Mapping[str, str], store: Store) -> LogFile:
    """The one file whose days the row's day lies within, else the one with the latest day."""
    column = LATEST_DATE_COLUMN[log.name]
    day = cells.get(column, "")
    days = store.core(log.name).group_by("source_file").agg(pl.min(column).alias("first"), pl.max(column).alias("last"))
    spans = {file: (str(first), str(last)) for file, first, last in days.iter_rows()}
    around = [file for file in files if file.name in spans and spans[file.name][0] <= day <= spans[file.name][1]]
    return (
        around[0] if len(around) == 1 else max(files, key=lambda file: (spans.get(file.name, ("", ""))[1], file.name))
    )
