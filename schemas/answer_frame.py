"""Answer frames: exactly the columns, order and types of ``schemas/answers.py``."""

from __future__ import annotations

import polars as pl

from schemas.answers import ANSWERS
from schemas.contracts import polars_types


def answer_types(table: str) -> dict[str, pl.DataType]:
    """Columns of an answer table and their polars types, in order."""
    types = polars_types()
    return {column.name: types[column.dtype] for column in ANSWERS[table].columns}


def as_answer(frame: pl.DataFrame, table: str) -> pl.DataFrame:
    """The columns of an answer table in its order and types; other columns are left behind."""
    return frame.select(pl.col(name).cast(kind) for name, kind in answer_types(table).items())
