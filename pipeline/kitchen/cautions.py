"""Batches and kitchen sums held against published limits: flagged, never corrected and never cleared.

One table of rules serves both; every number a condition compares with comes from that table. That nothing is
flagged says nothing about a jar: much of what matters is not in a log.
"""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from pipeline.keeping.salt_measures import with_salt_measures
from pipeline.kitchen.water_activity import HONEY_SOLIDS_SHARE
from schemas.answers import ANSWERS
from schemas.codes import LOST_ACTIONS
from schemas.contracts import core_types

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

NEAR_LIMIT_FRUIT = (
    *("almond", "breadfruit", "elderberry", "elderflower", "fig", "grape leaf", "jackfruit", "loquat", "medlar"),
    *("melon", "mulberry", "nashi", "rose", "salad burnet", "watermelon", "white peach"),
)
"""Fruit whose own pH can exceed 4.6. Kansas State on melons; Penn State and Oregon State Univ. Extension on
elderberry and USDA Guide 2 on figs, from memory."""

HERBS = ("chive", "coriander", "dill", "parsley", "tarragon")
"""Leaf herbs outside the mint family; herbs are dried cooler than vegetables."""

ASSUMED_ACID_PCT = 5.0
"""Vinegar of unknown strength counts as what recipes ask for; a weaker one is flagged once it is logged."""

TURNED_OR_WAXED = r"upside[- ]down|turned over|invert(?:ed|ing)|wax(?:ed)?|paraffin"
OIL = r"(?:olive |sunflower |rapeseed |canola |vegetable )?oil"
PRESSURE_CANNED = r"pressure[- ]cann(?:ed|er|ing)"
ADDED_ACID = r"lemon juice|citric acid"
"""Words of a note that tell what no column does."""

NEGATED = r"\b(?:no|not|never|without|lacks|lacking)\b(?:\s+\w+){0,2}?\s+"

Rules = dict[str, tuple[pl.Expr, pl.Expr]]
"""Per rule: the condition that flags a batch, and what was found, in words."""


class Limits:
    """The numbers of the rule table. A rule that is left out has none, and what is compared with none is unknown."""

    def __init__(self, rules: pl.DataFrame) -> None:
        self._values = dict(rules.select("id", "value").iter_rows())

    def __getitem__(self, rule: str) -> pl.Expr:
        """The limit of one rule."""
        return pl.lit(self._values.get(rule), dtype=pl.Float64)


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
    limits = Limits(rules)
    known = _ferment_rules(limits) | _vinegar_rules(limits) | _jam_rules(limits)
    known |= _dry_rules(limits) | _jar_rules(limits) | _finding_rules()
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


def sum_cautions(facts: Mapping[str, object], rules: pl.DataFrame, crops: pl.DataFrame) -> pl.DataFrame:
    """Flag a kitchen sum by the rules that batches are held against.

    Args:
        facts: what the sum states, by the columns of the core batches; at least ``method``.
        rules: as for :func:`batch_cautions`.
        crops: as for :func:`batch_cautions`.

    Returns:
        The ``cautions`` answer for the one batch that the sum would make, without ``batch_id``.
    """
    batch = planned_batch(facts)
    return batch_cautions(batch, pl.DataFrame(schema=core_types("spoilage")), rules, crops).drop("batch_id")


def planned_batch(facts: Mapping[str, object]) -> pl.DataFrame:
    """A core batch of one row from the given columns; all others are null."""
    schema = core_types("batches")
    return pl.DataFrame([dict.fromkeys(schema) | {"batch_id": ""} | dict(facts)], schema=schema)


