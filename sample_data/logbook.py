"""The logs row by row, as the household kept them; nothing is wrong in them yet."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from sample_data import handwriting as hand
from sample_data.household import Household, mostly
from sample_data.keeping import Kept
from sample_data.making import Batch
from sample_data.scenario import Picking, Scenario, Sowing
from sample_data.truth import SHARE_OF_EATEN_WEEKS_LOGGED, SHARE_OF_GIVEN_LOGGED, SHARE_OF_WASTE_LOGGED
from sample_data.weather import Weather, monthly_normals

WEATHER_GAP = (dt.date(2026, 2, 10), dt.date(2026, 2, 11))
"""The thermometer was frozen in; these days have no row."""
LEAST_LOGGED_G = 200
HARVEST_NOTES = ("", "", "", "wet \u2013 picked after rain", "½ basket", "slugs", "with a neighbour")


@dataclass
class Line:
    """One row of a log, cells by column; ``wrong`` is set on a row made wrong on purpose."""

    day: dt.date
    cells: dict[str, str]
    wrong: tuple[str, str, str] | None = None
    """Column, rule in words, and ``error`` (the row is set aside) or ``warning``."""


def sowing_lines(sowings: tuple[Sowing, ...], rng: np.random.Generator) -> list[Line]:
    """sowings.csv."""
    return [
        Line(
            sowing.sown_on,
            {
                "sowing_id": sowing.sowing_id,
                "sown_on": hand.date(sowing.sown_on, rng),
                "crop": hand.crop_name(sowing.line.crop, rng),
                "variety": sowing.line.variety,
                "plot": sowing.line.plot,
                "bed": sowing.line.bed,
                "amount": f"{hand.plain(sowing.line.amount)} {sowing.line.unit}",
                "start": "transplant" if sowing.planted_out_on else "direct",
                "planted_out_on": sowing.planted_out_on.isoformat() if sowing.planted_out_on else "",
                "note": "" if sowing.ready_on else "frost came first",
            },
        )
        for sowing in sowings
    ]


def harvest_lines(
    scenario: Scenario, pickings: tuple[Picking, ...], rng: np.random.Generator, *, decimal_comma: bool
) -> list[Line]:
    """harvests.csv."""
    growers = {plot.plot: plot.grower for plot in scenario.plots}
    return [
        Line(
            picking.day,
            {
                "picked_on": hand.date(picking.day, rng),
                "crop": hand.crop_name(picking.crop, rng, own_words=scenario.honest_mess),
                "weight": hand.harvest_weight(picking.crop, picking.grams, rng, decimal_comma=decimal_comma),
                "sowing_id": picking.sowing_id,
                "plot": picking.plot,
                "bed": picking.bed,
                "grower": growers[picking.plot],
                "note": str(rng.choice(HARVEST_NOTES)) if rng.random() < 0.1 else "",
            },
        )
        for picking in pickings
    ]


def batch_lines(batches: tuple[Batch, ...], rng: np.random.Generator) -> list[Line]:
    """batches.csv."""
    return [Line(batch.made.made_on, _batch_cells(batch, rng)) for batch in batches]


def _batch_cells(batch: Batch, rng: np.random.Generator) -> dict[str, str]:
    made, choices = batch.made, batch.choices
    return {
        "batch_id": batch.batch_id,
        "made_on": hand.date(made.made_on, rng),
        "method": str(rng.choice(hand.METHOD_SPELLINGS[made.recipe.method])),
        "crop": made.recipe.crop,
        "containers": str(batch.containers),
        "produce": hand.kilograms(batch.produce_g),
        "salt": hand.grams(batch.salt_g),
        "water": hand.liquid(batch.water_ml),
        "vinegar": hand.liquid(batch.vinegar_ml),
        "vinegar_acid_pct": "5" if batch.vinegar_ml else "",
        "sweetener": choices.sweetener,
        "sweetener_weight": hand.grams(batch.sweetener_g),
        "starter": choices.starter,
        "piece": made.recipe.piece,
        "container_volume": hand.liquid(made.recipe.container_ml or None),
        "lid": choices.lid,
        "submerged": hand.yes_no(choices.submerged),
        "vented": hand.yes_no(choices.vented),
        "store": choices.store,
        "store_c": str(batch.store_c),
        "finished": hand.grams(batch.finished_g),
        "drying_c": hand.number(choices.drying_c),
        "ph": hand.number(choices.ph),
        "heat_processed": hand.yes_no(choices.heat_processed),
        "trial": choices.trial,
        "plot": made.plot,
        "note": choices.note or (made.recipe.name if made.recipe.mixed_with else ""),
    }


def ingredient_lines(batches: tuple[Batch, ...]) -> list[Line]:
    """ingredients.csv: every crop of every mixed batch, the main one too."""
    return [
        Line(batch.made.made_on, {"batch_id": batch.batch_id, "crop": crop, "weight": hand.kilograms(grams)})
        for batch in batches
        if len(batch.made.prepared_g) > 1
        for crop, grams in batch.made.prepared_g.items()
    ]


def spoilage_lines(household: Household, kept: Kept, rng: np.random.Generator) -> tuple[list[Line], dict[str, int]]:
    """spoilage.csv, and the grams of fresh waste that it tells of by crop."""
    lines = [
        Line(
            look.day,
            {
                "found_on": hand.date(look.day, rng),
                "batch_id": look.batch_id,
                "containers": str(look.containers),
                "cause": look.cause,
                "action": look.action,
            },
        )
        for look in kept.looks
    ]
    logged: dict[str, int] = {}
    for day, crop, grams, plot in _fresh(household, "wasted"):
        if grams >= LEAST_LOGGED_G and rng.random() < SHARE_OF_WASTE_LOGGED:
            logged[crop] = logged.get(crop, 0) + grams
            action = str(rng.choice(["composted", "composted", "fed to animals", "hens"]))
            cells = {"found_on": hand.date(day, rng), "crop": crop, "weight": hand.weight(grams)}
            lines.append(Line(day, cells | {"cause": "rot", "action": action, "plot": plot}))
    return sorted(lines, key=lambda line: line.day), logged


def consumption_lines(
    household: Household, kept: Kept, rng: np.random.Generator
) -> tuple[list[Line], dict[str, int], dict[str, int]]:
    """consumption.csv, and the grams eaten and given fresh that it tells of by crop."""
    lines = [
        Line(
            use.day,
            {
                "used_on": hand.date(use.day, rng),
                "batch_id": use.batch_id,
                "containers": str(use.containers),
                "use": use.use,
            },
        )
        for use in kept.uses
    ]
    told: dict[str, dict[str, int]] = {"eaten": {}, "given": {}}
    shares = {"eaten": SHARE_OF_EATEN_WEEKS_LOGGED, "given": SHARE_OF_GIVEN_LOGGED}
    for use, share in shares.items():
        for day, crop, grams, plot in _fresh(household, use):
            if grams >= LEAST_LOGGED_G and rng.random() < share:
                told[use][crop] = told[use].get(crop, 0) + grams
                cells = {"used_on": hand.date(day, rng), "crop": hand.crop_name(crop, rng, own_words=False)}
                lines.append(Line(day, cells | {"weight": hand.weight(grams), "use": use, "plot": plot}))
    return sorted(lines, key=lambda line: line.day), told["eaten"], told["given"]


def _fresh(household: Household, kind: str) -> list[tuple[dt.date, str, int, str]]:
    """Week's end (never beyond the logs), crop, grams, to 50 g, and plot that gave most, of one kind of fresh use."""
    ends = household.scenario.ends
    return sorted(
        (min(day, ends), crop, round(grams / 50) * 50, mostly(household.fresh_from[day, crop, word]))
        for (day, crop, word), grams in household.fresh.items()
        if word == kind and grams
    )


