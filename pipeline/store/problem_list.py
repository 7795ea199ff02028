"""The problems of a store as a person works through them: counted, the first of each file, all with their rows.

A file of millions of wrong rows gives as many problems, so all of them are never in memory at once.
"""

from __future__ import annotations

from collections.abc import Iterator

import polars as pl

from pipeline.intake.shape import PROBLEM_COLUMNS
from pipeline.store.store import Store
from schemas.logs import LOGS

LINES_AT_ONCE = 200_000
LONGEST_ROW = 1_000
IN_ORDER = ("file", "line", "column", "rule")


def problem_counts(store: Store) -> pl.DataFrame:
    """How many problems of each file, level and rule: ``file``, ``level``, ``rule``, ``problems``."""
    return store.frame("select file, level, rule, count(*) as problems from out.problems group by all order by all")


def first_problems(store: Store, most: int) -> pl.DataFrame:
    """The first ``most`` problems of each file by line, with the columns of ``out.problems``."""
    key = ", ".join(f'{name!r}: "{name}"' for name in IN_ORDER[1:])
    found = store.frame(
        f"with first as (select unnest(min_by(problem, {{{key}}}, {int(most)})) as problem "  # noqa: S608
        "from out.problems as problem group by file) select problem.* from first"
    )
    return found.select(pl.col(name).cast(dtype) for name, dtype in PROBLEM_COLUMNS.items()).sort(IN_ORDER)


MOST_MENDS = 6
"""Deeds that a check names first."""


def mends(store: Store) -> pl.DataFrame:
    """What to do, that which brings most rows back first: rows set aside for one reason in one column of one file.

    Returns:
        ``file``, ``column``, ``rule``, ``rows``, and ``line``, ``value``, ``message`` of the first of them.
    """
    return store.frame(
        f"""
        with told as (
            select file, "column", rule, line, value, message from out.problems where level = 'error'
        )
        select file, "column", rule, count(*)::bigint as rows, min(line) as line, min_by(value, line) as value,
            min_by(message, line) as message
        from told group by file, "column", rule having count(*) > 1
        order by rows desc, file, "column", rule limit {MOST_MENDS}
        """  # noqa: S608
    )


def problems_with_rows(store: Store) -> Iterator[pl.DataFrame]:
    """All problems by file and line, some at a time (at least one frame, if empty), to be worked through.

    Beside the columns of ``out.problems`` stand ``done``, which is empty, and ``row``, the filled cells of the
    row as typed, in the order of the log's columns.
    """
    yield _worked(store.frame("from out.problems limit 0"), pl.DataFrame(schema=ROWS))
    places = store.con.execute(
        "select file, kind, min(line), max(line) from out.problems join raw.files using (file)"
        " group by all order by all"
    ).fetchall()
    for file, kind, first, last in places:
        for start in range(first, last + 1, LINES_AT_ONCE):
            some = {"file": file, "first": start, "last": start + LINES_AT_ONCE - 1}
            problems = store.frame("from out.problems where file = $file and line between $first and $last", some)
            if problems.height:
                yield _worked(problems, store.frame(_rows_query(kind), some))


ROWS: dict[str, pl.DataType] = {"line": pl.Int64(), "row": pl.String()}


def _rows_query(kind: str) -> str:
    """Rows as text, of one log; the name of the log is one of ours."""
    cells = ", ".join(f'"{column.name}"' for column in LOGS[kind].columns)
    return (
        f"select source_line as line, left(concat_ws(' | ', {cells}, extra), {LONGEST_ROW}) as row from raw.{kind} "  # noqa: S608
        "where source_file = $file and source_line between $first and $last"
        " and source_line in (select line from out.problems where file = $file)"
    )


def _worked(problems: pl.DataFrame, rows: pl.DataFrame) -> pl.DataFrame:
    table = problems.sort(IN_ORDER).join(rows, on="line", how="left", maintain_order="left")
    return table.select(pl.lit(None, pl.String).alias("done"), *PROBLEM_COLUMNS, "row")
