"""The header of a log as typed -> which column means what, and in which unit."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache

from pipeline.intake.cells import tidy
from pipeline.intake.meaning import (
    Meanings,
    Sample,
    candidates,
    find_meanings,
    is_day,
    plain_heading,
    texts_below,
    weight_unit,
)
from pipeline.intake.nearest import did_you_mean
from pipeline.intake.products import method_in
from schemas.fields import AMOUNT, MASS, TEMPERATURE, VOLUME, Field
from schemas.headings import OWN_LABELS, field_of
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
    joined: dict[int, tuple[tuple[int, str], ...]] = field(default_factory=dict)
    """For a cell, the further cells that say one thing with it, and the unit to put behind each."""
    shared: dict[str, str] = field(default_factory=dict)
    """A column whose values stand among those of another, below one heading."""
    counted: dict[str, tuple[int, str]] = field(default_factory=dict)
    """A column of counts that says a weight where the column of weights is empty: the cell and its unit."""
    read_as: tuple[tuple[str, str], ...] = ()
    """Headings read by another name than the column's own, and the column."""
    questions: tuple[tuple[str, tuple[str, ...]], ...] = ()
    """Headings that fit more than one column, and those."""
    made: frozenset[str] = frozenset()
    """Columns that the file does not have and whose cells are made from the others."""
    unit_line: tuple[str, ...] = ()
    """A line of units or notes directly below the header."""

    @property
    def matched(self) -> int:
        """How many columns are known."""
        return len(self.columns)


def find_header(
    log: Log,
    rows: list[tuple[int, tuple[str, ...]]],
    delimiter: str,
    chosen: Mapping[str, str] | None = None,
) -> Header | None:
    """The row that names the most columns of the log, if it names at least two (or all that it has).

    Args:
        log: the log.
        rows: the first rows of the file: line and cells.
        delimiter: what parts their cells.
        chosen: what rowshelf.toml says of headings: the column that each means, or ``none``.
    """
    settled = {plain_name(heading): column for heading, column in (chosen or {}).items()}
    best, most = None, 0
    for index, (_, cells) in enumerate(rows):
        named = _named(log, cells, settled) if len(cells) <= MOST_COLUMNS else 0
        enough = named >= 2 or (named == 1 == len(log.columns))
        if enough and named > most:
            best, most = index, named
    if best is None:
        return None
    line, cells = rows[best]
    below = rows[best + 1 :]
    after = below[0][0] - 1 if below else line + cells_newlines(cells)
    last_line = min(after, line + cells_newlines(cells))
    unit_line: tuple[str, ...] = ()
    if below and is_unit_line(cells, below[0][1]):
        unit_line, last_line = below[0][1], below[0][0] + cells_newlines(below[0][1])
        below = below[1:]
    sample = [row for _, row in below if any(cell.strip() for cell in row)]
    return _map(log, cells, delimiter, (line, last_line), sample, settled, unit_line)


def _named(log: Log, cells: tuple[str, ...], settled: Mapping[str, str]) -> int:
    """How many cells of a row are headings of the log, by any of their words."""
    names = _spellings(log)
    found = 0
    for cell in cells:
        own, _ = _meaning(log, names, cell)
        words = plain_name(cell) if _LETTER.search(cell) and len(cell) <= LONGEST_NAME else ""
        found += own is not None or words in settled or bool(words and candidates(log, _forms(cell)))
        found += own is None and weight_unit(words) is not None
    return found


def _forms(cell: str) -> tuple[str, ...]:
    """The words of a heading in each form in which it may be known."""
    plain, (stem, _, _) = plain_name(cell), _stem_and_unit(cell)
    return tuple(dict.fromkeys((plain, plain_heading(plain), stem, plain_heading(stem))))


def is_unit_line(header: tuple[str, ...], cells: tuple[str, ...]) -> bool:
    """Whether a line below a header holds units or notes on how to write, and nothing of a record."""
    filled = [tidy(cell).casefold() for cell in cells if cell.strip()]
    if not filled or len(cells) > len(header):
        return False
    hints = sum(_is_hint(cell) for cell in filled)
    return hints >= max(1, len(filled) - 1) and not any(is_day(cell) or _MEASURE.fullmatch(cell) for cell in filled)


def _is_hint(cell: str) -> bool:
    """Whether a cell says what stands below it and is no value: ``(kg)``, ``how many``, ``jars, 0 = fine``."""
    plain = cell.strip("()[]. ")
    bracketed = cell.startswith(("(", "[")) and cell.endswith((")", "]"))
    return bracketed or plain in _LINE_UNITS or "=" in cell or cell.startswith(_HINTS_OPEN)


_MEASURE = re.compile(r"[\d.,/ ]+(?:[^\W\d_]{1,8}\.?)?")
_HINTS_OPEN = ("e.g", "eg ", "such as", "yes if", "y if", "x if", "how ", "if ", "in ", "when", "what ", "which", "who")


_LINE_UNITS = frozenset(
    {
        *BY_SPELLING,
        *("dd/mm/yy", "dd/mm/yyyy", "mm/dd/yy", "mm/dd/yyyy", "yyyy-mm-dd", "d/m/y", "dd.mm.yy", "d/m", "date", "text"),
        *(
            "day",
            "month",
            "d.m.",
            "d.m",
            "dd.mm.",
            "weight",
            "weighed",
            "cleaned",
            "peeled",
            "prepared",
            "raw",
            "picked",
        ),
        *("y/n", "yes/no", "number", "no", "%", "°c", "c", "deg c", "jars", "count", "name", "pct", "percent"),
    }
)
"""What a line of units below a header holds."""


