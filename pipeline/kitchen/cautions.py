"""Batches held against published limits: a record is flagged, never corrected and never cleared.

That nothing is flagged says nothing about a jar: much of what matters is not in a log.
"""

from __future__ import annotations

import polars as pl

from pipeline.analysis.salt_measures import with_salt_measures
from schemas.answers import ANSWERS
from schemas.codes import LOST_ACTIONS

FRUIT_FAMILIES = (
    "Ericaceae",
    "Grossulariaceae",
    "Moraceae",
    "Polygonaceae",
    "Rosaceae",
    "Viburnaceae",
    "Vitaceae",
)
"""Families of the crop reference whose crops are sour fruit in the kitchen; rhubarb counts as one."""

NEAR_LIMIT_FRUIT = ("elderberry", "fig")
"""Fruit whose own pH can exceed 4.6. Penn State and Oregon State Univ. Extension; from memory."""

HERBS = ("chive", "coriander", "dill", "parsley", "tarragon")
"""Leaf herbs outside the mint family; herbs are dried cooler than vegetables."""

HONEY_SOLIDS_SHARE = 0.828
"""Honey is 17.2 % water. White et al., USDA Tech. Bull. 1261 (1962), as tabulated in Crane (1980)."""

Rules = dict[str, tuple[pl.Expr, pl.Expr]]
"""Per rule: the condition that flags a batch, and what was found, in words."""


def batch_cautions(
    batches: pl.DataFrame, spoilage: pl.DataFrame, rules: pl.DataFrame, crops: pl.DataFrame
) -> pl.DataFrame:
    """Flag the batches that break a published limit.

    Only what is logged can break a limit: an empty cell flags nothing, but for a ferment's pH and for
    low-acid food in closed jars, where not knowing is the hazard. Shares of a mixed batch are not looked
    into: its main crop stands for all of it.

    Args:
        batches: core batches.
        spoilage: core spoilage; rows of fresh produce are passed over.
        rules: a frame of ``pipeline.reference.caution_rules``; a rule left out is not applied.
        crops: a frame of ``pipeline.reference.crop_reference``.

    Returns:
        The ``cautions`` answer: one row per batch and broken rule, in the order of batches, then rules.
    """
    keys = ["row", "batch_id", "sensitivity"]
    known = _ferment_rules() | _vinegar_rules() | _jam_rules() | _dry_rules() | _jar_rules() | _finding_rules()
    return (
        _facts(batches, spoilage, crops)
        .select(
            *keys,
            *(pl.when(broken).then(found).alias(rule) for rule, (broken, found) in known.items()),
        )
        .unpivot(list(known), index=keys, variable_name="rule", value_name="found")
        .drop_nulls("found")
        .join(rules.with_row_index("rank"), left_on="rule", right_on="id")
        .sort("row", "rank")
        .with_columns(pl.col("message").str.replace("{sensitivity}", pl.col("sensitivity"), literal=True))
        .select(column.name for column in ANSWERS["cautions"].columns)
    )


