"""Batches with all that the conditions read, one row each: salt and acid worked out, foods by how sour, words."""

from __future__ import annotations

import polars as pl

from pipeline.keeping.salt_measures import with_salt_measures
from pipeline.kitchen.cautions.acid import FRUIT_FAMILIES, HERBS, NEAR_LIMIT_FRUIT, low_acid_names, with_acid_class
from pipeline.kitchen.cautions.limits import acid_was_added
from pipeline.kitchen.cautions.remarks import hazards
from schemas.codes import LOST_ACTIONS

ASSUMED_ACID_PCT = 4.0
"""Vinegar of unknown strength counts as the weakest that may be sold as vinegar (Univ. of California ANR, 2024)."""

ASSUMED_WATER_PCT = 90.0
"""Water of a crop of which it is not known; most vegetables hold as much (USDA SR28)."""


def facts_of(
    batches: pl.DataFrame,
    spoilage: pl.DataFrame,
    crops: pl.DataFrame,
    ingredients: pl.DataFrame,
    remarks: pl.DataFrame,
) -> pl.DataFrame:
    """One row per batch in the order given: the batch log, and what is worked out from all logs."""
    rows = with_salt_measures(batches).with_row_index("row")
    # Every food of the batch, the main crop first.
    others = ingredients.select("batch_id", "crop", "weight_kg").join(rows.select("row", "batch_id"), on="batch_id")
    foods = (
        pl.concat([rows.select("row", "crop"), others.select("row", "crop")]).drop_nulls().unique(maintain_order=True)
    )
    foods = with_acid_class(foods, crops)
    said = hazards(remarks, low_acid_names())
    return (
        rows.join(_main(foods), on="row", how="left", maintain_order="left")
        .join(_foods(foods), on="row", how="left", maintain_order="left")
        .join(_findings(spoilage), on="batch_id", how="left", maintain_order="left")
        .join(said, on="batch_id", how="left", maintain_order="left")
        .pipe(_with_fat)
        .pipe(_with_acid)
        .pipe(_with_moisture)
    )


def _main(foods: pl.DataFrame) -> pl.DataFrame:
    is_herb = (pl.col("family") == "Lamiaceae") | pl.col("crop").is_in(HERBS)
    return (
        foods.group_by("row", maintain_order=True)
        .first()
        .select(
            "row",
            "family",
            "water_pct",
            main_class="acid_class",
            kind="kind",
            is_fruit=(
                pl.col("family").is_in(FRUIT_FAMILIES)
                & (pl.col("acid_class") != "low acid")
                & (pl.col("kind").is_null() | (pl.col("kind") == "fruit"))
            ).fill_null(value=False)
            | pl.col("acid_class").eq("acid")
            | pl.col("crop").is_in(NEAR_LIMIT_FRUIT),
            is_herb=is_herb.fill_null(value=False),
        )
    )


def _foods(foods: pl.DataFrame) -> pl.DataFrame:
    def named(met: pl.Expr) -> pl.Expr:
        return pl.when(met.any()).then(pl.col("crop").filter(met).str.join(", "))

    kind, tomato = pl.col("acid_class"), pl.col("crop") == "tomato"
    return foods.group_by("row").agg(
        low_foods=named(kind.is_in(["low acid", "unknown"])),
        near_foods=named((kind == "near limit") & ~tomato),
        unproven_foods=named(kind == "unproven"),
        tomato=named(tomato),
        all_foods=pl.col("crop").str.join(", "),
        not_acid_foods=named(kind != "acid"),
    )


def _findings(spoilage: pl.DataFrame) -> pl.DataFrame:
    """Per batch: what was found and kept, and which containers bulged or leaked, in words."""
    kept = ~pl.col("action").is_in(sorted(LOST_ACTIONS))
    causes = {
        "mould_found": kept & (pl.col("cause") == "mould"),
        "spoiled_found": kept & pl.col("cause").is_in(["soft", "slime", "off smell"]),
        "jar_found": pl.col("cause").is_in(["bulging", "leak"]),
    }
    words = pl.concat_str("cause", "action", "found_on", separator=", ", ignore_nulls=True)
    return (
        spoilage.drop_nulls("batch_id")
        .sort("found_on", maintain_order=True)
        .group_by("batch_id")
        .agg(pl.when(met.any()).then(words.filter(met).str.join("; ")).alias(name) for name, met in causes.items())
    )


def _with_fat(rows: pl.DataFrame) -> pl.DataFrame:
    """``fat`` as said in words, unless a column says that there is none. Salt does not dissolve in fat."""
    rows = rows.with_columns(fat=pl.when(~pl.col("no_fat").fill_null(value=False)).then("fat"))
    in_fat = pl.col("fat").is_not_null() & (pl.col("salt_basis") == "of all")
    return rows.with_columns(
        salt_pct=pl.when(in_fat).then("salt_pct_of_produce").otherwise("salt_pct"),
        salt_basis=pl.when(in_fat).then(pl.lit("of produce")).otherwise("salt_basis"),
    )


def _with_acid(rows: pl.DataFrame) -> pl.DataFrame:
    """Acid of the liquid after mixing, and after evening out with the water of the produce, percent."""
    strength = pl.col("vinegar_acid_pct").fill_null(ASSUMED_ACID_PCT)
    liquid = pl.col("vinegar_ml") + pl.col("water_ml").fill_null(0)
    acid_g = strength / 100 * pl.col("vinegar_ml")
    water_g = 10 * pl.col("produce_kg") * pl.col("water_pct").fill_null(ASSUMED_WATER_PCT)
    return rows.with_columns(
        strength=strength,
        mixed_pct=(100 * acid_g / pl.when(liquid > 0).then(liquid)).fill_null(pl.when(liquid == 0).then(0.0)).round(2),
        evened_pct=(100 * acid_g / pl.when(liquid + water_g > 0).then(liquid + water_g)).round(2),
        acid_added_yes=acid_was_added(),
    )


def _with_moisture(rows: pl.DataFrame) -> pl.DataFrame:
    fresh_per_finished = pl.col("produce_kg") / pl.when(pl.col("finished_kg") > 0).then("finished_kg")
    return rows.with_columns(
        fresh_per_finished=fresh_per_finished,
        sensitivity=fresh_per_finished.round(1).cast(pl.String).fill_null("many"),
    )
