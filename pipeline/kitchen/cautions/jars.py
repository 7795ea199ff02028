"""Rules for closed jars and whatever else stands without air: what only a column may clear."""

from __future__ import annotations

import polars as pl

from pipeline.kitchen.cautions.acid import FREEZE_ONLY, MASHED_ONLY_FROZEN
from pipeline.kitchen.cautions.limits import (
    Limits,
    Rules,
    how_heated,
    is_cold,
    is_frozen,
    is_method,
    pressure_canned,
    processed,
)

ACIDIFIED_JELLIES = ("pepper", "chilli", "onion", "carrot", "ginger", "shallot", "garlic", "mint")
"""Low-acid crops of which jellies and relishes with added acid are tested; the measured pH must bear it out."""


def jar_rules(limits: Limits) -> Rules:
    """Low-acid food, fat, fruit near the line, heating, stores."""
    return _low_acid_rules(limits) | _near_limit_rules(limits) | _heating_rules() | _store_rules(limits)


def _low_acid_rules(limits: Limits) -> Rules:
    bottle, jam, other = is_method("bottle"), is_method("jam"), is_method("other")
    unfrozen = pl.col("store").ne("freezer").fill_null(value=True)
    low = pl.col("low_foods")
    # 21 CFR 114.3(b): a little low-acid food that leaves the pH of acid food where it was.
    sour_all_through = (pl.col("main_class") == "acid") & (pl.col("ph") <= limits["ph_above_limit"])
    jelly = (
        pl.col("crop").is_in(ACIDIFIED_JELLIES) & pl.col("acid_added_yes") & (pl.col("ph") <= limits["ph_above_limit"])
    )
    in_words = pl.coalesce(pl.format("{}", low), pl.format("the log names {}", pl.coalesce("vegetable", "mixed_dish")))
    sour = sour_all_through.fill_null(value=False)
    mashed = pl.col("mash").is_not_null() | pl.col("finished_kg").is_not_null()
    is_mash_crop = pl.col("all_foods").str.contains("|".join(MASHED_ONLY_FROZEN))
    return {
        "low_acid_bottled": (
            bottle & unfrozen & ~pressure_canned() & ~sour,
            pl.format("{} in closed jars, {}", in_words, how_heated()),
        ),
        "low_acid_jam": (
            jam & ~is_cold() & ~sour & ~jelly.fill_null(value=False),
            pl.format("{} in jam, butter or jelly", in_words),
        ),
        "low_acid_shelf": (
            other & ~is_cold() & ~pressure_canned() & ~sour,
            pl.format("{} put by in another way, {}", in_words, _store()),
        ),
        "no_tested_process": (
            (bottle | other) & ~is_cold() & low.is_not_null() & pl.col("mash").is_not_null(),
            pl.format("{}: the log says {}", low, "mash"),
        ),
        "pumpkin_butter": (
            (bottle & mashed | jam) & ~is_cold() & is_mash_crop,
            pl.format("{}, mashed", "crop"),
        ),
        "in_oil": (
            ~is_frozen() & ~is_method("jam") & pl.col("not_acid_foods").is_not_null(),
            pl.format("{}, the log says: {}", "not_acid_foods", "fat"),
        ),
    }


def _near_limit_rules(limits: Limits) -> Rules:
    closed = is_method("bottle", "jam") | (is_method("other") & ~is_cold())
    unfrozen = pl.col("store").ne("freezer").fill_null(value=True)
    white = pl.col("white_flesh").is_not_null() | pl.col("near_foods").str.contains("|".join(FREEZE_ONLY))
    bare = ~pl.col("acid_added_yes") | white.fill_null(value=False)
    near = pl.coalesce("near_foods", pl.when(white).then("crop"))
    litres = pl.col("containers") * pl.col("container_ml") / 1000
    per_litre = pl.col("acid_weight_g") / pl.when(litres > 0).then(litres)
    least = pl.coalesce(
        pl.when(pl.col("acid_added") == added).then(limits[rule]) for added, rule in ACID_PER_LITRE.items()
    )
    needs = pl.coalesce("tomato", "near_foods")
    return {
        "tomato_acid": (
            closed & unfrozen & ~pl.col("acid_added_yes") & pl.col("tomato").is_not_null(),
            pl.lit("tomato in closed jars; no added acid logged"),
        ),
        "acid_unproven": (
            closed & unfrozen & ~pl.col("acid_added_yes") & (pl.col("ph").is_null()),
            pl.format("{}, {}; no added acid and no pH logged", "unproven_foods", "method"),
        ),
        "near_limit_fruit": (closed & unfrozen & bare, pl.format("{}, {}; no added acid logged", near, "method")),
        **{
            rule: (
                closed & needs.is_not_null() & (pl.col("acid_added") == added) & (per_litre.round(1) < least),
                pl.format("{} ml or g of {} to the litre", per_litre.round(1), "acid_added"),
            )
            for added, rule in ACID_PER_LITRE.items()
        },
    }


ACID_PER_LITRE = {
    "lemon juice": "little_lemon_juice",
    "citric acid": "little_citric_acid",
    "vinegar": "little_vinegar",
}
"""The rule with the least of each acid that goes into a litre of tomatoes."""


def _heating_rules() -> Rules:
    bottle = is_method("bottle")
    closed = is_method("bottle", "pickle", "other") & ~is_cold()
    by_column = pl.when(pl.col("process").is_in(["oven", "other"])).then(pl.format("process: {}", "process"))
    claimed = processed().fill_null(value=True)
    return {
        "bottle_not_processed": (bottle & ~processed() & ~is_frozen(), how_heated()),
        "unsafe_heating": (
            closed,
            pl.coalesce(pl.format("the log says: {}", "unsafe_heating"), pl.when(~is_method("other")).then(by_column)),
        ),
        "heating_doubted": (
            is_method("bottle", "pickle", "jam") & claimed & ~is_cold(),
            pl.format("the log says: {}", "heating_doubted"),
        ),
    }


def _store_rules(limits: Limits) -> Rules:
    thawed_store = is_method("freeze") & pl.col("store").is_in(["pantry", "cellar"])
    return {
        "ph_above_limit": (
            ~is_method("freeze", "dry", "cure")
            & (pl.col("ph") > limits["ph_above_limit"])
            & ~(is_method("bottle") & pressure_canned()),
            pl.format("pH {}", "ph"),
        ),
        "hot_store": (
            is_method("bottle", "jam", "pickle") & (pl.col("store_c") > limits["hot_store"]),
            pl.format("{} C", "store_c"),
        ),
        "warm_freezer": (
            is_method("freeze") & (pl.col("store_c") > limits["warm_freezer"]),
            pl.format("{} C", "store_c"),
        ),
        "thawed_on_shelf": (thawed_store, pl.format("frozen food, in the {}", "store")),
        "thawed": (
            is_method("freeze") | (pl.col("store") == "freezer"),
            pl.coalesce(
                pl.format("the log says: {}", "thaw"),
                pl.when(is_method("freeze") & (pl.col("store") == "fridge")).then(pl.lit("frozen food, in the fridge")),
            ),
        ),
    }


def _store() -> pl.Expr:
    return (
        pl.when(pl.col("store").is_null()).then(pl.lit("store not logged")).otherwise(pl.format("in the {}", "store"))
    )
