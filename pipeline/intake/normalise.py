"""2. Rows of text -> typed, unit-normalised columns, and a problem for each cell that could not be read.

Each distinct text of a column is read once (:mod:`pipeline.intake.cells`, :mod:`pipeline.intake.quantities`),
whatever the number of rows.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import cache

import polars as pl

from pipeline.intake import cells, quantities
from pipeline.intake.cells import Cell
from pipeline.intake.compose import Composer
from pipeline.intake.counted import weigh_counted
from pipeline.intake.date_columns import DateColumns
from pipeline.intake.headers import Header
from pipeline.intake.products import known_crops, method_in
from pipeline.intake.records import Part
from pipeline.intake.salt_percent import percent_texts, salt_in_grams
from pipeline.intake.shape import PROBLEM_COLUMNS, shape_rows, shorten
from pipeline.reference.names import CropLookup, same_name
from schemas.codes import CODES, NOT_KNOWN
from schemas.contracts import core_types, polars_types
from schemas.fields import (
    AMOUNT,
    CODE,
    COUNT,
    CROP,
    DATE,
    IDENTIFIER,
    MASS,
    NUMBER,
    TEMPERATURE,
    TEXT,
    VOLUME,
    YES_NO,
    Field,
)
from schemas.logs import LOGS

LONGEST_CELL = 200
"""A measured cell longer than this is no measurement."""
MOST_REMEMBERED = 200_000
"""Texts of one column whose reading is kept for the rows that follow."""
MOST_UNKNOWN_CROPS = 200
"""Unknown crops of one file that are named one by one."""


@dataclass(frozen=True)
class Reading:
    """How to read cells: what is set in rowshelf.toml, and the crop reference."""

    date_order: str = "iso"
    pint: str = "us"
    crop_lookup: CropLookup = field(default_factory=CropLookup)
    own_units: dict[tuple[str, str], float] = field(default_factory=dict)
    """The grower's own weight of one piece or bunch, by crop and unit."""
    other_years: tuple[int, ...] = ()
    """The one year that the names of the folder's files tell, for dates that nothing nearer tells."""
    this_year: int | None = None
    """The year of "today", which tells the century of a year of two digits."""


@dataclass(frozen=True)
class Typed:
    """Raw rows, typed rows (only those that could be split into cells), and problems by line.

    A cell that could not be read is null in ``core`` and has a row in ``problems``.
    """

    raw: pl.DataFrame
    core: pl.DataFrame
    problems: pl.DataFrame


