"""Batches that break a published limit, in plain sentences: they come before everything else on a page."""

from __future__ import annotations

import polars as pl

from schemas.page import Finding
from schemas.words.food import ABOUT_THE_EATER, TESTED_RECIPE
from schemas.words.numbers import figure_of

FIRST = 1000.0
"""Weight of a finding that stands before all others."""
MOST_NAMED = 6


def breaks_a_limit() -> pl.Expr:
    """Whether a row of ``cautions`` says that nobody should eat from the batch as it is."""
    return (pl.col("severity") == "serious") & ~pl.col("rule").is_in(sorted(ABOUT_THE_EATER))


def caution_findings(cautions: pl.DataFrame, ledger: pl.DataFrame, given: pl.DataFrame) -> list[Finding]:
    """What breaks a published limit, on the shelf and given away.

    Args:
        cautions: the ``cautions`` answer.
        ledger: batches with ``batch_id``, ``crop`` and ``on_hand``.
        given: core consumption rows of what was given, swapped, sold or donated.
    """
    serious = cautions.filter(breaks_a_limit()).group_by("batch_id", maintain_order=True).agg(pl.col("found").first())
    rows = serious.join(ledger.select("batch_id", "crop", "on_hand"), on="batch_id", maintain_order="left")
    held = rows.filter(pl.col("on_hand") > 0)
    away = rows.join(given.drop_nulls("batch_id").select("batch_id").unique(), on="batch_id", maintain_order="left")
    findings = []
    if held.height:
        jars, batches = int(held["on_hand"].sum()), figure_of(held.height, "batch")
        verb = "breaks" if held.height == 1 else "break"
        sentence = f"{batches} on the shelf ({figure_of(jars, 'container')}) {verb} a published limit: {_named(held)}."
        action = f"Do not eat from these, and do not taste them; read under Cautions what to do. {TESTED_RECIPE}"
        findings.append(Finding("season", sentence, "enough", action, weight=FIRST))
    if away.height:
        sentence = f"Given away, and breaking a published limit: {_named(away)}."
        action = f"Tell the people who have them not to eat from them. {TESTED_RECIPE}"
        findings.append(Finding("season", sentence, "enough", action, weight=FIRST - 1))
    return findings


def _named(rows: pl.DataFrame) -> str:
    first = rows.head(MOST_NAMED).iter_rows(named=True)
    said = [f"{row['batch_id']} ({row['crop'] or 'crop not logged'}: {row['found']})" for row in first]
    more = rows.height - len(said)
    return "; ".join(said) + (f"; and {more} more, listed under Cautions" if more else "")
