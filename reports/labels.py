"""Batch labels for print: sheets of A4 or Letter, ten labels each, with a QR code of the batch."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources
from typing import Any

import polars as pl
import segno
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from reports.words import day, full_day, kilograms, plural
from schemas.words.ways import WAYS


@dataclass(frozen=True)
class Sheet:
    """Paper and the grid of labels on it, in mm; the grid stands in the middle."""

    name: str
    page: str
    """Its name in CSS."""
    width: float
    height: float
    label_width: float
    label_height: float
    columns: int = 2
    rows: int = 5

    @property
    def per_page(self) -> int:
        """Labels on one sheet."""
        return self.columns * self.rows


SHEETS: dict[str, Sheet] = {
    "a4": Sheet("A4", "A4", 210.0, 297.0, 97.0, 56.0),
    "letter": Sheet("Letter", "letter", 215.9, 279.4, 99.0, 52.4),
}
"""A plain grid with cut lines and 8 mm of margin, which any printer can reach."""

LONGEST_CODE = 300
"""A longer batch id would make a code too fine to read."""


Line = tuple[str, str, str]


@dataclass(frozen=True)
class Label:
    """The text of one label, line by line."""

    batch: str
    code: str
    """The QR code as SVG."""
    what: str
    made: str
    lines: tuple[Line, ...]
    """What a line is about, what it says, and what is added small."""
    limits: tuple[str, ...]
    cautions: str
    source: str
    copy: str = ""
    """Which container of how many, where there are several."""

    @property
    def dense(self) -> bool:
        """Whether there is so much to say that it is set smaller."""
        return len(self.lines) + 3 * bool(self.limits) > 6


def label_sheet(
    batches: pl.DataFrame,
    *,
    garden_name: str = "",
    sheet: str = "a4",
    skip: int = 0,
    per_container: bool = True,
) -> str:
    """Labels as one HTML page to print at full size.

    Args:
        batches: one row per batch: ``batch_id``, ``crop``, ``method``, ``made_on``, ``containers``, ``salt_pct``,
            ``salt_basis``, ``produce_kg``, ``sweetener``, ``sweetener_kg``, ``ph``, ``ready_from``, ``ready_to``,
            ``ready_source``, ``look_on``, ``look_every_days``, ``best_by``, ``quality_months``, ``warnings`` (list
            of text) and ``cautions`` (count).
        garden_name: shown small on every label; left out if empty.
        sheet: a name in ``SHEETS``.
        skip: places at the start of the first sheet that are used up already.
        per_container: one label for each container; else one for each batch.

    Returns:
        A page that loads nothing and runs nothing. Every text from a log is escaped. The code of a label is the
        batch id and nothing else.

    Raises:
        ValueError: an unknown sheet, or more places to skip than a sheet has.
    """
    paper = SHEETS.get(sheet)
    if paper is None:
        message = f"sheet {sheet!r}: one of {', '.join(SHEETS)}."
        raise ValueError(message)
    if not 0 <= skip < paper.per_page:
        message = f"skip {skip}: a sheet has {paper.per_page} places, so 0 to {paper.per_page - 1} can be skipped."
        raise ValueError(message)
    filled = list(_labels(batches, per_container=per_container))
    labels = [*[None] * skip, *filled] if filled else []
    css = resources.files("reports").joinpath("templates/labels.css").read_text("utf-8")
    return (
        _environment()
        .get_template("labels.html.j2")
        .render(
            css=Markup(css),  # noqa: S704 -- our own file
            paper=paper,
            pages=[labels[at : at + paper.per_page] for at in range(0, len(labels), paper.per_page)],
            garden=garden_name,
        )
    )


@cache
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("reports"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _labels(batches: pl.DataFrame, *, per_container: bool) -> Iterator[Label]:
    for row in batches.iter_rows(named=True):
        label = _label(row)
        copies = row["containers"] if per_container else 1
        for number in range(1, copies + 1):
            yield replace(label, copy=f"{number} of {copies}") if copies > 1 else label


def _label(row: dict[str, Any]) -> Label:
    lines = (_salt(row), _sweetener(row), _ready(row), _look(row), _best_by(row))
    return Label(
        batch=row["batch_id"],
        code=_code(row["batch_id"]),
        what=_what(row),
        made=full_day(row["made_on"]),
        lines=tuple(line for line in lines if line is not None),
        limits=tuple(row["warnings"]),
        cautions=f"{plural(row['cautions'], 'caution')} in the review" if row["cautions"] else "",
        source=row["ready_source"] or "",
    )


def _code(batch_id: str) -> str:
    """The QR code of a batch id as SVG that fills its box; nothing for an id too long to be read back."""
    if len(batch_id.encode()) > LONGEST_CODE:
        return ""
    code = segno.make_qr(batch_id, error="m")
    svg: str = code.svg_inline(border=4, omitsize=True, light="white")
    return Markup(svg)  # noqa: S704 -- squares only; the id is in them as dots, not as text


def _what(row: dict[str, Any]) -> str:
    name = row["crop"][:1].upper() + row["crop"][1:]
    return f"{name} jam" if row["method"] == "jam" else f"{name}, {WAYS[row['method']].on_label}"


def _salt(row: dict[str, Any]) -> Line | None:
    """Salt, and for a ferment its pH or the space to write it."""
    reading = ""
    if row["method"] == "ferment":
        reading = "____" if row["ph"] is None else f"{row['ph']:g}"
    if row["salt_pct"]:
        return "salt", f"{row['salt_pct']:.3g} % {row['salt_basis']}", f"pH {reading}" if reading else ""
    return ("pH", reading, "") if reading else None


def _sweetener(row: dict[str, Any]) -> Line | None:
    if row["sweetener"] in {None, "none"}:
        return None
    name = "sweetener" if row["sweetener"] == "other" else row["sweetener"]
    if not row["sweetener_kg"]:
        return "with", name, ""
    amount = kilograms(row["sweetener_kg"])
    return name, f"{amount} for {kilograms(row['produce_kg'])}" if row["produce_kg"] else amount, ""


def _ready(row: dict[str, Any]) -> Line | None:
    first, last = row["ready_from"], row["ready_to"]
    if first is None:
        return None
    if first == last:
        return "ready", full_day(first), ""
    start = day(first) if first.year == last.year else full_day(first)
    return "ready", f"{start} to {full_day(last)}", ""


def _look(row: dict[str, Any]) -> Line | None:
    if row["look_on"] is None:
        return None
    return "look", full_day(row["look_on"]), f"every {row['look_every_days']} days" if row["look_every_days"] else ""


def _best_by(row: dict[str, Any]) -> Line | None:
    if row["best_by"] is None:
        return None
    months = row["quality_months"]
    return "best by", full_day(row["best_by"]), "1 month" if months == 1 else f"{months:g} months"
