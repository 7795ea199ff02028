"""The logs of fresh produce on a grid of crops and days, and what is worked out on it.

A week is a glut for a crop when more was picked than could be eaten fresh, given away on average and put by
that week. Waste of what was picked in such a week counts as coming from the glut, up to what was picked
beyond that capacity.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.harvest import evenness
from pipeline.harvest.flow import (
    DEFAULT_KEEPING_DAYS,
    EATEN,
    EXPIRED,
    GIVEN,
    LOGGED_KINDS,
    PUT_BY,
    WASTED,
    Flow,
    Grams,
    Index,
    perishable_flow,
)
from pipeline.settings import Settings

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

TYPICAL_GOOD_WEEK = 75
"""Percentile of a crop's weeks of putting by that stands for what can be put by in a week (judgement)."""


@dataclass(frozen=True)
class Grid:
    """The logs on a grid of crops and days; the first day is a Monday, the last is ``as_of``."""

    crops: list[str]
    first: dt.date
    picked_g: Grams
    logged_g: Grams
    need_g: Floats
    """Fresh use wanted a day."""
    life_days: Index
    year: Index
    in_season: Flags
    windows: Flags

    @property
    def days(self) -> int:
        """Days on the grid."""
        return int(self.picked_g.shape[1])

    def weekly(self, daily: Grams | Floats) -> Floats:
        """Sums by week, (crops, weeks); sums of whole grams stay whole."""
        padded = np.pad(daily.astype(np.float64), ((0, 0), (0, -self.days % 7)))
        weeks: Floats = padded.reshape(padded.shape[0], padded.shape[1] // 7, 7).sum(axis=2)
        return weeks

    def daily(self, weekly: Floats) -> Floats:
        """Each week's value on each of its days, (crops, days)."""
        days: Floats = np.repeat(weekly, 7, axis=1)[:, : self.days]
        return days


def harvest_grid(
    picked: pl.DataFrame,
    uses: pl.DataFrame,
    keeps: pl.DataFrame,
    needs_fresh: pl.DataFrame,
    settings: Settings,
    as_of: dt.date,
    season: tuple[dt.date, dt.date] | None,
) -> Grid:
    """Put the logs on the grid."""
    both = pl.concat([picked.select("crop", "day"), uses.select("crop", "day")])
    earliest = both["day"].min()
    start = earliest if isinstance(earliest, dt.date) else as_of
    first = start - dt.timedelta(days=start.weekday())
    days = (as_of - first).days + 1
    names = both["crop"].unique().sort().to_list()
    dates = [first + dt.timedelta(days=day) for day in range(days)]
    picked_g = _dense(picked, names, first, days)
    logged = [_dense(uses.filter(pl.col("kind") == kind), names, first, days) for kind in range(LOGGED_KINDS)]
    known = dict(keeps.iter_rows())
    life = [int(known.get(name, DEFAULT_KEEPING_DAYS)) for name in names]
    year = np.array([settings.season_of(date)[0].toordinal() for date in dates], np.int64)
    low, high = season or (first, as_of)
    return Grid(
        crops=names,
        first=first,
        picked_g=picked_g,
        logged_g=np.stack(logged, axis=2),
        need_g=_daily_need_g(names, dates, needs_fresh),
        life_days=np.array(life, np.int64),
        year=year,
        in_season=np.array([low <= date <= high for date in dates], np.bool_),
        windows=evenness.harvest_windows(picked_g, year),
    )


def place_on(frame: pl.DataFrame, names: list[str], first: dt.date) -> tuple[Index, Index]:
    """Row and column of the grid for each row of a frame with ``crop`` and ``day``."""
    code = frame["crop"].cast(pl.Enum(names)).to_physical().cast(pl.Int64)
    return code.to_numpy(), (frame["day"] - first).dt.total_days().to_numpy()


def _dense(frame: pl.DataFrame, names: list[str], first: dt.date, days: int) -> Grams:
    """Grams by crop and day."""
    crop, day = place_on(frame, names, first)
    cells = len(names) * days
    total = np.bincount(crop * days + day, weights=frame["grams"].to_numpy(), minlength=cells)
    return total.astype(np.int64).reshape(len(names), days)


def _daily_need_g(names: list[str], dates: list[dt.date], needs_fresh: pl.DataFrame) -> Floats:
    """Fresh use wanted a day, grams; 0 where it is not known."""
    monthly = np.zeros((len(names), 13))
    place = {name: at for at, name in enumerate(names)}
    for crop, month, kg in needs_fresh.select("crop", "month", "fresh_kg_per_week").iter_rows():
        if crop in place and kg is not None:
            monthly[place[crop], month] = 1000 * kg / 7
    return monthly[:, [date.month for date in dates]]


def assumed_wish_g(grid: Grid) -> Grams:
    """What is assumed to be wanted for eating each day: the week's need less what was logged as eaten."""
    need = grid.weekly(grid.need_g)
    rest = np.maximum(need - grid.weekly(grid.logged_g[:, :, EATEN]), 0)
    share = np.divide(rest, need, out=np.zeros_like(need), where=need > 0)
    return evenness.whole_grams(grid.need_g * grid.daily(share))


def capacity_g(grid: Grid, kitchen_kg_per_week: float | None) -> Floats:
    """What could be eaten fresh, given on average and put by, by crop and week, grams."""
    window_weeks = (grid.weekly(grid.windows.astype(np.int64)) > 0).sum(axis=1)
    given = grid.logged_g[:, :, GIVEN].sum(axis=1) / np.maximum(window_weeks, 1)
    put_by = grid.weekly(grid.logged_g[:, :, PUT_BY])
    if kitchen_kg_per_week is None:
        weeks = [row[row > 0] for row in put_by]
        typical = [np.percentile(row, TYPICAL_GOOD_WEEK) if row.size else 0.0 for row in weeks]
        could = np.broadcast_to(np.array(typical, np.float64)[:, None], put_by.shape)
    else:
        # The kitchen is shared by the crops that came that week, as they share it over the whole log.
        claim = put_by.sum(axis=1)[:, None] * (grid.weekly(grid.picked_g) > 0)
        total = claim.sum(axis=0)
        could = 1000 * kitchen_kg_per_week * np.divide(claim, total, out=np.zeros_like(claim), where=total > 0)
    capacity: Floats = grid.weekly(grid.need_g) + given[:, None] + np.maximum(could, put_by)
    return capacity


def lost_g(grid: Grid, flow: Flow) -> Grams:
    """Waste by the day picked, of the season's lots: logged and expired."""
    lost: Grams = (flow.by_lot(WASTED) + flow.by_lot(EXPIRED)) * grid.in_season
    return lost


def from_gluts_g(grid: Grid, flow: Flow, capacity: Floats) -> Floats:
    """Waste by the day picked that came from gluts, grams; whole grams by week."""
    lost = lost_g(grid, flow)
    lost_week = grid.weekly(lost)
    excess = np.floor(np.maximum(grid.weekly(grid.picked_g * grid.in_season) - capacity, 0))
    share = np.divide(np.minimum(lost_week, excess), lost_week, out=np.zeros_like(excess), where=lost_week > 0)
    return lost * grid.daily(share)


def even_loss_g(grid: Grid) -> Grams:
    """What would have expired had each year's kilos come evenly over its window.

    Need stays as it is. What was put by and given stays the same in total, spread over the window too, since
    a big batch on one day answers a glut; so is logged eating where it is above the need.
    """
    others = grid.logged_g[:, :, PUT_BY] + grid.logged_g[:, :, GIVEN]
    eaten = evenness.spread_by_year(grid.logged_g[:, :, EATEN], grid.windows, grid.year)
    wish = np.maximum(grid.need_g, eaten) + evenness.spread_by_year(others, grid.windows, grid.year)
    even = evenness.whole_grams(evenness.spread_by_year(grid.picked_g, grid.windows, grid.year))
    flow = perishable_flow(even, np.zeros_like(grid.logged_g), evenness.whole_grams(wish), grid.life_days)
    lost: Grams = (flow.by_lot(EXPIRED) * grid.in_season).sum(axis=1)
    return lost
