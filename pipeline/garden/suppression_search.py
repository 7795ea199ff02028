"""Which further cells of a table to withhold so that the sensitive ones cannot be worked out from its totals.

A table is a list of cells and of lines; on each line one cell (a total) is the sum of the others. A reader knows
every published cell, that no cell is negative, and the lines. What is left to a withheld cell is its feasibility
interval: the least and the greatest value that agree with all of that. (Fischetti and Salazar 2000, "Models and
Algorithms for Optimizing Cell Suppression in Tabular Data with Linear Constraints", Journal of the American
Statistical Association 95:916, abstract read; "Handbook on Statistical Disclosure Control", 2nd edition, section
4.2, read in its published source.)

The search is the incremental heuristic of one linear programme per cell and direction: move the cell by what it
must be free to move, keep every line in balance, and pay for each published cell that moves along. Cells that move
are withheld as well. The handbook's section 4.4 names exact methods; ours may withhold a few cells more than
needed, never fewer.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

LEAST_MOVE = 1e-6
"""A share of the wanted move below which a cell counts as not moving: above the solver's own tolerance."""
COLUMN_PRICE, ROW_PRICE, GRAND_PRICE = 3.0, 30.0, 100.0
"""How much dearer the total of a column, of a row, and of everything is to withhold than a cell inside (judgement:
rows are what a table is about, such as crops; its columns only divide them)."""


@dataclass(frozen=True)
class Rule:
    """When a cell is sensitive, and how well a withheld cell is protected.

    The handbook (section 4.2) names 3 as the common least number of contributors and recommends the p % rule
    beside it. It also advises to keep p secret; a program whose text is open cannot, so the protection below is
    wider than the p % rule asks for.
    """

    smallest_group: int = 3
    """Fewest plots behind a cell that is shown."""
    dominance_pct: float = 10.0
    """The second largest plot must not be able to tell the largest to within this many percent."""
    sensitive_share: float = 0.25
    """A sensitive cell stays possible from this share below to this share above its value (judgement)."""
    other_share: float = 0.1
    """A cell withheld to protect others stays possible over more than this share of its value (judgement)."""


@dataclass(frozen=True)
class Grid:
    """Where cells stand; a total closes its line, and a line without one is open."""

    place: NDArray[np.int64]
    """Number of the cell in each row and column, -1 where there is none."""
    row_totals: bool
    """Whether the last column holds totals of the rows."""
    column_totals: bool
    """Whether the last row holds totals of columns."""

    @property
    def sign(self) -> Floats:
        """Rows x columns: -1 for totals of one line, so that every closed line comes to 0."""
        sign = np.ones(self.place.shape)
        if self.row_totals:
            sign[:, -1] *= -1
        if self.column_totals:
            sign[-1] *= -1
        return sign

    @property
    def closed_rows(self) -> Flags:
        """Which rows have a total over some cell."""
        there = self.place >= 0
        return np.asarray(self.row_totals & there[:, -1] & there[:, :-1].any(axis=1), dtype=np.bool_)

    @property
    def closed_columns(self) -> Flags:
        """Which columns have a total over some cell."""
        there = self.place >= 0
        return np.asarray(self.column_totals & there[-1] & there[:-1].any(axis=0), dtype=np.bool_)

    def lines(self) -> Floats:
        """Closed lines x cells: -1 for the parts, 1 for their total, 0 for others."""
        walks = [*self.place[self.closed_rows], *self.place.T[self.closed_columns]]
        out = np.zeros((len(walks), int(self.place.max(initial=-1)) + 1))
        for line, walk in zip(out, walks, strict=True):
            line[walk[:-1][walk[:-1] >= 0]] = -1.0
            line[walk[-1]] = 1.0
        return out


@dataclass(frozen=True)
class Table:
    """Cells with something in them."""

    by_plot: Floats
    """Contributions, plots x cells; none is negative."""
    grid: Grid
    price: Floats
    """What it costs to withhold each cell."""

    @cached_property
    def value(self) -> Floats:
        """Sum of the contributions to each cell."""
        return np.asarray(self.by_plot.sum(axis=0), dtype=np.float64)

    @cached_property
    def lines(self) -> Floats:
        """The lines of the grid."""
        return self.grid.lines()


def is_unsafe(by_plot: Floats, rule: Rule) -> tuple[Flags, Flags]:
    """Which cells too few plots stand behind, and which are all but one plot's own.

    The p % rule: a cell is unsafe when its value less its two largest contributions is less than p percent of
    the largest, since the second largest can then tell the largest too closely (handbook, section 4.2).

    Args:
        by_plot: contributions, plots x cells; a cell without any is safe.
        rule: least number of plots and p.

    Returns:
        Two arrays of flags, one element per cell; no cell is in both.
    """
    plots = np.count_nonzero(by_plot, axis=0)
    few = (plots > 0) & (plots < rule.smallest_group)
    padded = np.vstack([by_plot, np.zeros((2, by_plot.shape[1]))])
    second, first = np.sort(padded, axis=0)[-2:]
    rest = padded.sum(axis=0) - first - second
    dominated = ~few & (plots > 0) & (rest < rule.dominance_pct / 100 * first * (1 - 1e-12))
    return few, dominated


