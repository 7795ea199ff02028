"""Batch labels for print: sheets of A4 or Letter, ten labels each, with a QR code of the batch."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from importlib import resources
from typing import Any

import polars as pl
import segno
from markupsafe import Markup

from reports.label_text import lines_of, wrapped
from reports.rendering import environment
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


POINTS_PER_MM = 72 / 25.4
SIDES_MM, PADDING_MM = 6.0, 4.0
MARK_MM = 27.0 + 2.5 + SIDES_MM
"""The padding of a label in width and height, and what that and the code take of its width; as in labels.css."""

ROOMY, DENSE = 12.0, 10.1
"""Size of a line in points where there is room for it, and where there is not."""

TITLE_SIZES = (17.0, 14.0, 12.5)
DENSE_TITLE, LEAST_TITLE, SMALL = 10.5, 9.0, 8.5
LEADING = 1.17
"""Height of a line over the size of its letters; never less than in labels.css."""

THIN = 0.9
"""How wide text is that is not bold, over text that is."""

MORE = "More on the next label."
DO_NOT_EAT = "Do not eat; see the review."

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
    alert: str
    """Which limits the batch breaks, and what to do."""
    limits: str
    cautions: str
    source: str
    copy: str = ""
    """Which container of how many, where there are several."""
    title_pt: float = TITLE_SIZES[0]
    dense: bool = False
    """Whether there is so much to say that it is set smaller."""
    more: tuple[str, ...] = ()
    """What found no room: the text of each label that goes beside this one."""


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
            ``ready_source``, ``look_on``, ``look_every_days``, ``best_by``, ``quality_months``, ``broken`` and
            ``warnings`` (lists of text, worst first; ``broken`` may be left out) and ``cautions`` (count).
        garden_name: shown small on every label; left out if empty.
        sheet: a name in ``SHEETS``.
        skip: places at the start of the first sheet that are used up already.
        per_container: one label for each container; else one for each batch.

    What a label has no room for stands on a second one in the next place of the sheet, never cut off.

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
    filled = list(_labels(batches, paper, garden_name, per_container=per_container))
    places: list[tuple[Label | None, str]] = [(None, "")] * skip if filled else []
    for label in filled:
        places += [(label, ""), *((label, rest) for rest in label.more)]
    css = resources.files("reports").joinpath("templates/labels.css").read_text("utf-8")
    return (
        environment()
        .get_template("labels.html.j2")
        .render(
            css=Markup(css),  # noqa: S704 -- our own file
            paper=paper,
            pages=[places[at : at + paper.per_page] for at in range(0, len(places), paper.per_page)],
            garden=garden_name,
            small_print=small_print,
        )
    )


def _labels(batches: pl.DataFrame, paper: Sheet, garden: str, *, per_container: bool) -> Iterator[Label]:
    for row in batches.iter_rows(named=True):
        label = _fitted(_label(row), paper, garden)
        copies = row["containers"] if per_container else 1
        for number in range(1, copies + 1):
            yield replace(label, copy=f"{number} of {copies}") if copies > 1 else label


def _label(row: dict[str, Any]) -> Label:
    broken = row.get("broken") or []
    # A batch that breaks a limit is never ready and best by no day.
    times = () if broken else (_ready(row), _look(row), _best_by(row))
    lines = (_salt(row), _sweetener(row), *times)
    return Label(
        batch=row["batch_id"],
        code=_code(row["batch_id"]),
        what=_what(row),
        made=full_day(row["made_on"]),
        lines=tuple(line for line in lines if line is not None),
        alert=_alert(broken),
        limits=f"Limits: {'; '.join(row['warnings'])}." if row["warnings"] else "",
        cautions=f"{plural(row['cautions'], 'caution')} in the review" if row["cautions"] else "",
        source="" if broken else row["ready_source"] or "",
    )


def _alert(broken: list[str]) -> str:
    if not broken:
        return ""
    worst, *others = broken
    also = f" Also broken: {'; '.join(others)}." if others else ""
    return f"Breaks a limit: {worst}. {DO_NOT_EAT}{also}"


def _fitted(label: Label, paper: Sheet, garden: str) -> Label:
    """The label in the largest letters that fit, with what still finds no room in ``more``."""
    width = (paper.label_width - MARK_MM) * POINTS_PER_MM
    height = (paper.label_height - PADDING_MM) * POINTS_PER_MM
    notes = [label.alert, label.limits, label.cautions]
    for dense in (False, True):
        title_pt = _title_pt(label.what, width, dense=dense)
        room = height - _least_pt(label, title_pt, width, garden, dense=dense)
        label = replace(label, title_pt=title_pt, dense=dense)
        if sum(_height(note, SMALL, width) for note in notes) <= room:
            return label
    limits = f" {label.limits}" if label.limits else ""
    lines = wrapped(_warning_first(label.alert) + limits, SMALL, width)
    here = max(0, int(room / (SMALL * LEADING)) - 1)
    kept = " ".join(lines[:here])
    alert, limits = (kept, "") if label.alert else ("", kept)
    # A second label has no code beside its words, and three lines of its own above them.
    wide = width + MARK_MM * POINTS_PER_MM - SIDES_MM * POINTS_PER_MM
    waiting = wrapped(" ".join(lines[here:]), SMALL, wide)
    each = int(height / (SMALL * LEADING)) - 5
    more = tuple(" ".join(waiting[at : at + each]) for at in range(0, len(waiting), each))
    cautions = _ended(label.cautions) + MORE if more else label.cautions
    return replace(label, alert=alert, limits=limits, cautions=cautions, more=more)


def _warning_first(alert: str) -> str:
    """The alert with what to do before the reasons, for where the reasons go on to the next label."""
    reasons = alert.removeprefix("Breaks a limit: ").replace(f" {DO_NOT_EAT}", "", 1)
    return f"Breaks a limit. {DO_NOT_EAT} {reasons}" if alert else ""


def _ended(sentence: str) -> str:
    return f"{sentence}. " if sentence else ""


def _least_pt(label: Label, title_pt: float, width: float, garden: str, *, dense: bool) -> float:
    """The height of all that no label is without: what it is, when it was made, its lines and its small print."""
    size = DENSE if dense else ROOMY
    title = min(_height(label.what, title_pt, width), 3 * title_pt * LEADING) + 3
    said = [("made", label.made, ""), *label.lines]
    small, smaller = (8.5 * THIN, 8.5 * THIN) if dense else (9.0 * THIN, 10.0 * THIN)
    lines = (
        size
        * LEADING
        * sum(lines_of([(name, small), (says, size), (added, smaller)], width) for name, says, added in said)
    )
    print_lines = 1 if dense else min(3, len(wrapped(small_print(label, garden), 6.5 * THIN, width)))
    return title + lines + print_lines * 6.5 * LEADING + 2


def _title_pt(what: str, width: float, *, dense: bool) -> float:
    if dense:
        return DENSE_TITLE if len(wrapped(what, DENSE_TITLE, width)) <= 2 else LEAST_TITLE
    one_line = [size for size in TITLE_SIZES if len(wrapped(what, size, width)) == 1]
    return one_line[0] if one_line else TITLE_SIZES[-1]


def _height(text: str, size_pt: float, width: float) -> float:
    return len(wrapped(text, size_pt, width)) * size_pt * LEADING


def small_print(label: Label, garden: str) -> str:
    """The last line of a label."""
    parts = [
        "No date says that it may be eaten.",
        f"{garden}." if garden else "",
        f"Ready by: {label.source}." if label.source else "",
    ]
    return " ".join(part for part in parts if part)


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
        return "ready in taste", full_day(first), ""
    start = day(first) if first.year == last.year else full_day(first)
    return "ready in taste", f"{start} to {full_day(last)}", ""


def _look(row: dict[str, Any]) -> Line | None:
    if row["look_on"] is None:
        return None
    return "look", full_day(row["look_on"]), f"every {row['look_every_days']} days" if row["look_every_days"] else ""


def _best_by(row: dict[str, Any]) -> Line | None:
    if row["best_by"] is None:
        return None
    months = row["quality_months"]
    return "best by", full_day(row["best_by"]), "1 month" if months == 1 else f"{months:g} months"
