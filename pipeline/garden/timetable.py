"""Who sows what when: the pooled garden's sowing plan, dealt out to the plots in turn.

The plan is that of ``sowing_plan`` for one garden made of all shared plots. It asks for the kilos that the shared
tables show, spread evenly over the months in which they came, so that it rests on shown figures only. Warmth and
yields are learned from the sowings of crops that enough plots sowed; of others they are the reference's. Since the
plots share the work, one more sowing counts for as much less as there are plots.

Each crop then goes round the plots. Where it has as many sowings as there are plots or more, each sowing goes to
one plot: the one that has had least of this crop for its area so far. Where it has fewer, each sowing is shared by
as many plots as it takes for all to have their turn. What does not fit goes to the next plot. What a plot grew
before plays no part: the timetable carries labels, and would else tell what single plots grew. Plots that do not
want their turn may swap it.
"""

from __future__ import annotations

import calendar as calendar_days
import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import polars as pl

from pipeline.garden.plots import FolderLogs, Pool
from pipeline.garden.suppression import Rule, enough_plots
from pipeline.garden.tables import WITHHELD_TYPES, as_shared, shared_types
from pipeline.plan.options import PLAN_DAYS, PlanOptions, PlanWeights
from pipeline.plan.plan import plan_sowings
from pipeline.settings import Settings
from pipeline.warmth.starts import fit_yields, starts_from_logs
from pipeline.warmth.timing import fit_crop_timing
from pipeline.warmth.weather_years import fill_weather, weather_years
from schemas.shared import ALL_CROPS, OTHER_CROPS

NEED_TYPES: dict[str, pl.DataType] = {
    "crop": pl.String(),
    "month": pl.Int64(),
    "fresh_kg_per_week": pl.Float64(),
}
STEPS = {"plants": 1.0, "m": 0.5}
"""The steps in which the plan counts an amount; a sowing is shared out in whole steps."""
FEW_SOWED = "crops sown on too few plots"
MOST_SOWINGS = 40
"""Sowings of one crop in a season, at most, however many plots there are."""


@dataclass(frozen=True)
class SharedPlan:
    """The plan of the pooled garden: three shared tables, what was withheld, and notes."""

    sowings: pl.DataFrame
    outlook: pl.DataFrame
    worth: pl.DataFrame
    withheld: pl.DataFrame
    notes: tuple[str, ...]


@dataclass
class _Bed:
    """One plot while sowings are handed out."""

    label: str
    area_m2: float
    had: dict[str, float] = field(default_factory=dict)
    """Square metres handed to it so far, by crop."""
    taken: list[tuple[dt.date, dt.date, float]] = field(default_factory=list)
    """First and last day, and square metres, of each sowing."""

    def turn(self, crop: str) -> tuple[float, float, str]:
        """Who comes first: had least of this crop for its area, then least of all."""
        return self.had.get(crop, 0.0) / self.area_m2, sum(self.had.values()) / self.area_m2, self.label

    def room_m2(self, first: dt.date, last: dt.date) -> float:
        """Area free on every day from ``first`` to ``last``."""
        days = [first, *(start for start, _, _ in self.taken if first < start <= last)]
        used = (sum(m2 for start, end, m2 in self.taken if start <= day <= end) for day in days)
        return self.area_m2 - max(used)

    def take(self, crop: str, first: dt.date, last: dt.date, m2: float) -> None:
        """Hand a sowing to this plot."""
        self.had[crop] = self.had.get(crop, 0.0) + m2
        self.taken.append((first, last, m2))