def withheld_cells(table: Table, rule: Rule) -> tuple[Flags, Flags, Flags]:
    """Cells of few plots, cells of one plot nearly alone, and cells to withhold so that those stay hidden.

    What holds afterwards:

    * nobody outside can narrow a sensitive cell to less than ``sensitive_share`` either side, nor any other
      withheld cell to ``other_share`` of its value or to a point;
    * no plot, knowing what it gave itself and where it was alone, can narrow what the others gave to a
      sensitive cell to less than ``sensitive_share`` of it, unless those are enough plots to be told together;
    * what a line tells of its withheld cells together is safe by the rule as well (two cells of one plot
      would else give that plot's sum away: Daalmans and de Waal 2010, "An Improved Formulation of the
      Disclosure Auditing Problem for Secondary Cell Suppression", abstract read).

    Plots that put their figures together are not provided against.
    """
    few, dominated = is_unsafe(table.by_plot, rule)
    sensitive = few | dominated
    hidden = sensitive.copy()
    done: set[int] = set()
    while True:
        before = hidden.sum()
        _close_lines(table, hidden, rule)
        for cell in _largest_first(table, hidden):
            if cell not in done:
                done.add(cell)
                _protect(table, hidden, cell, rule, sensitive=bool(sensitive[cell]))
        if hidden.sum() == before:
            return few, dominated, hidden & ~sensitive


def _largest_first(table: Table, hidden: Flags) -> list[int]:
    cells = np.flatnonzero(hidden)
    return [int(cell) for cell in cells[np.argsort(-table.value[cells], kind="stable")]]


def _close_lines(table: Table, hidden: Flags, rule: Rule) -> None:
    """Withhold more on lines whose withheld cells are together unsafe; changes ``hidden``."""
    waiting = list(range(len(table.lines)))
    while waiting:
        line = table.lines[waiting[-1]]
        parts, total = np.flatnonzero(line < 0), int(np.argmax(line))
        within = parts[hidden[parts]]
        if hidden[total] or not within.size or not _together_unsafe(table.by_plot[:, within], rule):
            waiting.pop()
            continue
        hidden[_cheapest_mend(table, within, parts[~hidden[parts]], total, rule)] = True
        waiting = list(range(len(table.lines)))


def _together_unsafe(by_plot: Floats, rule: Rule) -> bool:
    few, dominated = is_unsafe(by_plot.sum(axis=1, keepdims=True), rule)
    return bool(few[0] or dominated[0])


def _cheapest_mend(table: Table, within: NDArray[np.int64], free: NDArray[np.int64], total: int, rule: Rule) -> int:
    """The cheapest cell that makes a line's withheld cells safe together, else the cheapest; the total at last."""
    free = free[np.argsort(table.price[free], kind="stable")]
    for cell in free:
        if not _together_unsafe(table.by_plot[:, [*within, cell]], rule):
            return int(cell)
    return int(free[0]) if free.size else total


def _protect(table: Table, hidden: Flags, cell: int, rule: Rule, *, sensitive: bool) -> None:
    """Withhold what moves along when one cell moves as far as it must be free to; changes ``hidden``."""
    value = table.value
    if not sensitive:
        _withhold(hidden, _moved(table, hidden, cell, rule.other_share * value[cell], value))
        return
    move = rule.sensitive_share * value[cell]
    _withhold(hidden, _moved(table, hidden, cell, move, value))
    _withhold(hidden, _moved(table, hidden, cell, move, value, down=True))
    # One reader who everywhere knew the largest contribution would know at least as much as any plot does.
    least = value - table.by_plot.max(axis=0, initial=0.0)
    moved = _moved(table, hidden, cell, move, least)
    if moved is not None and not (moved & ~hidden).any():
        return
    for plot, own in enumerate(table.by_plot):
        if _would_tell(np.delete(table.by_plot[:, cell], plot), rule):
            rest = np.maximum(value - own, 0.0)
            _withhold(hidden, _moved(table, hidden, cell, rule.sensitive_share * rest[cell], rest))


def _would_tell(others: Floats, rule: Rule) -> bool:
    """Whether the sum of what the other plots gave to a cell says too much of one of them.

    A plot learns such a sum from every cell that is shown, by taking its own figure away; so it may where one
    plot less than the smallest group is left, none of them nearly alone.
    """
    plots, most = np.count_nonzero(others), others.max(initial=0.0)
    few = 0 < plots < rule.smallest_group - 1
    return bool(few or others.sum() - most < rule.dominance_pct / 100 * most)


