"""What a rule is made of: its limit from the table, its condition, and what was found, in words."""

from __future__ import annotations

import polars as pl

Rules = dict[str, tuple[pl.Expr, pl.Expr]]
"""Per rule: the condition that flags a batch, and what was found, in words; a found of null flags nothing."""

COLD = ("fridge", "freezer")
HEATED = ("boiling water", "steam", "pressure")
"""Ways of heating closed containers that recipes are tested for."""


class Limits:
    """The numbers of the rule table. A rule that is left out has none, and what is compared with none is unknown."""

    def __init__(self, rules: pl.DataFrame) -> None:
        self._values = dict(rules.select("id", "value").iter_rows())

    def __getitem__(self, rule: str) -> pl.Expr:
        """The limit of one rule."""
        return pl.lit(self._values.get(rule), dtype=pl.Float64)


def is_method(*methods: str) -> pl.Expr:
    """Whether a batch was put by in one of these ways."""
    return pl.col("method").is_in(methods)


def on_a_shelf() -> pl.Expr:
    """Whether a batch is logged as standing at room temperature."""
    return pl.col("store").is_in(["pantry", "cellar"])


def may_stand_on_a_shelf() -> pl.Expr:
    """Whether nothing logged says that a batch is kept cold: an empty cell does not."""
    return ~is_cold()


def is_cold() -> pl.Expr:
    """Whether a batch is logged as standing in a refrigerator or freezer."""
    return pl.col("store").is_in(COLD).fill_null(value=False)


def is_frozen() -> pl.Expr:
    """Whether a batch is frozen and logged nowhere warmer."""
    return pl.col("store").eq("freezer").fill_null(value=False) | (is_method("freeze") & pl.col("store").is_null())


def processed() -> pl.Expr:
    """Whether closed containers were heated in a way that recipes are tested for; null where nothing says so.

    A column that says no goes before one that says yes.
    """
    by_process = pl.col("process").is_in(HEATED) & (pl.col("process_minutes").fill_null(1) > 0)
    return (
        pl.when(~pl.col("heat_processed") | ~by_process)
        .then(pl.lit(value=False))
        .when(pl.col("heat_processed") | by_process)
        .then(pl.lit(value=True))
    )


def pressure_canned() -> pl.Expr:
    """Whether the columns say that the containers were pressure canned."""
    return (pl.col("process").eq("pressure") & processed()).fill_null(value=False)


def how_heated() -> pl.Expr:
    """How closed containers were heated, in words."""
    by = pl.format("process: {}", "process")
    return (
        pl.when(pl.col("process").is_not_null() & (pl.col("process") != "none"))
        .then(by)
        .when(~processed())
        .then(pl.lit("not heat-processed"))
        .when(processed())
        .then(pl.lit("heat-processed, pressure canning not logged"))
        .otherwise(pl.lit("heat-processing not logged"))
    )


def acid_was_added() -> pl.Expr:
    """Whether a column says that acid went into the containers."""
    return (pl.col("acid_added").is_in(["lemon juice", "citric acid", "vinegar"])).fill_null(value=False) & (
        pl.col("acid_weight_g").fill_null(1) > 0
    )
