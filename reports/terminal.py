"""Answers for a terminal: short readable tables, or JSON and nothing else."""

from __future__ import annotations

import datetime as dt
import json
import re
import shutil
from collections.abc import Iterable, Iterator, Mapping, Sequence

import polars as pl

from reports.fitting import MOST_ROWS, fit, lines_of, unfolded, what_is_missing, wrap
from reports.tables import CONTROLS, NOT_FOR_PEOPLE, Shown, answer_csv, answer_json, shown
from reports.words import NBSP
from schemas.answer_table import Answer
from schemas.answers import ANSWERS

LEAST_WIDTH = 40
"""A narrower terminal is taken to be as wide as this."""

LEVEL_WORDS = {
    "error": "set aside",
    "cell": "row taken without this cell",
    "warning": "taken, look at it",
    "note": "note",
}


def answers_json(as_of: dt.date, tables: Mapping[str, pl.DataFrame], notes: Sequence[str]) -> str:
    """One JSON object: the day it was computed for, each table by its name, and the notes."""
    whole: dict[str, object] = {"as_of": as_of.isoformat()}
    whole |= {name: json.loads(answer_json(frame)) for name, frame in tables.items()}
    whole["notes"] = list(notes)
    return json.dumps(whole, ensure_ascii=False, indent=1)


def check_json(summary: pl.DataFrame, problems: pl.DataFrame) -> str:
    """The load summary and every problem as JSON."""
    tables = {"load_summary": summary, "problems": problems}
    return json.dumps(
        {name: json.loads(answer_json(frame)) for name, frame in tables.items()}, ensure_ascii=False, indent=1
    )


def load_text(summary: pl.DataFrame) -> str:
    """One line per file and a sum: rows = accepted + set aside."""
    if summary.is_empty():
        return "No logs found. `rowshelf start FOLDER` writes blank ones; harvests.csv is the one to begin with."
    lines = [_file_line(row) for row in summary.iter_rows(named=True)]
    lines.append(_sum_line(summary))
    if summary["set_aside"].sum():
        lines.append("`rowshelf check FOLDER` lists each row that was set aside and what to write instead.")
    return "\n".join(lines)


def _file_line(row: Mapping[str, object]) -> str:
    warned = f", {_count(row['warnings'], 'warning')}" if row["warnings"] else ""
    odd = f" ({_count(row['cells_left_out'], 'odd cell')} left out)" if row["cells_left_out"] else ""
    rows = _count(row["rows"], "row")
    later = f" + {row['later']} later" if row["later"] else ""
    aside = f"{row['set_aside']} set aside{later}"
    return f"{_plain(row['file'])}: {rows} = {row['accepted']} accepted + {aside}{odd}{warned}"


def _sum_line(summary: pl.DataFrame) -> str:
    rows, accepted, aside, later = (int(summary[name].sum()) for name in ("rows", "accepted", "set_aside", "later"))
    behind = f" + {later} later" if later else ""
    return f"{_count(summary.height, 'file')}: {_count(rows, 'row')} = {accepted} accepted + {aside} set aside{behind}"


def _count(number: object, thing: str) -> str:
    return f"{number} {thing}{'s' * (number != 1)}"


MOST_SHOWN = 200
"""Problems of one file that a terminal lists; all of them are in the JSON and in problems.csv."""


