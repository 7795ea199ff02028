"""Rules for what is kept in vinegar: judged by the acid that arrives, not by the bottle alone."""

from __future__ import annotations

import polars as pl

from pipeline.kitchen.cautions.limits import Limits, Rules, is_cold, is_method, on_a_shelf, processed


def pickle_rules(limits: Limits) -> Rules:
    """Vinegar, its strength and its share, and whether jars for the shelf were processed."""
    pickle = is_method("pickle")
    low = pl.col("low_foods").is_not_null()
    mixed, evened = pl.col("mixed_pct"), pl.col("evened_pct")
    unmeasured = pl.col("ph").is_null() | (pl.col("ph") > limits["ph_above_limit"])
    weak = (mixed < limits["acid_too_little"]) | (evened < limits["acid_spread_thin"])
    parts = pl.format(
        "{} ml vinegar of {} % acid, {} ml water: {} % acid",
        pl.col("vinegar_ml").round().cast(pl.Int64),
        "strength",
        pl.col("water_ml").fill_null(0).round().cast(pl.Int64),
        mixed,
    )
    with_produce = pl.concat_str(
        pl.col("low_foods"),
        pl.lit(": "),
        parts,
        pl.format(", {} % once the produce has evened it out", evened).fill_null(""),
    )
    return {
        "weak_vinegar": (
            pickle & (pl.col("vinegar_acid_pct") < limits["weak_vinegar"]),
            pl.format("vinegar of {} % acid", "vinegar_acid_pct"),
        ),
        "acid_too_little": (
            pickle & low & ~is_cold() & weak.fill_null(value=False) & unmeasured,
            with_produce,
        ),
        "more_water_than_vinegar": (pickle & (mixed < limits["more_water_than_vinegar"]), parts),
        "acid_spread_thin": (
            pickle & (evened < limits["acid_spread_thin"]),
            pl.format("{} % acid once {} kg of produce has evened it out", evened, "produce_kg"),
        ),
        "vinegar_missing": (
            pickle & on_a_shelf() & pl.col("vinegar_ml").is_null() & ~pl.col("acid_added_yes") & unmeasured,
            pl.lit("no vinegar logged"),
        ),
        "pickle_not_processed": (
            pickle & ~processed() & on_a_shelf(),
            pl.format("not heat-processed, in the {}", "store"),
        ),
        "pickle_process_missing": (
            pickle & processed().is_null() & on_a_shelf(),
            pl.format("heat-processing not logged, in the {}", "store"),
        ),
    }
