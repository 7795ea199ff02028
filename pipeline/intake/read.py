"""1. Files of a season folder -> rows of text. Reading repairs nothing: raw means raw.

A log is read as a stream, so memory stays bounded whatever the file's size. Every line of a file ends up in
a row, in a row that cannot be read (with its line and the reason), or is blank.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import chain
from pathlib import Path

from pipeline.errors import RowshelfError
from pipeline.intake import kinds, workbook
from pipeline.intake.headers import Header, find_header
from pipeline.intake.records import Form, Odd, Part, Row, part_of, parts, read_rows, text_lines
from pipeline.intake.text import TooLong, find_encoding, shown_marks, utf8_blocks, whole_lines
from schemas.logs import LOGS

OUTPUT_MARKER = ".rowshelf-output"
"""A file that marks folders written by us, so that their tables are never read back as logs."""

HEADER_WITHIN, LONGEST_HEAD = 30, 1 << 20
"""The header is looked for in the first lines, and the first bytes."""
DELIMITERS = ",;\t|"
ENDINGS = frozenset({".csv", ".tsv"})
WORKBOOKS = frozenset({".xlsx", ".ods"})
UNREAD_ENDINGS = frozenset({".xls", ".xlsm", ".xlsb", ".numbers", ".txt", ".json", ".parquet"})
"""A file so named may hold a log in a form that is not read; it is mentioned if its name is that of a log."""


@dataclass(frozen=True)
class LogFile:
    """One log of the folder, a file or a sheet: where it is, which log it holds, the checksum of its bytes."""

    path: Path
    name: str
    """Path inside the season folder, with forward slashes; a sheet follows in brackets."""
    kind: str
    sha256: str
    sheet: str | None = None
    columns: tuple[tuple[str, str], ...] = ()
    """What rowshelf.toml says of headings of this log: heading and column, or ``none``."""
    told: str = ""
    """Its name as rowshelf.toml would say it, where the name is not that of a log; else empty."""


@dataclass(frozen=True)
class LogText:
    """An opened log: its header and its records, to be read once."""

    file: LogFile
    header: Header | None
    parts: Iterator[Part]
    encoding: str
    titles: tuple[Row, ...] = ()
    """Lines of text above the header."""


@dataclass(frozen=True)
class Found:
    """What a folder holds: logs in a fixed order, and notes on files that are not read."""

    logs: tuple[LogFile, ...]
    notes: tuple[str, ...]


def find_logs(
    folder: Path, files: Mapping[str, str] | None = None, columns: Mapping[str, Mapping[str, str]] | None = None
) -> Found:
    """The logs of a folder.

    A log's kind is the start of its file name, or of its sheet's name; else what rowshelf.toml says, or what words in
    the name and its headings tell. Hidden files, links to folders and folders that hold our own output are left out.

    Args:
        folder: the season folder.
        files: ``[files]`` of rowshelf.toml: the log that a file or sheet holds, or ``none``.
        columns: ``[columns]`` of rowshelf.toml: for each log, the column that a heading means.

    Raises:
        RowshelfError: a log, or a folder, cannot be read.
    """
    logs: list[LogFile] = []
    notes: list[str] = []
    chosen = {kinds.plain_title(name): kind for name, kind in (files or {}).items()}
    settled = {kind: tuple(sorted(named.items())) for kind, named in (columns or {}).items()}
    notes += _logs_among_output(folder)
    for path in _files(folder):
        inside = shown_path(path.relative_to(folder))
        try:
            for file, title in _candidates(path, inside):
                log, note = _decided(file, title, chosen, settled)
                logs += [log] if log else []
                notes += [note] if note else []
        except OSError as error:
            message = (
                f"{inside}: cannot be read ({error.strerror}). Is it open elsewhere, or are you allowed to read it?"
            )
            raise RowshelfError(message) from error
    names = [log.name for log in logs]
    if twice := sorted({name for name in names if names.count(name) > 1}):
        message = f"{twice[0]}: two files have this name once it is written as text. Rename one."
        raise RowshelfError(message)
    return Found(tuple(sorted(logs, key=lambda log: log.name)), tuple(notes))


def _files(folder: Path) -> Iterator[Path]:
    def fail(error: OSError) -> None:
        message = f"{error.filename}: cannot be read ({error.strerror}). Are you allowed to read it?"
        raise RowshelfError(message) from error

    for root, folders, files in os.walk(folder, followlinks=False, onerror=fail):
        if OUTPUT_MARKER in files:
            folders.clear()
            continue
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in sorted(files):
            path = Path(root) / name
            # A link that leads nowhere is not passed over: its rows would vanish from the store.
            if not name.startswith((".", "~$")) and (path.is_file() or not path.exists()):
                yield path


def _logs_among_output(folder: Path) -> list[str]:
    """A note for each folder that is skipped since it is output, with the logs of a person's that lie in it."""
    found = []
    for root, folders, files in os.walk(folder, followlinks=False):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        if OUTPUT_MARKER not in files:
            continue
        place = Path(root)
        folders.clear()
        theirs = _not_written_by_us(place)
        if theirs:
            named = ", ".join(theirs)
            found.append(
                f"{shown_path(place.relative_to(folder))}: a folder of output, so nothing in it is read: {named} "
                f"{'lies' if len(theirs) == 1 else 'lie'} there and {'is' if len(theirs) == 1 else 'are'} not counted. "
                "Move it out of that folder if it is yours."
            )
    return found


