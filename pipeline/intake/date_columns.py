"""All columns of dates of one file: they prove an order together, and what stays open is one problem each."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import polars as pl

from pipeline.intake.cells import YEAR_MISSING
from pipeline.intake.dates import DateColumn
from pipeline.intake.headers import Header
from pipeline.intake.shape import PROBLEM_COLUMNS, no_problems
from schemas.fields import DATE
from schemas.logs import Log

MOST_LINES_NAMED = 12
SAID_ONCE = frozenset({"ambiguous_date", "year_unclear"})
MENDS = {
    "ambiguous_date": (
        'can be read in two ways: write date_order = "day-first" or date_order = "month-first" under [units] in '
        "rowshelf.toml, or the dates as 2026-06-18"
    ),
    "year_unclear": (
        'have a year of two digits and more than one reading: write date_order = "day-first" or '
        'date_order = "month-first" under [units] in rowshelf.toml, or the dates as 2026-06-18'
    ),
    "year_missing": (
        "have no year, and nothing around them tells it: put it in the name of the file, such as harvests-2026.csv, "
        "or write the first of them in full, such as 2026-06-18"
    ),
}


@dataclass
class _Open:
    """Dates of one column that stay open for the same reason."""

    value: str | None
    level: str
    message: str
    lines: list[int] = field(default_factory=list)


class DateColumns:
    """The columns of dates of one file."""

    def __init__(
        self,
        log: Log,
        header: Header,
        date_order: str,
        this_year: int | None,
        told: Sequence[str],
        other_years: tuple[int, ...] = (),
    ) -> None:
        """Set out what is known before the first row; see :class:`pipeline.intake.dates.DateColumn`."""
        self._columns = {
            column.name: DateColumn(
                date_order, this_year, (header.cells[header.columns[column.name]], *told), other_years
            )
            for column in log.columns
            if column.kind == DATE and column.name in header.columns
        }
        self._weighed = False
        self._open: dict[tuple[str, str, str], _Open] = {}

    def settle(self, raw: pl.DataFrame) -> dict[str, pl.Series]:
        """Each column with what it settles written in ISO 8601. The first rows prove the order for all."""
        if not self._weighed:
            self._weighed = True
            proofs: Counter[str] = Counter()
            for name, column in self._columns.items():
                counted = raw[name].drop_nulls().value_counts()
                proofs += column.weigh(Counter(dict(counted.iter_rows())))
            for column in self._columns.values():
                column.prove(proofs)
        return {name: column.settle(raw[name]) for name, column in self._columns.items()}

    def gather(self, problems: pl.DataFrame) -> pl.DataFrame:
        """The problems without those that are said once for their column, which are remembered."""
        missing = (pl.col("rule") == "not_a_date") & pl.col("message").str.starts_with(YEAR_MISSING)
        kind = pl.when(missing).then(pl.lit("year_missing")).otherwise("rule")
        once = pl.col("column").is_in(list(self._columns)) & kind.is_in([*SAID_ONCE, "year_missing"])
        for row in problems.filter(once).with_columns(kind.alias("rule")).iter_rows(named=True):
            key = (row["column"], row["rule"], row["level"])
            self._open.setdefault(key, _Open(row["value"], row["level"], row["message"])).lines.append(row["line"])
        return problems.filter(~once)

    def problems(self, file: str, line: int) -> pl.DataFrame:
        """One problem for each column and reason, and one note for each thing that a column settled."""
        found: list[tuple[str, int, str, str | None, str, str, str]] = []
        for (name, rule, level), stay in self._open.items():
            first = stay.lines[0]
            found.append((file, first, name, stay.value, rule, level, _said(rule, stay)))
        for name, column in self._columns.items():
            found += [(file, line, name, value or None, rule, "note", said) for rule, value, said in column.notes()]
        return pl.DataFrame(found, schema=PROBLEM_COLUMNS, orient="row") if found else no_problems()


def _said(rule: str, stay: _Open) -> str:
    """What to write instead: of one cell, or once for all of a column."""
    if len(stay.lines) == 1:
        return stay.message
    named = ", ".join(map(str, stay.lines[:MOST_LINES_NAMED]))
    more = len(stay.lines) - MOST_LINES_NAMED
    return f"{len(stay.lines)} dates (lines {named}{f' and {more:,} more' if more > 0 else ''}) {MENDS[rule]}"