def even_needs(crops: pl.DataFrame, calendar: pl.DataFrame) -> pl.DataFrame:
    """The shown kilos of each crop spread evenly over the months from its first to its last picking.

    A month whose kilos are withheld counts as one in which some were picked, as every reader can see.

    Args:
        crops: the ``shared_crops`` table.
        calendar: the ``shared_calendar`` table.

    Returns:
        ``crop``, ``month`` (1 to 12) and ``fresh_kg_per_week``.
    """
    totals = crops.filter(~pl.col("crop").is_in([ALL_CROPS, OTHER_CROPS]), pl.col("kg") > 0)
    rows = []
    for crop, kg in totals.select("crop", "kg").iter_rows():
        months = calendar.filter(pl.col("crop") == crop).sort("month")
        picked = months.filter(pl.col("kg").is_null() | (pl.col("kg") > 0))["month"]
        inside = months.filter(pl.col("month").is_between(picked.min(), picked.max()))["month"].to_list()
        days = sum(calendar_days.monthrange(day.year, day.month)[1] for day in inside)
        rows += [(crop, day.month, 7 * kg / days) for day in inside]
    return pl.DataFrame(rows, schema=NEED_TYPES, orient="row")


def shared_plan(
    pool: Pool,
    folder: FolderLogs,
    crops: pl.DataFrame,
    needs: pl.DataFrame,
    season: tuple[dt.date, dt.date],
    as_of: dt.date,
    rule: Rule,
    *,
    seed: int,
) -> SharedPlan:
    """The sowing plan of the pooled garden for the next season, dealt out to its plots.

    Args:
        pool: the shared rows.
        folder: the folder whose weather, climate, latitude and frosts count.
        crops: crop reference.
        needs: result of ``even_needs``.
        season: first and last day of the season that was shared.
        as_of: today.
        rule: when a figure is sensitive.
        seed: the same seed gives the same plan.
    """
    sown, hidden = _sown_on_enough_plots(pool, rule)
    if needs.is_empty() or pool.plots["holder"].n_unique() < rule.smallest_group:
        empty = {name: pl.DataFrame(schema=shared_types(name)) for name in ("shared_sowings", "shared_outlook")}
        worth = pl.DataFrame(schema=shared_types("shared_plan_worth"))
        none = pl.DataFrame(schema=WITHHELD_TYPES)
        return SharedPlan(empty["shared_sowings"], empty["shared_outlook"], worth, none, ())
    harvests = pool["harvests"].filter(pl.col("sowing_id").is_in(sown["sowing_id"].to_list())).drop("holder")
    settings = folder.settings
    following = settings.season_of(max(season[1] + dt.timedelta(days=1), as_of))[0]
    usual = _usual_area_m2(pool.plots)
    options = PlanOptions(
        first_day=following,
        latitude=settings.latitude,
        last_frost=settings.last_frost,
        first_frost=settings.first_frost,
        bed_area_m2=None if usual is None else usual * pool.plots.height,
        not_before=as_of if as_of >= following else None,
        max_sowings=min(settings.max_sowings * pool.plots.height, MOST_SOWINGS),
        longest_gap=settings.longest_gap,
        weights=PlanWeights(sowing=PlanWeights.sowing / pool.plots.height),
    )
    learned = fit_yields(sown, harvests, crops)
    timing = _timing(folder.frames, sown, harvests, crops, learned, settings, as_of)
    result = plan_sowings(
        crops,
        timing,
        learned,
        weather_years(
            folder.frames["weather"],
            folder.frames["climate"],
            settings.latitude,
            following,
            PLAN_DAYS,
            options.n_years + options.fresh_years,
            np.random.default_rng(seed),
        ),
        needs,
        pl.DataFrame(schema={"crop": pl.String(), "kg_to_put_by": pl.Float64()}),
        options,
        rng=np.random.default_rng(seed),
        last_season=_of_season(sown, season, needs),
    )
    rows = [("shared_sowings", FEW_SOWED, hidden)] if hidden else []
    return SharedPlan(
        sowings=deal_out(result.sowing_plan, pool.plots),
        outlook=as_shared(result.harvest_outlook, "shared_outlook"),
        worth=as_shared(result.plan_comparison, "shared_plan_worth"),
        withheld=pl.DataFrame(rows, schema=WITHHELD_TYPES, orient="row"),
        notes=(*result.notes, *(f"Not planned: {crop}, {why}." for crop, why in result.skipped.iter_rows())),
    )


