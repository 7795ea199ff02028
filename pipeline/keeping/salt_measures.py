"""Salt of a batch on its two bases, whose names never mix.

``salt_pct_of_produce`` is salt over prepared produce: the way dry-salted ferments are described.
``salt_pct_of_all`` is salt over produce, liquid and salt: what a brined jar comes to once it has evened out.
A brine of 7 % before packing can be 3.7 % of everything, so the two are not to be compared.
"""

from __future__ import annotations

from itertools import pairwise

import polars as pl

SALT_CUTS_PCT = (0.0, 1.0, 1.75, 2.25, 2.75, 3.5, 5.0)
"""Lower ends of the salt bands, percent; a band holds its lower end and not its upper end."""

SALT_BANDS = (
    *(f"{low:g} to {high:g} %" for low, high in pairwise(SALT_CUTS_PCT)),
    f"{SALT_CUTS_PCT[-1]:g} % or more",
)
"""Names of the salt bands, in order."""


def with_salt_measures(batches: pl.DataFrame) -> pl.DataFrame:
    """Add the salt level of each batch, on both bases, with the one that applies and its band.

    A batch is brined where water or vinegar was added; an empty liquid counts as none. Liquids are taken
    at 1 g per ml.

    Args:
        batches: any frame with ``produce_kg``, ``salt_g``, ``water_ml`` and ``vinegar_ml`` (Float64).

    Returns:
        The same rows in the same order with ``salt_pct_of_produce`` and ``salt_pct_of_all`` (percent, null
        where salt or produce is unknown), ``salt_pct`` (the one that applies), ``salt_basis`` (``of produce``
        for dry-salted, ``of all`` for brined) and ``salt_band``; the last two are null where ``salt_pct`` is.
    """
    produce_g = 1000 * pl.when(pl.col("produce_kg") > 0).then("produce_kg")
    liquid_g = pl.col("water_ml").fill_null(0) + pl.col("vinegar_ml").fill_null(0)
    of_produce = 100 * pl.col("salt_g") / produce_g
    of_all = 100 * pl.col("salt_g") / (produce_g + liquid_g + pl.col("salt_g"))
    brined = liquid_g > 0
    applies = pl.when(brined).then(of_all).otherwise(of_produce)
    basis = pl.when(brined).then(pl.lit("of all")).otherwise(pl.lit("of produce"))
    # Rounded, so that 2.25 % weighed out exactly does not fall below its band for the last binary digit.
    level = applies.round(9)
    bands = zip(reversed(SALT_CUTS_PCT), reversed(SALT_BANDS), strict=True)
    return batches.with_columns(
        salt_pct_of_produce=of_produce,
        salt_pct_of_all=of_all,
        salt_pct=applies,
        salt_basis=pl.when(applies.is_not_null()).then(basis),
        salt_band=pl.coalesce(pl.when(level >= low).then(pl.lit(band)) for low, band in bands),
    )
