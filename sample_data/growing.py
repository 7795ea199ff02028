"""From weather and sowings to pickings."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from sample_data.scenario import MonthDay, Picking, Scenario, Sowing, SowingLine
from sample_data.truth import CROPS, PICK_SD, SOWING_SD, SPREAD_SD, VARIETY_FACTOR, YIELD_SD
from sample_data.weather import Floats, Weather, degree_days

Ints = npt.NDArray[np.int64]
EMERGENCE_DAYS = 12
LEAST_PICKING_G = 60


def on_or_after(first: dt.date, month_day: MonthDay) -> dt.date:
    """The first day on or after ``first`` that has this month and day."""
    day = dt.date(first.year, *month_day)
    return day if day >= first else dt.date(first.year + 1, *month_day)


@dataclass(frozen=True)
class _Stand:
    """What stands in a bed and will be picked: from when, until when, how much."""

    crop: str
    sowing_id: str
    plot: str
    bed: str
    clock_from: dt.date
    exposed_from: dt.date
    degree_days: float
    picking_days: float
    grams: float
    waits_days: float = 0.0


def grow(
    scenario: Scenario, weather: Weather, rng: np.random.Generator
) -> tuple[tuple[Sowing, ...], tuple[Picking, ...]]:
    """Every sowing and every picking up to the end of the logs, by day."""
    warmth = {crop: degree_days(weather, truth.base_c, truth.upper_c) for crop, truth in CROPS.items()}
    visits = {plot.plot: _visits(len(weather.tmin_c), rng) for plot in scenario.plots}
    sowings: list[Sowing] = []
    pickings: list[Picking] = []
    for season in scenario.seasons:
        habit = sorted(scenario.sowings, key=lambda line: on_or_after(season, line.sow))
        for number, line in enumerate(habit, 1):
            sowing, stand = _sow(line, season, f"S{season.year % 100}-{number:02d}", scenario.site_factor, rng)
            if sowing.sown_on > scenario.ends:
                continue
            ready, picked = _pick(stand, warmth[line.crop], weather, visits[line.plot], scenario.ends, rng)
            sowings.append(replace(sowing, ready_on=ready))
            pickings += picked
        for tree in scenario.trees:
            truth = CROPS[tree.crop]
            clock = on_or_after(season, scenario.tree_clock)
            stand = _Stand(
                tree.crop,
                "",
                tree.plot,
                "tree",
                clock,
                clock,
                truth.degree_days * scenario.site_factor,
                truth.picking_days,
                1000 * tree.kg_per_season * np.exp(rng.normal(0, YIELD_SD)),
            )
            pickings += _pick(stand, warmth[tree.crop], weather, visits[tree.plot], scenario.ends, rng)[1]
    order = sorted(range(len(pickings)), key=lambda i: (pickings[i].day, i))
    return tuple(sorted(sowings, key=lambda s: (s.sown_on, s.sowing_id))), tuple(pickings[i] for i in order)


def _sow(
    line: SowingLine, season: dt.date, sowing_id: str, site_factor: float, rng: np.random.Generator
) -> tuple[Sowing, _Stand]:
    truth = CROPS[line.crop]
    shift = dt.timedelta(days=int(rng.integers(-2, 4)))
    sown = on_or_after(season, line.sow) + shift
    out = on_or_after(season, line.plant_out) + shift if line.plant_out else None
    needed = truth.degree_days * site_factor * VARIETY_FACTOR[line.variety] * np.exp(rng.normal(0, SOWING_SD))
    window = truth.picking_days * np.exp(rng.normal(0, SPREAD_SD))
    grams = 1000 * line.amount * truth.yield_kg * np.exp(rng.normal(0, YIELD_SD))
    waits = rng.exponential(truth.waits_days)
    exposed = out or sown + dt.timedelta(days=EMERGENCE_DAYS)
    sowing = Sowing(sowing_id, line, sown, out, float(needed), None, float(window))
    stand = _Stand(line.crop, sowing_id, line.plot, line.bed, out or sown, exposed, needed, window, grams, waits)
    return sowing, stand


def _pick(
    stand: _Stand, warmth: Floats, weather: Weather, visits: Ints, ends: dt.date, rng: np.random.Generator
) -> tuple[dt.date | None, list[Picking]]:
    """Day of ripeness and the pickings; frost ends a stand, and what hung on it then is lost unpicked."""
    truth = CROPS[stand.crop]
    start = weather.index(stand.clock_from)
    sums = np.cumsum(warmth[start:])
    if not len(sums) or sums[-1] < stand.degree_days:
        return None, []
    ripe = start + int(np.searchsorted(sums, stand.degree_days))
    frosts = np.flatnonzero(weather.tmin_c[weather.index(stand.exposed_from) :] < truth.kill_c)
    killed = weather.index(stand.exposed_from) + int(frosts[0]) if len(frosts) else len(weather.tmin_c)
    if ripe >= killed:
        return None, []
    opened = ripe + round(stand.waits_days)
    days = _picking_days(opened, stand.picking_days, truth.interval_days, visits)
    place = np.clip((np.array(days) - opened + 0.5) / (stand.picking_days + 1), 0.02, 0.98)
    shape = place**0.6 * (1 - place) ** 1.2
    shares = shape / shape.sum() * np.exp(rng.normal(0, PICK_SD, len(days)))
    pickings = []
    for index, share in zip(days, shares, strict=True):
        day = weather.day(index)
        grams = _on_the_scale(stand.grams * share)
        if index < killed and day <= ends and grams >= LEAST_PICKING_G:
            pickings.append(Picking(day, stand.crop, grams, stand.sowing_id, stand.plot, stand.bed))
    return weather.day(ripe), pickings


def _picking_days(opened: int, window: float, interval: float, visits: Ints) -> list[int]:
    """Visits on which this stand is picked: the first from ``opened`` on, then one about every interval."""
    days: list[int] = []
    wanted = opened
    while not days or wanted <= opened + window:
        later = visits[visits >= wanted]
        if not len(later):
            break
        days.append(int(later[0]))
        wanted = days[-1] + max(1, round(interval) - 1)
    return days


def _visits(days: int, rng: np.random.Generator) -> Ints:
    """Days, as places in the weather, on which someone is on the plot: every first to third day."""
    steps = np.cumsum(rng.integers(1, 4, days))
    return steps[steps < days]


def _on_the_scale(grams: float) -> int:
    """Rounded as a kitchen scale shows it: 10 g below a kilogram, 50 g above."""
    step = 10 if grams < 1000 else 50
    return round(grams / step) * step