def _sown_on_enough_plots(pool: Pool, rule: Rule) -> tuple[pl.DataFrame, int]:
    """Sowings of crops that enough plots sowed, and how many crops are left out."""
    rows = pool["sowings"]
    groups = enough_plots(rows.select(group="crop", plot="holder", value=pl.lit(1.0)), rule)
    # Nearly all sowings on one plot would let it be told what the others' yields were.
    fit = groups.filter(pl.col("withheld").is_null())["group"].to_list()
    return rows.filter(pl.col("crop").is_in(fit)).drop("holder"), groups.height - len(fit)


def _of_season(sown: pl.DataFrame, season: tuple[dt.date, dt.date], needs: pl.DataFrame) -> pl.DataFrame | None:
    planned = pl.col("crop").is_in(needs["crop"].to_list())
    rows = sown.filter(pl.col("sown_on").is_between(*season), planned)
    return rows if rows.height else None


def _timing(
    frames: Mapping[str, pl.DataFrame],
    sown: pl.DataFrame,
    harvests: pl.DataFrame,
    crops: pl.DataFrame,
    learned: pl.DataFrame,
    settings: Settings,
    as_of: dt.date,
) -> pl.DataFrame:
    """What each crop needs in warmth, learned from the shared sowings."""
    starts = starts_from_logs(sown, harvests)
    days = [day for day in (starts["clock_from"].min(), frames["weather"]["date"].min()) if isinstance(day, dt.date)]
    weather = fill_weather(frames["weather"], frames["climate"], min(days, default=as_of), as_of, settings.latitude)
    return fit_crop_timing(starts, weather, crops, learned, settings.latitude)


def deal_out(plan: pl.DataFrame, plots: pl.DataFrame) -> pl.DataFrame:
    """The plan's sowings dealt out to plots in turn, by area.

    A plot of unknown area counts as one of the mean of the others.

    Args:
        plan: the ``sowing_plan`` answer table.
        plots: ``label`` and ``area_m2`` of each plot.

    Returns:
        The ``shared_sowings`` table, in order of day, crop and plot; what fits nowhere has no plot.
    """
    usual = _usual_area_m2(plots) or 1.0
    beds = [_Bed(label, area or usual) for label, area in plots.select("label", "area_m2").sort("label").iter_rows()]
    times = dict(plan.group_by("crop").len().iter_rows())
    types = shared_types("shared_sowings")
    rows = []
    for sowing in plan.sort("sow_on", "crop").iter_rows(named=True):
        together = math.ceil(len(beds) / times[sowing["crop"]])
        for label, share in _shares(sowing, beds, together):
            parts = {name: sowing[name] and sowing[name] * share for name in ("amount", "area_m2", "expected_kg")}
            row = sowing | parts | {"plot": label}
            rows.append({name: row[name] for name in types})
    return pl.DataFrame(rows, schema=types).sort("sow_on", "crop", "plot", nulls_last=True)


def _usual_area_m2(plots: pl.DataFrame) -> float | None:
    """Mean area of the plots whose area is known."""
    known = plots["area_m2"].mean()
    return known if isinstance(known, float) and known > 0 else None


def _shares(sowing: dict[str, Any], beds: list[_Bed], together: int) -> list[tuple[str | None, float]]:
    """Plots that share a sowing, each with its share of it."""
    first = sowing["plant_out_on"] or sowing["sow_on"]
    last = sowing["last_pick_on"] or first
    amount, step = sowing["amount"], STEPS[sowing["unit"]]
    m2_per_step = (sowing["area_m2"] or 0.0) / amount * step
    queue = sorted(beds, key=lambda bed: bed.turn(sowing["crop"]))
    left = round(amount / step)
    shares: list[tuple[str | None, float]] = []
    for place, bed in enumerate(queue):
        sharing = queue[place : max(together, place + 1)]
        wanted = math.ceil(left * bed.area_m2 / sum(other.area_m2 for other in sharing))
        fits = math.floor(bed.room_m2(first, last) / m2_per_step + 1e-9) if m2_per_step else wanted
        steps = min(wanted, fits, left)
        if steps > 0:
            bed.take(sowing["crop"], first, last, steps * m2_per_step)
            shares.append((bed.label, steps * step / amount))
            left -= steps
    return shares + ([(None, left * step / amount)] if left > 0 else [])
