"""The cells to be read of each row: as typed, or put together from what the grower wrote in several places.

``raw`` keeps every cell as typed. Here a number and its unit from two columns become one text, ``6 x 500 ml`` is a
count and a size, ``Plum jam`` a crop and a way of keeping, and a row without a label gets one of its own. Each of
these is said once for the file.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping

import polars as pl

from pipeline.intake.cells import tidy
from pipeline.intake.dates import DITTO
from pipeline.intake.headers import Header
from pipeline.intake.meaning import belongs, joined_text
from pipeline.intake.products import method_in, product
from pipeline.intake.shape import PROBLEM_COLUMNS, no_problems
from schemas.fields import DATE, TEXT
from schemas.headings import OWN_LABELS
from schemas.logs import Log
from schemas.units import CONTAINER_WORDS

_CONTAINER = f"(?:{'|'.join(CONTAINER_WORDS)})"
_EACH = re.compile(
    rf"(\d+) ?(?:x|\u00d7|\*|{_CONTAINER}(?: of| x| at|,| \u00d7)?) ?"
    rf"\(?(\d[\d.,/]* ?[^\W\d_]+[^\d]*?)\)?(?: {_CONTAINER})*",
    re.IGNORECASE,
)
"""``6 x 500 ml``, ``4 jars of 350 g``: how many, and the size of each."""
NEVER_AS_ABOVE = frozenset({TEXT, DATE})
"""Kinds of column in which a ditto mark is a text of its own, or read elsewhere."""


class Composer:
    """Puts together the cells of one file's rows, some at a time."""

    def __init__(self, log: Log, header: Header, lookup: Mapping[str, str], told_method: str | None) -> None:
        """Set out what is known before the first row.

        Args:
            log: the log.
            header: the file's header.
            lookup: every spelling of a crop, in lower case, and the crop.
            told_method: the way of keeping that the name of the file tells.
        """
        self._log = log
        self._header = header
        self._lookup = lookup
        self._told_method = told_method
        self._labels: Counter[str] = Counter()
        self._crops: dict[str, str] = {}
        self._methods: Counter[str] = Counter()
        self._sizes = 0
        self._above = 0
        self._last: dict[str, str] = {}

    def gather(self, raw: pl.DataFrame, cells: pl.DataFrame) -> pl.DataFrame:
        """The rows with cells that stand in several columns put together; for dates to be settled in.

        Args:
            raw: rows in the columns of the log, as typed.
            cells: the same rows in the columns of the file, named by position.
        """
        header = self._header
        new: dict[str, list[str | None]] = {}
        for name, index in header.columns.items():
            if others := header.joined.get(index):
                at = [index, *(other for other, _ in others)]
                places = [(place, unit) for place, (_, unit) in enumerate(others, start=1)]
                rows = cells.select(pl.col(str(place)).fill_null("") for place in at).rows()
                new[name] = [joined_text(row, 0, places) or None for row in rows]
        for name, (index, unit) in header.counted.items():
            weights, counts = new.get(name) or raw[name].to_list(), cells[str(index)].to_list()
            pairs = zip(weights, counts, strict=True)
            new[name] = [
                weight if tidy(weight) or not tidy(count) else f"{tidy(count)} {unit}" for weight, count in pairs
            ]
        for name, first in header.shared.items():
            texts = new.get(first) or raw[first].to_list()
            unit = header.units.get(first, "")
            keeps = [text is None or belongs(first, text, unit) or not belongs(name, text, "") for text in texts]
            new[name] = [None if keep else text for text, keep in zip(texts, keeps, strict=True)]
            new[first] = [text if keep else None for text, keep in zip(texts, keeps, strict=True)]
        whole = raw.with_columns(pl.Series(name, texts, pl.String) for name, texts in new.items())
        return self._as_above(whole)

    def _as_above(self, rows: pl.DataFrame) -> pl.DataFrame:
        """Ditto marks, in any column but notes and dates (those are settled with their column)."""
        marked = [
            column.name
            for column in self._log.columns
            if column.kind not in NEVER_AS_ABOVE and rows[column.name].str.strip_chars().is_in(list(_MARKS)).any()
        ]
        for name in marked:
            texts: list[str | None] = []
            for text in rows[name].to_list():
                again = text is not None and tidy(text).casefold() in _MARKS
                self._above += again
                texts.append(self._last.get(name) if again else text)
                self._last[name] = texts[-1] or self._last.get(name, "")
            rows = rows.with_columns(pl.Series(name, texts, pl.String))
        return rows

    def finish(self, rows: pl.DataFrame) -> pl.DataFrame:
        """The rows, their dates settled, with what other cells of the row tell filled in."""
        if self._log.name in {"batches", "sowings"}:
            rows = self._labelled(rows)
        if self._log.name == "batches":
            rows = self._sized(self._kept(rows))
        return self._named(rows) if "crop" in rows.columns and self._log.name != "crops" else rows

    def _labelled(self, rows: pl.DataFrame) -> pl.DataFrame:
        """A label for each row of a log without labels: what it is, and its day."""
        label, day = OWN_LABELS[self._log.name]
        if label not in self._header.made:
            return rows
        labels: list[str | None] = []
        for what, when in rows.select("crop", day).iter_rows():
            text = " ".join(part for part in (tidy(what), tidy(when)) if part)
            self._labels[text.casefold()] += bool(text)
            again = self._labels[text.casefold()]
            labels.append((f"{text} ({again})" if again > 1 else text) or None)
        return rows.with_columns(pl.Series(label, labels, pl.String))

    def _kept(self, rows: pl.DataFrame) -> pl.DataFrame:
        """The way of keeping, where its cell is empty and the name of the thing or of the file tells it."""
        if not rows["method"].is_null().any():
            return rows
        methods: list[str | None] = []
        for typed, what in rows.select("method", "crop").iter_rows():
            told = None if tidy(typed) or not tidy(what) else method_in(what) or self._told_method
            self._methods[told or ""] += told is not None
            methods.append(told or typed)
        return rows.with_columns(pl.Series("method", methods, pl.String))

    def _sized(self, rows: pl.DataFrame) -> pl.DataFrame:
        """``6 x 500 ml`` in the column of containers, where no other cell tells their size."""
        if not rows["containers"].str.contains(r"\d.*\d").any():
            return rows
        counts: list[str | None] = []
        sizes: list[str | None] = []
        for count, size in rows.select("containers", "container_volume").iter_rows():
            match = _EACH.fullmatch(tidy(count)) if not tidy(size) else None
            self._sizes += match is not None
            counts.append(match[1] if match else count)
            sizes.append(match[2].strip() if match else size)
        return rows.with_columns(
            pl.Series("containers", counts, pl.String), pl.Series("container_volume", sizes, pl.String)
        )

    def _named(self, rows: pl.DataFrame) -> pl.DataFrame:
        """The crop in the name of a thing put by, where the name is no crop itself and holds one alone."""
        found: dict[str, str] = {}
        for text in rows["crop"].drop_nulls().unique().to_list():
            plain = tidy(text).casefold()
            if plain and plain not in self._lookup:
                crop = product(plain, self._lookup).crop if method_in(plain) else None
                if crop:
                    found[text] = crop
        if not found:
            return rows
        self._crops |= found
        return rows.with_columns(pl.col("crop").replace(found))

    def notes(self, file: str, line: int) -> pl.DataFrame:
        """One note for each thing that was put together."""
        said: list[tuple[str, str, str]] = []
        label = OWN_LABELS.get(self._log.name, ("", ""))[0]
        if self._labels and label in self._header.made:
            example = next(iter(self._labels))
            message = (
                f"no column of labels, so each row gets one of its own, such as {example!r}: "
                f"add a column {label} to give your own"
            )
            said.append((label, "own_label", message))
        if self._crops:
            example, crop = next(iter(sorted(self._crops.items())))
            more = f", and {len(self._crops) - 1} more names so" if len(self._crops) > 1 else ""
            said.append(("crop", "name_of_product", f"{example!r} read as {crop}{more}"))
        told = {method: rows for method, rows in self._methods.items() if method and rows}
        if told:
            counted = ", ".join(f"{method} ({rows})" for method, rows in sorted(told.items()))
            said.append(("method", "method_told", f"taken from what it is called, or from the file's name: {counted}"))
        if self._sizes:
            said.append(
                ("containers", "count_and_size", f"{self._sizes} cells read as a count and the size of each container")
            )
        if self._above:
            said.append(("", "as_above", f"{self._above} marks read as the cell above them"))
        rows = [(file, line, column, None, rule, "note", message) for column, rule, message in said]
        return pl.DataFrame(rows, schema=PROBLEM_COLUMNS, orient="row") if rows else no_problems()


_MARKS = DITTO - {"same day", "do", "do.", "id."}
