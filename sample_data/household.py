"""From pickings to the table, to neighbours, the kitchen and the compost, oldest first, gram by gram."""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from dataclasses import dataclass, field

import numpy as np

from sample_data.scenario import Picking, Recipe, Scenario
from sample_data.truth import CROPS, NOT_KITCHEN_WORK

KITCHEN_WEEKDAYS = (2, 5)
"""Wednesday and Saturday."""
SUNDAY = 6
KEEP_BACK_WEEKS = 1.0
GIVE_BEYOND_WEEKS = 1.5
SHARE_GIVEN = 0.3
DEMAND_SD = 0.25
LIFE_SD = 0.2


@dataclass
class Lot:
    """What is left of one picking."""

    grams: int
    spoils_on: dt.date
    sowing_id: str
    plot: str


@dataclass(frozen=True)
class Made:
    """One batch as it left the kitchen: prepared and picked weight by crop, grams."""

    made_on: dt.date
    recipe: Recipe
    nth: int
    """Which batch of this recipe in its season, from 0."""
    plot: str
    """The plot that gave most of the main crop; it counts as having made the batch."""
    prepared_g: dict[str, int]
    picked_g: dict[str, int]


@dataclass
class Balance:
    """Where the grams of one crop went; ``picked`` is the sum of the rest."""

    picked: int = 0
    eaten: int = 0
    given: int = 0
    put_by: int = 0
    wasted: int = 0
    left: int = 0