def _withhold(hidden: Flags, moved: Flags | None) -> None:
    if moved is not None:
        hidden |= moved


def _moved(table: Table, hidden: Flags, cell: int, move: float, room: Floats, *, down: bool = False) -> Flags | None:
    """The cheapest set of cells that can move so that ``cell`` does and every line stays in balance.

    Args:
        table: cells and lines.
        hidden: cells that may move at no cost.
        cell: the cell that is to move.
        move: how far, above 0.
        room: how far each cell may sink; one without room is known and does not move, ``cell`` excepted.
        down: whether the cell sinks; it rises otherwise.

    Returns:
        The cells that move; None where a total over the cell has no room, so that nothing can.
    """
    if _moves_alone(table.grid, hidden, cell, move, room, down=down):
        return np.zeros(len(room), dtype=np.bool_)
    from scipy.optimize import linprog

    count = len(room)
    price = np.where(hidden, 0.0, table.price)
    falls = room / move
    fixed = falls <= LEAST_MOVE
    highest = np.where(fixed, 0.0, np.inf)
    rise, sink = np.stack([np.zeros(count), highest], axis=1), np.stack([np.zeros(count), falls * ~fixed], axis=1)
    rise[cell], sink[cell] = ((0.0, 0.0), (1.0, 1.0)) if down else ((1.0, 1.0), (0.0, 0.0))
    solved = linprog(
        np.concatenate([price, price]),
        A_eq=np.hstack([table.lines, -table.lines]),
        b_eq=np.zeros(len(table.lines)),
        bounds=np.vstack([rise, sink]),
        method="highs",
    )
    if solved.status != 0:
        return None
    return np.asarray(solved.x[:count] + solved.x[count:] > LEAST_MOVE, dtype=np.bool_)


def _moves_alone(grid: Grid, hidden: Flags, cell: int, move: float, room: Floats, *, down: bool) -> bool:
    """Whether the cell can move with one more withheld cell on its line, or three on the corners of a rectangle.

    This is the usual case, and spares a linear programme.
    """
    place, there = grid.place, grid.place >= 0
    may_rise = there & hidden[place] & (room[place] > LEAST_MOVE * move)
    may_sink = there & hidden[place] & (room[place] >= move)
    # With the sign of its cell a rise of a total counts as a fall, so that the corners simply alternate.
    row, column = (int(at[0]) for at in np.nonzero(place == cell))
    goes_up = (grid.sign[row, column] > 0) != down
    along = np.where(grid.sign > 0, may_rise, may_sink)
    against = np.where(grid.sign > 0, may_sink, may_rise)
    same, other = (along, against) if goes_up else (against, along)
    in_row, in_column = other[row].copy(), other[:, column].copy()
    in_row[column] = in_column[row] = False
    rows, columns = grid.closed_rows, grid.closed_columns
    along_row = not rows[row] or (in_row & ~columns).any()
    along_column = not columns[column] or (in_column & ~rows).any()
    if not (rows[row] and columns[column]):
        return bool(along_row and along_column)
    return bool((same & in_column[:, None] & in_row[None, :]).any())


def bounds_of(lines: Floats, known: Floats, least: Floats, most: Floats, wanted: Iterable[int]) -> Floats:
    """Feasibility intervals: the least and greatest value of cells that agree with all that is known.

    Args:
        lines: lines x cells, as in ``Table``.
        known: value of each published cell; NaN where withheld.
        least: least possible value of each cell.
        most: greatest possible value of each cell; may be infinite.
        wanted: cells to bound.

    Returns:
        wanted x 2: low and high; infinite where nothing bounds it.
    """
    open_ = np.isnan(known)
    low, high = np.where(open_, least, known), np.where(open_, most, known)
    rows = [
        [_end(lines, low, high, cell, sign) for sign in (1.0, -1.0)]  # least, then greatest
        for cell in wanted
    ]
    return np.array(rows, dtype=np.float64).reshape(-1, 2)


def _end(lines: Floats, low: Floats, high: Floats, cell: int, sign: float) -> float:
    """The least value of one cell (``sign`` 1) or its greatest (-1)."""
    from scipy.optimize import linprog

    goal = np.zeros(len(low))
    goal[cell] = sign
    bounds = np.stack([low, high], axis=1)
    solved = linprog(goal, A_eq=lines, b_eq=np.zeros(len(lines)), bounds=bounds, method="highs")
    # The true table agrees with all that is known, so only a cell without bounds has no solution.
    return float(solved.x[cell]) if solved.status == 0 else -sign * np.inf
