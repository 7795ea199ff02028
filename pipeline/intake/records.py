"""1b. Whole lines -> records in columns of text. Every line ends up in a record, or is blank.

A piece in which nothing is odd is split by polars at once; :func:`clean_part` proves first that both ways
give the same. Anything else goes through the standard library's csv reader, record by record.
"""

from __future__ import annotations

import csv
import io
from codecs import BOM_UTF8
from collections.abc import Generator, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.intake.text import LONGEST_LINE, MARK_BYTES, MARKS, TooLong, shown_marks

LONGEST_RECORD_LINES = 200
LONGEST_CELL = 131_072
SMALL_PIECE = 256 << 10
LINE, CARRIAGE_RETURN, QUOTE = 10, 13, 34


@dataclass(frozen=True)
class Form:
    """How the records of a file are written: their delimiter, and how many cells the header has."""

    delimiter: str
    width: int


class Odd(NamedTuple):
    """A record that is no row of a log: its first line, its cells as typed, the rule it breaks and the mend."""

    line: int
    cells: tuple[str, ...]
    rule: str
    message: str


@dataclass(frozen=True)
class Part:
    """Some records of a file.

    ``cells`` has text columns named by position, as many as the header has cells, and ``line``; an empty
    cell, and one that a short record does not have, is null.
    """

    cells: pl.DataFrame
    odd: tuple[Odd, ...] = ()


class Row(NamedTuple):
    """One record: its first line, its cells, and why it cannot be split, if so (then one cell: the line)."""

    line: int
    cells: Sequence[str]
    broken: str = ""


def parts(pieces: Iterable[bytes | TooLong], form: Form, line: int) -> Iterator[Part]:
    """All records from ``line`` on, in order; blank lines may come as rows of nulls."""
    rest = b""
    for piece in pieces:
        if isinstance(piece, TooLong):
            _, line = yield from _split(rest, form, line, final=True)
            rest = b""
            start = piece.start.decode("utf-8", "ignore")
            yield part_of([Row(line, (start,), TOO_LONG)], form)
            line += 1
        else:
            rest, line = yield from _split(rest + piece, form, line, final=False)
    yield from _split(rest, form, line, final=True)


def _split(data: bytes, form: Form, line: int, *, final: bool) -> Generator[Part, None, tuple[bytes, int]]:
    """Parts of some whole lines; returns what is not a whole record yet, and its line."""
    clean = clean_part(data, form, line)
    if clean is not None:
        part, used, lines = clean
        yield part
        data, line = data[used:], line + lines
    at, rest = 0, b""
    while at < len(data):
        cut = data.find(b"\n", at + SMALL_PIECE) + 1 or len(data)
        piece, at = rest + data[at:cut], cut
        part, used, lines = clean_part(piece, form, line) or record_by_record(
            piece, form, line, final=final and at == len(data)
        )
        yield part
        rest, line = piece[used:], line + lines
    return rest, line


def clean_part(data: bytes, form: Form, line: int) -> tuple[Part, int, int] | None:
    """The records of a piece in which nothing is odd, the bytes and the lines they take; None for any other.

    Nothing is odd where every quote opens at the start of a cell and closes at its end, every record has as
    many cells as the header, and no byte needs a second look. Then the alternation of quotes tells inside
    from outside, and the count of delimiters outside proves that no record is short.
    """
    if form.width < 2 or not _plain(data):
        return None
    letters = np.frombuffer(data, np.uint8)
    line_ends = np.flatnonzero(letters == LINE)
    quotes = np.flatnonzero(letters == QUOTE)
    is_end = np.searchsorted(quotes, line_ends) & 1 == 0
    ends = line_ends[is_end]
    if not ends.size:
        return None
    used = int(ends[-1]) + 1
    quotes = quotes[: np.searchsorted(quotes, used)]
    delimiters = _outside(letters[:used], quotes, ord(form.delimiter))
    starts_at = np.concatenate(([0], np.flatnonzero(is_end)[:-1] + 1))
    lines = int(np.flatnonzero(is_end)[-1]) + 1
    odd = (
        delimiters != (form.width - 1) * ends.size
        or np.diff(ends, prepend=-1).max() > LONGEST_CELL
        or np.diff(starts_at, append=lines).max() > LONGEST_RECORD_LINES
    )
    cells = None if odd else _read(data[:used], form, ends.size, quoted=quotes.size > 0)
    if cells is None:
        return None
    return Part(cells.with_columns(pl.Series("line", starts_at + line, dtype=pl.Int64))), used, lines


def _plain(data: bytes) -> bool:
    """Whether every byte is text, and a carriage return stands only before a line feed.

    polars would take a byte order mark at the start for no text.
    """
    if _damaged(data) or data.startswith(BOM_UTF8):
        return False
    return b"\r" not in data or data.count(b"\r") == data.count(b"\r\n")


def _damaged(data: bytes) -> bool:
    return b"\0" in data or not (data.isascii() or all(mark not in data for mark in MARK_BYTES))


def _outside(letters: npt.NDArray[np.uint8], quotes: npt.NDArray[np.intp], delimiter: int) -> int:
    """How many delimiters stand outside quotes; -1 where a quote neither opens nor closes a cell."""
    found = letters == delimiter
    if not quotes.size:
        return int(np.count_nonzero(found))
    opening, closing = quotes[0::2], quotes[1::2]
    before = np.where(opening > 0, letters[opening - 1], LINE)
    after = letters[closing + 1]
    opens = (before == delimiter) | (before == LINE) | (before == QUOTE)
    closes = (after == delimiter) | (after == LINE) | (after == CARRIAGE_RETURN) | (after == QUOTE)
    if not (opens.all() and closes.all()):
        return -1
    inside = np.add.reduceat(found.view(np.uint8), quotes, dtype=np.uint32)[0::2]
    return int(np.count_nonzero(found)) - int(inside.sum())


