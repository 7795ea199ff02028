"""The header of a log as typed -> which column means what, and in which unit."""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass

from pipeline.cells import tidy
from schemas.fields import AMOUNT, MASS, TEMPERATURE, VOLUME, Field
from schemas.logs import Log
from schemas.units import BY_SPELLING


@dataclass(frozen=True)
class Header:
    """A header row, mapped: for each log column the index of its cell and the unit that the header names."""

    cells: tuple[str, ...]
    delimiter: str
    line: int
    last_line: int
    above: int
    columns: dict[str, int]
    units: dict[str, str]
    extra: dict[str, int]
    """Columns that the log does not know, kept as typed."""
    repeated: tuple[str, ...]
    """Names of columns that stand twice; the first counts, the rest are kept as extra."""
    missing: tuple[str, ...]

    @property
    def matched(self) -> int:
        """How many columns are known."""
        return len(self.columns)


def find_header(log: Log, rows: list[tuple[int, tuple[str, ...]]], delimiter: str) -> Header | None:
    """The row that names the most columns of the log, if it names at least two (or all that it has)."""
    best: Header | None = None
    for index, (line, cells) in enumerate(rows):
        after = rows[index + 1][0] - 1 if index + 1 < len(rows) else line + cells_newlines(cells)
        header = _map(log, cells, delimiter, line, min(after, line + cells_newlines(cells)), index)
        enough = header.matched >= 2 or (header.matched == 1 == len(log.columns))
        if enough and (best is None or header.matched > best.matched):
            best = header
    return best


def cells_newlines(cells: tuple[str, ...]) -> int:
    """Line breaks inside the cells of one record."""
    return sum(cell.replace("\r\n", "\n").replace("\r", "\n").count("\n") for cell in cells)


def _map(log: Log, cells: tuple[str, ...], delimiter: str, line: int, last_line: int, above: int) -> Header:
    names = _spellings(log)
    columns: dict[str, int] = {}
    units: dict[str, str] = {}
    extra: dict[str, int] = {}
    repeated: list[str] = []
    for index, cell in enumerate(cells):
        name, unit = _meaning(log, names, cell)
        if name is None or name in columns:
            if name is not None:
                repeated.append(cell)
            _add_extra(extra, cell.strip() or f"column {index + 1}", index)
            continue
        columns[name] = index
        if unit:
            units[name] = unit
    missing = tuple(field.name for field in log.columns if field.required and field.name not in columns)
    return Header(cells, delimiter, line, last_line, above, columns, units, extra, tuple(repeated), missing)


def _add_extra(extra: dict[str, int], name: str, index: int) -> None:
    unique, ordinal = name, 2
    while unique in extra:
        unique, ordinal = f"{name} ({ordinal})", ordinal + 1
    extra[unique] = index


def plain_name(cell: str) -> str:
    """A header cell in lower case, with underscores for spaces and hyphens."""
    return re.sub(r"[\s\-_.]+", "_", tidy(cell).casefold()).strip("_:*")


def _spellings(log: Log) -> dict[str, str]:
    names: dict[str, str] = {}
    for field in reversed(log.columns):
        for spelling in (*field.aliases, field.core_name, field.name):
            names[spelling] = field.name
    return names


def _meaning(log: Log, names: dict[str, str], cell: str) -> tuple[str | None, str | None]:
    """The log column that a header cell means, and the unit it names."""
    plain = plain_name(re.sub(r"[\[({].*?[\])}]", " ", cell))
    bracket = re.search(r"[\[({](.*?)[\])}]", cell)
    unit = tidy(bracket[1]).casefold() if bracket else None
    if unit in BY_SPELLING and plain in names:
        return names[plain], unit
    if plain in names:
        name = names[plain]
        suffix = plain.rsplit("_", 1)[-1]
        field = _field(log, name)
        measured = field is not None and field.kind in {MASS, VOLUME, TEMPERATURE}
        return name, suffix if measured and plain != name and suffix in BY_SPELLING else None
    stem, _, suffix = plain.rpartition("_")
    field = _field(log, names.get(stem, ""))
    if suffix in BY_SPELLING and field is not None and field.kind in {MASS, VOLUME, AMOUNT}:
        return field.name, suffix
    return None, None


def _field(log: Log, name: str) -> Field | None:
    return next((field for field in log.columns if field.name == name), None)


def nearest_column(log: Log, cell: str) -> str:
    """A hint naming the column that an unknown header cell is nearest to, or an empty text."""
    known = [field.name for field in log.columns]
    near = difflib.get_close_matches(plain_name(cell), known, n=1, cutoff=0.75)
    return f"; did you mean {near[0]!r}?" if near else ""
