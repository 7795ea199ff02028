"""Contracts of the logs -> what a person fills in, on a telephone or with a pencil."""

from __future__ import annotations

from dataclasses import dataclass

from schemas.codes import CODES
from schemas.fields import AMOUNT, CODE, COUNT, CROP, DATE, IDENTIFIER, MASS, NUMBER, TEMPERATURE, VOLUME, YES_NO, Field
from schemas.logs import ENTRIES, LATEST_DATE_COLUMN, LOGS, Log

UNITS: dict[str, tuple[str, ...]] = {
    MASS: ("kg", "g", "lb", "oz"),
    VOLUME: ("ml", "l", "g", "cup", "pt"),
    AMOUNT: ("plants", "m", "m2"),
}
"""Units offered beside a number; any other can be typed behind it."""
COUNTED = ("heads", "bunches")
NUMBERS = frozenset({MASS, VOLUME, AMOUNT, NUMBER, COUNT, TEMPERATURE})
OFFERED = frozenset({CROP, IDENTIFIER})


@dataclass(frozen=True)
class Cell:
    """One column as it is filled in."""

    name: str
    label: str
    hint: str
    kind: str
    """``day``, ``number``, ``words`` or ``text``."""
    first: bool
    """Whether it stands before the fold: every row needs it, or one of a few like it."""
    needed: bool
    units: tuple[str, ...] = ()
    words: tuple[tuple[str, str], ...] = ()
    guarded: str = ""
    """What a cell that begins as a formula does comes to: ``quoted`` in free text, ``refused`` in a label."""


@dataclass(frozen=True)
class Form:
    """One kind of entry."""

    entry: str
    log: str
    title: str
    day: str
    cells: tuple[Cell, ...]
    one_of: tuple[tuple[str, ...], ...]


def forms() -> tuple[Form, ...]:
    """Every kind of entry, in the order of ``ENTRIES``."""
    return tuple(_form(entry, LOGS[log]) for entry, log in ENTRIES.items())


def _form(entry: str, log: Log) -> Form:
    either = {name for group in log.needs_one_of for name in group}
    cells = tuple(_cell(column, first=column.required or column.name in either) for column in log.columns)
    title = f"{log.one_row_is[0].upper()}{log.one_row_is[1:]}"
    return Form(entry, log.name, title, LATEST_DATE_COLUMN[log.name], cells, log.needs_one_of)


def _cell(column: Field, *, first: bool) -> Cell:
    kind = "day" if column.kind == DATE else "number" if column.kind in NUMBERS else "text"
    words: tuple[tuple[str, str], ...] = ()
    if column.kind == YES_NO:
        words = (("yes", ""), ("no", ""))
    elif column.kind == CODE and column.code:
        words = tuple(CODES[column.code].words.items())
    label = _label(column)
    guarded = "refused" if column.kind in OFFERED else "" if kind != "text" or words else "quoted"
    return Cell(
        column.name,
        label if label == "pH" else f"{label[0].upper()}{label[1:]}",
        column.description.replace("`", ""),
        "words" if words else kind,
        first,
        column.required,
        _units(column),
        words,
        guarded,
    )


def _units(column: Field) -> tuple[str, ...]:
    """Units to choose from, the column's own first; produce may be counted too."""
    units = UNITS.get(column.kind, ())
    own = tuple(unit for unit in units if unit == column.unit)
    return own + tuple(unit for unit in units if unit not in own) + (COUNTED if column.name == "weight" else ())


def _label(column: Field) -> str:
    """The column's name as people say it: ``store_c`` is a store, in degrees."""
    if column.kind == TEMPERATURE:
        return f"{column.name.removesuffix('_c').replace('_', ' ')}, \u00b0C"
    if column.unit == "pct":
        return f"{column.name.removesuffix('_pct').replace('_', ' ')}, %"
    return "pH" if column.name == "ph" else column.name.replace("_", " ")
