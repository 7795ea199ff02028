"""Tables that fit a terminal: no word is broken; columns that find no room, and rows beyond the first, are counted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from rich.cells import cell_len, split_graphemes

from reports.tables import Shown

GAP = 2
"""Spaces between two columns."""
NUMBER_LINES, CELL_LINES, HEADING_LINES, TEXT_LINES = 1, 2, 4, 4
"""Lines that a number, another cell, a heading and a cell of running text may take before its column is made wider."""
RUNNING_TEXT = 40
"""From this length on a cell is running text."""
MOST_ROWS = 20


@dataclass(frozen=True)
class Fitted:
    """What of a table is shown, each cell as lines that fit its column, and what was left out."""

    headings: tuple[tuple[str, ...], ...]
    numeric: tuple[bool, ...]
    rows: tuple[tuple[tuple[str, ...], ...], ...]
    widths: tuple[int, ...]
    left_out: tuple[str, ...]
    """Headings of the columns that found no room."""
    rows_of: int
    """How many rows there are in all."""


def wrap(text: str, width: int) -> tuple[str, ...]:
    """Lines of at most ``width`` cells, broken at spaces only; a no-break space holds; a longer word is cut."""
    lines: list[str] = []
    line = ""
    for word in text.split(" "):
        both = f"{line} {word}" if line else word
        if cell_len(both) <= width:
            line = both
            continue
        if line:
            lines.append(line)
        *whole, line = _pieces(word, width)
        lines += whole
    return (*lines, line)


def fold_lines(text: str, width: int) -> str:
    """Each line of a text folded at its words, what follows standing below its start and a little to the right."""
    folded = []
    for line in text.splitlines():
        start = " " * (len(line) - len(line.lstrip(" ")))
        first, *rest = wrap(line.lstrip(" "), max(width - len(start) - GAP, 1))
        folded += [start + first, *(f"{start}{' ' * GAP}{more}" for more in rest)]
    return "\n".join(folded)


def _pieces(word: str, width: int) -> list[str]:
    """A word as it is where it fits, else cut where it must be."""
    pieces = [""]
    for start, end, size in split_graphemes(word)[0]:
        if pieces[-1] and cell_len(pieces[-1]) + size > width:
            pieces.append("")
        pieces[-1] += word[start:end]
    return pieces


def fit(view: Shown, width: int, most_rows: int | None = MOST_ROWS, most_columns: int | None = None) -> Fitted:
    """A table for a terminal.

    Args:
        view: the table; its columns in order of weight.
        width: cells in a line; the first column is shown even where it finds no room.
        most_rows: rows shown; None for all.
        most_columns: columns that may be shown, the first of them; None for all.
    """
    some = replace(view, rows=view.rows[:most_rows])
    wanted = [_comfortable(some, at, width) for at in range(len(some.headings))[:most_columns]]
    chosen: list[int] = []
    room = width
    for at, need in enumerate(wanted):
        if not chosen or need + GAP <= room:
            chosen.append(at)
            room -= need + (GAP if len(chosen) > 1 else 0)
    widths = _widened(some, chosen, wanted, room)
    return Fitted(
        tuple(wrap(some.headings[at], widths[at]) for at in chosen),
        tuple(some.numeric[at] for at in chosen),
        tuple(tuple(wrap(row[at], widths[at]) for at in chosen) for row in some.rows),
        tuple(widths[at] for at in chosen),
        tuple(heading for at, heading in enumerate(some.headings) if at not in chosen),
        len(view.rows),
    )


def unfolded(view: Shown) -> Fitted:
    """The whole table, however wide and long."""
    widths = [max(map(cell_len, _texts(view, at))) for at in range(len(view.headings))]
    return fit(view, sum(widths) + GAP * len(widths), None)


def _texts(view: Shown, at: int) -> list[str]:
    return [view.headings[at], *(row[at] for row in view.rows)]


def _comfortable(view: Shown, at: int, most: int) -> int:
    """The least width that breaks no word and makes no cell tall; the terminal's, where that is not enough."""
    words = max(cell_len(word) for text in _texts(view, at) for word in text.split(" "))
    width = min(words, most)
    while width < most and not _calm(view, at, width):
        width += 1
    return width


def _calm(view: Shown, at: int, width: int) -> bool:
    cells = (row[at] for row in view.rows)
    usual = NUMBER_LINES if view.numeric[at] else CELL_LINES
    return len(wrap(view.headings[at], width)) <= HEADING_LINES and all(
        len(wrap(cell, width)) <= (TEXT_LINES if cell_len(cell) > RUNNING_TEXT else usual) for cell in cells
    )


def _widened(view: Shown, chosen: Sequence[int], wanted: Sequence[int], room: int) -> dict[int, int]:
    """Widths of the chosen columns, what room is left going first to cells that would fold."""
    widths = {at: wanted[at] for at in chosen}
    for cells_only in (True, False):
        for at in chosen:
            texts = [row[at] for row in view.rows] if cells_only else _texts(view, at)
            more = min(max(map(cell_len, texts), default=0) - widths[at], room)
            if more > 0:
                widths[at] += more
                room -= more
    return widths


def lines_of(table: Fitted) -> list[str]:
    """The table as lines, a rule below its headings; cells of a number stand to the right."""
    out = _lines(table.headings, table, bottom=True)
    out.append("  ".join("\u2500" * width for width in table.widths))
    tall = any(len(cell) > 1 for row in table.rows for cell in row)
    for at, row in enumerate(table.rows):
        if tall and at:
            out.append("")
        out += _lines(row, table)
    return out


def _lines(cells: Sequence[Sequence[str]], table: Fitted, *, bottom: bool = False) -> list[str]:
    height = max(len(cell) for cell in cells)
    padded = [
        [""] * (height - len(cell)) + list(cell) if bottom else [*cell, *[""] * (height - len(cell))] for cell in cells
    ]
    return [
        (" " * GAP)
        .join(
            _aligned(cell[line], width, right=numeric)
            for cell, width, numeric in zip(padded, table.widths, table.numeric, strict=True)
        )
        .rstrip()
        for line in range(height)
    ]


def _aligned(text: str, width: int, *, right: bool) -> str:
    space = " " * max(width - cell_len(text), 0)
    return space + text if right else text + space


def what_is_missing(table: Fitted) -> str:
    """What is not shown and how to see it; empty where all is shown."""
    shown = len(table.rows)
    rows = f"{shown} of {table.rows_of:,} rows" if shown < table.rows_of else ""
    number = len(table.left_out)
    columns = f"{number} more {'column' if number == 1 else 'columns'}" if number else ""
    found = "; ".join(part for part in (rows, columns) if part)
    return f"{found}: --wide shows all, --json prints all." if found else ""
