"""Batches and kitchen sums held against published limits: flagged, never corrected and never cleared.

One table of rules serves both; every number a condition compares with comes from that table. What is written in words
may raise a caution and never lifts one: only columns do. That nothing is flagged says nothing about a jar: much of what
matters is not in a log.
"""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from pipeline.kitchen.cautions.drying import dry_rules
from pipeline.kitchen.cautions.facts import facts_of
from pipeline.kitchen.cautions.ferments import ferment_rules
from pipeline.kitchen.cautions.foods import food_rules
from pipeline.kitchen.cautions.jams import jam_rules
from pipeline.kitchen.cautions.jars import jar_rules
from pipeline.kitchen.cautions.limits import Limits, Rules
from pipeline.kitchen.cautions.looks import finding_rules
from pipeline.kitchen.cautions.pickles import pickle_rules
from pipeline.kitchen.cautions.remarks import remarks_of
from schemas.answers import ANSWERS
from schemas.contracts import core_types


def all_rules(limits: Limits) -> Rules:
    """Every condition, by the id of its row in the rule table."""
    return (
        ferment_rules(limits)
        | pickle_rules(limits)
        | jam_rules(limits)
        | dry_rules(limits)
        | jar_rules(limits)
        | food_rules()
        | finding_rules()
    )


def batch_cautions(
    batches: pl.DataFrame,
    spoilage: pl.DataFrame,
    rules: pl.DataFrame,
    crops: pl.DataFrame,
    ingredients: pl.DataFrame | None = None,
    remarks: pl.DataFrame | None = None,
) -> pl.DataFrame:
    """Flag the batches that break a published limit.

    An empty cell flags nothing, but where not knowing is the hazard: a ferment's pH and salt, a pickle's vinegar and
    processing, and how low-acid food in closed jars was heated. A mixed batch is judged by each of its foods.

    Args:
        batches: core batches.
        spoilage: core spoilage; rows of fresh produce are passed over.
        rules: a frame of ``pipeline.reference.caution_rules``; a rule left out is not applied.
        crops: a frame of ``pipeline.reference.crop_reference``.
        ingredients: core ingredients, if any.
        remarks: what is written about the batches, as :func:`pipeline.kitchen.cautions.remarks.remarks_of` gives it;
            left out, the notes of the frames given.

    Returns:
        The ``cautions`` answer: one row per batch and broken rule, in the order of batches; the serious ones of a batch
        first, then in the order of rules.
    """
    keys = ["row", "batch_id", "sensitivity"]
    known = all_rules(Limits(rules))
    mixed = pl.DataFrame(schema=core_types("ingredients")) if ingredients is None else ingredients
    if remarks is None:
        remarks = remarks_of(batches, {"spoilage": spoilage, "ingredients": mixed})
    return (
        facts_of(batches, spoilage, crops, mixed, remarks)
        .select(
            *keys,
            *(pl.when(broken).then(found).alias(rule) for rule, (broken, found) in known.items()),
        )
        .unpivot(list(known), index=keys, variable_name="rule", value_name="found")
        .drop_nulls("found")
        .join(rules.with_row_index("rank"), left_on="rule", right_on="id")
        .sort("row", pl.col("severity") != "serious", "rank")
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