def check_text(
    summary: pl.DataFrame,
    problems: pl.DataFrame,
    counts: pl.DataFrame,
    mends: pl.DataFrame | None = None,
    to_settle: Sequence[str] = (),
) -> str:
    """What mends most, then problems grouped by file, in line order, each with its mend.

    Args:
        summary: one row per file.
        problems: at least the first :data:`MOST_SHOWN` problems of each file.
        counts: how many problems there are of each ``file``, ``level`` and ``rule``.
        mends: rows set aside for one reason in one column of one file, most first.
        to_settle: lines for rowshelf.toml that say for good how names were read.
    """
    by_file = problems.sort("file", "line", maintain_order=True).partition_by("file", as_dict=True)
    all_of = dict(counts.group_by("file").agg(pl.col("problems").sum()).iter_rows())
    lines = _mends_first(mends)
    for row in summary.iter_rows(named=True):
        lines.append(_file_line(row))
        mine = by_file.get((row["file"],), problems.clear())
        lines += [f"  {_problem_line(problem)}" for problem in mine.head(MOST_SHOWN).iter_rows(named=True)]
        more = all_of.get(row["file"], 0) - MOST_SHOWN
        if more > 0:
            lines.append(f"  and {more:,} more: --out DIR writes all as problems.csv")
    if to_settle:
        lines += ["", "To say for good how names were read, put this into rowshelf.toml:"]
        lines += [f"  {_plain(line)}" for line in to_settle]
    lines.append("")
    lines.append(load_text(summary).splitlines()[-1] if summary.is_empty() else _verdict(summary, counts))
    return "\n".join(lines)


def _mends_first(mends: pl.DataFrame | None) -> list[str]:
    """The few deeds that bring most rows back."""
    if mends is None or mends.is_empty():
        return []
    lines = ["What mends most:"]
    for row in mends.iter_rows(named=True):
        column = f", {_plain(row['column'])}" if row["column"] else ""
        value = "" if row["value"] is None else f" {_plain(row['value'])!r}"
        where = f"{_plain(row['file'])}{column}, from line {row['line']}{value}"
        lines.append(f"  {row['rows']:,} rows: {where}: {_plain(row['message'])}")
    return [*lines, ""]


def problems_csv(pages: Iterable[pl.DataFrame]) -> Iterator[bytes]:
    """Pages of one table as one CSV file, in pieces; see :func:`reports.tables.answer_csv`."""
    for number, page in enumerate(pages):
        text = answer_csv(page)
        yield (text if number == 0 else text.split("\r\n", 1)[1]).encode()


def _problem_line(problem: Mapping[str, object]) -> str:
    level = LEVEL_WORDS[str(problem["level"])]
    value = "" if problem["value"] is None else f" {_plain(problem['value'])!r}"
    where = f"line {problem['line']}"
    column = f", {_plain(problem['column'])}" if problem["column"] else ""
    return f"{where}{column}{value}: {_plain(problem['message'])} [{level}]"


def _verdict(summary: pl.DataFrame, counts: pl.DataFrame) -> str:
    warnings = int(counts.filter(pl.col("level") == "warning")["problems"].sum())
    errors = counts.filter(pl.col("level") == "error").group_by("rule").agg(pl.col("problems").sum())
    kinds = errors.sort(-pl.col("problems").cast(pl.Int64), "rule")
    counted = ", ".join(f"{count} {rule.replace('_', ' ')}" for rule, count in kinds.iter_rows())
    sum_line = f"{_sum_line(summary)}; {_count(warnings, 'warning')}"
    return f"{sum_line}\n{counted}\n{TO_WORK_FROM}" if counted else sum_line


TO_WORK_FROM = "`rowshelf check FOLDER --out DIR` writes this list as problems.csv, each with its row, to tick off."


def _plain(value: object) -> str:
    """Text on one line, without characters that could move the cursor, rename the window or turn the text around."""
    return UNSEEN.sub("\ufffd", CONTROLS.sub("\ufffd", str(value)).replace("\n", " "))


UNSEEN = re.compile("[\u200b\u200e\u200f\u202a-\u202e\u2060\u2066-\u2069\ufeff]")
"""Characters without a width, which change how those around them are shown."""


