"""Bring a store in line with its folder: unchanged files are skipped, changed replaced, vanished leave."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import islice
from typing import TYPE_CHECKING

import polars as pl

from pipeline import normalise, reference
from pipeline.cross_checks import CROSS_RULES, run_cross_checks
from pipeline.headers import Header, nearest_column
from pipeline.read import LogFile, LogText, find_logs, open_log
from pipeline.validate import split
from schemas.contracts import core_types
from schemas.logs import LOGS

if TYPE_CHECKING:
    import datetime as dt
    from pathlib import Path

    from pipeline.settings import Settings
    from pipeline.store import Store

ROWS_AT_ONCE = 122_880 * 2
"""A multiple of DuckDB's row group, so that groups are written whole."""


@dataclass(frozen=True)
class LoadReport:
    """What a load did."""

    read: int
    unchanged: int
    vanished: int
    notes: tuple[str, ...]


def load_folder(
    store: Store,
    folder: Path,
    settings: Settings,
    as_of: dt.date,
    progress: Callable[[str], None] = lambda _: None,
) -> LoadReport:
    """Make the store say what the folder says, in one transaction.

    Args:
        store: an open store.
        folder: the season folder.
        settings: its settings; a change of how cells are read makes every file stale.
        as_of: the day that counts as today.
        progress: told the name of each file as it is read.
    """
    files, other = find_logs(folder)
    reading_key = _reading_key(settings, files)
    fresh_rules = store.setting("reading") == reading_key
    known = {
        row[0]: (row[1], row[2]) for row in store.con.execute("select file, sha256, again from raw.files").fetchall()
    }
    present = {file.name for file in files}
    vanished = sorted(set(known) - present)
    changed = [file for file in files if not fresh_rules or known.get(file.name, ("",))[0] != file.sha256]
    notes = tuple(f"{name}: not read, its name does not start with the name of a log" for name in other)
    if not changed and not vanished and store.setting("as_of") == as_of.isoformat():
        return LoadReport(0, len(files), 0, notes)
    again = [file for file in files if file not in changed and known[file.name][1]]
    with store.transaction():
        for name in vanished:
            _forget(store, name)
        reading = None
        for file in sorted([*changed, *again], key=lambda file: (file.kind != "crops", file.name)):
            progress(file.name)
            _forget(store, file.name)
            if file.kind != "crops" and reading is None:
                reading = _reading(store, settings)
            _load_file(store, file, reading or normalise.Reading(settings.date_order, settings.pint))
        store.con.execute("delete from out.problems where rule in (select unnest(?))", [sorted(CROSS_RULES)])
        cross = run_cross_checks(store, as_of)
        store.insert("out.problems", cross)
        _summarise(store, cross)
        store.set_setting("reading", reading_key)
        store.set_setting("as_of", as_of.isoformat())
    return LoadReport(len(changed), len(files) - len(changed), len(vanished), notes)


def _reading_key(settings: Settings, files: list[LogFile]) -> str:
    """Changes whenever a cell could be read differently: settings, the grower's crops, the crop reference."""
    crops = [file.sha256 for file in files if file.kind == "crops"]
    known = reference.crop_reference(None).write_json()
    parts = [settings.date_order, settings.pint, *crops, known]
    return hashlib.sha256(json.dumps(parts).encode()).hexdigest()


def _reading(store: Store, settings: Settings) -> normalise.Reading:
    crops = reference.crop_reference(store.core("crops"))
    weighed = crops.filter(pl.col("piece_kg").is_not_null())
    return normalise.Reading(
        settings.date_order,
        settings.pint,
        reference.crop_lookup(crops),
        dict(zip(weighed["crop"].to_list(), weighed["piece_kg"].to_list(), strict=True)),
    )


def _forget(store: Store, name: str) -> None:
    """Take out all that a file gave."""
    for log in LOGS:
        store.con.execute(f"delete from raw.{log} where source_file = ?", [name])  # noqa: S608
        store.con.execute(f"delete from core.{log} where source_file = ?", [name])  # noqa: S608
    store.con.execute("delete from out.problems where file = ?", [name])
    store.con.execute("delete from raw.files where file = ?", [name])


