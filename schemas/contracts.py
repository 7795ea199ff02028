"""Contracts of the typed logs, made from ``schemas/logs.py`` and run by pandera.

Each rule checks itself and says itself: the sentence that explains it to a grower is the check's name.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, TypeAlias

from schemas.codes import CODES
from schemas.fields import CODE, DATE, Field
from schemas.logs import LOGS

if TYPE_CHECKING:
    from collections.abc import Callable

    import pandera.polars as pa
    import polars as pl
    from pandera.polars import PolarsData

RowCheck: TypeAlias = "Callable[[PolarsData], pl.LazyFrame]"

EARLIEST_YEAR, LATEST_YEAR = 1900, 2199


def polars_types() -> dict[str, pl.DataType]:
    """The polars type of each kind of typed column."""
    import polars as pl

    return {
        "date": pl.Date(),
        "float": pl.Float64(),
        "int": pl.Int64(),
        "bool": pl.Boolean(),
        "text": pl.String(),
    }


def core_types(log_name: str) -> dict[str, pl.DataType]:
    """Typed columns of one log and their polars types."""
    types = polars_types()
    return {name: types[kind] for name, kind in LOGS[log_name].core_columns.items()}


def _not_after(other: str) -> RowCheck:
    """A check that a value is not after the column ``other`` (rows without either pass)."""
    import polars as pl

    def check(data: PolarsData) -> pl.LazyFrame:
        late = pl.col(data.key or "*") > pl.col(other)
        return data.lazyframe.select(~late.fill_null(value=False))

    return check


def _one_of(columns: tuple[str, ...]) -> RowCheck:
    """A check that at least one of the columns is filled in."""
    import polars as pl

    def check(data: PolarsData) -> pl.LazyFrame:
        return data.lazyframe.select(pl.any_horizontal([pl.col(name).is_not_null() for name in columns]))

    return check


def _below_produce(data: PolarsData) -> pl.LazyFrame:
    """A dried batch weighs less than what went in."""
    import polars as pl

    heavier = (pl.col("method") == "dry") & (pl.col("finished_kg") >= pl.col("produce_kg"))
    return data.lazyframe.select(~heavier.fill_null(value=False))


def _look_is_counted(data: PolarsData) -> pl.LazyFrame:
    """A look at a batch says how many containers were bad, or how much of what is in them."""
    import polars as pl

    needs_count = pl.col("batch_id").is_not_null() & pl.col("containers").is_null() & pl.col("weight_kg").is_null()
    return data.lazyframe.select(~needs_count)


ROW_RULES: dict[str, tuple[tuple[str, RowCheck, str], ...]] = {
    "sowings": (("sown_on", _not_after("planted_out_on"), "planted out before it was sown: check both days"),),
    "weather": (("tmin_c", _not_after("tmax_c"), "the lowest temperature is above the highest: check both"),),
    "climate": (("tmin_c", _not_after("tmax_c"), "the lowest temperature is above the highest: check both"),),
    "batches": (
        ("finished_kg", _below_produce, "a dried batch weighs less than the produce that went in: check both"),
    ),
    "spoilage": (("containers", _look_is_counted, "write how many containers were bad; 0 where all were sound"),),
    "consumption": (),
}
"""Rules across the columns of one row: (column blamed, check, sentence)."""


def bounds_sentence(field: Field) -> str:
    """What a value of this column may be, in words."""
    unit = f" {field.unit}" if field.unit else ""
    if field.ge is not None and field.le is not None:
        return f"between {field.ge:g} and {field.le:g}{unit}"
    return f"at least {field.ge:g}{unit}"


def _checks(field: Field) -> list[pa.Check]:
    import datetime as dt

    import pandera.polars as pa

    checks = []
    if field.ge is not None:
        checks.append(pa.Check.ge(field.ge, error=bounds_sentence(field)))
    if field.le is not None:
        checks.append(pa.Check.le(field.le, error=bounds_sentence(field)))
    if field.kind == CODE and field.code:
        words = list(CODES[field.code].words)
        checks.append(pa.Check.isin(words, error=f"one of {', '.join(words)}"))
    if field.kind == DATE:
        first, last = dt.date(EARLIEST_YEAR, 1, 1), dt.date(LATEST_YEAR, 12, 31)
        checks.append(pa.Check.in_range(first, last, error=f"a date between {EARLIEST_YEAR} and {LATEST_YEAR}"))
    return checks


@cache
def contract(log_name: str) -> pa.DataFrameSchema:
    """The pandera contract of one typed log. Validate an eager frame with ``lazy=True``."""
    import pandera.polars as pa

    log = LOGS[log_name]
    types = core_types(log_name)
    columns: dict[str, pa.Column] = {}
    for field in log.columns:
        for name, kind in field.core_columns:
            checks = _checks(field) if kind in {"float", "int", "date"} or field.kind == CODE else []
            nullable = not field.required or name.endswith("_estimated")
            columns[name] = pa.Column(types[name], checks, nullable=nullable, description=field.description)
    for column, check, sentence in ROW_RULES.get(log_name, ()):
        columns[column].checks.append(pa.Check(check, error=sentence, ignore_na=False))
    for group in log.needs_one_of:
        names = tuple(log.column(name).core_name for name in group)
        columns[names[0]].checks.append(
            pa.Check(_one_of(names), error=f"fill in {' or '.join(group)}", ignore_na=False)
        )
    for name in ("source_file", "source_line"):
        columns[name] = pa.Column(types[name], nullable=False)
    return pa.DataFrameSchema(columns, strict=True, ordered=True)