def _facts(batches: pl.DataFrame, spoilage: pl.DataFrame, crops: pl.DataFrame) -> pl.DataFrame:
    """Batches with all that the conditions read, one row each, in the order given."""
    fresh_per_finished = pl.col("produce_kg") / pl.when(pl.col("finished_kg") > 0).then("finished_kg")
    return (
        with_salt_measures(batches)
        .with_row_index("row")
        .join(crops.select("crop", "family", "kind", "water_pct"), on="crop", how="left", maintain_order="left")
        .join(_findings(spoilage), on="batch_id", how="left", maintain_order="left")
        .with_columns(
            # Petals, leaves and nuts of a sour family are no sour fruit.
            is_fruit=pl.col("family").is_in(FRUIT_FAMILIES).fill_null(value=False)
            & (pl.col("kind").is_null() | (pl.col("kind") == "fruit")),
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


def _noted(words: str) -> pl.Expr:
    """What the note says in these words, unless it says ``no``, ``not`` or ``without`` before them; else null."""
    note = pl.col("note").str.to_lowercase().str.replace_all(rf"{NEGATED}(?:{words})\b", " ")
    return note.str.extract(rf"\b({words})\b")


def _ferment_rules(limits: Limits) -> Rules:
    ferment = _is("ferment")
    sour = _is("ferment", "pickle")
    # A cellar or refrigerator is where a ferment goes once it is sour.
    working = pl.col("store").is_null() | (pl.col("store") == "pantry")
    processed = pl.col("heat_processed").fill_null(value=False)
    # Compared as printed, so that no batch is flagged at "2.0 %".
    salt = pl.col("salt_pct").round(2)
    return {
        "low_salt": (ferment & (salt < limits["low_salt"]), pl.format("{} % salt {}", salt, "salt_basis")),
        "warm_ferment": (ferment & (pl.col("store_c") > limits["warm_ferment"]), pl.format("{} C", "store_c")),
        "cool_ferment": (
            ferment & working & (pl.col("store_c") < limits["cool_ferment"]),
            pl.format("{} C", "store_c"),
        ),
        "not_submerged": (ferment & ~pl.col("submerged"), pl.lit("not kept under the brine")),
        "not_vented": (ferment & ~pl.col("vented"), pl.lit("gas cannot escape")),
        "ph_missing": (ferment & pl.col("ph").is_null(), pl.lit("no measured pH")),
        "ph_above_limit": (sour & (pl.col("ph") > limits["ph_above_limit"]), pl.format("pH {}", "ph")),
        "ph_near_limit": (
            sour & ~processed & pl.col("ph").is_between(limits["ph_near_limit"], limits["ph_above_limit"]),
            pl.format("pH {}, not heat-processed", "ph"),
        ),
    }


def _vinegar_rules(limits: Limits) -> Rules:
    pickle = _is("pickle")
    strength = pl.col("vinegar_acid_pct").fill_null(ASSUMED_ACID_PCT)
    mixed = (strength * pl.col("vinegar_ml") / (pl.col("vinegar_ml") + pl.col("water_ml"))).round(2)
    return {
        "weak_vinegar": (
            pickle & (pl.col("vinegar_acid_pct") < limits["weak_vinegar"]),
            pl.format("vinegar of {} % acid", "vinegar_acid_pct"),
        ),
        "more_water_than_vinegar": (
            pickle & (mixed < limits["more_water_than_vinegar"]),
            pl.format(
                "{} ml vinegar of {} % acid, {} ml water: {} % acid",
                pl.col("vinegar_ml").round().cast(pl.Int64),
                strength,
                pl.col("water_ml").round().cast(pl.Int64),
                mixed,
            ),
        ),
        "pickle_not_processed": (
            pickle & ~pl.col("heat_processed") & _on_a_shelf(),
            pl.format("not heat-processed, in the {}", "store"),
        ),
    }


def _jam_rules(limits: Limits) -> Rules:
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
            jam & (solids < limits["thin_jam"]) & _on_a_shelf(),
            pl.format("at most {} % soluble solids by weight, in the {}", solids, "store"),
        ),
        "jam_not_processed": (
            jam & ~pl.col("heat_processed") & _on_a_shelf(),
            pl.format("not heat-processed, in the {}", "store"),
        ),
        "jam_turned_or_waxed": (
            jam & ~pl.col("heat_processed").fill_null(value=False),
            pl.format("the note says: {}", _noted(TURNED_OR_WAXED)),
        ),
        "honey_infants": (pl.col("sweetener") == "honey", pl.lit("sweetened with honey")),
    }


def _dry_rules(limits: Limits) -> Rules:
    dry = _is("dry")
    low, middle, high = (
        (100 - pl.col("fresh_per_finished") * (100 - pl.col("water_pct") - error)).round(1) for error in (-1, 0, 1)
    )
    is_vegetable = pl.col("family").is_not_null() & ~pl.col("is_fruit") & pl.col("kind").ne_missing("fruit")
    is_herb = (pl.col("family") == "Lamiaceae") | pl.col("crop").is_in(HERBS)
    found = pl.format("about {} % moisture by weight ({} to {} %)", middle, low, high)
    dried_at = pl.format("dried at {} C", "drying_c")
    cool_vegetable = is_vegetable & ~is_herb & (pl.col("drying_c") < limits["cool_drying"])
    return {
        "vegetable_too_moist": (dry & is_vegetable & (low > limits["vegetable_too_moist"]), found),
        # A crop of no known family is held against the looser target.
        "fruit_too_moist": (dry & ~is_vegetable & (low > limits["fruit_too_moist"]), found),
        "cool_drying": (dry & cool_vegetable, dried_at),
        "cool_drying_fruit": (
            dry & pl.col("is_fruit") & (pl.col("drying_c") < limits["cool_drying_fruit"]),
            dried_at,
        ),
    }


def _jar_rules(limits: Limits) -> Rules:
    bottle = _is("bottle")
    pressure = _noted(PRESSURE_CANNED).is_not_null() & pl.col("heat_processed").fill_null(value=True)
    frozen = _is("freeze") | (pl.col("store") == "freezer").fill_null(value=False)
    tomato = pl.col("crop") == "tomato"
    near_limit = pl.col("crop").is_in(NEAR_LIMIT_FRUIT)
    processed = (
        pl.when("heat_processed")
        .then(pl.lit("heat-processed, pressure canning not noted"))
        .when(~pl.col("heat_processed"))
        .then(pl.lit("not heat-processed"))
        .otherwise(pl.lit("heat-processing not logged"))
    )
    return {
        "in_oil": (
            ~frozen & ~_is("jam") & ~pl.col("is_fruit"),
            pl.format("{}, the note says: {}", "crop", _noted(OIL)),
        ),
        "low_acid_bottled": (
            bottle & ~pl.col("is_fruit") & ~tomato & ~pressure,
            pl.format("{} in closed jars, {}", "crop", processed),
        ),
        "bottle_not_processed": (bottle & ~pl.col("heat_processed"), pl.lit("not heat-processed")),
        "tomato_acid": (
            bottle & tomato & _noted(ADDED_ACID).is_null(),
            pl.lit("tomato in closed jars; no added acid noted"),
        ),
        "near_limit_fruit": (_is("bottle", "jam") & near_limit, pl.format("{}, {}", "crop", "method")),
        "hot_store": (
            _is("bottle", "jam", "pickle") & (pl.col("store_c") > limits["hot_store"]),
            pl.format("{} C", "store_c"),
        ),
        "warm_freezer": (
            _is("freeze") & (pl.col("store_c") > limits["warm_freezer"]),
            pl.format("{} C", "store_c"),
        ),
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