COLUMNS: dict[str, tuple[str, ...]] = {
    "spoilage": ("group", "batches", "containers", "spoiled", "lost_share", "evidence", "kept_12m"),
    "salt_response": ("method", "batches", "hazard_ratio_per_half_point", "p_value", "evidence"),
    "salt_levels": ("method", "level", "basis", "batches", "spoiled", "kept_12m", "limit_pct", "evidence"),
    "spoilage_differences": ("factor", "value", "batches", "ratio", "evidence", "spoiled", "expected", "p_value"),
    "trials": ("trial", "arm", "batches", "spoiled", "tasters", "difference", "firmness_difference"),
    "glut_waste": (
        "crop",
        "picked_kg",
        "eaten_kg",
        "put_by_kg",
        "given_kg",
        "wasted_kg",
        "expired_kg",
        "left_kg",
        "from_gluts_kg",
        "even_loss_kg",
        "worst_week",
        "eaten_basis",
    ),
    "shelf": (
        "crop",
        "method",
        "on_hand",
        "runs_out_on",
        "weeks_left",
        "used_per_month",
        "made",
        "used",
        "spoiled",
        "note",
    ),
    "plan_comparison": ("policy", "weeks_without", "short_kg", "wasted_kg", "shelf_filled_share", "sowings"),
    "use_first": ("batch_id", "crop", "method", "on_hand", "due_on", "reason"),
    "shelf_forecast": ("method", "crop", "on_hand", "expect_lost", "by_date", "evidence"),
    "cautions": ("batch_id", "severity", "found", "limit", "source"),
    "sowing_plan": (
        "crop",
        "sow_on",
        "plant_out_on",
        "amount",
        "unit",
        "first_pick_on",
        "last_pick_on",
        "expected_kg",
        "reason",
    ),
    "season_outlook": ("crop", "week", "kg_p10", "kg_p50", "kg_p90", "need_kg", "over_kg"),
    "crop_timing": ("crop", "degree_days_to_first_pick", "n_sowings", "prior_weight", "error_days", "basis"),
}
"""Columns that a terminal shows, as far as they find room, the weightiest first."""

NEVER_CUT = frozenset({"cautions"})
"""Tables of which every row is shown: what may hurt is not counted but told."""


def terminal_text(frame: pl.DataFrame, answer: Answer, width: int, *, wide: bool = False) -> str:
    """An answer as a table for a terminal, with a line on what of it is not shown.

    Cells are plain text: control characters, which could move the cursor or rename the window, are shown as a
    replacement mark.

    Args:
        frame: rows of the table.
        answer: its contract.
        width: cells in a line.
        wide: show every column and row, however long the lines.
    """
    first = COLUMNS.get(answer.name, ())
    names = [name for name in (column.name for column in answer.columns) if name not in NOT_FOR_PEOPLE]
    ordered = [*first, *(name for name in names if name not in first)]
    view = shown(frame, answer, ordered, short=not wide)
    plain = Shown(tuple(map(_plain, view.headings)), view.numeric, tuple(tuple(map(_plain, row)) for row in view.rows))
    rows = None if answer.name in NEVER_CUT else MOST_ROWS
    table = unfolded(plain) if wide else fit(plain, width, rows, len(first) or None)
    title = [answer.description] if wide else wrap(answer.description, width)
    missing = what_is_missing(table)
    lines = [*title, "", *lines_of(table), *([*wrap(missing, width)] if missing else []), ""]
    return "\n".join(lines).replace(NBSP, " ")


def answers_text(
    tables: Mapping[str, pl.DataFrame], names: Iterable[str], sentences: Iterable[str], *, wide: bool = False
) -> str:
    """Findings as sentences and the tables of these names, for the width of the terminal."""
    width = max(shutil.get_terminal_size().columns, LEAST_WIDTH)
    parts = ["\n".join(wrap(_plain(sentence), width)).replace(NBSP, " ") for sentence in sentences]
    if parts:
        parts.append("")
    for name in names:
        answer = ANSWERS[name]
        if tables[name].is_empty():
            parts.append("\n".join(wrap(f"{answer.description}: nothing in the logs yet.", width)) + "\n")
        else:
            parts.append(terminal_text(tables[name], answer, width, wide=wide))
    return "\n".join(parts)  # a table ends with an empty line
