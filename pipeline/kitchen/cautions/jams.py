"""Rules for what is kept with sugar or honey."""

from __future__ import annotations

import polars as pl

from pipeline.kitchen.cautions.limits import Limits, Rules, is_frozen, is_method, on_a_shelf, processed
from pipeline.kitchen.water_activity import HONEY_SOLIDS_SHARE


def jam_rules(limits: Limits) -> Rules:
    """Solids, processing, closing, honey."""
    jam = is_method("jam")
    sweetener_kg = (
        pl.when(pl.col("sweetener") == "honey")
        .then(pl.col("sweetener_weight_g") * HONEY_SOLIDS_SHARE)
        .when(pl.col("sweetener") == "none")
        .then(0.0)
        .otherwise("sweetener_weight_g")
        / 1000
    )
    # All solids of the fruit are taken as dissolved and nothing as lost, so the true figure is lower still.
    fruit_kg = pl.col("produce_kg") * (1 - pl.col("water_pct") / 100)
    finished_kg = pl.when(pl.col("finished_kg") > 0).then("finished_kg")
    solids = (100 * (fruit_kg + sweetener_kg) / finished_kg).round(1)
    honeyed = (pl.col("sweetener") == "honey") & ~is_frozen()
    return {
        "thin_jam": (
            jam & (solids < limits["thin_jam"]) & on_a_shelf(),
            pl.format("at most {} % soluble solids by weight, in the {}", solids, "store"),
        ),
        "jam_not_processed": (
            jam & ~processed() & on_a_shelf(),
            pl.format("not heat-processed, in the {}", "store"),
        ),
        "jam_turned_or_waxed": (jam, pl.format("the log says: {}", "unsafe_heating")),
        "honey_infants": (pl.col("sweetener") == "honey", pl.lit("sweetened with honey")),
        "low_acid_in_honey": (
            is_method("ferment", "other", "jam", "pickle") & honeyed & pl.col("low_foods").is_not_null(),
            pl.format("{} in honey", "low_foods"),
        ),
    }
