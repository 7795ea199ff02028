"""How much evidence stands behind an estimate, in the three words that every answer uses."""

from __future__ import annotations

import polars as pl

ENOUGH_BATCHES, THIN_BATCHES = 8, 3
"""Batches from which evidence is enough, and from which it is thin rather than too little."""

BEHIND = {"enough": "", "thin": ", thin evidence", "too little": ", too little evidence"}
"""What follows the count of batches that a sentence rests on."""

SIGNIFICANT = 0.05


def evidence(batches: pl.Expr) -> pl.Expr:
    """Evidence in words from a count of batches (or of tasters): common practice, no source."""
    thin = pl.when(batches >= THIN_BATCHES).then(pl.lit("thin")).otherwise(pl.lit("too little"))
    return pl.when(batches >= ENOUGH_BATCHES).then(pl.lit("enough")).otherwise(thin)