class LogReader:
    """Reads the records of one file, some at a time."""

    def __init__(self, kind: str, file: str, header: Header, reading: Reading, titles: Iterable[str] = ()) -> None:
        self.log = LOGS[kind]
        self.file = file
        self.header = header
        self.reading = reading
        self.unknown_crops: dict[str, tuple[int, int]] = {}
        """Crops not in the reference: first line, number of rows."""
        self._spelt: dict[str, str] = {}
        """First spelling of each unknown crop, by what its spellings have in common."""
        self.further_unknown: tuple[int, int] = (0, 0)
        """Rows of crops beyond those: first line, number of rows."""
        told, others = (file, *titles), reading.other_years
        self._dates = DateColumns(self.log, header, reading.date_order, reading.this_year, told, others)
        self._composer = Composer(self.log, header, reading.crop_lookup or known_crops(), method_in(file))
        self._columns = {column.name: _ColumnReader(column, header, reading) for column in self.log.columns}

    def read(self, part: Part) -> Typed:
        """Raw frame, typed frame and problems of some records."""
        shaped = shape_rows(self.log.name, self.file, self.header, part)
        raw = shaped.readable
        typed: dict[str, pl.Series] = {name: raw[name] for name in ("source_file", "source_line")}
        problems = [shaped.problems]
        gathered = self._composer.gather(raw, shaped.cells)
        texts_of = self._composer.finish(gathered.with_columns(self._dates.settle(gathered).values()))
        if self.log.name == "batches":
            texts_of = texts_of.with_columns(percent_texts(texts_of).values())
        for column in sorted(self.log.columns, key=lambda column: column.kind != CROP):  # counts need the crop
            found, bad = self._columns[column.name].read(texts_of[column.name])
            if column.name == "weight":
                notes = raw["note"] if "note" in raw.columns else None
                found, uncounted = weigh_counted(found, typed.get("crop"), notes, self.reading.own_units)
                bad = pl.concat([bad, uncounted])
            elif column.kind == CROP:
                self._note_unknown_crops(found["crop"], raw["source_line"])
            if bad.height:
                problems.append(_locate(bad, raw, column))
            typed |= found
        typed |= self._said_by_another(typed, raw)
        if self.log.name == "batches":
            typed["salt_g"], unclear = salt_in_grams(typed)
            problems.append(_locate(unclear, raw, self.log.column("salt")))
        types = core_types(self.log.name)
        core = pl.DataFrame([typed[name].cast(dtype).alias(name) for name, dtype in types.items()])
        return Typed(shaped.raw, core, pl.concat(problems))

    def _said_by_another(self, typed: dict[str, pl.Series], raw: pl.DataFrame) -> dict[str, pl.Series]:
        """Columns whose empty cells take what the spelling of a coded word says besides its own word."""
        filled: dict[str, pl.Series] = {}
        for column in self.log.columns:
            also = CODES[column.code].also if column.code else {}
            texts = raw[column.name].drop_nulls().unique().to_list() if also else []
            said = {text: also[word] for text in texts if (word := cells.plain_word(text).replace("-", " ")) in also}
            for other in {name for fills in said.values() for name in fills}:
                words = {text: fills[other] for text, fills in said.items() if other in fills}
                by_word = raw[column.name].replace_strict(words, default=None, return_dtype=pl.String)
                is_empty = raw[other].str.strip_chars().fill_null("") == ""
                filled[other] = by_word.zip_with(is_empty & by_word.is_not_null(), typed[other])
        return filled

    def _note_unknown_crops(self, crops: pl.Series, lines: pl.Series) -> None:
        known, unclear = self.reading.crop_lookup.crops, self.reading.crop_lookup.unclear
        unknown = (
            pl.DataFrame({"crop": crops, "line": lines})
            .filter(pl.col("crop").is_not_null() & ~pl.col("crop").is_in(list(known)))
            .group_by("crop", maintain_order=True)
            .agg(pl.col("line").min(), pl.len().alias("rows"))
        )
        for typed, line, rows in unknown.iter_rows():
            if unclear(typed):
                continue  # asked about once all logs are read
            crop = self._spelt.setdefault(same_name(typed), typed)
            if crop in self.unknown_crops or len(self.unknown_crops) < MOST_UNKNOWN_CROPS:
                self.unknown_crops[crop] = _counted(self.unknown_crops.get(crop), line, rows)
            else:
                self.further_unknown = _counted(self.further_unknown, line, rows)

    def gathered(self, problems: pl.DataFrame) -> pl.DataFrame:
        """The problems without those that are said once for their column; see :meth:`closing_problems`."""
        return self._dates.gather(problems)

    def closing_problems(self) -> pl.DataFrame:
        """What is to be said once, when all records are read: columns of dates, and unknown crops."""
        said = self._dates.problems(self.file, self.header.line), self._composer.notes(self.file, self.header.line)
        return pl.concat([*said, self.unknown_crop_problems()])

    def unknown_crop_problems(self) -> pl.DataFrame:
        """One warning per unknown crop, at its first line; to be asked for when all records are read."""
        lookup = self.reading.crop_lookup
        rows = []
        for crop, (line, count) in self.unknown_crops.items():
            mend = cells.nearest_crop(crop, lookup) or "; add it to crops.csv if it is meant"
            message = f"not in the crop reference, taken as typed ({count} row{'s' * (count != 1)}){mend}"
            rows.append((self.file, line, "crop", shorten(crop), "unknown_crop", "warning", message))
        line, count = self.further_unknown
        if count:
            message = f"{count} more rows name crops that are not in the crop reference, taken as typed"
            rows.append((self.file, line, "crop", None, "unknown_crop", "warning", message))
        return pl.DataFrame(rows, schema=PROBLEM_COLUMNS, orient="row")


