"""Bring a store in line with its folder: unchanged files are skipped, changed replaced, vanished leave."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import polars as pl

from pipeline import reference
from pipeline.errors import RowshelfError
from pipeline.intake.dates import years_named
from pipeline.intake.headers import Header, nearest_column
from pipeline.intake.heading_notes import as_toml, asked_for, heading_notes, to_settle
from pipeline.intake.normalise import LogReader, Reading
from pipeline.intake.read import LogFile, LogText, checksum, find_logs, open_log
from pipeline.intake.records import Part, Row
from pipeline.intake.shape import PROBLEM_COLUMNS, no_problems, raw_of, shorten
from pipeline.intake.validate import split
from pipeline.store.copies import COPY_RULE, decided_by, set_copies_aside
from pipeline.store.crop_spellings import UNCLEAR_CROP, settle_crops
from pipeline.store.cross_checks import CROSS_RULES, run_cross_checks
from pipeline.store.part_uses import count_parts
from pipeline.store.plausible import RULE as IMPLAUSIBLE
from pipeline.store.plausible import set_implausible_aside
from schemas.contracts import core_types
from schemas.logs import LOGS

if TYPE_CHECKING:
    import datetime as dt
    from pathlib import Path

    from pipeline.reference.names import CropLookup
    from pipeline.settings import Settings
    from pipeline.store.store import Store

ROWS_AT_ONCE = 122_880 * 2
"""A multiple of DuckDB's row group, so that groups are written whole."""


READING_VERSION = 4
"""Raised when a cell comes to be read in another way, so that every file is read again."""


@dataclass(frozen=True)
class LoadReport:
    """What a load did."""

    read: int
    unchanged: int
    vanished: int
    notes: tuple[str, ...]
    to_settle: tuple[str, ...] = ()
    """Lines for rowshelf.toml that settle what was taken by its meaning."""


def load_folder(
    store: Store,
    folder: Path,
    settings: Settings,
    as_of: dt.date,
    progress: Callable[[str], None] = lambda _: None,
    today: dt.date | None = None,
) -> LoadReport:
    """Make the store say what the folder says, in one transaction.

    Args:
        store: an open store.
        folder: the season folder.
        settings: its settings; a change of how cells are read makes every file stale.
        as_of: the day that counts as today.
        progress: told the name of each file as it is read, and how many rows so far.
        today: the day it is; rows after ``as_of`` and up to it are later, beyond it a mistake.

    Raises:
        RowshelfError: a log cannot be read, or changed while it was read.
        StoreError: the store cannot be written.
    """
    found = find_logs(folder, settings.files, settings.columns)
    files = found.logs
    latest = max(as_of, today or as_of)
    reading_key = _reading_key(settings, files, latest.year)
    days = f"{as_of.isoformat()} {latest.isoformat()}"
    fresh_rules = store.setting("reading") == reading_key
    known = {
        row[0]: (row[1], row[2]) for row in store.con.execute("select file, sha256, again from raw.files").fetchall()
    }
    vanished = sorted(set(known) - {file.name for file in files})
    changed = [file for file in files if not fresh_rules or known.get(file.name, ("",))[0] != file.sha256]
    if not changed and not vanished and store.setting("as_of") == days:
        return LoadReport(0, len(files), 0, (*store.notes, *found.notes))
    again = [file for file in files if file not in changed and known[file.name][1]]
    with store.transaction():
        for name in [*vanished, *(file.name for file in (*changed, *again) if file.name in known)]:
            _forget(store, name)
        lookup, read_as = _load_files(
            store, [*changed, *again], settings, latest.year, _year_of_folder(files), progress
        )
        settled = [*sorted(CROSS_RULES), UNCLEAR_CROP, COPY_RULE, IMPLAUSIBLE]
        store.con.execute("delete from out.problems where rule in (select unnest(?))", [settled])
        unclear, respelt = settle_crops(store, lookup)
        store.insert("out.problems", unclear)
        alone = pl.concat([set_copies_aside(store, decided_by(settings.files)), set_implausible_aside(store)])
        parts = count_parts(store)
        cross = run_cross_checks(store, as_of, latest)
        store.insert("out.problems", pl.concat([alone, cross.problems]))
        aside = pl.concat([alone, cross.problems.filter(pl.col("level") == "error")])["file"].unique().to_list()
        _summarise(store, {*aside, *cross.later, *cross.respelled, *respelt, *parts}, cross.later)
        store.set_setting("reading", reading_key)
        store.set_setting("as_of", days)
    progress("")
    notes = (*store.notes, *found.notes)
    return LoadReport(len(changed), len(files) - len(changed), len(vanished), notes, tuple(as_toml(read_as)))


