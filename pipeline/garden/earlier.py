"""What an earlier report of the same plots gives away beside a new one: the difference of the two.

Whoever holds both takes one from the other. Where fewer plots than the smallest group joined, left, withdrew or
changed what they logged, that difference is theirs. So each report is remembered in the folders it was made of: for
every cell with enough growers to be shown, how many they were and a mark of what this folder's own
growers gave. No folder holds anything of another's. A cell of a new report whose growers are not those of the
earlier one, but for fewer than the smallest group, takes its whole row out of the table, and out of its totals.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import polars as pl

from pipeline.garden.suppression import Rule

CHANGED = "changed by too few plots since an earlier report"
CHANGED_CROPS = f"crops {CHANGED}"
TOTAL = "total"
MARK_LETTERS = 16

MARK_TYPES: dict[str, pl.DataType] = {"cell": pl.String(), "holder": pl.String(), "mark": pl.String()}


@dataclass(frozen=True)
class Report:
    """What the folders at hand remember of one earlier report."""

    holders: Mapping[str, int]
    """Growers behind each cell that was shown."""
    marks: Mapping[str, Counter[str]]
    """Marks of what the growers of the folders at hand gave to it."""

    def changed(self, cell: str, now: Counter[str]) -> int:
        """How many growers at least stand between the cell then and now."""
        if cell not in self.holders:
            return 0
        same = (now & self.marks.get(cell, Counter())).total()
        return max(self.holders[cell] - same, now.total() - same)


def marks_of(table: str, given: pl.DataFrame, total: str | None = None) -> pl.DataFrame:
    """``row``, ``cell``, ``holder`` and ``mark`` of what each grower gave to each cell of a table.

    Args:
        table: its name.
        given: ``row``, ``column``, ``plot`` (the holder) and ``value``.
        total: name of the column that stands for a row's total, if it is shown.
    """
    parts = [given] if total is None else [given, given.with_columns(column=pl.lit(total))]
    sums = (
        pl.concat(part.select("row", "column", "plot", pl.col("value").cast(pl.Float64)) for part in parts)
        .group_by("row", "column", "plot")
        .agg(pl.col("value").sum())
        .filter(pl.col("value") > 0)
        .sort("row", "column", "plot")
    )
    cells = [(row, f"{table}|{row}|{column}", holder, value) for row, column, holder, value in sums.iter_rows()]
    rows = [(row, cell, holder, _mark(cell, value)) for row, cell, holder, value in cells]
    return pl.DataFrame(rows, schema={"row": pl.String(), **MARK_TYPES}, orient="row")


def _mark(cell: str, value: float) -> str:
    """The grower takes no part: nobody's name is kept, and a number would depend on the order of the folders."""
    return hashlib.sha256(f"{cell}|{value:.6f}".encode()).hexdigest()[:MARK_LETTERS]


def rows_that_tell(marks: pl.DataFrame, earlier: Sequence[Report], rule: Rule) -> list[str]:
    """Rows of a table whose difference to an earlier report is that of too few growers.

    Args:
        marks: result of ``marks_of``.
        earlier: what is remembered.
        rule: its smallest group.
    """
    told: set[str] = set()
    for (row, cell), group in marks.group_by("row", "cell"):
        now = Counter(group["mark"])
        if any(0 < report.changed(str(cell), now) < rule.smallest_group for report in earlier):
            told.add(str(row))
    return sorted(told)
