"""The bytes of a log file -> how it is written, and the same bytes with one row more (or without the last one).

Nothing but the new line changes, and the heading where a column is added: not the encoding, the delimiter, the
order of columns, the line ends, nor whether the last line has one.
"""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pipeline.errors import RowshelfError
from pipeline.intake.headers import Header

BOMS = (codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE, codecs.BOM_UTF8, codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
CODECS = dict(zip(BOMS, ("utf-32-le", "utf-32-be", "utf-8", "utf-16-le", "utf-16-be"), strict=True))
NAMES = {"cp1252": "Windows-1252"}


@dataclass(frozen=True)
class Form:
    """How a file is written."""

    mark: bytes
    """Its byte order mark, if it has one."""
    codec: str
    line_end: str
    ends_line: bool
    """Whether the last line has a line end."""
    lines: int

    @property
    def codec_name(self) -> str:
        """The encoding as people call it."""
        return NAMES.get(self.codec, self.codec.upper())


@dataclass(frozen=True)
class Addition:
    """A file with one row more."""

    content: bytes
    tail: bytes
    """The bytes put at the end."""
    line: int
    """The line of the new row."""
    added: tuple[str, ...]
    """Columns put at the end of the heading."""


def form_of(content: bytes, encoding: str) -> Form:
    """How a file is written, given the encoding that it was found to have.

    Raises:
        RowshelfError: a file of UTF-16 or UTF-32 that ends within a letter.
    """
    mark = next((mark for mark in BOMS if content.startswith(mark) and encoding.startswith("utf")), b"")
    codec = CODECS.get(mark, encoding.removesuffix("-sig"))
    text = _text(content, mark, codec)
    lines = _lines(text)
    ends = [end for end in map(_line_end, lines) if end]
    return Form(mark, codec, ends[-1] if ends else "\n", bool(lines) and bool(_line_end(lines[-1])), len(lines))


def with_row(content: bytes, encoding: str, header: Header, cells: Mapping[str, str]) -> Addition:
    """The file with one row more.

    A column that the file lacks is put at the end of its heading, so that no value is lost; the rows above stay as
    they are (a row may be shorter than its heading).

    Args:
        content: the file's bytes.
        encoding: the encoding it was found to have.
        header: its heading.
        cells: texts by column of the log.

    Raises:
        RowshelfError: a letter does not exist in the file's encoding, or a row is wider than the heading that would
            grow over it.
    """
    form = form_of(content, encoding)
    added = tuple(name for name, text in cells.items() if text and name not in header.columns)
    if added:
        content = _widened(content, form, header, added)
    row = [""] * len(header.cells)
    for name, text in cells.items():
        if name in header.columns:
            for place in (header.columns[name], *header.repeated.get(name, ())):
                row[place] = text
    row += [cells[name] for name in added]
    start = "" if form.ends_line or not form.lines else form.line_end
    end = form.line_end if form.ends_line or not form.lines else ""
    tail = _encoded(start + csv_line(row, header.delimiter) + end, form)
    return Addition(content + tail, tail, form.lines + 1, added)


def csv_line(cells: Sequence[str], delimiter: str) -> str:
    """One record of a CSV file, without its line end."""
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter).writerow(cells)
    return out.getvalue().removesuffix("\r\n")


def _widened(content: bytes, form: Form, header: Header, added: Sequence[str]) -> bytes:
    lines = _lines(_text(content, form.mark, form.codec))
    _refuse_wide_rows(lines, header)
    head = "".join(lines[: header.last_line])
    head = head.removesuffix(_line_end(head))
    at = len(form.mark) + len(head.encode(form.codec, "surrogateescape"))
    names = _encoded(header.delimiter + header.delimiter.join(added), form)
    return content[:at] + names + content[at:]


def _refuse_wide_rows(lines: Sequence[str], header: Header) -> None:
    """A cell beyond the heading would come to stand under a name that it was not written for."""
    reader = csv.reader(lines[header.last_line :], delimiter=header.delimiter)
    before = 0
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells[len(header.cells) :]):
                message = (
                    f"line {header.last_line + before + 1} has {len(cells)} cells where the heading has "
                    f"{len(header.cells)}, so no column can be added: mend that line first"
                )
                raise RowshelfError(message)
            before = reader.line_num
    except csv.Error as error:
        message = f"cannot be split into cells ({error}), so no column can be added: mend that first"
        raise RowshelfError(message) from error


def _encoded(text: str, form: Form) -> bytes:
    try:
        return text.encode(form.codec)
    except UnicodeEncodeError as error:
        letter = text[error.start]
        message = (
            f"{letter!r} cannot be written in this file's encoding ({form.codec_name}): write it in other letters, "
            "or save the file as UTF-8 first"
        )
        raise RowshelfError(message) from error


def _text(content: bytes, mark: bytes, codec: str) -> str:
    try:
        return content[len(mark) :].decode(codec, "surrogateescape")
    except UnicodeDecodeError as error:
        message = "ends within a letter, so it is damaged: open it, look at its last line and save it again"
        raise RowshelfError(message) from error


def _lines(text: str) -> list[str]:
    return list(io.StringIO(text, newline=""))


def _line_end(line: str) -> str:
    return next((end for end in ("\r\n", "\n", "\r") if line.endswith(end)), "")