def _reading_key(settings: Settings, files: Sequence[LogFile], this_year: int) -> str:
    """Changes whenever a cell could be read differently: our rules, settings, the grower's crops, the reference."""
    crops = [file.sha256 for file in files if file.kind == "crops"]
    known = reference.crop_reference(None).write_json()
    parts = [
        READING_VERSION,
        settings.date_order,
        settings.pint,
        this_year,
        settings.files,
        settings.columns,
        _year_of_folder(files),
        *crops,
        known,
    ]
    return hashlib.sha256(json.dumps(parts).encode()).hexdigest()


def _reading(store: Store, settings: Settings, this_year: int) -> Reading:
    own = store.core("crops")
    crops = reference.crop_reference(own)
    weighed = (crops.select("crop", kg=f"{unit}_kg", unit=pl.lit(unit)).drop_nulls() for unit in ("piece", "bunch"))
    own_units = {(crop, unit): kg for crop, kg, unit in pl.concat(weighed).iter_rows()}
    return Reading(
        settings.date_order,
        settings.pint,
        reference.crop_lookup(crops, own),
        own_units,
        this_year=this_year,
    )


def _forget(store: Store, name: str) -> None:
    """Take out all that a file gave."""
    for log in LOGS:
        store.con.execute(f"delete from raw.{log} where source_file = ?", [name])  # noqa: S608
        store.con.execute(f"delete from core.{log} where source_file = ?", [name])  # noqa: S608
    store.con.execute("delete from out.problems where file = ?", [name])
    store.con.execute("delete from raw.files where file = ?", [name])


def _year_of_folder(files: Sequence[LogFile]) -> tuple[int, ...]:
    """The one year that the names of files tell, if they tell one only."""
    named = {year for file in files for year in years_named((file.name,))}
    return tuple(named) if len(named) == 1 else ()


def _load_files(
    store: Store,
    files: Sequence[LogFile],
    settings: Settings,
    this_year: int,
    other_years: tuple[int, ...],
    progress: Callable[[str], None],
) -> tuple[CropLookup, dict[str, dict[str, str]]]:
    """The grower's crops first, since they say how the other logs are read.

    Returns:
        The words for crops, and what rowshelf.toml may settle.
    """
    read_as: dict[str, dict[str, str]] = {}
    reading = Reading(settings.date_order, settings.pint, this_year=this_year, other_years=other_years)
    for file in sorted(files, key=lambda file: (file.kind != "crops", file.name)):
        progress(file.name)
        if file.kind != "crops" and not reading.crop_lookup:
            reading = replace(_reading(store, settings, this_year), other_years=other_years)
        try:
            for section, lines in _load_file(store, file, reading, progress).items():
                read_as[section] = read_as.get(section, {}) | lines
            unchanged = checksum(file.path) == file.sha256
        except OSError as error:
            message = f"{file.name}: cannot be read ({error.strerror}). Nothing was changed: try again."
            raise RowshelfError(message) from error
        if not unchanged:
            message = f"{file.name}: changed while it was read. Nothing was changed here: run this again."
            raise RowshelfError(message)
    return reading.crop_lookup or _reading(store, settings, this_year).crop_lookup, read_as


def _load_file(
    store: Store, file: LogFile, reading: Reading, progress: Callable[[str], None]
) -> dict[str, dict[str, str]]:
    text = open_log(file)
    rows = 0
    # While one batch is written, the next is read: the store works in a thread of its own.
    with ThreadPoolExecutor(1) as writer:
        pending: Future[None] | None = None
        for raw, accepted, problems in batches(text, reading):
            if pending is not None:
                pending.result()
                progress(f"{file.name}: {rows:,} rows")
            rows += raw.height
            pending = writer.submit(_write_batch, store, file.kind, raw, accepted, problems)
        if pending is not None:
            pending.result()
    header = text.header
    store.con.execute(
        "insert into raw.files values (?, ?, ?, ?, ?, ?, ?, false)",
        [
            file.name,
            file.kind,
            file.sha256,
            rows,
            text.encoding,
            header.delimiter if header else None,
            json.dumps(header.cells, ensure_ascii=False) if header else None,
        ],
    )
    return to_settle(text)


def _write_batch(store: Store, kind: str, raw: pl.DataFrame, accepted: pl.DataFrame, problems: pl.DataFrame) -> None:
    store.insert(f"raw.{kind}", raw)
    store.insert(f"core.{kind}", accepted)
    store.insert("out.problems", problems)


Batch = tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame]
"""Raw rows, accepted rows and problems."""


def batches(text: LogText, reading: Reading) -> Iterator[Batch]:
    """What comes of a file, some rows at a time; problems of the file as a whole come last.

    Args:
        text: an opened log.
        reading: how to read its cells.
    """
    if text.header is None:
        yield from _without_header(text)
        return
    kind, header = text.file.kind, text.header
    titles = (cell for row in text.titles for cell in row.cells)
    reader = LogReader(kind, text.file.name, header, reading, titles)
    nothing = pl.DataFrame(schema=core_types(kind))
    for part in _gathered(text.parts):
        typed = reader.read(part)
        if header.missing:
            yield typed.raw, nothing, no_problems()
        else:
            accepted, problems = split(kind, typed)
            yield typed.raw, accepted, reader.gathered(problems)
    closing = no_problems() if header.missing else reader.closing_problems()
    yield typed.raw.clear(), nothing, pl.concat([file_problems(text, header), closing])


