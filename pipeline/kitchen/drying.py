"""Drying by weight: what prepared produce comes to when it is dry, and how much water a weighing still shows.

``dried = fresh x (1 - fresh water) / (1 - water left)``. For watery crops a small error in the water of the
fresh food moves the answer far, so weight alone never shows that food is dry.
"""

from __future__ import annotations

from pipeline.errors import UsageError
from pipeline.kitchen.bench import Bench, BenchSum, Crop, Figure, require_between
from pipeline.kitchen.salting import ready_after
from pipeline.kitchen.words import given, grams, number

BY_FEEL = "Whether it is dry: test by feel as well. Vegetables are brittle, fruit is leathery without wet spots."
JAR_TEST = "Whether it stays dry: watch it in a closed jar for days. If damp shows on the glass, dry it again."
FRESH_WATER = "How much water your own produce held: tables give a mean, and ripeness, weather and variety move it."
NOT_PICKED = "What was trimmed away: weigh the prepared produce, not what was picked."


def drying(
    bench: Bench,
    produce_g: float,
    crop: Crop,
    *,
    fresh_water_pct: float | None = None,
    target_pct: float | None = None,
    weighed_g: float | None = None,
    air_c: float | None = None,
    water_error: float = 1.0,
) -> BenchSum:
    """Weight of dried produce at its target, and what a weighing on the way tells.

    Args:
        bench: published values.
        produce_g: prepared produce before drying, g.
        crop: what is dried.
        fresh_water_pct: water of the fresh produce; left out, that of the crop reference.
        target_pct: water that may be left; left out, the published figure for fruit or for vegetables.
        weighed_g: what it weighs now, g.
        air_c: temperature of the drying air, C.
        water_error: how far the fresh water may be off, percent points.

    Raises:
        UsageError: water or target unknown, or a weighing above the fresh weight.
    """
    water = _fresh_water(crop, fresh_water_pct)
    require_between("water of the fresh produce", water, 1, 99, "%")
    require_between("error of the fresh water", water_error, 0, 20, "points")
    target = _target(bench, crop, target_pct)
    require_between("water that may be left", target, 0, 40, "%")
    waters = [min(99.5, water + water_error), water, water - water_error]
    low_g, dried_g, high_g = (produce_g * (100 - each) / (100 - target) for each in waters)
    figures = [
        Figure("solids_g", "solids", produce_g * (100 - water) / 100, "g"),
        Figure("dried_g", f"weight at {number(target)} % water", dried_g, "g", low_g, high_g, toward="down"),
    ]
    title = f"Drying {grams(produce_g)} of {crop.name}"
    per_point = (100 - target) / (100 - water)
    if weighed_g is not None:
        if weighed_g >= produce_g:
            message = f"weighed {number(weighed_g)} g: dried produce weighs less than the {number(produce_g)} g before."
            raise UsageError(message)
        left = [max(0.0, 100 - produce_g * (100 - each) / weighed_g) for each in waters]
        most_g = max(0.0, weighed_g - low_g)
        per_point = produce_g / weighed_g
        figures += [
            Figure("moisture_pct", "water left in it by weight", left[1], "pct", left[2], left[0]),
            Figure(
                "to_lose_g",
                "water still to lose",
                max(0.0, weighed_g - dried_g),
                "g",
                max(0.0, weighed_g - high_g),
                most_g,
                toward="up",
            ),
        ]
        title += f", now {grams(weighed_g)}: {_verdict(left, target, most_g)}"
    figures.append(Figure("sensitivity", "one point of fresh water moves that by", per_point, "points"))
    batch = {
        "method": "dry",
        "crop": crop.name,
        "produce_kg": produce_g / 1000,
        "finished_kg": None if weighed_g is None else weighed_g / 1000,
        "drying_c": air_c,
    }
    ready, ready_limits = ready_after(bench, batch, "conditioning in closed jars")
    names = [] if crop.is_fruit else ["vegetable_too_moist", "cool_drying"]
    names += [] if crop.is_fruit is False else ["fruit_too_moist", "cool_drying_fruit"]
    return bench.answer(
        BenchSum(
            "dry",
            title,
            (*figures, *ready),
            f"{given(produce_g)} g x (100 - {given(water)}) / (100 - {given(target)}) = {given(dried_g)} g",
            (bench.fresh_water(crop) if fresh_water_pct is None else ())
            + bench.limits(*names, "fresh_water_spread", "insect_freeze")
            + ready_limits,
            (BY_FEEL, JAR_TEST, f"{FRESH_WATER} {_error_words(bench, water_error)}", NOT_PICKED),
            batch,
        )
    )


def _error_words(bench: Bench, points: float) -> str:
    """How far off the ranges take the water of the fresh produce to be, and how far off it may be."""
    _, most = bench.bounds("fresh_water_spread")
    return (
        f"The ranges here are for {number(points)} more or less in 100; published tables differ by up to"
        f" {number(most)}, and then the ranges are wider in proportion."
    )


def _fresh_water(crop: Crop, given_pct: float | None) -> float:
    water = crop.water_pct if given_pct is None else given_pct
    if water is None:
        message = f"{crop.name}: the water of the fresh produce is not known; give it with --fresh-water, in percent."
        raise UsageError(message)
    return water


def _target(bench: Bench, crop: Crop, given_pct: float | None) -> float:
    if given_pct is not None:
        return given_pct
    fruit, vegetable = bench.value("fruit_too_moist"), bench.value("vegetable_too_moist")
    if crop.is_fruit is None:
        message = (
            f"{crop.name}: is it fruit or a vegetable? Give --target {number(fruit)} for fruit,"
            f" --target {number(vegetable)} for vegetables."
        )
        raise UsageError(message)
    return fruit if crop.is_fruit else vegetable


def _verdict(left_pct: list[float], target: float, most_g: float) -> str:
    """What the weighing says: never that it is dry."""
    high, middle, _ = left_pct
    if middle > target:
        return f"not dry yet, up to {grams(most_g)} to lose"
    if high > target:
        return f"perhaps not dry yet, up to {grams(most_g)} to lose"
    return "by weight at its target; test by feel"