def _read(data: bytes, form: Form, records: int, *, quoted: bool) -> pl.DataFrame | None:
    columns = [str(index) for index in range(form.width)]
    try:
        cells = pl.read_csv(
            data,
            has_header=False,
            separator=form.delimiter,
            quote_char='"' if quoted else None,
            schema=dict.fromkeys(columns, pl.String),
            infer_schema=False,
        )
    except pl.exceptions.PolarsError:
        return None
    if cells.height != records:
        return None
    return cells.with_columns(_null_if_empty(name) for name in columns) if quoted else cells


def _null_if_empty(name: str) -> pl.Expr:
    return pl.when(pl.col(name) != "").then(pl.col(name)).alias(name)


class _Feed:
    """Feeds lines to the csv reader and knows which belong to the record being read."""

    def __init__(self, lines: list[str], at: int) -> None:
        self.lines = lines
        self.first = self.at = at
        self.letters = 0
        self.ran_out = False

    def __iter__(self) -> _Feed:
        return self

    def __next__(self) -> str:
        if self.at == len(self.lines):
            self.ran_out = True
            raise StopIteration
        line = self.lines[self.at]
        self.letters += len(line)
        if self.letters > LONGEST_LINE:
            raise csv.Error(TOO_LONG if self.at == self.first else NEVER_CLOSED)
        if self.at - self.first >= LONGEST_RECORD_LINES:
            raise csv.Error(NEVER_CLOSED)
        self.at += 1
        return line

    def next_record(self) -> None:
        """The record is complete: what follows belongs to the next."""
        self.first, self.letters = self.at, 0


def record_by_record(data: bytes, form: Form, line: int, *, final: bool) -> tuple[Part, int, int]:
    """The records of a piece, the bytes and the lines they take; an unfinished record is left unless ``final``."""
    lines = text_lines(data)
    rows, at = read_rows(lines, form.delimiter, line, final=final)
    used = len(data) if at == len(lines) else len(data) - len("".join(lines[at:]).encode("utf-8", "surrogatepass"))
    return part_of(rows, form, damaged=_damaged(data)), used, at


def text_lines(data: bytes) -> list[str]:
    """Lines with their ends: LF, CRLF or CR."""
    return list(io.StringIO(data.decode("utf-8", "surrogatepass"), newline=""))


def read_rows(lines: list[str], delimiter: str, line: int, *, final: bool) -> tuple[list[Row], int]:
    """Records of some lines and how many lines they take.

    A record that cannot be split gives up its first line, and reading goes on at the next.
    """
    rows: list[Row] = []
    at = 0
    while at < len(lines):
        feed = _Feed(lines, at)
        try:
            csv.field_size_limit(LONGEST_CELL)  # one for the whole process: another library may have moved it
            for cells in csv.reader(feed, delimiter=delimiter, strict=True):
                rows.append(Row(line + feed.first, cells))
                feed.next_record()
            return rows, len(lines)
        except csv.Error as error:
            at = feed.first
            if feed.ran_out and not final:
                return rows, at
            rows.append(Row(line + at, (lines[at].rstrip("\r\n"),), _why(str(error))))
            at += 1
    return rows, at


TOO_LONG = f"the line is longer than {LONGEST_LINE:,} characters: split it"
NEVER_CLOSED = 'a quote (") is opened and never closed: close it, or take it out'


def _why(error: str) -> str:
    if error in {TOO_LONG, NEVER_CLOSED}:
        return error
    if "field larger" in error:
        return f"a cell is longer than {LONGEST_CELL:,} characters: shorten it"
    if "unexpected end" in error:
        return NEVER_CLOSED
    return 'text follows a closing quote ("): double a quote that belongs to the text ("")'


def part_of(rows: Iterable[Row], form: Form, *, damaged: bool = False) -> Part:
    """Rows laid in the columns of the header; what does not fit is odd.

    Args:
        rows: the records.
        form: their form.
        damaged: whether any cell may hold a zero byte or a byte that is no text.
    """
    fitting: list[list[str | None]] = []
    lines: list[int] = []
    odd: list[Odd] = []
    for row in rows:
        problem = _problem(row, form, damaged=damaged)
        if problem:
            odd.append(Odd(row.line, tuple(map(shown_marks, row.cells)), *problem))
        else:
            cells = [cell or None for cell in row.cells[: form.width]]
            fitting.append(cells + [None] * (form.width - len(cells)))
            lines.append(row.line)
    columns = zip(*fitting, strict=True) if fitting else [()] * form.width
    texts = [pl.Series(str(at), column, pl.String) for at, column in enumerate(columns)]
    return Part(pl.DataFrame([*texts, pl.Series("line", lines, pl.Int64)]), tuple(odd))


def _problem(row: Row, form: Form, *, damaged: bool) -> tuple[str, str] | None:
    """The rule that a record breaks by its form, and the mend."""
    if row.broken:
        return "unreadable_line", row.broken
    if damaged and any("\0" in cell or MARKS.search(cell) for cell in row.cells):
        return "unreadable_bytes", "some bytes of this line are no text, so it is damaged: type it again"
    if len(row.cells) > form.width and any(cell.strip() for cell in row.cells[form.width :]):
        hint = '; a comma inside a cell needs quotes around the cell ("1,5 kg"), or write 1.5 kg'
        message = f"{len(row.cells)} cells where the header has {form.width}"
        return "too_many_cells", message + (hint if form.delimiter == "," else "")
    return None
