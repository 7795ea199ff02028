"""Jam: soluble solids by weight, the weight to boil down to, gel point by altitude, and water activity.

The solids of fruit are counted as dissolved unless they were measured. They are not all, so what is worked out
from them is a bound: the finished jam must weigh no more.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

import polars as pl

from pipeline.errors import UsageError
from pipeline.kitchen.bench import Bench, BenchSum, Crop, Figure, Limit, require_between
from pipeline.kitchen.water_activity import HONEY_SOLIDS_SHARE, syrup_activity_range
from pipeline.kitchen.words import as_printed, given, grams, number

M_PER_FT = 0.3048
F_PER_C = 1.8
MOST_SOLIDS_PCT = 90.0
"""Thicker than this it is no longer a syrup, and nothing below holds."""

GROUP_ADVICE = {
    1: "has pectin and acid enough, if not over-ripe: it should set by itself",
    2: "may need acid or pectin: test a spoonful, or add lemon juice or pectin by a tested recipe",
    3: "always needs added acid or pectin, or both, by a tested recipe",
}
NOT_SET = "Whether it sets: pectin, acid and ripeness decide that. Test a cold spoonful."
NOT_DISSOLVED = (
    "How much of the fruit's solids is dissolved: a refractometer shows it. The weight given is the most, if all were."
)
NOT_KEEPING = "Whether it keeps: that takes clean jars, the right headspace and processing by a tested recipe."
NOT_ACTIVITY = (
    "Water activity is worked out for a plain syrup of these sugars and only explains why thick jam keeps longer."
)


def jam(
    bench: Bench,
    fruit_g: float,
    crop: Crop,
    *,
    sugar_g: float = 0.0,
    honey_g: float = 0.0,
    fruit_solids_pct: float | None = None,
    target_pct: float | None = None,
    finished_g: float | None = None,
    altitude_m: float = 0.0,
    store: str = "pantry",
    processed: bool | None = None,
    note: str | None = None,
) -> BenchSum:
    """Solids of a jam and the weight to boil it down to.

    Args:
        bench: published values.
        fruit_g: prepared fruit, g.
        crop: the fruit.
        sugar_g: sugar, g.
        honey_g: honey, g.
        fruit_solids_pct: dissolved solids of the fruit as measured; left out, all that is not water.
        target_pct: solids to boil down to; left out, the published least.
        finished_g: weight of the finished jam, if it is made.
        altitude_m: height above the sea, m.
        store: where it will stand.
        processed: whether the jars are processed in boiling water.
        note: anything noted about how the jars were closed.

    Raises:
        UsageError: fruit without known solids, a finished weight below its solids, or an altitude or solids
            beyond the published values.
    """
    if fruit_solids_pct is None and crop.water_pct is None:
        message = f"{crop.name}: its water is not known; give its solids with --fruit-solids, in percent."
        raise UsageError(message)
    measured = fruit_solids_pct is not None
    fruit_pct = fruit_solids_pct if fruit_solids_pct is not None else 100 - (crop.water_pct or 0.0)
    require_between("solids of the fruit", fruit_pct, 0, 60, "%")
    target = bench.value("thin_jam") if target_pct is None else target_pct
    require_between("solids to boil down to", target, 20, 85, "%")
    sweet_g = sugar_g + honey_g * HONEY_SOLIDS_SHARE
    solids_g = fruit_g * fruit_pct / 100 + sweet_g
    mixed_g = fruit_g + sugar_g + honey_g
    final_g = 100 * solids_g / target
    least_g = final_g if measured else 100 * sweet_g / target
    figures = [
        Figure("sweetener_solids_g", "solids that the sweetener brings", sweet_g, "g"),
        Figure("solids_before_pct", "solids before boiling, at most", 100 * solids_g / mixed_g, "pct"),
        Figure(
            "final_g",
            f"weight at {number(target)} % solids, at most",
            final_g,
            "g",
            note=_bound(least_g, final_g),
            toward="down",
        ),
        Figure("boil_off_g", "water to boil off, at least", max(0.0, mixed_g - final_g), "g", toward="up"),
    ]
    solids_pct = target
    if finished_g is not None:
        solids_pct = 100 * solids_g / finished_g
        require_between("solids by weight", solids_pct, 0, MOST_SOLIDS_PCT, "%: check the finished weight;")
        low = None if measured else 100 * sweet_g / finished_g
        label = "solids of the finished jam, at most"
        figures.append(Figure("solids_pct", label, solids_pct, "pct", low, solids_pct))
    figures += _activity(solids_pct, sugar_g / solids_g, honey_g * HONEY_SOLIDS_SHARE / solids_g)
    figures += gel_points(bench, altitude_m)
    figures += _instead(bench, sugar_g)
    solids = f"{given(fruit_g)} g x {given(fruit_pct)} / 100 + {given(sweet_g)} g"
    working = f"({solids}) / {given(target)} x 100 = {given(final_g)} g"
    honey = ("honey_practice", "honey_share") if honey_g > 0 else ("honey_practice",)
    return bench.answer(
        BenchSum(
            "jam",
            f"Jam: {grams(fruit_g)} of {crop.name}, {_sweetener(sugar_g, honey_g)}",
            tuple(figures),
            working,
            (() if measured else bench.fresh_water(crop))
            + bench.limits("thin_jam", bench.fruit_share(crop), "sugar_practice", *honey)
            + (_gel_table(bench),)
            + bench.limits("gel_jelly", "gel_jam", "jam_not_processed", "legal_a_w"),
            (*(() if measured else (NOT_DISSOLVED,)), NOT_SET, NOT_KEEPING, NOT_ACTIVITY),
            {
                "method": "jam",
                "crop": crop.name,
                "produce_kg": fruit_g / 1000,
                # Honey and sugar together stand as the honey that would bring the same solids.
                "sweetener": "honey" if honey_g else "sugar" if sugar_g else "none",
                "sweetener_weight_g": sweet_g / HONEY_SOLIDS_SHARE if honey_g else sugar_g,
                "finished_kg": (as_printed(final_g, "down") if finished_g is None else finished_g) / 1000,
                "store": store,
                "heat_processed": processed,
                "note": note,
            },
            _advice(bench, crop, fruit_g, sugar_g, honey_g),
        )
    )


def gel_points(bench: Bench, altitude_m: float) -> list[Figure]:
    """Gel point of jelly, and of jam without added pectin, at an altitude.

    The published table is read between its rows; below sea level its first row counts.

    Raises:
        UsageError: an altitude above the published table.
    """
    points = list(bench.gel.sort("altitude_ft").select("altitude_ft", "gel_f").iter_rows())
    feet, highest = max(points[0][0], altitude_m / M_PER_FT), points[-1][0]
    if feet > highest + 0.5:
        metres = highest * M_PER_FT
        message = f"altitude {altitude_m:.0f} m: the published table ends at {metres:.0f} m ({highest:.0f} ft)."
        raise UsageError(message)
    jelly_f = points[-1][1]
    for (low, low_f), (high, high_f) in pairwise(points):
        if low <= feet <= high:
            jelly_f = low_f + (high_f - low_f) * (feet - low) / (high - low)
            break
    jam_f = jelly_f - bench.value("gel_jelly") + bench.value("gel_jam")
    return [
        Figure("gel_jelly_c", "gel point of jelly here", (jelly_f - 32) / F_PER_C, "C"),
        Figure("gel_jam_c", "gel point of jam without added pectin here", (jam_f - 32) / F_PER_C, "C"),
    ]


def _gel_table(bench: Bench) -> Limit:
    first = bench.gel.row(0, named=True)
    return Limit("gel_table", "gel point of jelly by altitude", first["source"], first["read_as"])


def _bound(least_g: float, final_g: float) -> str:
    if math.isclose(least_g, final_g):
        return ""
    return f"{grams(least_g)} if none of the fruit's solids dissolved"


def _activity(solids_pct: float, sugar_share: float, honey_share: float) -> list[Figure]:
    low, high = syrup_activity_range(solids_pct, sugar_share, honey_share)
    note = "lower where acid and heat split the sugar" if sugar_share else ""
    return [Figure("water_activity", "water activity of such a syrup", high, "a_w", low, high, note)]


def _instead(bench: Bench, sugar_g: float) -> list[Figure]:
    if not sugar_g:
        return []
    honey_g = sugar_g * bench.value("honey_practice") / 100
    solids_g = honey_g * HONEY_SOLIDS_SHARE
    note = f"brings {grams(solids_g)} of solids and {grams(honey_g - solids_g)} of water"
    return [Figure("honey_instead_g", "honey in place of the sugar, by common practice", honey_g, "g", note=note)]


def _sweetener(sugar_g: float, honey_g: float) -> str:
    parts = [f"{grams(weight)} of {name}" for weight, name in ((sugar_g, "sugar"), (honey_g, "honey")) if weight]
    return " and ".join(parts) or "nothing to sweeten it"


def _advice(bench: Bench, crop: Crop, fruit_g: float, sugar_g: float, honey_g: float) -> tuple[str, ...]:
    lines = [_pectin(bench.pectin, crop)]
    sweetener_g = sugar_g + honey_g
    share = 100 * fruit_g / (fruit_g + sweetener_g)
    if share < bench.value(bench.fruit_share(crop)):
        lines.append(f"Fruit is {number(share)} % of fruit and sweetener, less than what is sold as jam must have.")
    if sweetener_g and 100 * honey_g / sweetener_g > bench.value("honey_share"):
        lines.append("More than half of the sweetener is honey: expect a longer boil and a softer set.")
    lines.append("Without added pectin, a quarter of the fruit may be under-ripe: it sets better.")
    return tuple(line for line in lines if line)


def _pectin(classes: pl.DataFrame, crop: Crop) -> str:
    known: list[dict[str, Any]] = classes.filter(pl.col("crop") == crop.name).to_dicts()
    if not known:
        return f"Pectin and acid of {crop.name}: no published class is known here; test a cold spoonful."
    row = known[0]
    note = f"; {row['note']}" if row["note"] else ""
    return (
        f"Pectin and acid of {crop.name}: group {row['pectin_group']:.0f}, {GROUP_ADVICE[int(row['pectin_group'])]}"
        f" ({row['source']}; {row['read_as']}{note})."
    )