@dataclass
class Household:
    """The state of one household, and what it has done so far."""

    scenario: Scenario
    rng: np.random.Generator
    stock: dict[str, list[Lot]] = field(default_factory=lambda: defaultdict(list))
    balance: dict[str, Balance] = field(default_factory=lambda: defaultdict(Balance))
    made: list[Made] = field(default_factory=list)
    fresh: Counter[tuple[dt.date, str, str]] = field(default_factory=Counter)
    """Grams by Sunday of the week, crop and ``eaten``, ``given`` or ``wasted``."""
    fresh_from: dict[tuple[dt.date, str, str], Counter[str]] = field(default_factory=lambda: defaultdict(Counter))
    """The same grams by plot."""
    waste_by_sowing: Counter[str] = field(default_factory=Counter)
    batches_of: Counter[tuple[int, str]] = field(default_factory=Counter)

    def weekly_demand_g(self, crop: str) -> float:
        """What the household wants to eat fresh of ``crop`` in an ordinary week."""
        return 1000 * CROPS[crop].fresh_kg * self.scenario.people

    def at_hand(self, crop: str) -> int:
        """Grams of ``crop`` in the kitchen."""
        return sum(lot.grams for lot in self.stock[crop])

    def bring_in(self, picking: Picking) -> None:
        """Carry one picking into the kitchen."""
        life = CROPS[picking.crop].fresh_life_days * max(0.4, self.rng.normal(1, LIFE_SD))
        spoils_on = picking.day + dt.timedelta(days=max(2, round(life)))
        self.stock[picking.crop].append(Lot(picking.grams, spoils_on, picking.sowing_id, picking.plot))
        self.balance[picking.crop].picked += picking.grams

    def take(self, crop: str, grams: int) -> int:
        """Take up to ``grams``, oldest first; returns what there was."""
        taken = 0
        lots = self.stock[crop]
        while lots and taken < grams:
            part = min(lots[0].grams, grams - taken)
            lots[0].grams -= part
            taken += part
            if not lots[0].grams:
                lots.pop(0)
        return taken

    def _by_plot(self, crop: str, grams: int) -> Counter[str]:
        """What each plot gives of the oldest ``grams`` of a crop."""
        given: Counter[str] = Counter()
        for lot in self.stock[crop]:
            given[lot.plot] += min(lot.grams, grams - given.total())
        return given

    def _use_fresh(self, day: dt.date, crop: str, kind: str, grams: int) -> int:
        """Take for one kind of fresh use, and note it; returns what there was."""
        self.fresh_from[_sunday(day), crop, kind] += self._by_plot(crop, grams)
        taken = self.take(crop, grams)
        self.fresh[_sunday(day), crop, kind] += taken
        return taken

    def throw_out(self, day: dt.date) -> None:
        """Throw away what has gone off by ``day``."""
        for crop, lots in self.stock.items():
            for lot in [lot for lot in lots if lot.spoils_on <= day]:
                lots.remove(lot)
                self.balance[crop].wasted += lot.grams
                self.fresh[_sunday(day), crop, "wasted"] += lot.grams
                self.fresh_from[_sunday(day), crop, "wasted"][lot.plot] += lot.grams
                self.waste_by_sowing[lot.sowing_id] += lot.grams

    def eat(self, day: dt.date) -> None:
        """Eat one day's worth of every crop at hand."""
        for crop, lots in self.stock.items():
            if lots:
                wanted = self.weekly_demand_g(crop) / 7 * np.exp(self.rng.normal(0, DEMAND_SD))
                self.balance[crop].eaten += self._use_fresh(day, crop, "eaten", round(wanted))

    def give(self, day: dt.date) -> None:
        """Give neighbours a part of what is beyond a week and a half, and no more than a week's worth."""
        for crop, lots in self.stock.items():
            week = self.weekly_demand_g(crop)
            spare = sum(lot.grams for lot in lots) - GIVE_BEYOND_WEEKS * week
            if spare > 0.2 * week and self.rng.random() < 0.8:
                grams = round(min(SHARE_GIVEN * spare, week) / 50) * 50
                self.balance[crop].given += self._use_fresh(day, crop, "given", grams)

    def put_by(self, day: dt.date) -> None:
        """One kitchen day: the crops with most to spare first, until the day's kilos are done."""
        room = 1000 * self.scenario.kitchen_kg_per_week / len(KITCHEN_WEEKDAYS)
        season = self.scenario.season_of(day)
        spare = {crop: self.at_hand(crop) - KEEP_BACK_WEEKS * self.weekly_demand_g(crop) for crop in self.stock}
        for crop in sorted(spare, key=lambda name: (-spare[name], name)):
            recipe = self._least_made(crop, season)
            if recipe is None:
                continue
            free = recipe.method in NOT_KITCHEN_WORK
            picked = min(spare[crop], 1000 * recipe.most_kg, np.inf if free else room)
            if picked >= 1000 * recipe.least_kg:
                used = self._make(day, recipe, season, int(picked))
                room -= 0 if free else used

    def _least_made(self, crop: str, season: int) -> Recipe | None:
        open_recipes = [
            recipe
            for recipe in self.scenario.recipes
            if recipe.crop == crop and self.batches_of[season, recipe.name] < recipe.per_season
        ]
        return min(
            open_recipes,
            key=lambda recipe: self.batches_of[season, recipe.name] / recipe.per_season,
            default=None,
        )

    def _make(self, day: dt.date, recipe: Recipe, season: int, picked_g: int) -> int:
        """Make one batch of about ``picked_g`` of the main crop; returns all grams taken from the kitchen."""
        trimmed = recipe.method != "cure"  # what is kept whole is not trimmed
        prepared = {recipe.crop: _prepared(recipe.crop, picked_g) if trimmed else picked_g // 50 * 50}
        main_share = 1 - sum(share for _, share in recipe.mixed_with)
        for other, share in recipe.mixed_with:
            wanted = prepared[recipe.crop] * share / main_share
            there = _prepared(other, self.at_hand(other))
            amount = round(min(wanted, there) / 50) * 50
            if amount >= 100:
                prepared[other] = amount
        picked: dict[str, int] = {}
        plot = mostly(self._by_plot(recipe.crop, picked_g))
        for crop, grams in prepared.items():
            refuse = CROPS[crop].refuse_pct / 100 if trimmed else 0.0
            picked[crop] = self.take(crop, round(grams / (1 - refuse)))
            self.balance[crop].put_by += picked[crop]
        self.made.append(Made(day, recipe, self.batches_of[season, recipe.name], plot, prepared, picked))
        self.batches_of[season, recipe.name] += 1
        return sum(picked.values())


def _prepared(crop: str, picked_g: int) -> int:
    """Prepared weight of ``picked_g``, to 50 g, rounded down so that the kitchen never runs short."""
    return int(picked_g * (1 - CROPS[crop].refuse_pct / 100) // 50) * 50


def mostly(given: Counter[str]) -> str:
    """The plot that gave most; of several, the first by name."""
    return min(given, key=lambda plot: (-given[plot], plot))


def _sunday(day: dt.date) -> dt.date:
    return day + dt.timedelta(days=SUNDAY - day.weekday())


def keep_house(scenario: Scenario, pickings: tuple[Picking, ...], rng: np.random.Generator) -> Household:
    """Live from the first picking to the end of the logs; returns the household as it then stands."""
    by_day: dict[dt.date, list[Picking]] = defaultdict(list)
    for picking in pickings:
        by_day[picking.day].append(picking)
    household = Household(scenario, rng)
    first = min(by_day)
    for day in (first + dt.timedelta(days=n) for n in range((scenario.ends - first).days + 1)):
        household.throw_out(day)
        for picking in by_day[day]:
            household.bring_in(picking)
        if day.weekday() in KITCHEN_WEEKDAYS:
            household.put_by(day)
        household.eat(day)
        if day.weekday() == SUNDAY:
            household.give(day)
    for crop in household.stock:
        household.balance[crop].left = household.at_hand(crop)
    return household
