"""The header of a log as typed -> which column means what, and in which unit."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

from pipeline.intake.cells import tidy
from pipeline.intake.nearest import did_you_mean
from schemas.fields import AMOUNT, MASS, TEMPERATURE, VOLUME, Field
from schemas.logs import Log
from schemas.units import BY_SPELLING

MOST_COLUMNS = 1_000
"""A record of more cells is no header of a log, and would make every table as wide."""

LONGEST_NAME = 80
_LETTER = re.compile(r"[^\W\d_]")
MEASURED = frozenset({MASS, VOLUME, AMOUNT})
TEMPERATURE_UNITS = {"c": "c", "f": "f", "celsius": "c", "fahrenheit": "f", "degc": "c", "degf": "f"}


@dataclass(frozen=True)
class Header:
    """A header row, mapped: for each log column the index of its cell and the unit that the header names."""

    cells: tuple[str, ...]
    delimiter: str
    line: int
    last_line: int
    columns: dict[str, int]
    units: dict[str, str]
    extra: dict[str, int]
    """Columns that the log does not know, kept as typed."""
    repeated: dict[str, tuple[int, ...]]
    """For a column that stands more than once: where it stands again. A row counts only if they agree."""
    missing: tuple[tuple[str, ...], ...]
    """Columns without which no row counts: one that is needed, or some of which one is."""

    @property
    def matched(self) -> int:
        """How many columns are known."""
        return len(self.columns)


def find_header(log: Log, rows: list[tuple[int, tuple[str, ...]]], delimiter: str) -> Header | None:
    """The row that names the most columns of the log, if it names at least two (or all that it has)."""
    best: Header | None = None
    for index, (line, cells) in enumerate(rows):
        if len(cells) > MOST_COLUMNS:
            continue
        after = rows[index + 1][0] - 1 if index + 1 < len(rows) else line + cells_newlines(cells)
        header = _map(log, cells, delimiter, line, min(after, line + cells_newlines(cells)))
        enough = header.matched >= 2 or (header.matched == 1 == len(log.columns))
        if enough and (best is None or header.matched > best.matched):
            best = header
    return best


def cells_newlines(cells: tuple[str, ...]) -> int:
    """Line breaks inside the cells of one record."""
    return sum(cell.replace("\r\n", "\n").replace("\r", "\n").count("\n") for cell in cells)


def _map(log: Log, cells: tuple[str, ...], delimiter: str, line: int, last_line: int) -> Header:
    names = _spellings(log)
    meanings = [_meaning(log, names, cell) for cell in cells]
    # A column called by its own name goes before one called by another name for it.
    own = {name: index for index, (name, _) in reversed(list(enumerate(meanings))) if name == plain_name(cells[index])}
    columns = dict(own)
    units: dict[str, str] = {}
    extra: dict[str, int] = {}
    repeated: dict[str, tuple[int, ...]] = {}
    for index, (name, unit) in enumerate(meanings):
        if name is None or columns.setdefault(name, index) != index:
            _add_extra(extra, cells[index].strip() or f"column {index + 1}", index)
            if name is not None and (name not in own or name == plain_name(cells[index])):
                repeated[name] = (*repeated.get(name, ()), index)
        elif unit:
            units[name] = unit
    known = {name: index for name, index in columns.items() if name is not None}
    needed = [*((field.name,) for field in log.columns if field.required), *log.needs_one_of]
    missing = tuple(names for names in needed if not any(name in known for name in names))
    return Header(cells, delimiter, line, last_line, known, units, extra, repeated, missing)


def _add_extra(extra: dict[str, int], name: str, index: int) -> None:
    unique, ordinal = name, 2
    while unique in extra:
        unique, ordinal = f"{name} ({ordinal})", ordinal + 1
    extra[unique] = index


def plain_name(cell: str) -> str:
    """A header cell in lower case, with underscores for spaces and hyphens."""
    return re.sub(r"[\s\-_.]+", "_", tidy(cell).casefold()).strip("_:*,;/")


@cache
def _spellings(log: Log) -> dict[str, str]:
    names: dict[str, str] = {}
    for field in reversed(log.columns):
        for spelling in (*field.aliases, field.core_name, field.name):
            names[spelling] = field.name
    return names


def _meaning(log: Log, names: dict[str, str], cell: str) -> tuple[str | None, str | None]:
    """The log column that a header cell means, and the unit it names."""
    if len(cell) > LONGEST_NAME or not _LETTER.search(cell):
        return None, None
    plain = plain_name(cell)
    if plain in names:
        return names[plain], _own_unit(_field(log, names[plain]), plain)
    stem, unit, bracketed = _stem_and_unit(cell)
    field = _field(log, names.get(stem, ""))
    if field is not None and field.kind in MEASURED and unit in BY_SPELLING:
        return _agreeing(field, stem, unit)
    in_degrees = unit in TEMPERATURE_UNITS and f"{stem}_c" in names  # `Store (F)` is no store
    if field is not None and bracketed and field.unit is None and not in_degrees:
        return field.name, None
    if field is not None and bracketed and field.kind in MEASURED:
        return field.name, _own_unit(field, stem)  # words that are no unit, as in `weight (approx)`
    return _named_by_unit(log, names, stem, unit)


def _own_unit(field: Field | None, plain: str) -> str | None:
    """The unit at the end of a name such as ``weight_kg``."""
    suffix = plain.rsplit("_", 1)[-1]
    measured = field is not None and field.kind in MEASURED and plain != field.name
    return suffix if measured and suffix in BY_SPELLING else None


def _agreeing(field: Field, stem: str, unit: str) -> tuple[str, str | None]:
    """No unit where the name says one and the bracket behind it another (``weight_kg (g)``)."""
    own = _own_unit(field, stem)
    return field.name, None if own and BY_SPELLING[own] != BY_SPELLING[unit] else unit


_BRACKETED = re.compile(r"(.*?)[\[({](.*?)[\])}]\W*", re.DOTALL)
_JOINED = re.compile(r"(.+?)(?:[\s_-]+in[\s_-]+|[\s_,;/-]+)([^\s_,;/-]+(?: (?:oz|ft|m))?)", re.IGNORECASE | re.DOTALL)


def _stem_and_unit(cell: str) -> tuple[str, str, bool]:
    """``Weight (kg)``, ``weight in kg``, ``weight, kg`` and ``weight kg`` taken apart; whether by brackets."""
    plain = tidy(cell)
    bracketed = _BRACKETED.fullmatch(plain)
    match = bracketed or _JOINED.fullmatch(plain)
    if not match:
        return plain_name(cell), "", False
    unit = tidy(match[2]).casefold().removeprefix("in ").strip(" .°")
    return plain_name(match[1]), unit, bracketed is not None


def _named_by_unit(log: Log, names: dict[str, str], stem: str, unit: str) -> tuple[str | None, str | None]:
    """A column whose own name ends in its unit: ``Area (m²)`` is ``area_m2``, ``Tmin (°F)`` is ``tmin_c``."""
    degrees = _field(log, names.get(f"{stem}_c", ""))
    if degrees is not None and degrees.kind == TEMPERATURE and unit in TEMPERATURE_UNITS:
        return degrees.name, TEMPERATURE_UNITS[unit]
    short = {"%": "pct", "percent": "pct", "sqm": "m2"}.get(unit, unit)
    return names.get(f"{stem}_{short}"), None


def _field(log: Log, name: str) -> Field | None:
    return next((field for field in log.columns if field.name == name), None)


def nearest_column(log: Log, cell: str) -> str:
    """A hint naming the column that an unknown header cell is nearest to, or an empty text."""
    known = {field.name: field.name for field in log.columns}
    return did_you_mean(plain_name(cell), known, 75)
