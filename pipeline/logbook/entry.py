"""One row into a log of a season folder, checked as every row is, whole or not at all; or the last one back."""

from __future__ import annotations

import datetime as dt
import shutil
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import polars as pl

from pipeline import reference
from pipeline.errors import RowshelfError, UsageError
from pipeline.intake.headers import Header, find_header
from pipeline.intake.normalise import Reading, cell_reader
from pipeline.intake.read import OUTPUT_MARKER, LogFile, find_logs, open_log
from pipeline.logbook.choice import file_for
from pipeline.logbook.days import day_of
from pipeline.logbook.disk import alone, content_of, write_whole
from pipeline.logbook.form import Addition, with_row
from pipeline.logbook.undo import MEMORY_NAME, Written, memory_of, remembered, without_row
from pipeline.logbook.words import cells_of
from pipeline.store.folder import SETTINGS_NAME, opened, read_settings
from pipeline.store.load import load_folder
from reports.tables import FORMULA_STARTS
from schemas.dictionary import blank_log
from schemas.fields import CROP, DATE, IDENTIFIER, TEXT, Field
from schemas.logs import ENTRIES, LATEST_DATE_COLUMN, LOGS, Log
from schemas.words.days import full_day

if TYPE_CHECKING:
    from pipeline.settings import Settings
    from pipeline.store.store import Store

NOT_NEEDED = frozenset({"weather", "climate"})
"""Logs that no other row is checked against."""


@dataclass(frozen=True)
class Entered:
    """What was written."""

    path: Path
    line: int
    understood: str
    row: dict[str, object]
    """The typed row."""
    notes: tuple[str, ...]


def add_row(
    folder: Path, entry: str, words: Sequence[str], named: Mapping[str, str], today: dt.date, into: str | None = None
) -> Entered:
    """Write one row at the end of its log.

    Args:
        folder: the season folder.
        entry: a name of ``ENTRIES``.
        words: texts for the columns that every row needs, in order.
        named: texts by column.
        today: the day of the row where none is said; a later day is refused.
        into: the file to write to, by its path inside the folder; left out, the newest one.

    Raises:
        RowshelfError: the row would be set aside, or lose a cell; or its file cannot be written. Nothing was written.
        UsageError: the words fit no column, or ``folder`` or ``into`` is no such thing.
    """
    log, settings = LOGS[ENTRIES[entry]], read_settings(folder)
    if (folder / OUTPUT_MARKER).exists():
        message = f"{folder}: holds pages and tables written by us, not logs. Name the season folder."
        raise UsageError(message)
    with alone(folder), _mirrored(folder) as (mirror, files), opened(folder, None, in_memory=True) as (store, _):
        load_folder(store, mirror, settings, today)
        before = _problems(store)
        cells = _cells(log, words, named, today, store, settings)
        file, why = file_for(log, files, into, cells, store)
        inside = file.name if file else f"{log.name}.csv"
        path = folder / inside
        base = content_of(path) if path.exists() else b""
        addition = _addition(log, file, path, base, cells)
        (mirror / inside).write_bytes(addition.content)
        load_folder(store, mirror, settings, today)
        notes = _refused_or_noted(entry, before, _problems(store), inside, addition.line)
        typed = _typed_row(log, store, inside, addition.line)
        understood = f"{entry}: {', '.join(_facts(log, typed, cells))}"
        if base != (content_of(path) if path.exists() else b""):
            message = (
                f"{inside}: was changed by another program in this moment. Nothing was written: add the row again."
            )
            raise RowshelfError(message)
        write_whole(path, addition.content)
        row = Written(inside, addition.tail.hex(), understood, file is None)
        write_whole(folder / MEMORY_NAME, memory_of([*remembered(folder), row]))
    if addition.added:
        notes = (*notes, f"{inside}: had no column {' or '.join(addition.added)}; it was added to the heading.")
    return Entered(path, addition.line, understood, typed, (*why, *notes))


def undo_row(folder: Path) -> Written:
    """Take back the last row that :func:`add_row` wrote; what was taken back is returned.

    Raises:
        RowshelfError: there is none, or its file does not end with it any more.
    """
    read_settings(folder)  # says what is wrong with the folder, if anything is
    with alone(folder):
        rows = remembered(folder)
        if not rows:
            message = f"{folder}: no row was added here that could be taken back."
            raise RowshelfError(message)
        row = rows[-1]
        files = {file.name: file.path for file in find_logs(folder).logs}
        path = files.get(row.file)
        if path is None:
            message = f"{row.file}: not there any more, so nothing was taken back."
            raise RowshelfError(message)
        rest = without_row(content_of(path), row)
        write_whole(path, rest)
        if row.made and rest in {blank_log(log).encode() for log in LOGS.values()}:
            path.unlink()  # the folder is as it was
        write_whole(folder / MEMORY_NAME, memory_of(rows[:-1]))
    return row


@contextmanager
def _mirrored(folder: Path) -> Iterator[tuple[Path, tuple[LogFile, ...]]]:
    """A copy of the logs that a row is checked against, in which the row can be tried."""
    files = find_logs(folder).logs
    with TemporaryDirectory(prefix="rowshelf-") as made:
        mirror = Path(made)
        paths = {file.path for file in files if file.kind not in NOT_NEEDED}
        for path in (*sorted(paths), folder / SETTINGS_NAME):
            target = mirror / path.relative_to(folder)
            if path.exists():
                target.parent.mkdir(parents=True, exist_ok=True)
                shutil.copyfile(path, target)
        yield mirror, files


