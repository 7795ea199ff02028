"""The truth written down: what the simulator drew from, and what came of it."""

from __future__ import annotations

from collections import Counter
from typing import Any

from sample_data import truth as t
from sample_data.household import Household
from sample_data.keeping import Fate, Kept, cumulative_hazard
from sample_data.making import CAUTION_WORDS
from sample_data.scenario import Picking, Scenario, Sowing

WEEKS_IN_12_MONTHS = 365.25 / 7


def account(
    scenario: Scenario,
    sowings: tuple[Sowing, ...],
    pickings: tuple[Picking, ...],
    household: Household,
    kept: Kept,
) -> dict[str, Any]:
    """Everything an analysis could be asked to find again. Weights in kg unless the name says otherwise."""
    return {
        "about": "Invented. Drawn by the simulator; no figure here is a published value.",
        "seed": scenario.seed,
        "scenario": scenario.name,
        "growing": _growing(scenario, sowings, pickings),
        "fresh": _fresh(household),
        "keeping": _keeping(kept),
        "tastes": {f"{trial}: {arm}": liking for (trial, arm), liking in t.LIKING.items() if scenario.honest_mess},
        "uses_per_month_of_what_is_at_hand": {
            method: t.USE_PER_MONTH.get(method, t.USUAL_USE_PER_MONTH) for method in t.CUMULATIVE_HAZARD_12_MONTHS
        },
        "batches": [_batch(fate) for fate in kept.fates],
        "cautions": _cautions(scenario, kept),
    }


def _growing(scenario: Scenario, sowings: tuple[Sowing, ...], pickings: tuple[Picking, ...]) -> dict[str, Any]:
    picked: Counter[str] = Counter()
    for picking in pickings:
        picked[picking.sowing_id] += picking.grams
    used = sorted({line.crop for line in scenario.sowings} | {tree.crop for tree in scenario.trees})
    return {
        "degree_day_method": "single sine, horizontal cutoff; no response to light",
        "site_factor": scenario.site_factor,
        "variety_factor": dict(t.VARIETY_FACTOR),
        "sowing_sd": t.SOWING_SD,
        "crops": {
            crop: {
                "base_c": t.CROPS[crop].base_c,
                "upper_c": t.CROPS[crop].upper_c,
                "reference_degree_days": t.CROPS[crop].degree_days,
                "degree_days_here": round(t.CROPS[crop].degree_days * scenario.site_factor, 1),
                "picking_days": t.CROPS[crop].picking_days,
                "yield_kg": t.CROPS[crop].yield_kg,
                "yield_unit": t.CROPS[crop].unit,
            }
            for crop in used
        },
        "sowings": {
            sowing.sowing_id: {
                "crop": sowing.line.crop,
                "degree_days": round(sowing.degree_days, 1),
                "ready_on": sowing.ready_on.isoformat() if sowing.ready_on else None,
                "picking_days": round(sowing.picking_days, 1),
                "picked_kg": picked[sowing.sowing_id] / 1000,
            }
            for sowing in sowings
        },
    }


def _fresh(household: Household) -> dict[str, Any]:
    names = ("picked", "eaten", "given", "put_by", "wasted", "left")
    return {
        "kitchen_kg_per_week": household.scenario.kitchen_kg_per_week,
        "balance": {
            crop: {f"{name}_kg": getattr(balance, name) / 1000 for name in names}
            for crop, balance in sorted(household.balance.items())
        },
        "wanted_kg_per_week": {
            crop: round(household.weekly_demand_g(crop) / 1000, 2) for crop in sorted(household.balance)
        },
        "wasted_kg_by_sowing": {
            sowing: grams / 1000 for sowing, grams in sorted(household.waste_by_sowing.items()) if sowing
        },
    }


def _keeping(kept: Kept) -> dict[str, Any]:
    return {
        "weibull_shape": t.WEIBULL_SHAPE,
        "batch_frailty_variance": t.FRAILTY_VARIANCE,
        "reference_make": "metal lid, cellar, 2 % salt, dry enough, submerged, heat-processed where due",
        "cumulative_hazard_12_months": dict(t.CUMULATIVE_HAZARD_12_MONTHS),
        "weekly_hazard_mean_over_12_months": {
            method: round(hazard / WEEKS_IN_12_MONTHS, 6) for method, hazard in t.CUMULATIVE_HAZARD_12_MONTHS.items()
        },
        "kept_12_months_as_made": _kept_as_made(kept),
        "salt_hazard_ratio_per_half_point": t.SALT_HAZARD_RATIO_PER_HALF_POINT,
        "lid_hazard_ratio": dict(t.LID_HAZARD_RATIO),
        "store_hazard_ratio": dict(t.STORE_HAZARD_RATIO),
        "not_submerged_hazard_ratio": t.NOT_SUBMERGED_HAZARD_RATIO,
        "damp_hazard_ratio": t.DAMP_HAZARD_RATIO,
        "cool_drying_hazard_ratio": t.COOL_DRYING_HAZARD_RATIO,
        "not_processed_hazard_ratio": t.NOT_PROCESSED_HAZARD_RATIO,
        "missed_look": {"batch_id": kept.missed_look[0], "day": kept.missed_look[1].isoformat()}
        if kept.missed_look
        else None,
    }


def _kept_as_made(kept: Kept) -> dict[str, float]:
    """Share of each method's containers that a year would leave sound, the frailty averaged out.

    With a gamma frailty of mean 1 and variance v, the share is (1 + v H) ** (-1 / v).
    """
    shares: dict[str, list[tuple[int, float]]] = {}
    for fate in kept.fates:
        hazard = cumulative_hazard(fate.batch, 12)
        sound = (1 + t.FRAILTY_VARIANCE * hazard) ** (-1 / t.FRAILTY_VARIANCE)
        shares.setdefault(fate.batch.made.recipe.method, []).append((fate.batch.containers, sound))
    return {
        method: round(sum(n * sound for n, sound in pairs) / sum(n for n, _ in pairs), 4)
        for method, pairs in sorted(shares.items())
    }


def _batch(fate: Fate) -> dict[str, Any]:
    batch = fate.batch
    return {
        "batch_id": batch.batch_id,
        "recipe": batch.made.recipe.name,
        "method": batch.made.recipe.method,
        "made_on": batch.made.made_on.isoformat(),
        "picked_kg": {crop: grams / 1000 for crop, grams in batch.made.picked_g.items()},
        "made": batch.containers,
        "used": fate.used,
        "spoiled": fate.spoiled,
        "on_hand": fate.on_hand,
        "spoiled_unseen": fate.hidden,
        "hazard_ratio": round(batch.hazard_ratio, 4),
        "frailty": round(fate.frailty, 4),
    }


def _cautions(scenario: Scenario, kept: Kept) -> dict[str, str]:
    """Batch and the words for what was done in it against a published limit."""
    if not scenario.honest_mess:
        return {}
    named = {
        (scenario.season_of(fate.batch.made.made_on), fate.batch.made.recipe.name, fate.batch.made.nth): fate
        for fate in kept.fates
    }
    return {named[key].batch.batch_id: words for key, words in CAUTION_WORDS.items() if key in named}