def _not_written_by_us(place: Path) -> list[str]:
    """Files that may be logs and that the marker of an output folder does not list as ours."""
    try:
        ours = (place / OUTPUT_MARKER).read_text(encoding="utf-8", errors="replace")
    except OSError:
        ours = ""
    listed = {line.rpartition("\t")[2] for line in ours.splitlines()}
    theirs = []
    for path in sorted(place.rglob("*")):
        inside = shown_path(path.relative_to(place))
        is_log = path.suffix.casefold() in ENDINGS | WORKBOOKS and not path.name.startswith((".", "~$"))
        written = inside in listed or (not listed - {""} and inside.startswith("tables/"))
        if is_log and not written and path.is_file():
            theirs.append(inside)
    return theirs


def shown_path(path: Path) -> str:
    """The path as text, with forward slashes; bytes that are no text are written out."""
    return os.fsencode(path.as_posix()).decode("utf-8", "backslashreplace")


def kind_of(name: str) -> str | None:
    """The log that a name starts with, if any."""
    plain = name.strip().casefold()
    return next((kind for kind in LOGS if plain.startswith(kind)), None)


def _candidates(path: Path, inside: str) -> Iterator[tuple[LogFile, str]]:
    """The file, or each sheet that is not hidden, and its title; nothing for a file of another trade."""
    ending = path.suffix.casefold()
    if ending in WORKBOOKS:
        names = workbook.sheet_names(path, inside)
        digest = checksum(path)
        for name, hidden in names:
            # A workbook with one sheet may carry the log's name itself.
            title = path.stem if len(names) == 1 and kinds.kind_of_words(name) is None else name
            if not hidden or kind_of(name):
                yield LogFile(path, f"{inside} [{name}]", "", digest, name), title
    elif ending in ENDINGS:
        yield LogFile(path, inside, "", checksum(path)), path.stem
    elif ending in UNREAD_ENDINGS and (kind_of(path.name) or kinds.kind_of_words(path.stem)):
        yield LogFile(path, inside, "", ""), path.stem


def _decided(
    file: LogFile, title: str, chosen: Mapping[str, str], settled: Mapping[str, tuple[tuple[str, str], ...]]
) -> tuple[LogFile | None, str]:
    """The log that a file or sheet holds, and what to say where it is none."""
    if not file.sha256:
        ending = file.path.suffix.casefold()
        return None, f"{file.name}: not read, a {ending} file: save it as .csv, .xlsx or .ods"
    kind = chosen.get(kinds.plain_title(title))
    if kind == "none":
        return None, ""
    own = kind or kind_of(title)
    if own:
        return replace(file, kind=own, columns=settled.get(own, ())), ""
    fits = kinds.fitting_kinds(title, lambda kind: _fit_of(replace(file, kind=kind, columns=settled.get(kind, ()))))
    if len(fits) == 1:
        return replace(file, kind=fits[0], columns=settled.get(fits[0], ()), told=title), ""
    return None, f"{file.name}: not read, {kinds.why_not(title, fits)}"