def tasting_lines(kept: Kept) -> list[Line]:
    """tastings.csv."""
    return [
        Line(
            taste.day,
            {
                "tasted_on": taste.day.isoformat(),
                "batch_id": taste.batch_id,
                "taster": taste.taster,
                "liking": str(taste.liking),
                "firmness": "" if taste.firmness is None else str(taste.firmness),
            },
        )
        for taste in kept.tastings
    ]


def weather_lines(weather: Weather, *, gap: bool) -> list[Line]:
    """weather.csv."""
    lines = []
    for n, (low, high) in enumerate(zip(weather.tmin_c, weather.tmax_c, strict=True)):
        day = weather.day(n)
        if not (gap and day in WEATHER_GAP):
            lines.append(Line(day, {"date": day.isoformat(), "tmin_c": f"{low:.1f}", "tmax_c": f"{high:.1f}"}))
    return lines


def standing_lines(scenario: Scenario) -> dict[str, list[Line]]:
    """climate.csv, plots.csv and crops.csv."""
    day = scenario.weather_from
    climate = [
        Line(day, {"month": str(month), "tmin_c": f"{low:.1f}", "tmax_c": f"{high:.1f}"})
        for month, low, high in monthly_normals(scenario.climate)
    ]
    plots = [
        Line(
            day,
            {
                "plot": plot.plot,
                "area_m2": hand.plain(plot.area_m2),
                "people": str(plot.people),
                "grower": plot.grower,
                "share": hand.yes_no(plot.share),
            },
        )
        for plot in scenario.plots
    ]
    own = [
        # These growers weigh kohlrabi and beetroot without their leaves, so less is trimmed than published.
        Line(day, {"crop": "kohlrabi", "aliases": "knobs; ferry turnip", "piece_kg": "0.35", "refuse_pct": "30"}),
        Line(day, {"crop": "beetroot", "aliases": "beets", "piece_kg": "", "refuse_pct": "20"}),
        Line(day, {"crop": "quince", "aliases": "eyot apple", "piece_kg": "", "refuse_pct": "25"}),
        # Words that mean another crop elsewhere: here they mean what they say.
        Line(day, {"crop": "spinach", "aliases": "", "piece_kg": "", "refuse_pct": ""}),
        Line(day, {"crop": "turnip", "aliases": "", "piece_kg": "", "refuse_pct": ""}),
    ]
    return {"climate": climate, "plots": plots, "crops": own if scenario.honest_mess else []}
