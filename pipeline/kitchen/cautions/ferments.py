"""Rules for what is kept in salt."""

from __future__ import annotations

import polars as pl

from pipeline.kitchen.cautions.limits import Limits, Rules, is_cold, is_method, processed


def ferment_rules(limits: Limits) -> Rules:
    """Salt, warmth, cover, vent, acid as measured, and cold."""
    ferment = is_method("ferment")
    # A cellar or refrigerator is where a ferment goes once it is sour.
    working = pl.col("store").is_null() | (pl.col("store") == "pantry")
    return _salt_rules(limits) | {
        "warm_ferment": (ferment & (pl.col("store_c") > limits["warm_ferment"]), pl.format("{} C", "store_c")),
        "cool_ferment": (
            ferment & working & (pl.col("store_c") < limits["cool_ferment"]),
            pl.format("{} C", "store_c"),
        ),
        "not_submerged": (ferment & ~pl.col("submerged"), pl.lit("not kept under the brine")),
        "not_vented": (ferment & ~pl.col("vented"), pl.lit("gas cannot escape")),
        "unsafe_weight": (ferment, pl.format("held down or kept in: {}", "unsafe_weight")),
        "ph_missing": (ferment & pl.col("ph").is_null(), pl.lit("no measured pH")),
        "ph_near_limit": (
            is_method("ferment", "pickle")
            & ~processed().fill_null(value=False)
            & pl.col("ph").is_between(limits["ph_near_limit"], limits["ph_above_limit"]),
            pl.format("pH {}, not heat-processed", "ph"),
        ),
        "listeria_cold_ferment": (
            ferment & is_cold() & (pl.col("store") == "fridge"),
            pl.lit("a ferment in the refrigerator"),
        ),
    }


def _salt_rules(limits: Limits) -> Rules:
    ferment = is_method("ferment")
    # Compared as printed, so that no batch is flagged at "2.0 %".
    salt = pl.col("salt_pct").round(2)
    kraut = pl.col("crop").is_in(["cabbage", "red cabbage", "savoy cabbage"]) & (pl.col("salt_basis") == "of produce")
    found = pl.format("{} % salt {}", salt, "salt_basis")
    return {
        "low_salt": (ferment & (salt < limits["low_salt"]), found),
        "salt_missing": (ferment & pl.col("salt_g").is_null(), pl.lit("no salt logged")),
        "high_salt_kraut": (ferment & kraut & (salt > limits["high_salt_kraut"]), found),
        "high_salt": (ferment & ~kraut & (salt > limits["high_salt"]), found),
        "potassium_salt": (ferment, pl.format("the salt: {}", "low_salt_kind")),
    }
