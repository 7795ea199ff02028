"""1. Files of a season folder -> rows of text. Reading repairs nothing: raw means raw.

A log file is read as a stream, so memory stays bounded whatever the file's size. Every physical line of
the file ends up in a row, in a row that cannot be read (with its line and the reason), or is blank.
"""

from __future__ import annotations

import codecs
import csv
import hashlib
import io
import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import chain, islice
from pathlib import Path

from pipeline.headers import Header, find_header
from schemas.logs import LOGS

OUTPUT_MARKER = ".rowshelf-output"
"""A file that marks folders written by us, so that their tables are never read back as logs."""

LONGEST_LINE = 1_000_000
LONGEST_RECORD_LINES = 200
HEADER_WITHIN = 30
DELIMITERS = ",;\t|"
ENDINGS = {".csv", ".tsv"}


@dataclass(frozen=True)
class LogFile:
    """One file of the folder: where it is, which log it holds, and the checksum of its bytes."""

    path: Path
    name: str
    """Path inside the season folder, with forward slashes."""
    kind: str
    sha256: str


@dataclass(frozen=True)
class Row:
    """One record below the header: its first line in the file and its cells as typed."""

    line: int
    cells: tuple[str, ...]
    broken: str = ""
    """Why the line cannot be split into cells; the whole line is then the only cell."""


@dataclass
class LogText:
    """An opened log: its header and its rows, to be read once."""

    file: LogFile
    header: Header | None
    rows: Iterator[Row]
    encoding: str
    skipped_above: int = 0
    """Lines of text above the header."""
    notes: list[tuple[int, str]] = field(default_factory=list)


def find_logs(folder: Path) -> tuple[list[LogFile], list[str]]:
    """The log files of a folder, in a fixed order, and the names of CSV files that are no log.

    A log's kind is the start of its file name. Hidden files, links to folders and folders that hold our own
    output are left out.
    """
    found: list[LogFile] = []
    other: list[str] = []
    for root, folders, files in os.walk(folder, followlinks=False):
        if OUTPUT_MARKER in files:
            folders.clear()
            continue
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in sorted(files):
            path = Path(root) / name
            if name.startswith(".") or path.suffix.casefold() not in ENDINGS or not path.is_file():
                continue
            inside = path.relative_to(folder).as_posix()
            kind = kind_of(name)
            if kind is None:
                other.append(inside)
            else:
                found.append(LogFile(path, inside, kind, checksum(path)))
    return sorted(found, key=lambda log: log.name), other


def kind_of(file_name: str) -> str | None:
    """The log that a file name starts with, if any."""
    plain = file_name.casefold()
    return next((name for name in LOGS if plain.startswith(name)), None)


def checksum(path: Path) -> str:
    """SHA-256 of the file's bytes, in hexadecimal."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def open_log(file: LogFile) -> LogText:
    """Open a log: find its encoding, its delimiter and its header; rows follow as a stream."""
    encoding = find_encoding(file.path)
    stream = file.path.open(encoding=encoding, newline="", errors="replace")
    lines = _lines(stream)
    head = list(islice(lines, HEADER_WITHIN))
    log = LOGS[file.kind]
    best: Header | None = None
    for delimiter in DELIMITERS:
        rows = list(_records(iter(head), delimiter))
        header = find_header(log, [(row.line, row.cells) for row in rows], delimiter)
        if header and (best is None or header.matched > best.matched):
            best = header
    if best is None:
        everything = _records(chain(head, lines), ",")
        return LogText(file, None, everything, encoding)
    below = (row for row in _records(chain(head, lines), best.delimiter) if row.line > best.last_line)
    return LogText(file, best, below, encoding, skipped_above=best.above)


def find_encoding(path: Path) -> str:
    """UTF-16 where a byte order mark says so, UTF-8 where the bytes are valid UTF-8, otherwise cp1252."""
    with path.open("rb") as stream:
        start = stream.read(4)
        if start.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
            return "utf-16"
        if len(start) == 4 and start[1] == 0 and start[3] == 0 and start[0] and start[2]:
            return "utf-16-le"
        if len(start) == 4 and start[0] == 0 and start[2] == 0 and start[1] and start[3]:
            return "utf-16-be"
        stream.seek(0)
        decoder = codecs.getincrementaldecoder("utf-8")()
        try:
            while block := stream.read(1 << 20):
                decoder.decode(block)
            decoder.decode(b"", final=True)
        except UnicodeDecodeError:
            return "cp1252"
    return "utf-8-sig"


@dataclass(frozen=True)
class _Line:
    number: int
    text: str
    too_long: bool = False


def _lines(stream: io.TextIOBase) -> Iterator[_Line]:
    """Physical lines; of a line that is too long only the start is kept, marked as such."""
    number = 0
    with stream:
        while text := stream.readline(LONGEST_LINE):
            number += 1
            too_long = len(text) == LONGEST_LINE and not text.endswith(("\n", "\r"))
            while too_long and (more := stream.readline(LONGEST_LINE)) and not more.endswith(("\n", "\r")):
                pass
            yield _Line(number, text[:200] if too_long else text, too_long)


class _Feed:
    """Feeds physical lines to the csv reader and remembers those of the record being read."""

    def __init__(self, lines: Iterator[_Line]) -> None:
        self.lines = lines
        self.taken: list[_Line] = []

    def __iter__(self) -> _Feed:
        return self

    def __next__(self) -> str:
        if len(self.taken) >= LONGEST_RECORD_LINES:
            message = "unexpected end of data"
            raise csv.Error(message)
        line = next(self.lines)
        self.taken.append(line)
        if line.too_long:
            message = "too long"
            raise csv.Error(message)
        return line.text


def _records(lines: Iterator[_Line], delimiter: str) -> Iterator[Row]:
    """Records as rows; a record that cannot be split gives up its first line and goes on at the next."""
    while True:
        feed = _Feed(lines)
        reader = csv.reader(feed, delimiter=delimiter, strict=True)
        try:
            for cells in reader:
                first = feed.taken[0].number
                feed.taken.clear()
                if any(cell.strip() for cell in cells):
                    yield Row(first, tuple(cells))
            return
        except csv.Error as error:
            bad = feed.taken[0]
            if bad.text.strip():
                yield Row(bad.number, (bad.text.rstrip("\r\n"),), broken=_why(str(error), too_long=bad.too_long))
            lines = chain(feed.taken[1:], lines)


def _why(error: str, *, too_long: bool) -> str:
    if too_long or "too long" in error:
        return f"the line is longer than {LONGEST_LINE:,} characters: split it"
    if "field larger" in error:
        return "a cell is longer than 131,072 characters: shorten it"
    if "unexpected end" in error:
        return 'a quote (") is opened and never closed: close it, or take it out'
    return 'text follows a closing quote ("): double a quote that belongs to the text ("")'
