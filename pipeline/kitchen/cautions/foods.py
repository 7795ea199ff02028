"""Notes on single foods, and on what these rules do not judge."""

from __future__ import annotations

import polars as pl

from pipeline.kitchen.cautions.limits import Rules, is_method


def food_rules() -> Rules:
    """Foods with a poison of their own, whatever the method; food that is out of scope."""
    always = pl.lit(value=True)

    def is_crop(*names: str) -> pl.Expr:
        return pl.col("all_foods").str.contains(rf"\b(?:{'|'.join(names)})\b")

    rhubarb = pl.when(is_crop("rhubarb")).then("rhubarb_greens")
    foraged = pl.when(is_crop("mushroom", "mushrooms")).then(pl.coalesce("wild_mushroom", "foraged"))
    return {
        "cassava": (always, pl.coalesce(pl.when(is_crop("cassava")).then(pl.lit("cassava")), "cassava")),
        "kidney_bean": (
            always,
            pl.coalesce(pl.when(is_crop("kidney bean")).then(pl.lit("kidney bean")), "kidney_bean"),
        ),
        "green_potato": (
            always,
            pl.when(is_crop("potato") | pl.col("green_potato").str.contains("potato|spud|kartoffel|patata|pomme")).then(
                "green_potato"
            ),
        ),
        "rhubarb_leaf": (always, pl.format("the log says: {}", pl.coalesce("rhubarb_leaf", rhubarb))),
        "wild_mushroom": (always, pl.format("the log says: {}", pl.coalesce("wild_mushroom", foraged))),
        "out_of_scope": (
            ~is_method("freeze", "cure"),
            pl.format("the log names {}", "out_of_scope"),
        ),
        "drink": (is_method("other", "ferment", "bottle"), pl.format("the log names {}", "drink")),
    }
