"""Tables that may be shown: no figure rests on too few plots, and none that is withheld can be worked out.

What is withheld, and how well it stays hidden, is decided in ``suppression_search``. A cell that no plot gave
anything to is shown as 0 and protects nothing, as in the package ``sdcTable`` by default (its documentation,
``primarySuppression``, read).
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

import numpy as np
import polars as pl

from pipeline.garden.suppression_search import (
    COLUMN_PRICE,
    GRAND_PRICE,
    ROW_PRICE,
    Flags,
    Floats,
    Grid,
    Rule,
    Table,
    bounds_of,
    is_unsafe,
    withheld_cells,
)

__all__ = [
    "COLUMNS",
    "DOMINATED",
    "FEW",
    "GRAND",
    "PROTECTS",
    "ROWS",
    "Key",
    "Rule",
    "enough_plots",
    "feasible_intervals",
    "suppress",
]

ROWS, COLUMNS, GRAND = "rows", "columns", "grand"
"""Which totals a table is shown with: of each row, of each column, of everything. Rows and columns bring the last
with them."""

FEW, DOMINATED, PROTECTS = "too few plots", "one plot gave nearly all", "would give another figure away"
"""Why a cell is withheld."""

CELL_TYPES: dict[str, pl.DataType] = {
    "row": pl.String(),
    "column": pl.String(),
    "value": pl.Float64(),
    "plots": pl.Int64(),
    "withheld": pl.String(),
}
BOUND_TYPES: dict[str, pl.DataType] = {"low": pl.Float64(), "high": pl.Float64()}
Key = tuple[str | None, str | None]


def suppress(
    contributions: pl.DataFrame, rule: Rule | None = None, totals: Collection[str] = (ROWS, COLUMNS)
) -> pl.DataFrame:
    """The table of sums that may be shown.

    Args:
        contributions: ``row``, ``column``, ``plot`` (String, no nulls) and ``value`` (Float64, 0 or more; rows
            of one cell and plot are added up).
        rule: when a cell is sensitive and how well it is protected.
        totals: which totals are shown with it; every reader is taken to know them.

    Returns:
        Every cell of every row and column, and the totals: ``row`` and ``column`` (null for a total over it),
        ``value`` and ``plots`` (null where withheld), ``withheld`` (why, else null). Sorted, totals last.
    """
    rule = rule or Rule()
    sums = contributions.filter(pl.col("value") > 0).group_by("row", "column", "plot").agg(pl.col("value").sum())
    if sums.is_empty():
        return pl.DataFrame(schema=CELL_TYPES)
    keys = _keys(sums, totals)
    by_plot = _by_plot(sums, keys)
    filled = np.asarray(by_plot.any(axis=0), dtype=np.bool_)
    table = Table(by_plot[:, filled], _grid(keys, filled), _price(keys, by_plot.sum(axis=0))[filled])
    reasons = np.full(len(keys), None, dtype=object)
    for reason, flags in zip((FEW, DOMINATED, PROTECTS), withheld_cells(table, rule), strict=True):
        reasons[np.flatnonzero(filled)[flags]] = reason
    cells = pl.DataFrame(
        {
            "row": [row for row, _ in keys],
            "column": [column for _, column in keys],
            "value": by_plot.sum(axis=0),
            "plots": np.count_nonzero(by_plot, axis=0),
            "withheld": list(reasons),
        },
        schema=CELL_TYPES,
    )
    shown = pl.col("withheld").is_null()
    return cells.with_columns(pl.when(shown).then(pl.col("value", "plots")))


def enough_plots(contributions: pl.DataFrame, rule: Rule | None = None) -> pl.DataFrame:
    """Which groups may be shown at all, where no totals are: ``group``, ``plots`` and ``withheld`` (why, else null).

    Args:
        contributions: ``group``, ``plot`` and ``value`` (what the group's figures rest on; 0 or more).
        rule: when a cell is sensitive.
    """
    types = {"group": pl.String(), "plots": pl.Int64(), "withheld": pl.String()}
    sums = contributions.filter(pl.col("value") > 0).group_by("group", "plot").agg(pl.col("value").sum())
    if sums.is_empty():
        return pl.DataFrame(schema=types)
    wide = sums.sort("group", "plot").pivot("group", index="plot", values="value").drop("plot").fill_null(0.0)
    few, dominated = is_unsafe(wide.to_numpy(), rule or Rule())
    plots = np.count_nonzero(wide.to_numpy(), axis=0)
    why = [FEW if a else DOMINATED if b else None for a, b in zip(few, dominated, strict=True)]
    shown = [None if reason else int(n) for reason, n in zip(why, plots, strict=True)]
    return pl.DataFrame({"group": wide.columns, "plots": shown, "withheld": why}, schema=types)


def feasible_intervals(cells: pl.DataFrame, known: Mapping[Key, tuple[float, float]] | None = None) -> pl.DataFrame:
    """What a reader can work out of the withheld cells by linear programming.

    Only what is shown is used: values, that no cell is negative, and which cells add up to which.

    Args:
        cells: a result of ``suppress``.
        known: least and greatest value of cells of which the reader knows more, by (row, column).

    Returns:
        ``row``, ``column``, ``low`` and ``high`` of each withheld cell; ``high`` may be infinite.
    """
    if cells.is_empty():
        return pl.DataFrame(schema={name: CELL_TYPES[name] for name in ("row", "column")} | BOUND_TYPES)
    keys: list[Key] = list(cells.select("row", "column").iter_rows())
    extra = known or {}
    least = np.array([extra.get(key, (0.0, np.inf))[0] for key in keys], dtype=np.float64)
    most = np.array([extra.get(key, (0.0, np.inf))[1] for key in keys], dtype=np.float64)
    hidden = np.flatnonzero(cells["withheld"].is_not_null().to_numpy())
    values = cells["value"].cast(pl.Float64).fill_null(float("nan")).to_numpy()
    lines = _grid(keys, np.ones(len(keys), dtype=np.bool_)).lines()
    bounds = bounds_of(lines, values, least, most, hidden.tolist())
    ends = pl.DataFrame({"low": bounds[:, 0], "high": bounds[:, 1]}, schema=BOUND_TYPES)
    return pl.concat([cells.select("row", "column")[hidden.tolist()], ends], how="horizontal")


def _keys(sums: pl.DataFrame, totals: Collection[str]) -> list[Key]:
    """Cells row by row, the totals of a row at its end and those of the columns in a last row."""
    rows: list[str] = sums["row"].unique().sort().to_list()
    columns: list[str] = sums["column"].unique().sort().to_list()
    across: list[str | None] = [*columns, *([None] if ROWS in totals else [])]
    keys: list[Key] = [(row, column) for row in rows for column in across]
    if COLUMNS in totals:
        keys += [(None, column) for column in across]
    return keys + ([(None, None)] if GRAND in totals and (None, None) not in keys else [])


def _by_plot(sums: pl.DataFrame, keys: list[Key]) -> Floats:
    """Contributions, plots x cells; a total holds those of all its cells."""
    place = {key: at for at, key in enumerate(keys)}
    plots = {plot: at for at, plot in enumerate(sums["plot"].unique().sort())}
    out = np.zeros((len(plots), len(keys)))
    for row, column, plot, value in sums.sort("row", "column", "plot").iter_rows():
        for key in ((row, column), (row, None), (None, column), (None, None)):
            if key in place:
                out[plots[plot], place[key]] += value
    return out


def _grid(keys: list[Key], filled: Flags) -> Grid:
    """Where the filled cells stand, numbered in order."""
    rows = sorted({row for row, _ in keys}, key=lambda row: (row is None, row))
    columns = sorted({column for _, column in keys}, key=lambda column: (column is None, column))
    at_row, at_column = ({key: at for at, key in enumerate(names)} for names in (rows, columns))
    place = np.full((len(rows), len(columns)), -1, dtype=np.int64)
    for number, key in enumerate(key for key, there in zip(keys, filled, strict=True) if there):
        place[at_row[key[0]], at_column[key[1]]] = number
    return Grid(place, row_totals=None in at_column, column_totals=None in at_row)


def _price(keys: list[Key], values: Floats) -> Floats:
    """What it costs to withhold each cell: one, a little more for a large one, much more for a total."""
    prices = {(False, False): 1.0, (True, False): COLUMN_PRICE, (False, True): ROW_PRICE, (True, True): GRAND_PRICE}
    price = np.array([prices[row is None, column is None] for row, column in keys])
    return np.asarray(price + np.log1p(values) / 10, dtype=np.float64)
