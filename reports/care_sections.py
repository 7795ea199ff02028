"""The sections on what to be careful with: cautions, and problems in the data."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import polars as pl

from reports.blocks import (
    MOST_ROWS,
    Answers,
    Block,
    HeadingBlock,
    ListBlock,
    Section,
    TextBlock,
    is_long,
    table_block,
)
from reports.words import count, plural
from schemas.page import Finding


def cautions(answers: Answers) -> Section:
    """Batches that break a published limit."""
    rows = answers["cautions"]
    blocks: list[Block] = []
    if rows.is_empty():
        blocks.append(
            TextBlock("No logged batch broke a limit that is checked here. What is not logged cannot be checked.")
        )
    else:
        blocks.append(ListBlock("Limits that batches break", _cautions(rows)))
    return Section("cautions", "Cautions", [], blocks)


def _cautions(rows: pl.DataFrame) -> list[tuple[str, str]]:
    """Each broken limit once, serious ones first: what to do, the limit, its source, and the batches."""
    limit = ("severity", "rule", "limit", "source", "read_as", "message")
    known = rows.with_columns(pl.col(pl.String).fill_null("not known"))
    found = known.group_by(*limit, "found", maintain_order=True).agg("batch_id")
    told = found.group_by(*limit, maintain_order=True).agg(
        pl.format("{}: {}", "found", pl.col("batch_id").list.join(", ")).str.join("; "),
        batches=pl.col("batch_id").list.len().sum(),
    )
    ordered = told.sort(pl.col("severity") != "serious", -pl.col("batches").cast(pl.Int64), "rule")
    return [_caution(row) for row in ordered.iter_rows(named=True)]


def _caution(row: dict[str, Any]) -> tuple[str, str]:
    """One broken limit in full."""
    rule, batches = str(row["rule"]).replace("_", " "), plural(row["batches"], "batch", "batches")
    about = f"{str(row['severity']).capitalize()}: {rule}, {batches}."
    source = f"{row['source']}; {row['read_as']}"
    return about, f"{row['message']} The limit: {row['limit']} ({source}). Found: {row['found']}."


def problems(answers: Answers, findings: Sequence[Finding]) -> Section | None:
    """What is wrong in the logs; None where no file was read."""
    files = answers["load_summary"]
    rows = answers["problems"].with_columns(pl.col("file").fill_null("the folder"))
    if files.is_empty() and rows.is_empty():
        return None
    blocks: list[Block] = []
    if not files.is_empty():
        later = ("later",) if files["later"].sum() else ()
        columns = ("file", "kind", "rows", "accepted", "set_aside", *later, "warnings")
        blocks.append(table_block("load_summary", "Files read", files, columns, folded=is_long(files)))
    if rows.is_empty():
        blocks.insert(0, TextBlock("Every row of every file was taken, without a warning."))
    elif rows.height > MOST_ROWS:
        blocks.append(TextBlock(f"The first {MOST_ROWS} of {count(rows.height)} follow; tables/problems.csv has all."))
    for (file,), found in rows.head(MOST_ROWS).group_by("file", maintain_order=True):
        all_of_file = rows.filter(pl.col("file") == file)
        blocks.append(HeadingBlock(f"{file}: {_problem_counts(all_of_file)}"))
        blocks.append(ListBlock("", [_problem(row) for row in found.iter_rows(named=True)]))
    return Section("problems", "Problems in the data", findings, blocks)


TAKEN = {
    "cell": " (the row was taken without this cell)",
    "warning": " (warning; the row was taken)",
    "note": " (note)",
}
"""What became of a row, by the level of its problem; a note may be of a file, or of rows of a later day."""


def _problem(row: dict[str, Any]) -> tuple[str, str]:
    """One problem: where it is, what stands there, and what to write instead."""
    parts = [f"Line {row['line']}" if row["line"] is not None else "", row["column"] or ""]
    if row["value"] is not None:
        parts.append(f"\u201c{row['value']}\u201d")
    taken = TAKEN.get(row["level"], "")
    return ", ".join(part for part in parts if part) + ":", f"{row['message']}{taken}"


def _problem_counts(rows: pl.DataFrame) -> str:
    """How many problems of each level: ``3 errors, 1 warning``."""
    levels = rows["level"].value_counts(name="times").sort("level")
    return ", ".join(plural(times, str(level)) for level, times in levels.iter_rows())
