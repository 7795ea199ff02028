"""3b. Rules across logs: each is a query over ``core`` that names both places of a contradiction.

Errors set rows aside in the order of :data:`CHECKS`, so that a row which rests on one set aside is seen
after it. Names inside the queries come from ``schemas/``; values are always parameters.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from importlib.resources import files
from typing import TYPE_CHECKING

import polars as pl

from pipeline.intake.nearest import nearest
from pipeline.intake.shape import PROBLEM_COLUMNS
from schemas.codes import HARMLESS_CAUSES, LOST_ACTIONS
from schemas.fields import IDENTIFIER
from schemas.logs import LATEST_DATE_COLUMN, LOGS, Log

if TYPE_CHECKING:
    import datetime as dt

    import duckdb

    from pipeline.store.store import Store


@dataclass(frozen=True)
class CrossCheck:
    """One query of ``pipeline/store/rules`` with the names it is about."""

    query: str
    names: dict[str, str] = field(default_factory=dict)

    def sql(self) -> str:
        """The query's text."""
        text = files("pipeline.store").joinpath("rules", f"{self.query}.sql").read_text(encoding="utf-8")
        for name, value in self.names.items():
            text = text.replace(f"{{{name}}}", value)
        return text


def _reference(log: str, column: str, other: str, level: str) -> CrossCheck:
    what = column.removesuffix("_id")
    names = {"log": log, "column": column, "other": other, "what": what, "level": level}
    return CrossCheck("unknown_reference", names)


def _key(log: Log) -> CrossCheck:
    column = log.column(log.key[0])
    own = "give this one a label of its own" if column.kind == IDENTIFIER else "take one of the two out"
    return CrossCheck("duplicate_key", {"log": log.name, "column": column.name, "mend": own})


REFERENCES: tuple[tuple[str, str, str, str], ...] = (
    ("ingredients", "batch_id", "batches", "error"),
    ("spoilage", "batch_id", "batches", "error"),
    ("consumption", "batch_id", "batches", "error"),
    ("tastings", "batch_id", "batches", "error"),
    ("harvests", "sowing_id", "sowings", "warning"),
    ("sowings", "plot", "plots", "warning"),
    ("harvests", "plot", "plots", "warning"),
    ("batches", "plot", "plots", "warning"),
    ("spoilage", "plot", "plots", "warning"),
    ("consumption", "plot", "plots", "warning"),
)
"""(log, column, log it points to, level): without its batch a row says nothing, without its plot it does."""

LATER: dict[str, CrossCheck] = {
    log: CrossCheck("date_later", {"log": log, "day": day}) for log, day in LATEST_DATE_COLUMN.items()
}
"""What is later than the day computed for is taken out before all else is checked."""

CHECKS: tuple[CrossCheck, ...] = (
    *(CrossCheck("date_in_future", {"log": log, "day": day}) for log, day in LATEST_DATE_COLUMN.items()),
    *(_key(log) for log in LOGS.values() if log.key),
    *(_reference(*reference) for reference in REFERENCES),
    *(
        CrossCheck("before_made", {"log": log, "day": day})
        for log, day in (("spoilage", "found_on"), ("consumption", "used_on"), ("tastings", "tasted_on"))
    ),
    CrossCheck("more_than_made"),
    CrossCheck("used_more_than_picked"),
)

CROSS_RULES = frozenset(
    {
        "date_in_future",
        "date_later",
        "duplicate_id",
        "unknown_batch",
        "unknown_sowing",
        "unknown_plot",
        "before_made",
        "more_than_made",
        "used_more_than_picked",
    }
)


MOST_HINTS = 100
"""Misspelt labels of one column that get a hint."""


@dataclass(frozen=True)
class Crossed:
    """What the rules across logs found."""

    problems: pl.DataFrame
    respelled: set[str]
    """Files of which a label took the spelling of another log."""
    later: dict[str, int]
    """Rows of each file of a day after the one computed for."""


def _take_later(store: Store, as_of: dt.date, latest: dt.date) -> tuple[list[pl.DataFrame], dict[str, int]]:
    """Take rows of a later day out of ``core``: one note for each file, and how many they are."""
    notes: list[pl.DataFrame] = []
    later: dict[str, int] = {}
    if latest <= as_of:
        return notes, later
    for log, check in LATER.items():
        found = store.frame(check.sql(), {"as_of": as_of, "latest": latest})
        day = check.names["day"]
        store.con.execute(
            f"delete from core.{log} where {day} > $as_of and {day} <= $latest",  # noqa: S608
            {"as_of": as_of, "latest": latest},
        )
        later |= dict(found.select("file", "later").iter_rows())
        notes.append(found.select(pl.col(name).cast(dtype) for name, dtype in PROBLEM_COLUMNS.items()))
    return notes, later


def run_cross_checks(store: Store, as_of: dt.date, today: dt.date | None = None) -> Crossed:
    """Run every check in order and delete from ``core`` the rows it sets aside, and those that are later.

    Args:
        store: an open store.
        as_of: the day this is computed for.
        today: the day it is, if that is later; rows up to it are no mistakes, but do not count yet.
    """
    con = store.con
    latest = max(as_of, today or as_of)
    noted, later = _take_later(store, as_of, latest)
    parameters = {
        "latest": latest,
        "lost_actions": sorted(LOST_ACTIONS),
        "harmless_causes": sorted(HARMLESS_CAUSES),
    }
    problems = [pl.DataFrame(schema=PROBLEM_COLUMNS), *noted]
    respelled: set[str] = set()
    for check in CHECKS:
        sql = check.sql()
        used = {name: value for name, value in parameters.items() if f"${name}" in sql}
        found = store.frame(sql, used)
        if check.query == "unknown_reference":
            found = _with_hints(con, check, found)
            respelled |= _same_spelling(con, check)
        for (log,), rows in found.filter(pl.col("level") == "error").group_by("log", maintain_order=True):
            store.delete_lines(f"core.{log}", rows)
        problems.append(found.select(pl.col(name).cast(dtype) for name, dtype in PROBLEM_COLUMNS.items()))
    return Crossed(pl.concat(problems), respelled, later)


def _same_spelling(con: duckdb.DuckDBPyConnection, check: CrossCheck) -> set[str]:
    """Labels are compared without case; a row takes the spelling of the row it names."""
    return {row[0] for row in con.execute(CrossCheck("same_spelling", check.names).sql()).fetchall()}


def _with_hints(con: duckdb.DuckDBPyConnection, check: CrossCheck, found: pl.DataFrame) -> pl.DataFrame:
    """Both places named: where the nearest known label stands, or where the label itself was set aside."""
    if found.is_empty():
        return found
    taken = {spelling: (label, place) for spelling, label, place in _labels(con, check, "core")}
    typed = {spelling: (label, place) for spelling, label, place in _labels(con, check, "raw")}
    known = typed | taken
    hints: dict[str, str] = {}
    for value in found["value"].unique(maintain_order=True).to_list():
        near = nearest(value.lower(), known, 60) if len(hints) < MOST_HINTS else None
        hints[value] = ": add it there, or check the spelling"
        if value.lower() in typed:
            hints[value] = f": its row ({typed[value.lower()][1]}) was set aside, mend that first"
        elif near:
            hints[value] = f"; did you mean {known[near][0]!r} ({known[near][1]})?"
    return found.with_columns(pl.col("message") + pl.col("value").replace_strict(hints, return_dtype=pl.String))


def _labels(con: duckdb.DuckDBPyConnection, check: CrossCheck, layer: str) -> list[tuple[str, str, str]]:
    return con.execute(CrossCheck("labels", check.names | {"layer": layer}).sql()).fetchall()
