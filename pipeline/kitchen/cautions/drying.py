"""Rules for what is dried."""

from __future__ import annotations

import polars as pl

from pipeline.kitchen.cautions.limits import Limits, Rules, is_method


def dry_rules(limits: Limits) -> Rules:
    """Moisture by weight, and how warm the air was."""
    dry = is_method("dry")
    low, middle, high = (
        (100 - pl.col("fresh_per_finished") * (100 - pl.col("water_pct") - error)).round(1) for error in (-1, 0, 1)
    )
    is_vegetable = (
        (pl.col("family").is_not_null() | pl.col("main_class").eq("low acid"))
        & ~pl.col("is_fruit")
        & pl.col("kind").ne_missing("fruit")
    )
    found = pl.format("about {} % moisture by weight ({} to {} %)", middle, low, high)
    dried_at = pl.format("dried at {} C", "drying_c")
    cool_vegetable = is_vegetable & ~pl.col("is_herb") & (pl.col("drying_c") < limits["cool_drying"])
    return {
        "vegetable_too_moist": (dry & is_vegetable & (middle > limits["vegetable_too_moist"]), found),
        # A crop of no known family is held against the looser target.
        "fruit_too_moist": (dry & ~is_vegetable & (middle > limits["fruit_too_moist"]), found),
        "cool_drying": (dry & cool_vegetable, dried_at),
        "cool_drying_fruit": (
            dry & pl.col("is_fruit") & (pl.col("drying_c") < limits["cool_drying_fruit"]),
            dried_at,
        ),
    }
