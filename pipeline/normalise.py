"""2. Rows of text -> typed, unit-normalised columns, and a problem for each cell that could not be read.

Each distinct text of a column is read once (:mod:`pipeline.cells`), whatever the number of rows.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import polars as pl

from pipeline import cells
from pipeline.cells import Cell
from pipeline.headers import Header
from pipeline.read import Row
from schemas.contracts import core_types
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
from schemas.logs import LOGS, Log

PROBLEM_COLUMNS: dict[str, pl.DataType] = {
    "file": pl.String(),
    "line": pl.Int64(),
    "column": pl.String(),
    "value": pl.String(),
    "rule": pl.String(),
    "level": pl.String(),
    "message": pl.String(),
}
LONGEST_CELL = 200
"""A measured cell longer than this is no measurement."""
SUMMARY_WORDS = ("total", "totals", "sum", "subtotal", "grand total", "average", "mean")


@dataclass(frozen=True)
class Reading:
    """How to read cells: what is set in rowshelf.toml, and the crop reference."""

    date_order: str = "iso"
    pint: str = "us"
    crop_lookup: dict[str, str] = field(default_factory=dict)
    piece_kg: dict[str, float] = field(default_factory=dict)
    """Weight of one head, fruit or bunch by crop."""


@dataclass(frozen=True)
class Typed:
    """Typed rows (only those that could be split into cells), their raw text, and problems by row."""

    raw: pl.DataFrame
    core: pl.DataFrame
    problems: pl.DataFrame


def no_problems() -> pl.DataFrame:
    """An empty table of problems."""
    return pl.DataFrame(schema=PROBLEM_COLUMNS)


def raw_types(log: Log) -> dict[str, pl.DataType]:
    """Columns of ``raw``: each cell as typed, the columns the log does not know as JSON, file and line."""
    texts: dict[str, pl.DataType] = {column.name: pl.String() for column in log.columns}
    return texts | {"extra": pl.String(), "source_file": pl.String(), "source_line": pl.Int64()}


def type_rows(kind: str, file: str, header: Header, rows: Sequence[Row], reading: Reading) -> Typed:
    """Raw frame, typed frame and problems of some rows of one file.

    Args:
        kind: name of the log.
        file: name of the file, for the ``source_file`` column.
        header: the file's header.
        rows: records below it.
        reading: how to read cells.

    Returns:
        ``core`` has the typed columns of the log for every row that could be split into cells; a cell that
        could not be read is null there and has a row in ``problems``.
    """
    log = LOGS[kind]
    shapes = [_shape_problem(header, row) for row in rows]
    raw = _raw_frame(log, file, header, rows, [bool(shape) for shape in shapes])
    shaped = pl.DataFrame(
        [
            (file, row.line, "", _shorten(header.delimiter.join(row.cells)), shape[0], "error", shape[1])
            for row, shape in zip(rows, shapes, strict=True)
            if shape
        ],
        schema=PROBLEM_COLUMNS,
        orient="row",
    )
    readable = raw.filter(pl.Series([not shape for shape in shapes], dtype=pl.Boolean))
    core, problems = _type_columns(log, header, readable, reading)
    return Typed(raw, core, pl.concat([shaped, problems]))


def _shape_problem(header: Header, row: Row) -> tuple[str, str] | None:
    """Why a record is no row of this log, if it is none."""
    if row.broken:
        return "unreadable_line", row.broken
    filled = [cell.strip() for cell in row.cells]
    if tuple(filled) == tuple(cell.strip() for cell in header.cells):
        return "repeated_header", "the header stands here again: take this line out"
    extra = len(filled) - len(header.cells)
    if extra > 0 and any(filled[-extra:]):
        return "too_many_cells", _too_many(len(filled), len(header.cells), header.delimiter)
    first = next((cell for cell in filled if cell), "")
    if first.casefold().rstrip(":") in SUMMARY_WORDS:
        return "summary_row", "a sum, not a record: take this line out"
    return None


def _too_many(found: int, expected: int, delimiter: str) -> str:
    hint = ""
    if delimiter == ",":
        hint = '; a comma inside a cell needs quotes around the cell ("1,5 kg"), or write 1.5 kg'
    return f"{found} cells where the header has {expected}{hint}"


def _raw_frame(log: Log, file: str, header: Header, rows: Sequence[Row], odd: Sequence[bool]) -> pl.DataFrame:
    columns: dict[str, list[str | None]] = {}
    for column in log.columns:
        at = header.columns.get(column.name)
        columns[column.name] = [
            None if at is None or is_odd or at >= len(row.cells) else row.cells[at]
            for row, is_odd in zip(rows, odd, strict=True)
        ]
    extra = [
        json.dumps(list(row.cells), ensure_ascii=False) if is_odd else _extra(header, row)
        for row, is_odd in zip(rows, odd, strict=True)
    ]
    lines = [row.line for row in rows]
    return pl.DataFrame(
        columns | {"extra": extra, "source_file": [file] * len(rows), "source_line": lines},
        schema=raw_types(log),
    )


def _extra(header: Header, row: Row) -> str | None:
    if not header.extra:
        return None
    kept = {name: row.cells[at] for name, at in header.extra.items() if at < len(row.cells)}
    return json.dumps(kept, ensure_ascii=False)


def _type_columns(log: Log, header: Header, raw: pl.DataFrame, reading: Reading) -> tuple[pl.DataFrame, pl.DataFrame]:
    core = raw.select("source_file", "source_line")
    problems = [no_problems()]
    fields = sorted(log.columns, key=lambda column: column.kind != CROP)  # counts need the crop
    for column in fields:
        series = raw[column.name]
        if column.kind == TEXT:
            typed = pl.DataFrame({column.name: _text(series)})
        elif column.kind == IDENTIFIER:
            typed = pl.DataFrame({column.name: _identifier(series)})
        else:
            typed, bad = _read_distinct(column, series, header.units.get(column.name), reading)
            if column.name == "weight":
                typed, uncounted = _weigh_counted(column, typed, core, reading)
                bad = pl.concat([bad, uncounted])
            problems.append(_locate(bad, raw, column, series))
            if column.kind == CROP:
                problems.append(_unknown_crops(typed["crop"], raw, reading))
        core = pl.concat([core, typed], how="horizontal")
    types = core_types(log.name)
    return core.select(pl.col(name).cast(dtype) for name, dtype in types.items()), pl.concat(problems)


def _text(series: pl.Series) -> pl.Series:
    stripped = series.str.strip_chars()
    return stripped.set(stripped == "", None)


def _identifier(series: pl.Series) -> pl.Series:
    plain = series.str.normalize("NFKC").str.replace_all(r"[\s\x00]+", " ").str.strip_chars()
    return plain.set(plain == "", None)


def _reader(column: Field, header_unit: str | None, reading: Reading) -> Callable[[str], Cell]:
    """The function that reads one cell of this column."""
    readers: dict[str, Callable[[str], Cell]] = {
        DATE: lambda text: cells.date(text, reading.date_order),
        MASS: lambda text: cells.quantity(text, "mass", header_unit, pint=reading.pint),
        VOLUME: lambda text: cells.quantity(text, "volume", header_unit, pint=reading.pint),
        TEMPERATURE: cells.temperature,
        NUMBER: cells.number,
        COUNT: cells.count,
        CROP: lambda text: cells.crop(text, reading.crop_lookup),
        CODE: lambda text: cells.code(text, column.code or column.name),
        YES_NO: cells.yes_no,
        AMOUNT: lambda text: cells.amount(text, header_unit),
    }
    read = readers[column.kind]

    def guarded(text: str) -> Cell:
        if len(text) > LONGEST_CELL:
            return Cell(rule="too_long", message=f"more than {LONGEST_CELL} characters where a {column.kind} is meant")
        return read(text)

    return guarded


def _read_distinct(
    column: Field, series: pl.Series, header_unit: str | None, reading: Reading
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Typed columns of one raw column, and (row, rule, message) of each cell that could not be read."""
    read = _reader(column, header_unit, reading)
    texts = series.drop_nulls().unique().to_list()
    found = [read(text) for text in texts]
    scale = 0.001 if column.kind == MASS and column.unit == "kg" else 1.0
    types = dict(column.core_columns)
    main = next(iter(types))
    values = [cell.value if not isinstance(cell.value, float) else cell.value * scale for cell in found]
    counted = [cell.value if cell.unit == "piece" else value for cell, value in zip(found, values, strict=True)]
    lookup = pl.DataFrame(
        {
            "text": pl.Series(texts, dtype=pl.String),
            main: pl.Series(counted, dtype=_POLARS[types[main]]),
            "unit": pl.Series([cell.unit for cell in found], dtype=pl.String),
            "estimated": pl.Series([cell.estimated for cell in found], dtype=pl.Boolean),
            "rule": pl.Series([cell.rule for cell in found], dtype=pl.String),
            "message": pl.Series([cell.message for cell in found], dtype=pl.String),
        }
    )
    joined = series.to_frame("text").join(lookup, on="text", how="left", maintain_order="left")
    bad = (
        joined.with_row_index("row")
        .filter(pl.col("rule") != "")
        .select(pl.col("row").cast(pl.Int64), "rule", "message")
    )
    typed = joined.select(main)
    if column.kind == AMOUNT:
        typed = joined.select(main, pl.col("unit").alias(f"{column.name}_unit"))
    elif column.name == "weight":
        typed = joined.select(main, pl.col("estimated").alias("weight_estimated"), "unit")
    elif column.kind == MASS:  # a batch's ingredients are weighed, not counted
        typed = joined.select(pl.when(pl.col("unit") == "piece").then(None).otherwise(pl.col(main)).alias(main))
        counted_rows = joined.with_row_index("row").filter(pl.col("unit") == "piece")
        say = "counted, not weighed: write a weight, such as 1.2 kg"
        bad = pl.concat([bad, _bad_rows(counted_rows, "not_weighed", say)])
    return typed, bad


