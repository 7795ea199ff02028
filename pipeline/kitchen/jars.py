"""How many jars a weight of produce fills, from published yields."""

from __future__ import annotations

import math
from typing import Any

import polars as pl

from pipeline.errors import UsageError
from pipeline.kitchen.bench import Bench, BenchSum, Crop, Figure, Limit
from pipeline.kitchen.words import grams, number
from schemas.units import UNITS

_SIZES = {unit.name: unit.size for unit in UNITS}
AS_PICKED = "What is trimmed away: the yields are of produce as picked or as named, and vary by size and packing."
HEADSPACE = "How full to fill: leave the headspace of the recipe, and process by its time for this size of jar."


def jars(bench: Bench, produce_g: float, crop: Crop, *, jar_ml: float = 500.0, form: str | None = None) -> BenchSum:
    """Jars that a weight of produce fills, for each published way of filling them.

    Args:
        bench: published values.
        produce_g: produce as picked, g.
        crop: what fills them.
        jar_ml: volume of one jar or box, ml.
        form: one way of filling, such as ``crushed``; left out, all of them.

    Raises:
        UsageError: no published yield for the crop or the form.
    """
    rows = bench.yields.filter(pl.col("crop") == crop.name)
    if rows.is_empty():
        message = f"{crop.name}: no published yield is known. Known: {', '.join(sorted(set(bench.yields['crop'])))}."
        raise UsageError(message)
    forms = rows["form"].to_list()
    if form is not None and form not in forms:
        message = f"--form {form}: published for {crop.name}: {', '.join(forms)}."
        raise UsageError(message)
    chosen = (rows if form is None else rows.filter(pl.col("form") == form)).to_dicts()
    figures = [figure for row in chosen for figure in _figures(row, produce_g, jar_ml)]
    first = chosen[0]
    low, _ = kg_per_l(first)
    working = f"{number(produce_g / 1000)} kg / ({number(low)} kg per l x {number(jar_ml / 1000)} l)"
    return bench.answer(
        BenchSum(
            "jars",
            f"Jars of {number(jar_ml)} ml for {grams(produce_g)} of {crop.name}",
            tuple(figures),
            f"{working} = {number(produce_g / 1000 / (low * jar_ml / 1000))} jars ({first['form']})",
            tuple(_limit(row) for row in chosen),
            (AS_PICKED, HEADSPACE),
            {"method": first["method"], "crop": crop.name},
        )
    )


def kg_per_l(row: dict[str, Any]) -> tuple[float, float]:
    """Produce per volume from a row of ``pipeline.reference.jar_yields``, least and most, kg per l."""
    litres = row["quarts"] * _SIZES["qt"] / 1000
    low, high = (row[name] * _SIZES["lb"] / 1000 / litres for name in ("lb_low", "lb_high"))
    return low, high


def _figures(row: dict[str, Any], produce_g: float, jar_ml: float) -> list[Figure]:
    low, high = kg_per_l(row)
    per_jar = [produce_g / 1000 / (each * jar_ml / 1000) for each in (high, low)]
    name = row["form"].replace(" ", "_")
    note = f"have {math.ceil(per_jar[1] - 1e-9)} ready"
    return [
        Figure(f"jars_{name}", row["form"], per_jar[1], "jars", per_jar[0], per_jar[1], note),
        Figure(f"kg_per_l_{name}", f"{row['form']}: produce for a litre", low, "kg", low, high),
    ]


def _limit(row: dict[str, Any]) -> Limit:
    pounds = number(row["lb_low"]) if row["lb_low"] == row["lb_high"] else f"{row['lb_low']:g} to {row['lb_high']:g}"
    note = f" ({row['note']})" if row["note"] else ""
    return Limit(
        f"yield_{row['form']}",
        f"{row['form']}: {pounds} lb fill {row['quarts']:g} qt{note}",
        row["source"],
        row["read_as"],
    )
