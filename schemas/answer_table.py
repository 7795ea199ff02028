"""What an answer table is: its name, its grain and its columns, declared one a line."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Column:
    """One column of an answer table."""

    name: str
    dtype: str
    """``text``, ``int``, ``float``, ``bool`` or ``date``."""
    description: str
    unit: str | None = None


@dataclass(frozen=True)
class Answer:
    """One answer table."""

    name: str
    grain: str
    description: str
    columns: tuple[Column, ...]


def _c(spec: str) -> tuple[Column, ...]:
    """Columns from lines of ``name dtype unit-or-dash description``."""
    columns = []
    for line in spec.strip().splitlines():
        name, dtype, unit, description = line.split(maxsplit=3)
        columns.append(Column(name, dtype, description, None if unit == "-" else unit.replace("_", " ")))
    return tuple(columns)


def declared(name: str, grain: str, description: str, spec: str) -> Answer:
    """A table from its columns, one a line: ``name dtype unit-or-dash description``."""
    return Answer(name, grain, description, _c(spec))


OUTLOOK = """
crop text - crop
week date - Monday of the week
kg_p10 float kg 1 year in 10 gives less
kg_p50 float kg middle
kg_p90 float kg 1 year in 10 gives more
"""
"""Columns that every outlook over weather years begins with."""
