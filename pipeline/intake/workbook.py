"""1c. Sheets of a workbook (.xlsx, .ods) -> rows of text, as a stream.

A typed cell becomes the text that has one reading: a date is written as ISO 8601, a number in full with a
point, a percentage with its ``%``. Both formats are open standards: Office Open XML (ISO/IEC 29500) and
OpenDocument (ISO/IEC 26300).
"""

from __future__ import annotations

import datetime as dt
import re
import warnings
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from decimal import Decimal
from itertools import islice
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

from pipeline.errors import RowshelfError

LARGEST_BYTES = 400 << 20
"""A workbook that unpacks to more is refused: an honest one of that size is better kept as CSV."""
MOST_ROWS, MOST_COLUMNS = 1_048_576, 16_384
"""What a sheet can have in either format's usual programs."""

_TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_OFFICE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
_TEXT = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"

SheetRow = tuple[int, tuple[str, ...]]


@contextmanager
def _readable(path: Path, name: str) -> Iterator[None]:
    """Whatever a damaged workbook makes its reader raise becomes one sentence.

    Raises:
        RowshelfError: the file is no workbook, is damaged or too large.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            unpacked = sum(entry.file_size for entry in archive.infolist())
        if unpacked > LARGEST_BYTES:
            message = f"{name}: unpacks to {unpacked >> 20:,} MB, too much for a workbook. Save its sheets as .csv."
            raise RowshelfError(message)
        yield
    except (RowshelfError, OSError):
        raise
    except Exception as error:
        message = (
            f"{name}: cannot be read as a workbook ({type(error).__name__}: {error}). "
            "Open it in your spreadsheet program and save it again, without a password, or save its sheets as .csv."
        )
        raise RowshelfError(message) from error


def sheet_names(path: Path, name: str) -> list[tuple[str, bool]]:
    """The sheets in order, and whether each is hidden.

    Args:
        path: the workbook.
        name: what to call it in an error.

    Raises:
        RowshelfError: it cannot be read.
    """
    with _readable(path, name):
        if path.suffix.casefold() == ".ods":
            return [(sheet, False) for sheet, row in _ods_rows(path) if row is None]
        with zipfile.ZipFile(path) as archive:
            book = ET.fromstring(archive.read("xl/workbook.xml"))  # noqa: S314 (size is bounded)
            sheets = book.findall("./{*}sheets/{*}sheet")
            return [(sheet.attrib["name"], sheet.get("state", "visible") != "visible") for sheet in sheets]


def sheet_rows(path: Path, sheet: str) -> Iterator[SheetRow]:
    """The filled rows of one sheet: row number from 1, and the cells as text.

    Raises:
        RowshelfError: the workbook cannot be read.
    """
    with _readable(path, path.name):
        if path.suffix.casefold() == ".ods":
            yield from (row for name, row in _ods_rows(path) if name == sheet and row is not None)
        else:
            yield from _xlsx_rows(path, sheet)


def _xlsx_rows(path: Path, sheet: str) -> Iterator[SheetRow]:
    from openpyxl import load_workbook

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # about styles and extensions that do not touch the cells
        book = load_workbook(path, read_only=True, data_only=True)
    try:
        table = book[sheet]
        if not hasattr(table, "iter_rows"):
            return  # a chart on a sheet of its own
        table.reset_dimensions()  # the file may state them wrongly, and rows would be left out
        rows = enumerate(table.iter_rows(), start=1)
        while True:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                some = list(islice(rows, 1000))
            if not some:
                return
            for line, row in some:
                cells = tuple(_shown(cell.value, cell.number_format) for cell in row)
                if any(cells):
                    yield line, cells
    finally:
        book.close()


def _shown(value: Any, number_format: str | None) -> str:
    """A typed cell as text."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int | float):
        percent = "%" in _LITERAL.sub("", number_format or "")
        return f"{plain_number(value * 100)}%" if percent else plain_number(value)
    if isinstance(value, dt.datetime):
        return (value.date() if value.time() == dt.time() else value).isoformat()
    return value.isoformat() if isinstance(value, dt.date | dt.time) else str(value)


_LITERAL = re.compile(r'"[^"]*"|\\.|\[[^\]]*\]')


def plain_number(value: float) -> str:
    """A number in full, with the 15 digits that spreadsheets keep and one reading.

    Three decimals get a zero behind them, since ``1.250`` in a text could also be a thousand and more.
    """
    text = format(Decimal(f"{value:.15g}"), "f")
    return f"{text}0" if re.fullmatch(r"-?[1-9]\d{0,2}\.\d{3}", text) else text


def _ods_rows(path: Path) -> Iterator[tuple[str, SheetRow | None]]:
    """(sheet, row) of every filled row of every sheet, after one (sheet, None) for each sheet."""
    with zipfile.ZipFile(path) as archive, archive.open("content.xml") as content:
        stack: list[ET.Element] = []
        sheet, line = "", 0
        for event, element in ET.iterparse(content, events=("start", "end")):  # noqa: S314 (size is bounded)
            if event == "start":
                stack.append(element)
                if element.tag == f"{_TABLE}table":
                    sheet, line = element.get(f"{_TABLE}name", ""), 0
                    yield sheet, None
                continue
            stack.pop()
            if element.tag == f"{_TABLE}table-row":
                times = int(element.get(f"{_TABLE}number-rows-repeated", "1"))
                cells = _ods_cells(element)
                if cells:
                    _bounded(line + times, MOST_ROWS, "rows")
                    yield from ((sheet, (line + again, cells)) for again in range(1, times + 1))
                line += times
                stack[-1].clear()  # what has been read is let go of


def _ods_cells(row: ET.Element) -> tuple[str, ...]:
    """The cells of a row up to the last filled one."""
    cells: list[str] = []
    blank = 0
    for cell in row:
        if cell.tag not in {f"{_TABLE}table-cell", f"{_TABLE}covered-table-cell"}:
            continue
        times = int(cell.get(f"{_TABLE}number-columns-repeated", "1"))
        text = _ods_text(cell) if cell.tag == f"{_TABLE}table-cell" else ""
        if not text:
            blank += times
            continue
        _bounded(len(cells) + blank + times, MOST_COLUMNS, "columns")
        cells += [""] * blank + [text] * times
        blank = 0
    return tuple(cells)


def _ods_text(cell: ET.Element) -> str:
    """A cell as text: its typed value where it has one, otherwise its paragraphs."""
    kind = cell.get(f"{_OFFICE}value-type", "")
    if kind in {"float", "currency", "percentage"}:
        value = float(cell.get(f"{_OFFICE}value", "nan"))
        return f"{plain_number(value * 100)}%" if kind == "percentage" else plain_number(value)
    typed = cell.get(f"{_OFFICE}{kind}-value") if kind in {"date", "time", "boolean", "string"} else None
    if typed is not None:
        return typed.removesuffix("T00:00:00")
    return "\n".join(_paragraph(part) for part in cell if part.tag == f"{_TEXT}p")


def _paragraph(element: ET.Element) -> str:
    """The text of a paragraph; runs of spaces, tabs and line breaks are elements of their own."""
    marks = {f"{_TEXT}s": " " * min(int(element.get(f"{_TEXT}c", "1")), 1000), f"{_TEXT}tab": "\t"}
    text = marks.get(element.tag, "\n" if element.tag == f"{_TEXT}line-break" else element.text or "")
    return text + "".join(_paragraph(part) + (part.tail or "") for part in element)


def _bounded(found: int, most: int, what: str) -> None:
    if found > most:
        message = f"more than {most:,} {what} in a sheet"
        raise ValueError(message)