def _counted(before: tuple[int, int] | None, line: int, rows: int) -> tuple[int, int]:
    first, count = before or (line, 0)
    return min(first, line) if first else line, count + rows


BAD_CELLS: dict[str, pl.DataType] = {"row": pl.Int64(), "rule": pl.String(), "message": pl.String()}


class _ColumnReader:
    """Reads one column; remembers what each text was read as."""

    def __init__(self, column: Field, header: Header, reading: Reading) -> None:
        self.column = column
        self._read = _reader(column, header.units.get(column.name), reading)
        self._comma_is_point = header.delimiter == ";" and column.kind in {MASS, VOLUME, AMOUNT, NUMBER}
        """Whether the file is of a place that writes ``1,5``, so that ``1.250`` may be a thousand and more."""
        self._remembered: dict[str, Cell] = {}

    def read(self, texts: pl.Series) -> tuple[dict[str, pl.Series], pl.DataFrame]:
        """Typed columns, and (row, rule, message) of each cell that could not be read."""
        column = self.column
        names = [name for name, _ in column.core_columns]
        if texts.null_count() == len(texts):
            nothing = {name: pl.Series(name, [None] * len(texts), _TYPES[kind]) for name, kind in column.core_columns}
            return nothing | ({"unit": pl.Series([None] * len(texts), dtype=pl.String)}), _no_bad()
        if column.kind == TEXT or (column.kind == IDENTIFIER and not texts.str.contains(_UNTIDY).any()):
            return {names[0]: _stripped(texts)}, _no_bad()
        distinct = texts.drop_nulls().unique()
        found = self._cells(distinct.to_list())
        at = texts.replace_strict(distinct, pl.Series(range(len(distinct)), dtype=pl.UInt32), default=None)
        typed = _typed(column, found, at)
        rules = [cell.rule for cell in found]
        return typed, _bad_cells(found, at) if any(rules) else _no_bad()

    def _cells(self, texts: list[str]) -> list[Cell]:
        memory = self._remembered
        if len(memory) > MOST_REMEMBERED:
            memory.clear()
        found = []
        for text in texts:
            cell = memory.get(text)
            if cell is None:
                cell = memory[text] = self._read_one(text)
            found.append(cell)
        return found

    def _read_one(self, text: str) -> Cell:
        if self.column.kind == CROP and text.lstrip().startswith("="):
            return cells.bad("formula", "a formula: write its result in its place")
        if self.column.kind in {IDENTIFIER, CROP}:
            return self._read(text)
        if len(text) > LONGEST_CELL:
            return cells.bad("too_long", f"more than {LONGEST_CELL} characters where a {self.column.kind} is meant")
        plain = text.strip().casefold()
        if plain in NOT_KNOWN:
            return Cell()
        if plain.startswith("="):
            return cells.bad("formula", "a formula: write its result in its place")
        unclear = quantities.thousand_or_point(text) if self._comma_is_point else None
        return unclear if unclear and unclear.rule else self._read(text)


_UNTIDY = r"[^!-~ ]|  "
"""A text of anything but ASCII letters and single spaces needs :func:`pipeline.intake.cells.tidy`."""
_TYPES = polars_types()


@cache
def _no_bad() -> pl.DataFrame:
    return pl.DataFrame(schema=BAD_CELLS)


def _stripped(texts: pl.Series) -> pl.Series:
    plain = texts.str.strip_chars()
    return plain.set(plain == "", None)


