"""Vinegar pickles: acid after mixing with water. Acid is not pH; no pH is ever computed here.

Published recipes mean vinegar of 5 % acid, and at least as much of it as of water. Stronger vinegar counts as if it
had been thinned to 5 % first.
"""

from __future__ import annotations

from pipeline.errors import UsageError
from pipeline.kitchen.bench import Bench, BenchSum, Crop, Figure, require_between
from pipeline.kitchen.salting import BASIS, MOST_SALT_PCT, READY, ready_after
from pipeline.kitchen.words import as_printed, given, number

NO_PH = (
    "The pH: it depends on the produce as much as on the vinegar, so none is worked out here. Measure it in the"
    " blended pickle once it has evened out, which takes hours to days (Minnesota Dept. of Agriculture)."
)
PROPORTIONS = "Whether the recipe is tested: its vinegar, water and food go together, and are not to be altered."
COLD = "Whether it keeps unprocessed: that is for a refrigerator, and no official time for it was found."


def vinegar_mix(
    bench: Bench,
    vinegar_ml: float,
    water_ml: float,
    *,
    acid_pct: float = 5.0,
    produce_g: float | None = None,
    salt_g: float | None = None,
    percent: float | None = None,
    ph: float | None = None,
    crop: Crop | None = None,
    processed: bool | None = None,
    store: str | None = None,
    piece: str | None = None,
) -> BenchSum:
    """Acid of a pickling liquid.

    Args:
        bench: published values.
        vinegar_ml: vinegar, ml.
        water_ml: water, ml; 0 for none.
        acid_pct: acid on the vinegar's label, percent.
        produce_g: prepared produce, g.
        salt_g: salt, g.
        percent: salt of the produce and the liquid together, in place of ``salt_g``.
        ph: pH as measured, if it was.
        crop: what is pickled.
        processed: whether the jars are processed in boiling water.
        store: where they will stand.
        piece: how it is cut.

    Raises:
        UsageError: an impossible strength, or a share of salt without produce or beside a weight of salt.
    """
    require_between("acid of the vinegar", acid_pct, 0, 80, "%")
    wanted = _wanted_salt(vinegar_ml + water_ml, produce_g, salt_g, percent)
    if wanted:
        salt_g = as_printed(wanted[0].value, "up")
    mixed = acid_pct * vinegar_ml / (vinegar_ml + water_ml)
    batch = {
        "method": "pickle",
        "crop": crop.name if crop else None,
        "vinegar_ml": vinegar_ml,
        "water_ml": water_ml,
        "vinegar_acid_pct": acid_pct,
        "produce_kg": None if produce_g is None else produce_g / 1000,
        "salt_g": salt_g,
        "ph": ph,
        "heat_processed": processed,
        "store": store,
        "piece": piece,
    }
    figures = [Figure("acid_pct_of_liquid", "acid of the liquid after mixing", mixed, "pct")]
    if water_ml > 0:
        share = vinegar_ml / water_ml
        figures.append(Figure("vinegar_per_water", "parts of vinegar to one of water", share, "ratio"))
    figures = [*wanted, *figures, *_water_borne(bench, vinegar_ml, water_ml, acid_pct)]
    figures += _with_produce(bench, vinegar_ml + water_ml, mixed, produce_g, salt_g, crop)
    ready, ready_limits = ready_after(bench, batch, READY)
    mixed_of = f"{given(acid_pct)} % x {given(vinegar_ml)} / ({given(vinegar_ml)} + {given(water_ml)})"
    return bench.answer(
        BenchSum(
            "pickle",
            f"Pickling liquid: {number(vinegar_ml)} ml vinegar of {number(acid_pct)} %, {number(water_ml)} ml water",
            (*figures, *ready),
            f"{mixed_of} = {given(mixed)} % acid",
            bench.limits(
                "weak_vinegar",
                "more_water_than_vinegar",
                "ph_above_limit",
                "ph_near_limit",
                "pickle_not_processed",
                "salt_vinegar_practice",
            )
            + (bench.fresh_water(crop) if produce_g else ())
            + ready_limits,
            (NO_PH, PROPORTIONS, COLD, BASIS),
            batch,
        )
    )


def _wanted_salt(liquid_g: float, produce_g: float | None, salt_g: float | None, percent: float | None) -> list[Figure]:
    """Salt that makes a share of the produce and the liquid; nothing where no share is asked for."""
    if percent is None:
        return []
    if salt_g is not None:
        message = "give one of --percent, --salt, not 2."
        raise UsageError(message)
    if produce_g is None:
        message = "--percent is of the produce and the vinegar together: give --produce as well."
        raise UsageError(message)
    require_between("salt of the produce and the liquid", percent, 0, MOST_SALT_PCT, "%")
    note = f"{number(percent)} % of the produce and the liquid together"
    return [Figure("salt_g", "salt", (produce_g + liquid_g) * percent / 100, "g", note=note, toward="up")]


def _water_borne(bench: Bench, vinegar_ml: float, water_ml: float, acid_pct: float) -> list[Figure]:
    """The most water that the vinegar bears, and what is lacking; nothing for vinegar weaker than recipes ask for."""
    if acid_pct < bench.value("weak_vinegar"):
        return []
    least = bench.value("more_water_than_vinegar")
    most_ml = vinegar_ml * (acid_pct / least - 1)
    figures = [Figure("most_water_ml", "most water for this much vinegar", most_ml, "ml", toward="down")]
    if water_ml > most_ml:
        more_ml = water_ml * least / (acid_pct - least) - vinegar_ml
        figures.append(
            Figure("more_vinegar_ml", "vinegar that is lacking for this much water", more_ml, "ml", toward="up")
        )
    return figures


def _with_produce(
    bench: Bench, liquid_g: float, mixed_pct: float, produce_g: float | None, salt_g: float | None, crop: Crop | None
) -> list[Figure]:
    if produce_g is None:
        return []
    figures = []
    if crop is not None and crop.water_pct is not None:
        evened = mixed_pct * liquid_g / (liquid_g + produce_g * crop.water_pct / 100)
        note = "the acid is thinned by the water of the produce; this is no pH"
        figures.append(Figure("acid_pct_evened_out", "acid of all the water, evened out", evened, "pct", note=note))
    if salt_g is None:
        practice = bench.value("salt_vinegar_practice")
        note = f"{number(practice)} % of the vegetables; common practice, no source"
        return [*figures, Figure("salt_practice_g", "salt, for taste", produce_g * practice / 100, "g", note=note)]
    return [
        *figures,
        Figure("salt_pct_of_produce", "salt of the produce", 100 * salt_g / produce_g, "pct"),
        Figure("salt_pct_of_all", "salt of everything", 100 * salt_g / (produce_g + liquid_g + salt_g), "pct"),
    ]
