"""3b. Rules across logs: each is a query over ``core`` that names both places of a contradiction.

Errors set rows aside in the order of :data:`CHECKS`, so that a row which rests on one set aside is seen
after it. Names inside the queries come from ``schemas/``; values are always parameters.
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass, field
from importlib.resources import files
from typing import TYPE_CHECKING

import polars as pl

from pipeline.normalise import PROBLEM_COLUMNS
from schemas.codes import HARMLESS_CAUSES, LOST_ACTIONS
from schemas.logs import LATEST_DATE_COLUMN, LOGS

if TYPE_CHECKING:
    import datetime as dt

    import duckdb

    from pipeline.store import Store


@dataclass(frozen=True)
class CrossCheck:
    """One query of ``pipeline/rules`` with the names it is about."""

    query: str
    names: dict[str, str] = field(default_factory=dict)

    def sql(self) -> str:
        """The query's text."""
        text = files("pipeline").joinpath("rules", f"{self.query}.sql").read_text(encoding="utf-8")
        for name, value in self.names.items():
            text = text.replace(f"{{{name}}}", value)
        return text


def _reference(log: str, column: str, other: str, level: str) -> CrossCheck:
    what = column.removesuffix("_id")
    names = {"log": log, "column": column, "other": other, "what": what, "level": level}
    return CrossCheck("unknown_reference", names)


REFERENCES: tuple[tuple[str, str, str, str], ...] = (
    ("ingredients", "batch_id", "batches", "error"),
    ("spoilage", "batch_id", "batches", "error"),
    ("consumption", "batch_id", "batches", "error"),
    ("tastings", "batch_id", "batches", "error"),
    ("harvests", "sowing_id", "sowings", "warning"),
    ("sowings", "plot", "plots", "warning"),
    ("harvests", "plot", "plots", "warning"),
    ("batches", "plot", "plots", "warning"),
)
"""(log, column, log it points to, level): without its batch a row says nothing, without its plot it does."""

CHECKS: tuple[CrossCheck, ...] = (
    *(CrossCheck("date_in_future", {"log": log, "day": day}) for log, day in LATEST_DATE_COLUMN.items()),
    *(CrossCheck("duplicate_key", {"log": log.name, "column": log.key[0]}) for log in LOGS.values() if log.key),
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
        "duplicate_id",
        "unknown_batch",
        "unknown_sowing",
        "unknown_plot",
        "before_made",
        "more_than_made",
        "used_more_than_picked",
    }
)


def run_cross_checks(store: Store, as_of: dt.date) -> pl.DataFrame:
    """Run every check in order, delete from ``core`` the rows it sets aside, return all problems."""
    con = store.con
    parameters = {
        "as_of": as_of,
        "lost_actions": sorted(LOST_ACTIONS),
        "harmless_causes": sorted(HARMLESS_CAUSES),
    }
    problems = [pl.DataFrame(schema=PROBLEM_COLUMNS)]
    for check in CHECKS:
        sql = check.sql()
        used = {name: value for name, value in parameters.items() if f"${name}" in sql}
        found = pl.DataFrame(con.sql(sql, params=used) if used else con.sql(sql))
        if check.query == "unknown_reference":
            found = _with_hints(con, check, found)
            _same_spelling(con, check)
        for (log,), rows in found.filter(pl.col("level") == "error").group_by("log", maintain_order=True):
            store.delete_lines(f"core.{log}", rows)
        problems.append(found.select(PROBLEM_COLUMNS.keys()).cast(dict(PROBLEM_COLUMNS)))  # type: ignore[arg-type]
    return pl.concat(problems)


def _same_spelling(con: duckdb.DuckDBPyConnection, check: CrossCheck) -> None:
    con.execute(CrossCheck("same_spelling", check.names).sql())


def _with_hints(con: duckdb.DuckDBPyConnection, check: CrossCheck, found: pl.DataFrame) -> pl.DataFrame:
    """The nearest known label, or the place where the label was set aside, added to each message."""
    if found.is_empty():
        return found
    names = check.names
    known = [row[0] for row in con.sql(f"select {names['column']} from core.{names['other']}").fetchall()]  # noqa: S608
    aside = dict(
        con.sql(
            f"select lower(trim({names['column']})), source_file || ' line ' || source_line "  # noqa: S608
            f"from raw.{names['other']} where {names['column']} is not null"
        ).fetchall()
    )
    hints = {}
    for value in found["value"].unique().to_list():
        near = difflib.get_close_matches(value, known, n=1, cutoff=0.6)
        hints[value] = f"; did you mean {near[0]!r}?" if near else ": add it there, or check the spelling"
        if value.casefold() in aside:
            hints[value] = f": its row ({aside[value.casefold()]}) was set aside, mend that first"
    return found.with_columns(pl.col("message") + pl.col("value").replace_strict(hints, return_dtype=pl.String))
