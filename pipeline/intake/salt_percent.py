"""Salt said in per cent -> grams: ``2 %`` in the column of weights, or a column for per cent.

Dry-salted, per cent are of the produce. Where water or vinegar stands in the row they may be of the produce or of
everything, and 2 % of the one is another salting than 2 % of the other, so the row must say which.
"""

from __future__ import annotations

import polars as pl

PLAIN, OF_PRODUCE, OF_ALL = "salt_pct", "salt_pct_of_produce", "salt_pct_of_all"

_PERCENT = r"^\s*[+~]?\s*([\d.,]+)\s*(?:%|pct|per ?cent|percent)\s*"
_BASES = {
    PLAIN: r"(?:salt)?\s*$",
    OF_PRODUCE: r"(?:salt\s*)?(?:of|to|on)\s+(?:the\s+)?(?:produce|veg\w*|cabbage|weight of (?:the )?produce)\s*$",
    OF_ALL: r"(?:salt\s*)?(?:of|to|on)\s+(?:all|everything|(?:the )?(?:total|whole|lot|jar))(?:\s+\w+)?\s*$",
}
SAME_WITHIN = 0.1
"""A weight and per cent that differ by less, as a share of the weight, say the same."""


def percent_texts(raw: pl.DataFrame) -> dict[str, pl.Series]:
    """The texts of ``salt`` and of the columns of per cent, with per cent typed among weights moved to theirs."""
    salt = raw["salt"]
    moved = {PLAIN: raw[PLAIN], OF_PRODUCE: raw[OF_PRODUCE], OF_ALL: raw[OF_ALL]}
    if not salt.str.contains("%|pct|cent").any():
        return {}
    for name, basis in _BASES.items():
        here = salt.str.to_lowercase().str.contains(_PERCENT + basis).fill_null(value=False)
        number = salt.str.to_lowercase().str.extract(_PERCENT, 1)
        empty = moved[name].str.strip_chars().fill_null("") == ""
        moved[name] = number.zip_with(here & empty, moved[name]).alias(name)
        # Where both are filled the weight column's own text stays, and is set aside as no weight.
        salt = pl.select(pl.when(here & empty).then(None).otherwise(salt)).to_series().alias("salt")
    return {"salt": salt, **moved}


def salt_in_grams(typed: dict[str, pl.Series]) -> tuple[pl.Series, pl.DataFrame]:
    """Grams of salt of each batch from its weight or its per cent.

    Args:
        typed: the typed columns of batches.

    Returns:
        ``salt_g``, and (row, rule, message) of each row whose per cent cannot be turned into grams or contradicts
        its weight.
    """
    names = [
        "produce_kg",
        "water_ml",
        "vinegar_ml",
        "salt_g",
        *(f"{name}_said" for name in (PLAIN, OF_PRODUCE, OF_ALL)),
    ]
    rows = pl.DataFrame([typed[name].alias(name) for name in names]).with_row_index("row")
    produce = 1000 * pl.when(pl.col("produce_kg") > 0).then("produce_kg")
    liquid = pl.col("water_ml").fill_null(0) + pl.col("vinegar_ml").fill_null(0)
    plain, dry, all_ = (pl.col(f"{name}_said") for name in (PLAIN, OF_PRODUCE, OF_ALL))
    of_produce = pl.coalesce(dry, pl.when(liquid == 0).then(plain))
    from_produce, from_all = of_produce / 100 * produce, all_ / (100 - all_) * (produce + liquid)
    said = pl.any_horizontal(column.is_not_null() for column in (plain, dry, all_))
    rows = rows.with_columns(
        one=from_produce, other=from_all, said=said, basis_missing=plain.is_not_null() & (liquid > 0)
    )
    grams = pl.coalesce("one", "other")
    apart = pl.any_horizontal(_differ(pl.col("salt_g"), grams), _differ(pl.col("one"), pl.col("other")))
    shown = pl.coalesce(plain, dry, all_).round(2).cast(pl.String)
    no_basis = pl.col("basis_missing") & pl.all_horizontal(dry.is_null(), all_.is_null(), pl.col("salt_g").is_null())
    message = (
        pl.when(apart)
        .then(
            pl.format(
                "says {} % salt, which would be {} g, and {} g elsewhere in the row: write one of them",
                shown,
                grams.round(1),
                pl.coalesce("salt_g", "other").round(1),
            )
        )
        .when(no_basis)
        .then(
            pl.format(
                "{} % of what? Water or vinegar stands in the row: write it under salt_pct_of_all (of everything in "
                "the jar) or salt_pct_of_produce, or write grams",
                shown,
            )
        )
        .when(pl.col("said") & grams.is_null() & pl.col("salt_g").is_null())
        .then(pl.format("{} % of what? Write the weight of the produce as well, or write grams", shown))
    )
    rows = rows.with_columns(message=message, apart=apart, grams=pl.coalesce("salt_g", grams))
    bad = rows.filter(pl.col("message").is_not_null()).select(
        pl.col("row").cast(pl.Int64),
        rule=pl.when("apart").then(pl.lit("inconsistent")).otherwise(pl.lit("salt_percent")),
        message="message",
    )
    return rows["grams"].alias("salt_g"), bad


def _differ(one: pl.Expr, other: pl.Expr) -> pl.Expr:
    return ((one - other).abs() > SAME_WITHIN * pl.max_horizontal(one, other)).fill_null(value=False)