def _fit_of(file: LogFile) -> kinds.Fit:
    """How well the headings of a file fit the log that it is taken for."""
    header = open_log(file).header
    if header is None:
        return kinds.Fit(0, complete=False)
    return kinds.Fit(len(header.columns) + len(header.shared), complete=not header.missing)


def checksum(path: Path) -> str:
    """SHA-256 of the file's bytes, in hexadecimal."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def open_log(file: LogFile) -> LogText:
    """Open a log: find its encoding, its delimiter and its header; the records follow as a stream."""
    if file.sheet is not None:
        return _open_sheet(file, file.sheet)
    encoding = find_encoding(file.path)
    pieces = whole_lines(utf8_blocks(file.path, encoding))
    first = next(pieces, b"")
    head = _head(first) if isinstance(first, bytes) else []
    header: Header | None = None
    above: list[Row] = []
    for delimiter in (mark for mark in DELIMITERS if any(mark in line for line in head)):
        typed, _ = read_rows(head, delimiter, 1, final=True)
        rows = [row._replace(cells=tuple(map(shown_marks, row.cells))) for row in typed]
        found = _header(file, rows, delimiter)
        if found and (header is None or found.matched > header.matched):
            header, above = found, [row for row in rows if row.line < found.line]
    if header is None or isinstance(first, TooLong):
        return LogText(file, None, _unread(chain([first], pieces)), encoding)
    start = len("".join(head[: header.last_line]).encode("utf-8", "surrogatepass"))
    form = Form(header.delimiter, len(header.cells))
    below = parts(chain([first[start:]], pieces), form, header.last_line + 1)
    return _with_rows_above(file, header, above, below, encoding)


def _head(data: bytes) -> list[str]:
    end = max(data.rfind(b"\n", 0, LONGEST_HEAD), data.rfind(b"\r", 0, LONGEST_HEAD - 1)) + 1
    return text_lines(data[:end] if end and len(data) > LONGEST_HEAD else data)[:HEADER_WITHIN]


def _header(file: LogFile, rows: list[Row], delimiter: str) -> Header | None:
    return find_header(LOGS[file.kind], [(row.line, tuple(row.cells)) for row in rows], delimiter, dict(file.columns))


def _with_rows_above(
    file: LogFile, header: Header, above: Iterable[Row], below: Iterator[Part], encoding: str
) -> LogText:
    """A record above the header is set aside; a line of text, such as a title, is only noted."""
    required = sum(column.required for column in LOGS[file.kind].columns)
    titles: list[Row] = []
    records: list[Odd] = []
    for row in above:
        filled = sum(bool(cell.strip()) for cell in row.cells)
        if filled >= max(2, required):
            message = f"stands above the header (line {header.line}): move it below"
            records.append(Odd(row.line, tuple(row.cells), "above_header", message))
        elif filled:
            titles.append(row)
    nothing = part_of([], Form(header.delimiter, len(header.cells)))
    return LogText(file, header, chain([Part(nothing.cells, tuple(records))], below), encoding, tuple(titles))


def _unread(pieces: Iterable[bytes | TooLong]) -> Iterator[Part]:
    """Every line of a file without a header, as it stands."""
    for part in parts(pieces, Form(",", 0), 1):
        yield Part(part.cells, tuple(odd for odd in part.odd if any(cell.strip() for cell in odd.cells)))


def _open_sheet(file: LogFile, sheet: str) -> LogText:
    rows = (Row(line, cells) for line, cells in workbook.sheet_rows(file.path, sheet))
    head: list[Row] = []
    for row in rows:
        head.append(row)
        if len(head) == HEADER_WITHIN:
            break
    header = _header(file, head, "")
    ending = file.path.suffix.removeprefix(".").casefold()
    if header is None:
        return LogText(file, None, _in_parts(chain(head, rows), Form("", 0)), ending)
    form = Form("", len(header.cells))
    below = _in_parts(chain((row for row in head if row.line > header.last_line), rows), form)
    return _with_rows_above(file, header, [row for row in head if row.line < header.line], below, ending)


def _in_parts(rows: Iterable[Row], form: Form) -> Iterator[Part]:
    some: list[Row] = []
    for row in rows:
        some.append(row)
        if len(some) == 10_000:
            yield part_of(some, form)
            some = []
    yield part_of(some, form)