def _facts(batches: pl.DataFrame, spoilage: pl.DataFrame, crops: pl.DataFrame) -> pl.DataFrame:
    """Batches with all that the conditions read, one row each, in the order given."""
    fresh_per_finished = pl.col("produce_kg") / pl.when(pl.col("finished_kg") > 0).then("finished_kg")
    return (
        with_salt_measures(batches)
        .with_row_index("row")
        .join(crops.select("crop", "family", "water_pct"), on="crop", how="left", maintain_order="left")
        .join(_findings(spoilage), on="batch_id", how="left", maintain_order="left")
        .with_columns(
            is_fruit=pl.col("family").is_in(FRUIT_FAMILIES).fill_null(value=False),
            fresh_per_finished=fresh_per_finished,
            sensitivity=fresh_per_finished.round(1).cast(pl.String).fill_null("many"),
        )
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


def _is(*methods: str) -> pl.Expr:
    return pl.col("method").is_in(methods)


def _on_a_shelf() -> pl.Expr:
    return pl.col("store").is_in(["pantry", "cellar"])


def _ferment_rules() -> Rules:
    ferment = _is("ferment")
    # Compared as printed, so that no batch is flagged at "2.0 %".
    salt = pl.col("salt_pct").round(2)
    return {
        "low_salt": (ferment & (salt < 2), pl.format("{} % salt {}", salt, "salt_basis")),
        "warm_ferment": (ferment & (pl.col("store_c") > 24), pl.format("{} C", "store_c")),
        "not_submerged": (ferment & ~pl.col("submerged"), pl.lit("not kept under the brine")),
        "not_vented": (ferment & ~pl.col("vented"), pl.lit("gas cannot escape")),
        "ph_missing": (ferment & pl.col("ph").is_null(), pl.lit("no pH logged")),
        "ph_above_limit": (_is("ferment", "pickle") & (pl.col("ph") > 4.6), pl.format("pH {}", "ph")),
    }


def _vinegar_rules() -> Rules:
    pickle = _is("pickle")
    return {
        "weak_vinegar": (
            pickle & (pl.col("vinegar_acid_pct") < 5),
            pl.format("vinegar of {} % acid", "vinegar_acid_pct"),
        ),
        "more_water_than_vinegar": (
            pickle & (pl.col("vinegar_ml") < pl.col("water_ml")),
            pl.format("{} ml vinegar, {} ml water", pl.col("vinegar_ml").round(), pl.col("water_ml").round()),
        ),
        "pickle_not_processed": (
            pickle & ~pl.col("heat_processed") & _on_a_shelf(),
            pl.format("not heat-processed, in the {}", "store"),
        ),
    }


def _jam_rules() -> Rules:
    jam = _is("jam")
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
    return {
        "thin_jam": (
            jam & (solids < 65) & _on_a_shelf(),
            pl.format("at most {} % soluble solids by weight, in the {}", solids, "store"),
        ),
        "jam_not_processed": (
            jam & ~pl.col("heat_processed") & _on_a_shelf(),
            pl.format("not heat-processed, in the {}", "store"),
        ),
        "honey_infants": (pl.col("sweetener") == "honey", pl.lit("sweetened with honey")),
    }


def _dry_rules() -> Rules:
    low, middle, high = (
        (100 - pl.col("fresh_per_finished") * (100 - pl.col("water_pct") - error)).round(1) for error in (-1, 0, 1)
    )
    is_vegetable = pl.col("family").is_not_null() & ~pl.col("is_fruit")
    is_herb = (pl.col("family") == "Lamiaceae") | pl.col("crop").is_in(HERBS)
    # A crop of no known family is held against the looser target.
    target = pl.when(is_vegetable).then(10).otherwise(20)
    return {
        "not_dry_enough": (
            _is("dry") & (low > target),
            pl.format("about {} % moisture by weight ({} to {} %)", middle, low, high),
        ),
        "cool_drying": (
            _is("dry") & (pl.col("drying_c") < 60) & is_vegetable & ~is_herb,
            pl.format("dried at {} C", "drying_c"),
        ),
    }


def _jar_rules() -> Rules:
    bottle = _is("bottle")
    tomato = pl.col("crop") == "tomato"
    near_limit = pl.col("crop").is_in(NEAR_LIMIT_FRUIT)
    processed = (
        pl.when("heat_processed")
        .then(pl.lit("heat-processed, pressure not logged"))
        .when(~pl.col("heat_processed"))
        .then(pl.lit("not heat-processed"))
        .otherwise(pl.lit("heat-processing not logged"))
    )
    return {
        "low_acid_bottled": (
            bottle & ~pl.col("is_fruit") & ~tomato,
            pl.format("{} in closed jars, {}", "crop", processed),
        ),
        "bottle_not_processed": (bottle & ~pl.col("heat_processed"), pl.lit("not heat-processed")),
        "tomato_acid": (bottle & tomato, pl.lit("tomato in closed jars; added acid is not logged")),
        "near_limit_fruit": (_is("bottle", "jam") & near_limit, pl.format("{}, {}", "crop", "method")),
        "hot_store": (
            _is("bottle", "jam", "pickle") & (pl.col("store_c") > 35),
            pl.format("{} C", "store_c"),
        ),
        "warm_freezer": (_is("freeze") & (pl.col("store_c") > -18), pl.format("{} C", "store_c")),
    }


def _finding_rules() -> Rules:
    # Mould may be cut from firm fresh vegetables, so crops kept whole are left out.
    soft_food = ~_is("cure")
    closed = ~_is("freeze", "dry", "cure")
    return {
        "mould_kept": (soft_food, pl.col("mould_found")),
        "spoiled_kept": (_is("ferment", "pickle"), pl.col("spoiled_found")),
        "bulging_or_leak": (closed, pl.col("jar_found")),
    }
