"""2a. Records in columns of text -> raw rows of a log, and the rows that are no records of it.

A repeated header, a sum at the foot of a table and a row whose doubled columns disagree are set aside here;
rows without a single filled cell are dropped.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from functools import cache

import polars as pl

from pipeline.intake.headers import Header
from pipeline.intake.records import Odd, Part
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
LONGEST_VALUE = 200
SUMMARY = re.compile(
    r"(?:[a-z]+ |sub-?)?totals?(?: (?:\d{4}|weight|harvest|area|kg|g|lbs?|oz))?(?: (?:for|of|in|\().*)?"
    r"|sums?(?: (?:of .*|total))?|averages?|means?|summe|gesamt|somme|totale|totaal",
    re.IGNORECASE,
)
"""What stands first, or as the crop, in a row that sums up a table."""


@dataclass(frozen=True)
class Shaped:
    """Raw rows of a log: all of them, which of them can be read cell by cell, and what is wrong with the rest."""

    raw: pl.DataFrame
    readable: pl.DataFrame
    problems: pl.DataFrame
    cells: pl.DataFrame
    """The readable rows in the columns of the file, named by position."""


@cache
def no_problems() -> pl.DataFrame:
    """An empty table of problems."""
    return pl.DataFrame(schema=PROBLEM_COLUMNS)


def shorten(text: str | None) -> str | None:
    """The text, cut where it is too long for a list of problems."""
    return text if text is None or len(text) <= LONGEST_VALUE else text[:LONGEST_VALUE] + "…"


def raw_types(log: Log) -> dict[str, pl.DataType]:
    """Columns of ``raw``: each cell as typed, the columns the log does not know as JSON, file and line."""
    texts: dict[str, pl.DataType] = {column.name: pl.String() for column in log.columns}
    return texts | {"extra": pl.String(), "source_file": pl.String(), "source_line": pl.Int64()}


def shape_rows(kind: str, file: str, header: Header, part: Part) -> Shaped:
    """Lay records in the columns of their log.

    Args:
        kind: name of the log.
        file: name of the file, for the ``source_file`` column.
        header: the file's header.
        part: records below it.

    Returns:
        ``raw`` has every record; of one that is no row of the log all cells stand in ``extra``, as a JSON
        list. ``readable`` has the others.
    """
    log = LOGS[kind]
    cells, first = _filled(part.cells)
    rules = _rules(header, cells, first)
    odd = list(part.odd)
    if rules is not None:
        odd += [
            Odd(row[-2], tuple(text or "" for text in row[:-2]), row[-1], RULES[row[-1]])
            for row in cells.with_columns(rules).filter(pl.col("rule") != "").iter_rows()
        ]
        cells = cells.filter(rules == "")
    readable = _raw(log, file, header, cells)
    raw = pl.concat([readable, raw_of(log, file, odd)], rechunk=False) if odd else readable
    return Shaped(raw, readable, _problems(file, header.delimiter, odd), cells)


RULES = {
    "repeated_header": "the header stands here again: take this line out",
    "summary_row": "a sum, not a record: take this line out",
    "two_readings": "a column stands more than once and its cells differ: keep one of them",
}


def _filled(cells: pl.DataFrame) -> tuple[pl.DataFrame, pl.Series]:
    """The rows in which a cell is filled, and the first such cell of each, without outer spaces."""
    texts = [name for name in cells.columns if name != "line"]
    first = cells.select(pl.coalesce(texts).str.strip_chars().alias("first"))["first"]
    if not (first.is_null() | (first == "")).any():
        return cells, first
    stripped = (pl.col(name).str.strip_chars() for name in texts)
    exact = pl.coalesce(pl.when(text != "").then(text) for text in stripped).alias("first")
    whole = cells.with_columns(exact).filter(pl.col("first").is_not_null())
    return whole.drop("first"), whole["first"]


def _rules(header: Header, cells: pl.DataFrame, first: pl.Series) -> pl.Series | None:
    """The rule that makes each row no record of the log, an empty text for a record; None where all are."""
    crop = header.columns.get("crop")
    named = first if crop is None else pl.concat([first, cells[str(crop)].str.strip_chars()]).drop_nulls()
    sums = [text for text in named.unique().to_list() if SUMMARY.fullmatch(text.rstrip(" :"))]
    headed = first == next(cell.strip() for cell in header.cells if cell.strip())
    if not (sums or headed.any() or header.repeated):
        return None
    is_sum = first.is_in(sums) if crop is None else first.is_in(sums) | _stripped(crop).is_in(sums)
    repeated = pl.all_horizontal(_stripped(index) == cell.strip() for index, cell in enumerate(header.cells))
    differ = [
        _stripped(header.columns[name]) != _stripped(again)
        for name, places in header.repeated.items()
        for again in places
    ]
    rule = (
        pl.when(is_sum)
        .then(pl.lit("summary_row"))
        .when(repeated)
        .then(pl.lit("repeated_header"))
        .when(pl.any_horizontal(*differ, pl.lit(value=False)))
        .then(pl.lit("two_readings"))
        .otherwise(pl.lit(""))
    )
    return cells.select(rule.alias("rule"))["rule"]


def _stripped(index: int) -> pl.Expr:
    return pl.col(str(index)).str.strip_chars().fill_null("")


def _raw(log: Log, file: str, header: Header, cells: pl.DataFrame) -> pl.DataFrame:
    at = {name: str(index) for name, index in header.columns.items()}
    columns = [
        pl.col(at[column.name]).alias(column.name) if column.name in at else pl.lit(None, pl.String).alias(column.name)
        for column in log.columns
    ]
    return cells.select(
        *columns, _extra(header).alias("extra"), pl.lit(file).alias("source_file"), pl.col("line").alias("source_line")
    )


def _extra(header: Header) -> pl.Expr:
    """The cells of unknown columns as a JSON object; null where none is filled."""
    if not header.extra:
        return pl.lit(None, pl.String)
    kept = [pl.col(str(index)).alias(name) for name, index in header.extra.items()]
    filled = pl.any_horizontal(pl.col(str(index)).is_not_null() for index in header.extra.values())
    return pl.when(filled).then(pl.struct(kept).struct.json_encode())


def raw_of(log: Log, file: str, odd: list[Odd]) -> pl.DataFrame:
    """Raw rows of records that are no rows of the log."""
    kept = pl.DataFrame(
        {
            "extra": pl.Series([json.dumps(record.cells, ensure_ascii=False) for record in odd], dtype=pl.String),
            "source_file": pl.Series([file] * len(odd), dtype=pl.String),
            "source_line": pl.Series([record.line for record in odd], dtype=pl.Int64),
        }
    )
    return kept.select(
        pl.col(name) if name in kept.columns else pl.lit(None, dtype).alias(name)
        for name, dtype in raw_types(log).items()
    )


def _problems(file: str, delimiter: str, odd: list[Odd]) -> pl.DataFrame:
    if not odd:
        return no_problems()
    rows = [
        (file, record.line, "", shorten((delimiter or " ").join(record.cells)), record.rule, "error", record.message)
        for record in odd
    ]
    return pl.DataFrame(rows, schema=PROBLEM_COLUMNS, orient="row")
