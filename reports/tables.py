"""Answer tables as CSV text, JSON text, terminal tables and rows ready to show."""

from __future__ import annotations

import datetime as dt
import json
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from reports.words import INTERVALS, MEASURED_IN, Value, cell, column_title, interval_cell, quantity, short_title
from schemas.answer_table import Answer, Column

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
"""First characters that make a spreadsheet take a text cell for a formula."""

NOT_FOR_PEOPLE = frozenset({"sha256", "read_as"})
CONTROLS = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f]")


@dataclass(frozen=True)
class Shown:
    """A table as it is read: headings, which columns are numbers, and rows of text."""

    headings: tuple[str, ...]
    numeric: tuple[bool, ...]
    rows: tuple[tuple[str, ...], ...]


def _disarmed(text: str) -> str:
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text


def answer_csv(frame: pl.DataFrame) -> str:
    """CSV text (RFC 4180, CRLF, one header line) of any frame of plain columns.

    A text cell that starts with ``=``, ``+``, ``-``, ``@``, a tab or a carriage return gets an apostrophe
    in front, so that no spreadsheet runs it; so does such a heading. Numbers and dates are written in full
    and untouched, dates as ISO 8601; a null is an empty cell.
    """
    text = pl.col(pl.String)
    first = text.str.slice(0, 1).is_in(list(FORMULA_STARTS))
    safe = frame.with_columns(pl.when(first).then(pl.lit("'") + text).otherwise(text).name.keep())
    return safe.rename({name: _disarmed(name) for name in safe.columns}).write_csv(line_terminator="\r\n")


def _json_value(value: object) -> object:
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value.isoformat() if isinstance(value, dt.date) else value


def answer_json(frame: pl.DataFrame) -> str:
    """A JSON array with one object per row; dates as ISO 8601, and null where a number is not finite."""
    rows = [{name: _json_value(value) for name, value in row.items()} for row in frame.to_dicts()]
    return json.dumps(rows, ensure_ascii=False, allow_nan=False, indent=1)


def _shown_columns(answer: Answer, columns: Sequence[str] | None) -> list[Column]:
    """The columns that get a cell of their own."""
    by_name = {column.name: column for column in answer.columns}
    names = columns or [name for name in by_name if name not in NOT_FOR_PEOPLE]
    companions = {end for name in names for end in INTERVALS.get(name, ())}
    companions |= {MEASURED_IN[name] for name in names if name in MEASURED_IN}
    return [by_name[name] for name in names if name not in companions]


def _cell(column: Column, row: dict[str, Value]) -> str:
    """The text of one cell, with the ends of its interval, or its unit, where the row has them."""
    value = row[column.name]
    low, high = INTERVALS.get(column.name, ("", ""))
    if low in row and high in row:
        return interval_cell(column, value, row[low], row[high])
    unit = row.get(MEASURED_IN.get(column.name, ""))
    return quantity(value, unit) if isinstance(value, float) and isinstance(unit, str) else cell(column, value)


def shown(frame: pl.DataFrame, answer: Answer, columns: Sequence[str] | None = None, *, short: bool = False) -> Shown:
    """The rows of an answer table as people read them.

    Args:
        frame: rows of the table.
        answer: its contract.
        columns: names of the columns to show, in order; None shows all but checksums and such. The ends of
            an interval and the unit of an amount are shown in the cell they belong to.
        short: whether headings are short, for a terminal.
    """
    title = short_title if short else column_title
    chosen = _shown_columns(answer, columns)
    return Shown(
        tuple(title(column, answer.name) for column in chosen),
        tuple(column.dtype in {"int", "float"} for column in chosen),
        tuple(tuple(_cell(column, row) for column in chosen) for row in frame.iter_rows(named=True)),
    )