def _load_file(store: Store, file: LogFile, reading: normalise.Reading) -> None:
    text = open_log(file)
    rows = 0
    if text.header is None:
        rows = _no_header(store, text)
    else:
        store.insert("out.problems", header_problems(file, text.header, text.skipped_above))
        for raw, accepted, problems in _typed_chunks(text, reading):
            rows += raw.height
            store.insert(f"raw.{file.kind}", raw)
            store.insert(f"core.{file.kind}", accepted)
            store.insert("out.problems", problems)
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


def _typed_chunks(
    text: LogText, reading: normalise.Reading
) -> Iterator[tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame]]:
    """(raw, accepted, problems) of the file's rows, some at a time."""
    file, header = text.file, text.header
    assert header is not None  # noqa: S101 (the caller has looked)
    while rows := list(islice(text.rows, ROWS_AT_ONCE)):
        typed = normalise.type_rows(file.kind, file.name, header, rows, reading)
        if header.missing:
            nothing = pl.DataFrame(schema=core_types(file.kind))
            yield typed.raw, nothing, normalise.no_problems()
        else:
            accepted, problems = split(file.kind, typed)
            yield typed.raw, accepted, problems


def _no_header(store: Store, text: LogText) -> int:
    """A file without a header: every line is set aside, kept as typed, and one problem says why."""
    file = text.file
    lines = [(json.dumps(list(row.cells), ensure_ascii=False), file.name, row.line) for row in text.rows]
    if not lines:
        return 0
    schema = {"extra": pl.String, "source_file": pl.String, "source_line": pl.Int64}
    store.insert(f"raw.{file.kind}", pl.DataFrame(lines, schema=schema, orient="row"))
    names = ", ".join(column.name for column in LOGS[file.kind].columns if column.required)
    message = (
        f"no header found, so all {len(lines)} lines are set aside: the first line names the columns, such as {names}"
    )
    problem = (file.name, lines[0][2], "", None, "no_header", "error", message)
    store.insert("out.problems", pl.DataFrame([problem], schema=normalise.PROBLEM_COLUMNS, orient="row"))
    return len(lines)


def header_problems(file: LogFile, header: Header, skipped_above: int) -> pl.DataFrame:
    """What is wrong with, or noteworthy about, a header."""
    log = LOGS[file.kind]
    found = [
        (
            name,
            "missing_column",
            "error",
            f"no column {name!r} ({log.column(name).description}), so every row is set aside",
        )
        for name in header.missing
    ]
    found += [
        (
            name,
            "repeated_column",
            "warning",
            "this column stands twice: the first counts, the other is kept as typed",
        )
        for name in header.repeated
    ]
    found += [
        (name, "extra_column", "note", f"not a column of this log, kept as typed{nearest_column(log, name)}")
        for name in header.extra
        if name not in header.repeated
    ]
    if skipped_above:
        found.append(("", "lines_above_header", "note", f"{skipped_above} line(s) above the header are not read"))
    return pl.DataFrame(
        [(file.name, header.line, name, None, rule, level, message) for name, rule, level, message in found],
        schema=normalise.PROBLEM_COLUMNS,
        orient="row",
    )


def _summarise(store: Store, cross: pl.DataFrame) -> None:
    """``out.load_summary``, and which files to read again once anything changes (a row may come back)."""
    aside = cross.filter(pl.col("level") == "error")["file"].unique().to_list()
    store.con.execute("update raw.files set again = file in (select unnest(?))", [aside])
    store.con.execute("delete from out.load_summary")
    store.con.execute(
        """
        insert into out.load_summary
        select file, kind, rows, coalesce(taken, 0), rows - coalesce(taken, 0), coalesce(warned, 0), sha256
        from raw.files
        left join (select source_file as file, count(*) as taken from core.accepted_lines group by all) using (file)
        left join (
            select file, count(*) as warned from out.problems where level = 'warning' group by all
        ) using (file)
        order by file
        """
    )
