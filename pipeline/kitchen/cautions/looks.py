"""Rules for what was found when somebody looked, used or tasted."""

from __future__ import annotations

import polars as pl

from pipeline.kitchen.cautions.limits import Rules, is_method


def finding_rules() -> Rules:
    """Mould, spoilage, pressure in a jar, and people who fell ill."""
    # Mould may be cut from firm fresh vegetables, so crops kept whole are left out.
    soft_food = ~is_method("cure")
    closed = ~is_method("freeze", "dry", "cure")
    # A ferment at work is meant to bubble; a jar that holds is meant to be hard to open.
    gas = pl.when(~is_method("ferment")).then("gas_when_opened")
    stuck = pl.when(is_method("ferment", "other") | pl.col("gas_when_opened").is_not_null()).then("hard_to_open")
    cloudy = pl.when(is_method("bottle", "pickle", "other")).then("cloudy")
    return {
        "mould_kept": (soft_food, pl.coalesce("mould_found", pl.format("a note says: {}", "mould"))),
        "spoiled_kept": (
            is_method("ferment", "pickle", "bottle", "other"),
            pl.coalesce("spoiled_found", pl.format("a note says: {}", pl.coalesce("off", cloudy))),
        ),
        "bulging_or_leak": (
            closed,
            pl.coalesce("jar_found", pl.format("a note says: {}", pl.coalesce("pressure_in_jar", gas, stuck))),
        ),
        "felt_ill": (pl.lit(value=True), pl.format("a note says: {}", "ill")),
    }
