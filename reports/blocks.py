"""The parts a page is made of: tables, figures and sections, and how answer tables become them."""

from __future__ import annotations

import base64
import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import polars as pl
from markupsafe import Markup

from reports.drawing import AnyChart, to_svg
from reports.tables import Shown, answer_csv, shown
from schemas.answers import ANSWERS
from schemas.contracts import polars_types
from schemas.page import Finding
from schemas.shared import ALL_CROPS, OTHER_CROPS, SHARED

CONTRACTS = ANSWERS | SHARED
"""Every table that a page can show."""
MOST_ROWS = 200
"""Rows of a table that a page shows; its CSV file holds the rest."""
MOST_ROWS_OF_CROPS = 600
"""The same for a table by crop, so that a reader who asks for one crop finds it."""
SHORT_TABLE = 16
"""Up to this many rows a folded table is printed."""
WIDE_CELL, WIDE_HEADING = 24, 16
"""A column with a text, or a heading, longer than this many characters is given room."""
MOST_CSV_BYTES = 60_000
"""A table up to this size can be saved from the page itself, wherever the page has been sent."""


@dataclass(frozen=True)
class TableBlock:
    """A table with its caption; ``total`` counts the rows it has, of which the first are shown."""

    caption: str
    shown: Shown
    source: str
    total: int
    folded: bool
    download: str | None
    crops: Sequence[str | None] = ()
    """The crop of each row shown; empty where rows are not of crops."""
    kind: str = "table"

    @property
    def printed(self) -> bool:
        """Whether paper gets it although a screen folds it away."""
        return self.total <= SHORT_TABLE

    @property
    def classes(self) -> list[str]:
        """The classes of each column: ``n`` for numbers, ``w`` for long texts, ``h`` for long headings."""
        return [self._class(at) for at in range(len(self.shown.headings))]

    def _class(self, at: int) -> str:
        longest = max((len(row[at]) for row in self.shown.rows), default=0)
        kind = "n" if self.shown.numeric[at] else "w" if longest > WIDE_CELL else ""
        return f"{kind} h".strip() if len(self.shown.headings[at]) > WIDE_HEADING else kind


@dataclass(frozen=True)
class FigureBlock:
    """A drawn chart with its title, what to see in it, and its data."""

    svg: Markup
    slug: str
    title: str
    text: str
    table: TableBlock
    kind: str = "figure"


@dataclass(frozen=True)
class TextBlock:
    """A sentence or two between tables and figures."""

    text: str
    kind: str = "text"


@dataclass(frozen=True)
class ListBlock:
    """Rows told as sentences, for what must be read whole on a narrow screen: what it is about, and the rest.

    Without a caption it belongs to the heading above it.
    """

    caption: str
    items: Sequence[tuple[str, str]]
    compact: bool = False
    crops: Sequence[str | None] = ()
    """The crop of each item; empty where items are not of crops, or the list is a choice of the first few."""
    kind: str = "list"


@dataclass(frozen=True)
class SaveBlock:
    """A file that can be saved from the page itself."""

    text: str
    file: str
    link: str
    kind: str = "save"


@dataclass(frozen=True)
class HeadingBlock:
    """A heading inside a section."""

    text: str
    kind: str = "heading"


Block = TableBlock | FigureBlock | ListBlock | SaveBlock | TextBlock | HeadingBlock


@dataclass(frozen=True)
class Section:
    """One part of the page: sentences first, then what they rest on."""

    anchor: str
    title: str
    findings: Sequence[Finding]
    blocks: Sequence[Block]


@dataclass(frozen=True)
class Drawn:
    """A page, and the charts that stand on it as SVG text by slug."""

    html: str
    charts: Mapping[str, str]


def charts_of(sections: Sequence[Section]) -> dict[str, str]:
    """SVG text of every chart of these sections, by slug."""
    return {
        block.slug: str(block.svg) for section in sections for block in section.blocks if isinstance(block, FigureBlock)
    }


def crop_numbers(sections: Sequence[Section]) -> dict[str, int]:
    """A number, from 1, for each crop that a reader of these sections can ask for; by name. Empty for a single crop.

    Rows are marked by number: what a log calls its crop never becomes a part of the page's rules.
    """
    named = {
        crop
        for section in sections
        for block in section.blocks
        for crop in _crops_in(block)
        if crop not in {None, ALL_CROPS, OTHER_CROPS}
    }
    return {crop: at for at, crop in enumerate(sorted(named), 1)} if len(named) > 1 else {}


def _crops_in(block: Block) -> Sequence[str | None]:
    table = block.table if isinstance(block, FigureBlock) else block
    return table.crops if isinstance(table, TableBlock | ListBlock) else ()


class Answers:
    """The answer tables by name; a missing one is empty, and a number that is not finite is null."""

    def __init__(self, frames: Mapping[str, pl.DataFrame]) -> None:
        self._frames = frames

    def __getitem__(self, name: str) -> pl.DataFrame:
        frame = self._frames.get(name)
        if frame is None:
            types = polars_types()
            return pl.DataFrame(schema={column.name: types[column.dtype] for column in CONTRACTS[name].columns})
        finite = pl.col(pl.Float64)
        return frame.with_columns(pl.when(finite.is_finite()).then(finite).name.keep())

    def has_any(self, *names: str) -> bool:
        """Whether one of these tables has a row."""
        return any(not self[name].is_empty() for name in names)


def data_link(content: bytes, media_type: str) -> str:
    """A link that holds a whole text file, so that it goes wherever the page goes."""
    return f"data:{media_type};charset=utf-8;base64,{base64.b64encode(content).decode()}"


def table_block(
    name: str,
    caption: str,
    frame: pl.DataFrame,
    columns: Sequence[str] | None = None,
    *,
    folded: bool = False,
) -> TableBlock:
    """A table of rows of one answer table.

    Args:
        name: the answer table.
        caption: what the rows are.
        frame: the rows.
        columns: names of the columns to show, in order; None shows all.
        folded: whether a screen shows the caption only, until it is opened.
    """
    crops = frame["crop"].head(MOST_ROWS_OF_CROPS).to_list() if "crop" in frame.columns else []
    view = shown(frame.head(MOST_ROWS_OF_CROPS if crops else MOST_ROWS), CONTRACTS[name], columns)
    saved = answer_csv(frame).encode()
    download = data_link(saved, "text/csv") if len(saved) <= MOST_CSV_BYTES else None
    return TableBlock(caption, view, name, frame.height, folded, download, crops)


def figure_block(chart: AnyChart | None, slug: str, title: str, text: str, table: TableBlock) -> list[Block]:
    """A chart over its table, or the table alone where there is nothing to draw, or nothing at all."""
    if table.total == 0:
        return []
    if chart is None:
        return [table]
    svg = Markup(to_svg(chart, f"Chart: {title}. {text} The figures are in the table below it.", slug))  # noqa: S704
    return [FigureBlock(svg, slug, title, text, table)]


def is_long(frame: pl.DataFrame) -> bool:
    """Whether a table of these rows is better folded away."""
    return frame.height > SHORT_TABLE


def in_season(frame: pl.DataFrame, column: str, first: dt.date, last: dt.date) -> pl.DataFrame:
    """Rows whose day lies in the season; all rows where none does."""
    inside = frame.filter(pl.col(column).is_between(first - dt.timedelta(days=6), last))
    return frame if inside.is_empty() else inside
