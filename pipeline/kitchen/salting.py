"""Salt for ferments: dry salting by percent of produce, and brine by percent of everything.

The two percentages have different bases and are never mixed: ``of_produce`` is salt over prepared produce,
``of_all`` is salt over produce, liquid and salt.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pipeline.errors import UsageError
from pipeline.kitchen.bench import Bench, BenchSum, Crop, Figure, Limit, require_between
from pipeline.kitchen.cautions import planned_batch
from pipeline.kitchen.ready import ready_days
from pipeline.kitchen.water_activity import salt_water_activity
from pipeline.kitchen.words import as_printed, given, grams, number

READY = "ready in taste after"
MOST_SALT_PCT = 26.0
"""Water takes up no more salt than this at room temperature."""

BASIS = (
    "Basis: salt of the produce, salt of everything and salt of the brine before packing are three numbers. Compare"
    " a recipe only with the one it means, and log the weights."
)
ACTIVITY = (
    "Water activity: this much salt alone keeps nothing. It holds back spoilage until acid has formed; only a measured"
    " pH of 4.6 or lower shows that it has."
)
THINNED = "once it has evened out it is weaker, for the water in the produce thins it."
NOT_SOUR = "Whether it will turn sour, or when: that depends on the produce, the warmth and what lives on it."


def spoons(bench: Bench) -> str:
    """Why salt is weighed, by the recipe whose own spoons and cups disagree."""
    by_cups, by_spoons = bench.value("salt_by_cups"), bench.value("salt_by_spoons")
    return (
        f"Spoons: weigh the salt. One published sauerkraut recipe comes to {number(by_cups)} % by its cups and"
        f" {number(by_spoons)} % by its spoons."
    )


def dry_salting(
    bench: Bench,
    produce_g: float,
    *,
    percent: float | None = None,
    salt_g: float | None = None,
    crop: Crop | None = None,
    temperature_c: float | None = None,
    piece: str | None = None,
) -> BenchSum:
    """Salt for produce that ferments in its own juice.

    Args:
        bench: published values.
        produce_g: prepared produce, g.
        percent: salt of the produce's weight; left out, the middle of the published range.
        salt_g: salt as weighed, in place of a percentage.
        crop: what is salted.
        temperature_c: where it will stand.
        piece: how it is cut (``whole``, ``chunk``, ``shred``).

    Raises:
        UsageError: both or an impossible amount of salt.
    """
    _not_both(percent=percent, salt_g=salt_g)
    low, high = bench.bounds("salt_of_cabbage")
    if salt_g is None:
        share = (low + high) / 2 if percent is None else percent
        salt = produce_g * share / 100
        working = f"{given(produce_g)} g x {given(share)} / 100 = {given(salt)} g of salt"
    else:
        salt, share = salt_g, 100 * salt_g / produce_g
        working = f"100 x {given(salt)} g of salt / {given(produce_g)} g = {given(share)} % of the produce"
    require_between("salt of the produce", share, 0, MOST_SALT_PCT, "%")
    weighed = as_printed(salt, "up") if salt_g is None else salt
    batch = _ferment(crop, produce_g, weighed, temperature_c, piece)
    figures = [Figure("salt_g", "salt", salt, "g", toward="up"), *_both_measures(salt, produce_g, 0.0)]
    figures += _in_the_water(crop, salt, produce_g, 0.0)
    container_ml = bench.value("container_per_kg") * produce_g
    figures.append(Figure("container_ml", "container, at least", container_ml, "ml", toward="up"))
    ready, ready_limits = ready_after(bench, batch, READY)
    practice = () if crop is not None and crop.name == "cabbage" else ("salt_shredded_practice",)
    return bench.answer(
        BenchSum(
            "salt",
            f"Dry salting: {grams(produce_g)} of {crop.name if crop else 'produce'}",
            (*figures, *ready),
            working,
            bench.limits("salt_of_cabbage", *practice, "low_salt", "ph_missing", "warm_ferment", "container_per_kg")
            + bench.fresh_water(crop)
            + ready_limits,
            (spoons(bench), BASIS, ACTIVITY, NOT_SOUR),
            batch,
            (_top_up(bench),),
        )
    )


def brine(
    bench: Bench,
    produce_g: float,
    water_ml: float,
    *,
    percent: float | None = None,
    strength: float | None = None,
    salt_g: float | None = None,
    vinegar_ml: float = 0.0,
    crop: Crop | None = None,
    temperature_c: float | None = None,
    piece: str | None = None,
) -> BenchSum:
    """Salt for produce in added water, and what the brine comes to once it has evened out.

    Args:
        bench: published values.
        produce_g: prepared produce, g.
        water_ml: water, ml, at 1 g per ml.
        percent: salt wanted of everything: produce, water, vinegar and salt.
        strength: salt wanted in the brine before packing, in place of ``percent``.
        salt_g: salt as weighed, in place of either.
        vinegar_ml: vinegar that goes in too.
        crop: what is brined.
        temperature_c: where it will stand.
        piece: how it is cut.

    Raises:
        UsageError: not exactly one of the three, or an impossible amount of salt.
    """
    liquid_g = water_ml + vinegar_ml
    salt, working = _brine_salt(produce_g, liquid_g, percent=percent, strength=strength, salt_g=salt_g)
    before_packing = 100 * salt / (liquid_g + salt)
    require_between("salt of the brine before packing", before_packing, 0, MOST_SALT_PCT, "%")
    weighed = as_printed(salt, "up") if salt_g is None else salt
    batch = _ferment(crop, produce_g, weighed, temperature_c, piece)
    batch |= {"water_ml": water_ml, "vinegar_ml": vinegar_ml}
    ready, ready_limits = ready_after(bench, batch, READY)
    figures = [
        Figure("salt_g", "salt", salt, "g", toward="up"),
        Figure("brine_pct_before_packing", "salt of the brine before packing", before_packing, "pct"),
        *_both_measures(salt, produce_g, liquid_g),
        *_in_the_water(crop, salt, produce_g, liquid_g),
        *ready,
    ]
    return bench.answer(
        BenchSum(
            "brine",
            f"Brine: {grams(produce_g)} of {crop.name if crop else 'produce'} in {number(liquid_g)} ml",
            tuple(figures),
            working,
            bench.limits("low_salt", "dill_before_packing", "dill_of_all", "ph_missing", "warm_ferment")
            + bench.fresh_water(crop)
            + ready_limits,
            (spoons(bench), BASIS, ACTIVITY, NOT_SOUR),
            batch,
            (f"The brine of {number(before_packing)} % before packing: {THINNED}", _top_up(bench)),
        )
    )


def _brine_salt(
    produce_g: float, liquid_g: float, *, percent: float | None, strength: float | None, salt_g: float | None
) -> tuple[float, str]:
    """Salt in g and the line of arithmetic that gives it, or that it gives."""
    _not_both(percent=percent, strength=strength, salt_g=salt_g)
    whole_g = produce_g + liquid_g
    if salt_g is not None:
        of_all = 100 * salt_g / (whole_g + salt_g)
        weights = f"{given(produce_g)} g + {given(liquid_g)} g + {given(salt_g)} g of salt"
        return salt_g, f"100 x {given(salt_g)} g of salt / ({weights}) = {given(of_all)} % of everything"
    if strength is not None:
        require_between("salt of the brine", strength, 0, MOST_SALT_PCT, "%")
        salt = liquid_g * strength / (100 - strength)
        return (
            salt,
            f"{given(liquid_g)} g x {given(strength)} / (100 - {given(strength)}) = {given(salt)} g of salt",
        )
    if percent is not None:
        require_between("salt of everything", percent, 0, MOST_SALT_PCT, "%")
        salt = whole_g * percent / (100 - percent)
        weights = f"({given(produce_g)} g + {given(liquid_g)} g)"
        return salt, f"{weights} x {given(percent)} / (100 - {given(percent)}) = {given(salt)} g of salt"
    message = "brine: say how much salt, with --percent (of everything), --strength (of the brine) or --salt."
    raise UsageError(message)


def _not_both(**given: float | None) -> None:
    names = [name.removesuffix("_g") for name, value in given.items() if value is not None]
    if len(names) > 1:
        message = f"give one of {', '.join('--' + name for name in names)}, not {len(names)}."
        raise UsageError(message)


def _ferment(
    crop: Crop | None, produce_g: float, salt_g: float, temperature_c: float | None, piece: str | None
) -> dict[str, Any]:
    return {
        "method": "ferment",
        "crop": crop.name if crop else None,
        "produce_kg": produce_g / 1000,
        "salt_g": salt_g,
        "store_c": temperature_c,
        "piece": piece,
    }


def _both_measures(salt_g: float, produce_g: float, liquid_g: float) -> list[Figure]:
    return [
        Figure("salt_pct_of_produce", "salt of the produce", 100 * salt_g / produce_g, "pct"),
        Figure("salt_pct_of_all", "salt of everything", 100 * salt_g / (produce_g + liquid_g + salt_g), "pct"),
    ]


def _in_the_water(crop: Crop | None, salt_g: float, produce_g: float, liquid_g: float) -> list[Figure]:
    """Salt of all the water, the produce's own too, once it has evened out; nothing where that cannot be said."""
    if crop is None or crop.water_pct is None:
        return []
    water_g = liquid_g + produce_g * crop.water_pct / 100
    share = 100 * salt_g / (water_g + salt_g)
    if share > MOST_SALT_PCT:
        return []
    return [
        Figure("salt_pct_of_water", "salt of all the water, evened out", share, "pct"),
        Figure("water_activity", "water activity at 25 C, from salt alone", salt_water_activity(share), "a_w"),
    ]


def ready_after(bench: Bench, batch: Mapping[str, Any], label: str) -> tuple[list[Figure], tuple[Limit, ...]]:
    """How long the batch takes by published times, and where they are published; nothing where none is."""
    row = ready_days(planned_batch(batch), bench.ready, bench.crops).row(0, named=True)
    low, high = row["days_low"], row["days_high"]
    if row["ready_source"] is None:
        return [], ()
    limits = (Limit("ready", f"{label}: {row['ready_note']}", row["ready_source"], row["ready_read_as"]),)
    return ([] if low is None else [Figure("ready_days", label, low, "days", low, high)]), limits


def _top_up(bench: Bench) -> str:
    share = bench.value("top_up_brine")
    limit = bench.limit("top_up_brine")
    per_litre = 1000 * share / (100 - share)
    return (
        f"If liquid does not cover it, top up with boiled and cooled brine of {number(per_litre)} g salt per litre of"
        f" water ({number(share)} %; {limit.source})."
    )