def _gathered(parts: Iterator[Part]) -> Iterator[Part]:
    """Parts of :data:`ROWS_AT_ONCE` rows; at least one, if empty."""
    waiting: list[Part] = []
    rows = 0
    for part in parts:
        waiting.append(part)
        rows += part.cells.height + len(part.odd)
        while rows >= ROWS_AT_ONCE:
            whole = _joined(waiting)
            yield Part(whole.cells.head(ROWS_AT_ONCE), whole.odd)
            waiting = [Part(whole.cells.slice(ROWS_AT_ONCE))]
            rows = waiting[0].cells.height
    yield _joined(waiting)


def _joined(parts: Sequence[Part]) -> Part:
    return Part(pl.concat([part.cells for part in parts]), tuple(odd for part in parts for odd in part.odd))


def _without_header(text: LogText) -> Iterator[Batch]:
    """Every line is set aside, kept as typed, and one problem says why."""
    file = text.file
    log = LOGS[file.kind]
    core = pl.DataFrame(schema=core_types(file.kind))
    lines, first = 0, None
    for part in text.parts:
        if part.odd:
            lines, first = lines + len(part.odd), first or part.odd[0]
            yield raw_of(log, file.name, list(part.odd)), core, no_problems()
    names = ", ".join(column.name for column in log.columns if column.required)
    message = f"no header found, so all {lines} lines are set aside: the first line names the columns, such as {names}"
    found = []
    if first is not None:
        typed = shorten((" " if file.sheet else ",").join(first.cells))
        found = [(file.name, first.line, "", typed, "no_header", "error", message)]
    said = pl.DataFrame(found, schema=PROBLEM_COLUMNS, orient="row")
    yield raw_of(log, file.name, []), core, said


def file_problems(text: LogText, header: Header) -> pl.DataFrame:
    """What is wrong with, or noteworthy about, a file as a whole."""
    log = LOGS[text.file.kind]
    found: list[tuple[int, str, str | None, str, str, str]] = []
    for names in header.missing:
        if asked_for(header, names):
            continue
        meaning = "; ".join(log.column(name).description for name in names)
        message = f"no such column ({meaning}), so every row is set aside: name it in this line"
        found.append((header.line, " or ".join(names), None, "missing_column", "error", message))
    again = {place: name for name, places in header.repeated.items() for place in places}
    for shown, place in header.extra.items():
        if place in again:
            message = f"means {again[place]} a second time: rows in which the two differ are set aside"
            found.append((header.line, shown, None, "repeated_column", "warning", message))
        elif header.cells[place].strip():
            message = f"not a column of this log, kept as typed{nearest_column(log, shown)}"
            found.append((header.line, shown, None, "extra_column", "note", message))
    found += heading_notes(text, header)
    if text.titles:
        found.append(_titles(text.titles))
    if text.encoding == "cp1252":
        message = "not UTF-8, so read as Windows-1252: look whether letters such as é came out right"
        found.append((header.line, "", None, "encoding", "note", message))
    return pl.DataFrame(
        [(text.file.name, line, name, value, *said) for line, name, value, *said in found],
        schema=PROBLEM_COLUMNS,
        orient="row",
    )


def _titles(rows: Sequence[Row]) -> tuple[int, str, str | None, str, str, str]:
    text = " / ".join(cell.strip() for row in rows for cell in row.cells if cell.strip())
    message = f"{len(rows)} line(s) of text above the header, no rows of the log"
    return rows[0].line, "", shorten(text), "lines_above_header", "note", message


def _summarise(store: Store, again: set[str], later: Mapping[str, int]) -> None:
    """``out.load_summary``, and which files to read again once anything changes (a row may come back)."""
    store.con.execute("update raw.files set again = file in (select unnest(?))", [sorted(again)])
    store.con.execute("delete from out.load_summary")
    store.con.execute(
        """
        insert into out.load_summary
        select file, kind, rows, coalesce(taken, 0), rows - coalesce(taken, 0) - coalesce(later, 0),
            coalesce(later, 0), coalesce(odd, 0), coalesce(warned, 0), sha256
        from raw.files
        left join (select unnest($files) as file, unnest($counts) as later) using (file)
        left join (select source_file as file, count(*) as taken from core.accepted_lines group by all) using (file)
        left join (
            select file, count(*) filter (level = 'cell') as odd, count(*) filter (level = 'warning') as warned
            from out.problems group by all
        ) using (file)
        order by file
        """,
        {"files": list(later), "counts": list(later.values())},
    )