_POLARS: dict[str, pl.DataType] = {
    "date": pl.Date(),
    "float": pl.Float64(),
    "int": pl.Int64(),
    "bool": pl.Boolean(),
    "text": pl.String(),
}


def _bad_rows(rows: pl.DataFrame, rule: str, message: str) -> pl.DataFrame:
    return rows.select(pl.col("row").cast(pl.Int64), pl.lit(rule).alias("rule"), pl.lit(message).alias("message"))


def _weigh_counted(
    column: Field, typed: pl.DataFrame, core: pl.DataFrame, reading: Reading
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Counted produce weighed by the crop reference; a crop without a piece weight is a problem."""
    crops = core["crop"] if "crop" in core.columns else pl.Series("crop", [None] * core.height, dtype=pl.String)
    pieces = pl.DataFrame(
        {"crop": list(reading.piece_kg), "piece_kg": list(reading.piece_kg.values())},
        schema={"crop": pl.String, "piece_kg": pl.Float64},
    )
    whole = pl.concat([typed, crops.to_frame("crop")], how="horizontal").join(
        pieces, on="crop", how="left", maintain_order="left"
    )
    name = column.core_name
    counted = pl.col("unit") == "piece"
    weighed = whole.select(
        pl.when(counted).then(pl.col(name) * pl.col("piece_kg")).otherwise(pl.col(name)).alias(name),
        pl.col("weight_estimated").fill_null(value=False),
    )
    lost = whole.with_row_index("row").filter(counted & pl.col("piece_kg").is_null())
    message = (
        pl.lit("counted, but what one ")
        + pl.col("crop").fill_null("of this crop")
        + " weighs is not known: write a weight, or give piece_kg in crops.csv"
    )
    bad = lost.select(pl.col("row").cast(pl.Int64), pl.lit("piece_unknown").alias("rule"), message.alias("message"))
    return weighed, bad


def _locate(bad: pl.DataFrame, raw: pl.DataFrame, column: Field, series: pl.Series) -> pl.DataFrame:
    """Problems of one column with file, line and the cell as typed."""
    rows = bad["row"]
    return pl.DataFrame(
        {
            "file": raw["source_file"].gather(rows),
            "line": raw["source_line"].gather(rows),
            "column": [column.name] * bad.height,
            "value": [_shorten(text) for text in series.gather(rows).to_list()],
            "rule": bad["rule"],
            "level": ["error"] * bad.height,
            "message": bad["message"],
        },
        schema=PROBLEM_COLUMNS,
    )


def _unknown_crops(crops: pl.Series, raw: pl.DataFrame, reading: Reading) -> pl.DataFrame:
    """One warning per unknown crop of the file, at its first line."""
    known = set(reading.crop_lookup.values())
    unknown = (
        pl.DataFrame({"crop": crops, "file": raw["source_file"], "line": raw["source_line"]})
        .filter(pl.col("crop").is_not_null() & ~pl.col("crop").is_in(list(known)))
        .group_by("crop", "file", maintain_order=True)
        .agg(pl.col("line").min(), pl.len().alias("rows"))
    )
    return pl.DataFrame(
        [
            (
                row["file"],
                row["line"],
                "crop",
                _shorten(row["crop"]),
                "unknown_crop",
                "warning",
                f"not in the crop reference, taken as typed ({row['rows']} row{'s' * (row['rows'] != 1)})"
                + (cells.nearest_crop(row["crop"], reading.crop_lookup) or "; add it to crops.csv if it is meant"),
            )
            for row in unknown.iter_rows(named=True)
        ],
        schema=PROBLEM_COLUMNS,
        orient="row",
    )


def _shorten(text: str | None) -> str | None:
    return text if text is None or len(text) <= LONGEST_CELL else text[:LONGEST_CELL] + "…"
