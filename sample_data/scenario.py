"""What a simulated garden is made of, and what comes out: frozen records, nothing computed."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

MonthDay = tuple[int, int]


@dataclass(frozen=True)
class CropTruth:
    """How an invented crop grows and is eaten.

    ``degree_days`` (C d) is the reference warmth to the first pick, before site, variety and chance;
    ``yield_kg`` is per metre of row or per plant as ``unit`` says; ``fresh_kg`` is wanted per person and
    week; ``fresh_life_days`` is the mean life of a picking in the kitchen; ``waits_days`` is how
    long on average a ripe row that keeps in the ground waits for its first picking.
    """

    name: str
    base_c: float
    upper_c: float
    degree_days: float
    kill_c: float
    picking_days: float
    interval_days: float
    unit: str
    yield_kg: float
    fresh_kg: float
    fresh_life_days: float
    refuse_pct: float
    piece_kg: float
    waits_days: float


@dataclass(frozen=True)
class Recipe:
    """One way in which the household keeps one crop; ``per_season`` is the most batches of it in a season."""

    name: str
    crop: str
    method: str
    least_kg: float
    most_kg: float
    kg_per_container: float
    container_ml: int
    piece: str
    per_season: int
    mixed_with: tuple[tuple[str, float], ...] = ()
    """Other crops in it, each with its share of the prepared weight."""


@dataclass(frozen=True)
class Climate:
    """Daily weather: a yearly wave, a shift per year and a first-order autoregression on top."""

    mean_c: float
    amplitude_c: float
    coldest_day_of_year: int
    daily_range_c: float
    range_amplitude_c: float
    persistence: float
    anomaly_sd_c: float
    year_sd_c: float


@dataclass(frozen=True)
class Plot:
    """One plot."""

    plot: str
    area_m2: float
    people: int
    grower: str
    share: bool


@dataclass(frozen=True)
class SowingLine:
    """One line of the sowing habit, repeated every season with a few days of chance."""

    crop: str
    sow: MonthDay
    plant_out: MonthDay | None
    amount: float
    unit: str
    plot: str
    bed: str
    variety: str


@dataclass(frozen=True)
class Tree:
    """A fruit tree; it has no sowing."""

    crop: str
    plot: str
    kg_per_season: float


@dataclass(frozen=True)
class Scenario:
    """Everything that is fixed before chance comes in."""

    name: str
    garden_name: str
    latitude: float
    weather_from: dt.date
    seasons: tuple[dt.date, ...]
    """First day of each season."""
    ends: dt.date
    """Last day of the logs."""
    climate: Climate
    plots: tuple[Plot, ...]
    sowings: tuple[SowingLine, ...]
    trees: tuple[Tree, ...]
    tree_clock: MonthDay
    site_factor: float
    """Degree days needed here over the reference."""
    recipes: tuple[Recipe, ...]
    kitchen_kg_per_week: float
    last_frost: str
    first_frost: str
    jars: int
    seed: int
    honest_mess: bool
    """Whether rows are made wrong on purpose and files come in several dialects."""

    @property
    def people(self) -> int:
        """People who eat from all plots."""
        return sum(plot.people for plot in self.plots)

    def season_of(self, day: dt.date) -> int:
        """Index of the season that ``day`` lies in."""
        return max(i for i, first in enumerate(self.seasons) if first <= day)


@dataclass(frozen=True)
class Sowing:
    """One sowing; ``degree_days`` is what this one truly needed, ``ready_on`` is None if it never ripened."""

    sowing_id: str
    line: SowingLine
    sown_on: dt.date
    planted_out_on: dt.date | None
    degree_days: float
    ready_on: dt.date | None
    picking_days: float


@dataclass(frozen=True)
class Picking:
    """One picking, grams."""

    day: dt.date
    crop: str
    grams: int
    sowing_id: str
    plot: str
    bed: str


@dataclass(frozen=True)
class LogFile:
    """One log as typed: text cells only; an empty row is a blank line."""

    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    delimiter: str = ","
    encoding: str = "utf-8"


@dataclass(frozen=True)
class Season:
    """What the simulator gives: the logs by file name, the other files, and the truth behind them."""

    logs: dict[str, LogFile]
    texts: dict[str, str]
    truth: dict[str, Any]