def _cells(
    log: Log, words: Sequence[str], named: Mapping[str, str], today: dt.date, store: Store, settings: Settings
) -> dict[str, str]:
    """The cells as they will stand in the file; a day is written as 2026-06-18, which every file can hold."""
    own = store.core("crops")
    lookup = reference.crop_lookup(reference.crop_reference(own), own)
    reading = Reading(settings.date_order, settings.pint, lookup)
    batches = {label.casefold() for label in store.core("batches")["batch_id"].to_list()}
    readers = {column.name: cell_reader(column, reading) for column in log.columns}

    def reads(name: str, text: str) -> bool:
        if name == "crop":
            return text in lookup or " ".join(text.split()).casefold() in own_crops
        if name == "batch_id" and log.name != "batches":
            return " ".join(text.split()).casefold() in batches
        if log.column(name).kind == DATE:
            return day_of(text, today, settings.date_order) is not None
        return not readers[name](text).rule

    own_crops = _crops_named(store)
    cells = cells_of(log, words, named, reads)
    cells = {LATEST_DATE_COLUMN[log.name]: today.isoformat()} | cells
    for name, text in cells.items():
        day = day_of(text, today, settings.date_order) if log.column(name).kind == DATE else None
        cells[name] = day.isoformat() if day else text
    return {name: _written(log.column(name), text) for name, text in cells.items()}


def _written(column: Field, text: str) -> str:
    """The text on one line, and so that no spreadsheet takes it for a formula and runs it.

    Raises:
        RowshelfError: a label that begins as a formula does; it could not be written so and stay the same label.
    """
    line = " ".join(text.replace("\0", " ").splitlines()).strip()
    if not line.startswith(FORMULA_STARTS) or column.kind not in {TEXT, IDENTIFIER}:
        return line
    if column.kind == TEXT:
        return f"'{line}"
    message = f"{column.name} {line!r}: begins with {line[0]!r}, as a formula does: use a label that does not."
    raise RowshelfError(message)


def _crops_named(store: Store) -> set[str]:
    """Every crop that stands in a log of this folder."""
    return {
        crop
        for log in LOGS.values()
        if "crop" in log.core_columns and log.name != "crops"
        for crop in store.core(log.name)["crop"].drop_nulls().unique().to_list()
    }


def _addition(log: Log, file: LogFile | None, path: Path, content: bytes, cells: Mapping[str, str]) -> Addition:
    if not content.strip():
        heading = blank_log(log)
        header = find_header(log, [(1, tuple(heading.strip().split(",")))], ",")
        return with_row(heading.encode(), "utf-8", _known(header, path), cells)
    text = open_log(file) if file else None
    if text is None or text.header is None:
        message = f"{path.name}: no heading was found in it, so no row can be added: `rowshelf check` says more."
        raise RowshelfError(message)
    try:
        return with_row(content, text.encoding, text.header, cells)
    except RowshelfError as error:
        message = f"{path.name}: {error}. Nothing was written."
        raise RowshelfError(message) from error


def _known(header: Header | None, path: Path) -> Header:
    if header is None:
        message = f"{path.name}: has no heading"
        raise RowshelfError(message)
    return header


Problem = tuple[str, int, str, str]
"""File, line, column, rule."""


def _problems(store: Store) -> dict[Problem, tuple[str, str, str]]:
    """Level, cell and message of each problem by its place."""
    found = store.answer("problems").select("file", "line", "column", "rule", "level", "value", "message")
    return {(row[0], row[1], row[2], row[3]): (row[4], row[5] or "", row[6]) for row in found.iter_rows()}


def _refused_or_noted(
    entry: str,
    before: Mapping[Problem, object],
    after: Mapping[Problem, tuple[str, str, str]],
    file: str,
    line: int,
) -> tuple[str, ...]:
    """What to say beside a row that is taken.

    Raises:
        RowshelfError: the row, one of its cells, or another row because of it, would be set aside.
    """
    refused: list[str] = []
    noted: list[str] = []
    for (where, at, column, rule), (level, value, message) in after.items():
        if (where, at, column, rule) in before or level == "note":
            continue
        place = "" if (where, at) == (file, line) else f"{where} line {at}: "
        said = place + (f"{column} {value!r}: " if value else f"{column}: " if column else "") + message
        (refused if level in {"error", "cell"} else noted).append(said)
    if refused:
        message = "\n  ".join([f"not written, for this {entry} would not be taken as it stands:", *refused])
        raise RowshelfError(message)
    return tuple(noted)


def _typed_row(log: Log, store: Store, file: str, line: int) -> dict[str, object]:
    """The row as it was read.

    Raises:
        RowshelfError: the row is not among those read, as below a quote that is never closed.
    """
    rows = store.core(log.name).filter(pl.col("source_file") == file, pl.col("source_line") == line)
    if rows.height != 1:
        message = f"not written, for line {line} of {file} would not be read as a row: `rowshelf check` says why."
        raise RowshelfError(message)
    return rows.row(0, named=True)


def _facts(log: Log, row: Mapping[str, object], cells: Mapping[str, str]) -> Iterator[str]:
    for column in log.columns:
        (name, _), *others = column.core_columns
        value = row[name]
        if value is None:
            continue
        typed = " ".join(cells.get(column.name, "").split())
        if column.kind == CROP and typed.casefold() != value:
            yield f"crop {typed} (known as {value})"
        elif others and others[0][1] == "text":
            yield f"{column.name} {_shown(value)} {row[others[0][0]]}"
        else:
            unit = {None: "", "pct": " %", "C": " °C"}.get(column.unit, f" {column.unit}")
            estimated = " (estimated)" if others and row[others[0][0]] else ""
            yield f"{column.name.replace('_', ' ')} {_shown(value)}{unit}{estimated}"


def _shown(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.6g}"
    return full_day(value) if isinstance(value, dt.date) else str(value)