def cells_newlines(cells: tuple[str, ...]) -> int:
    """Line breaks inside the cells of one record."""
    return sum(cell.replace("\r\n", "\n").replace("\r", "\n").count("\n") for cell in cells)


def _map(
    log: Log,
    cells: tuple[str, ...],
    delimiter: str,
    lines: tuple[int, int],
    sample: Sample,
    settled: Mapping[str, str],
    unit_line: tuple[str, ...],
) -> Header:
    names = _spellings(log)
    meanings = [_chosen(settled, cell) or _meaning(log, names, cell) for cell in cells]
    # A column called by its own name goes before one called by another name for it.
    own = {name: index for index, (name, _) in reversed(list(enumerate(meanings))) if name == plain_name(cells[index])}
    own |= {settled[plain_name(cell)]: at for at, cell in enumerate(cells) if settled.get(plain_name(cell)) in names}
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
    again = {index for places in repeated.values() for index in places}
    open_ = {index: _words_and_unit(cells[index]) for index in extra.values() if index not in again}
    no_column = frozenset(at for at, cell in enumerate(cells) if settled.get(plain_name(cell)) == "none")
    found = find_meanings(log, open_, known, sample, no_column, frozenset(own))
    read_as = tuple((cells[at].strip(), name) for name, at in found.columns.items() if name not in known)
    read_as += tuple((cells[at].strip(), name) for name, (at, _) in found.counted.items())
    read_at = {*found.columns.values(), *(at for at, _ in found.counted.values())}
    extra = {shown: at for shown, at in extra.items() if at not in read_at}
    units = _line_units(log, found.columns, unit_line) | found.units | units
    made = _made(log, found, sample)
    needed = [*((field.name,) for field in log.columns if field.required), *log.needs_one_of]
    have = {*found.columns, *found.shared, *made}
    missing = tuple(names for names in needed if not any(name in have for name in names))
    asked = tuple((cells[int(at)].strip(), columns) for at, columns in found.questions)
    return Header(
        cells,
        delimiter,
        *lines,
        found.columns,
        units,
        extra,
        repeated,
        missing,
        found.joined,
        found.shared,
        found.counted,
        read_as,
        asked,
        made,
        unit_line,
    )


def _chosen(settled: Mapping[str, str], cell: str) -> tuple[str | None, str | None] | None:
    """What rowshelf.toml says of a heading."""
    column = settled.get(plain_name(cell))
    if column is None:
        return None
    _, unit, _ = _stem_and_unit(cell)
    return (None, None) if column == "none" else (column, unit if unit in BY_SPELLING else None)


def _words_and_unit(cell: str) -> tuple[str, str]:
    """The words of a heading, without the unit that it names where it is known without it."""
    if len(cell) > LONGEST_NAME or not _LETTER.search(cell):
        return "", ""
    stem, unit, bracketed = _stem_and_unit(cell)
    named = unit in BY_SPELLING or unit in TEMPERATURE_UNITS
    return (stem, unit if named else "") if named or bracketed else (plain_name(cell), "")


def _line_units(log: Log, columns: Mapping[str, int], unit_line: tuple[str, ...]) -> dict[str, str]:
    """Units that stand in a line below the header."""
    found: dict[str, str] = {}
    for name, index in columns.items():
        said = tidy(unit_line[index]).casefold().strip("()[]. ").split(" ") if index < len(unit_line) else [""]
        unit = next((word for word in said if word in BY_SPELLING), "")  # "kg if not said"
        got = field_of(log, name)
        if got is not None and got.kind in MEASURED and unit in BY_SPELLING:
            found[name] = unit
    return found


def _made(log: Log, found: Meanings, sample: Sample) -> frozenset[str]:
    """Columns that the file does not have and whose cells can be made from those it has."""
    made: set[str] = set()
    label, day = OWN_LABELS.get(log.name, ("", ""))
    if label and label not in found.columns and {"crop", day} <= set(found.columns):
        made.add(label)
    if log.name == "batches" and "method" not in found.columns and "crop" in found.columns:
        texts = texts_below(found, sample, found.columns["crop"])
        if sum(method_in(text) is not None for text in texts) * 2 > len(texts):
            made.add("method")
    return frozenset(made)


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
    for column in reversed(log.columns):
        for spelling in (*column.aliases, column.core_name, column.name):
            names[spelling] = column.name
    return names


def _meaning(log: Log, names: dict[str, str], cell: str) -> tuple[str | None, str | None]:
    """The log column that a header cell means, and the unit it names."""
    if len(cell) > LONGEST_NAME or not _LETTER.search(cell):
        return None, None
    plain = plain_name(cell)
    if plain in names:
        return names[plain], _own_unit(field_of(log, names[plain]), plain)
    stem, unit, bracketed = _stem_and_unit(cell)
    field = field_of(log, names.get(stem, ""))
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
    degrees = field_of(log, names.get(f"{stem}_c", ""))
    if degrees is not None and degrees.kind == TEMPERATURE and unit in TEMPERATURE_UNITS:
        return degrees.name, TEMPERATURE_UNITS[unit]
    short = {"%": "pct", "percent": "pct", "sqm": "m2"}.get(unit, unit)
    return names.get(f"{stem}_{short}"), None


def nearest_column(log: Log, cell: str) -> str:
    """A hint naming the column that an unknown header cell is nearest to, or an empty text."""
    known = {field.name: field.name for field in log.columns}
    return did_you_mean(plain_name(cell), known, 75)
