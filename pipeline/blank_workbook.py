"""An empty workbook to log in: one sheet per log, drop-downs for words, a note on every heading.

All of it is made from the contracts.
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from schemas.codes import CODES
from schemas.dictionary import blank_columns, how_to_write
from schemas.fields import CODE, COUNT, CROP, DATE, NUMBER, TEMPERATURE, YES_NO, Field
from schemas.logs import LOGS, Log

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from openpyxl.workbook import Workbook
    from openpyxl.worksheet.worksheet import Worksheet

WORDS_SHEET = "words"
"""A hidden sheet with the lists that the drop-downs show."""
NUMBERS = frozenset({NUMBER, COUNT, TEMPERATURE})


def blank_workbook(crops: Sequence[str]) -> bytes:
    """The workbook as the bytes of an .xlsx file.

    Args:
        crops: known crops, offered in a drop-down; any other may be typed.
    """
    from openpyxl import Workbook

    book = Workbook()
    book.remove(book.active)
    sheets = {log.name: book.create_sheet(log.name) for log in LOGS.values()}
    lists = _word_lists(book, {name: list(code.words) for name, code in CODES.items()} | {CROP: list(crops)})
    for name, sheet in sheets.items():
        _lay_out(sheet, LOGS[name], lists)
    content = io.BytesIO()
    book.save(content)
    return content.getvalue()


def _word_lists(book: Workbook, vocabularies: Mapping[str, Sequence[str]]) -> dict[str, str]:
    """Each vocabulary as a column of the hidden sheet; the formula that names its cells."""
    from openpyxl.utils import get_column_letter

    sheet = book.create_sheet(WORDS_SHEET)
    sheet.sheet_state = "hidden"
    formulas = {}
    for place, (name, words) in enumerate(({"yes_no": ["yes", "no"]} | dict(vocabularies)).items(), start=1):
        for line, word in enumerate(words, start=1):
            sheet.cell(line, place, word)
        letter = get_column_letter(place)
        formulas[name] = f"{WORDS_SHEET}!${letter}$1:${letter}${len(words)}"
    return formulas


def _lay_out(sheet: Worksheet, log: Log, lists: Mapping[str, str]) -> None:
    from openpyxl.comments import Comment
    from openpyxl.styles import Font
    from openpyxl.utils import get_column_letter

    for place, column in enumerate(blank_columns(log), start=1):
        heading = sheet.cell(1, place, column.name)
        heading.font = Font(bold=column.required)
        heading.comment = Comment(_note(column), "Rowshelf", width=320, height=120)
        letter = get_column_letter(place)
        sheet.column_dimensions[letter].width = max(12, len(column.name) + 4)
        sheet.column_dimensions[letter].number_format = _cell_format(column)
        _offer_words(sheet, column, f"{letter}2:{letter}1048576", lists)
    sheet.freeze_panes = "A2"


def _note(column: Field) -> str:
    needed = "Needed. " if column.required else ""
    return f"{needed}{column.description[:1].upper()}{column.description[1:]}. Write it {how_to_write(column)}."


def _cell_format(column: Field) -> str:
    """Text stays as typed, so that no program turns ``1-2`` into a date."""
    if column.kind == DATE:
        return "yyyy-mm-dd"
    return "General" if column.kind in NUMBERS else "@"


def _offer_words(sheet: Worksheet, column: Field, cells: str, lists: Mapping[str, str]) -> None:
    from openpyxl.worksheet.datavalidation import DataValidation

    name = {CODE: column.code, YES_NO: "yes_no", CROP: CROP}.get(column.kind)
    if name is None:
        return
    offered = DataValidation("list", formula1=lists[name], allow_blank=True, errorStyle="warning")
    offered.showErrorMessage = column.kind != CROP
    offered.error = f"Not one of the words for {column.name}."
    sheet.add_data_validation(offered)
    offered.add(cells)