def _reader(column: Field, unit: str | None, reading: Reading) -> Callable[[str], Cell]:
    """The function that reads one cell of this column."""
    weight = column.name == "weight"
    readers: dict[str, Callable[[str], Cell]] = {
        DATE: lambda text: cells.date(text, reading.date_order),
        MASS: lambda text: _mass(text, unit, reading, countable=weight),
        VOLUME: lambda text: quantities.quantity(text, "volume", unit, pint=reading.pint),
        TEMPERATURE: lambda text: quantities.temperature(text, unit),
        NUMBER: lambda text: quantities.number(text, percent=column.unit == "pct", unit=column.unit),
        COUNT: cells.month if column.name == "month" else quantities.count,
        CROP: lambda text: cells.crop(text, reading.crop_lookup),
        CODE: lambda text: cells.code(text, column.code or column.name),
        YES_NO: lambda text: cells.yes_no(text, column.name),
        AMOUNT: lambda text: quantities.amount(text, unit),
        IDENTIFIER: cells.label,
    }
    return readers.get(column.kind, cells.label)


_CROPS_COUNTED = re.compile(r"([\d.,/ ]+) ?([^\d]+)")


def _mass(text: str, unit: str | None, reading: Reading, *, countable: bool) -> Cell:
    """A weight; a number of a crop (``10 radishes``) is so many pieces of it."""
    cell = quantities.quantity(text, "mass", unit, pint=reading.pint, countable=countable)
    if not countable or cell.rule not in {"unit_unknown", "not_a_quantity"}:
        return cell
    match = _CROPS_COUNTED.fullmatch(cells.tidy(text))
    if match is None or reading.crop_lookup.get(match[2].strip(" .").casefold()) is None:
        return cell
    return quantities.quantity(f"{match[1]} pieces", "mass", unit, pint=reading.pint, countable=True)


def cell_reader(column: Field, reading: Reading) -> Callable[[str], Cell]:
    """The function that reads one cell of this column under a heading that names no unit."""
    return _reader(column, None, reading)


def _typed(column: Field, found: list[Cell], at: pl.Series) -> dict[str, pl.Series]:
    """The typed columns of a column, from what each distinct text was read as and the place of each row's text."""
    per_gram = 1000 if column.kind == MASS and column.unit == "kg" else 1
    values = [
        cell.value / per_gram if isinstance(cell.value, float) and cell.unit is None else cell.value for cell in found
    ]
    (main, kind), *others = column.core_columns
    typed = {main: pl.Series(main, values, _TYPES[kind]).gather(at)}
    if others or any(cell.unit for cell in found):
        typed["unit"] = pl.Series("unit", [cell.unit for cell in found], pl.String).gather(at)
    if column.kind == AMOUNT:
        typed[others[0][0]] = typed["unit"].alias(others[0][0])
    elif others:
        estimated = pl.Series([cell.estimated for cell in found], dtype=pl.Boolean).gather(at)
        typed[others[0][0]] = estimated.fill_null(value=False).alias(others[0][0])
    return typed


def _bad_cells(found: list[Cell], at: pl.Series) -> pl.DataFrame:
    """Row, rule and message of the cells that could not be read."""
    read = pl.DataFrame(
        {
            "at": pl.Series(range(len(found)), dtype=pl.UInt32),
            "rule": pl.Series([cell.rule for cell in found], dtype=pl.String),
            "message": pl.Series([cell.message for cell in found], dtype=pl.String),
        }
    ).filter(pl.col("rule") != "")
    rows = at.to_frame("at").with_row_index("row").filter(pl.col("at").is_in(read["at"].to_list()))
    return rows.join(read, on="at", maintain_order="left").select(pl.col("row").cast(pl.Int64), "rule", "message")


def _locate(bad: pl.DataFrame, raw: pl.DataFrame, column: Field) -> pl.DataFrame:
    """Problems of one column with file, line and the cell as typed."""
    rows, texts = bad["row"], raw[column.name]
    return pl.DataFrame(
        {
            "file": raw["source_file"].gather(rows),
            "line": raw["source_line"].gather(rows),
            "column": [column.name] * bad.height,
            "value": [shorten(text) for text in texts.gather(rows).to_list()],
            "rule": bad["rule"],
            "level": ["error"] * bad.height,
            "message": bad["message"],
        },
        schema=PROBLEM_COLUMNS,
    )
