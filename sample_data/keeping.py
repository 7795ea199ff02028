"""What became of every container: spoiled, used, or still on the shelf; and what tasters thought."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from dataclasses import dataclass

import numpy as np

from sample_data.making import Batch
from sample_data.scenario import Scenario
from sample_data.truth import (
    CUMULATIVE_HAZARD_12_MONTHS,
    DAYS_BETWEEN_LOOKS,
    FIRMNESS,
    FRAILTY_VARIANCE,
    LIKING,
    READY_DAYS,
    TASTE_NOISE_SD,
    TASTER_SD,
    USE_PER_MONTH,
    USUAL_USE_PER_MONTH,
    WEIBULL_SHAPE,
)

MONTH_DAYS = 30.4375
CAUSES = {
    "ferment": ("mould", "soft", "slime", "off smell"),
    "pickle": ("soft", "mould", "rust"),
    "jam": ("mould", "mould", "leak"),
    "dry": ("damp", "insects", "mould"),
    "freeze": ("freezer burn",),
    "bottle": ("leak", "bulging", "off smell"),
    "cure": ("rot", "soft", "mould"),
}
MENDED = {"ferment": ("yeast film", "skimmed"), "dry": ("damp", "redried"), "bottle": ("rust", "kept")}
MENDED_SHARE = 0.03
MISSED_LOOK_BATCH = 20
"""Place, among the batches that three looks or more came to, of the one that was left out of a look."""


@dataclass(frozen=True)
class Look:
    """One row of the spoilage log about a batch."""

    day: dt.date
    batch_id: str
    containers: int
    cause: str
    action: str


@dataclass(frozen=True)
class Use:
    """Containers of one batch used on one day."""

    day: dt.date
    batch_id: str
    containers: int
    use: str


@dataclass(frozen=True)
class Tasting:
    """One score."""

    day: dt.date
    batch_id: str
    taster: str
    liking: int
    firmness: int | None


@dataclass(frozen=True)
class Fate:
    """What became of one batch; ``hidden`` is spoiled on the shelf and not yet seen."""

    batch: Batch
    frailty: float
    used: int
    spoiled: int
    hidden: int

    @property
    def on_hand(self) -> int:
        """Containers left as the household believes."""
        return self.batch.containers - self.used - self.spoiled


@dataclass(frozen=True)
class Kept:
    """The whole shelf's story."""

    fates: tuple[Fate, ...]
    looks: tuple[Look, ...]
    uses: tuple[Use, ...]
    tastings: tuple[Tasting, ...]
    missed_look: tuple[str, dt.date] | None


def cumulative_hazard(batch: Batch, months: float) -> float:
    """Cumulative hazard of a container of ``batch`` at an age, at frailty 1."""
    base = CUMULATIVE_HAZARD_12_MONTHS[batch.made.recipe.method]
    return float(batch.hazard_ratio * base * (months / 12) ** WEIBULL_SHAPE)


def keep(scenario: Scenario, batches: tuple[Batch, ...], rng: np.random.Generator) -> Kept:
    """Follow every container to the end of the logs."""
    looks_on = _look_days(scenario, batches, rng)
    missed = _missed_look(scenario, batches, looks_on)
    fates: list[Fate] = []
    looks: list[Look] = []
    uses: list[Use] = []
    for batch in batches:
        mine = [day for day in looks_on if day > batch.made.made_on and (batch.batch_id, day) != missed]
        fate, found, used = _follow(scenario.ends, batch, mine, rng)
        fates.append(fate)
        looks += found
        uses += used
    tastings = _taste(scenario, fates, rng)
    return Kept(
        tuple(fates),
        tuple(sorted(looks, key=lambda row: (row.day, row.batch_id))),
        tuple(sorted(uses, key=lambda row: (row.day, row.batch_id))),
        tuple(sorted(tastings, key=lambda row: (row.day, row.batch_id, row.taster))),
        missed,
    )


def _look_days(scenario: Scenario, batches: tuple[Batch, ...], rng: np.random.Generator) -> list[dt.date]:
    days: list[dt.date] = []
    day = batches[0].made.made_on
    while True:
        day += dt.timedelta(days=int(rng.integers(*DAYS_BETWEEN_LOOKS, endpoint=True)))
        if day > scenario.ends:
            return days
        days.append(day)


def _missed_look(scenario: Scenario, batches: tuple[Batch, ...], looks_on: list[dt.date]) -> tuple[str, dt.date] | None:
    """The batch and the second look it should have had, forgotten."""
    if not scenario.honest_mess:
        return None
    batch = [batch for batch in batches if sum(day > batch.made.made_on for day in looks_on) >= 3][MISSED_LOOK_BATCH]
    return batch.batch_id, [day for day in looks_on if day > batch.made.made_on][1]


def _follow(
    ends: dt.date, batch: Batch, looks_on: list[dt.date], rng: np.random.Generator
) -> tuple[Fate, list[Look], list[Use]]:
    """One batch: a container is used, or found spoiled when opened or at the first look after it spoiled."""
    method = batch.made.recipe.method
    made_on = batch.made.made_on
    frailty = float(rng.gamma(1 / FRAILTY_VARIANCE, FRAILTY_VARIANCE))
    yearly = max(frailty * cumulative_hazard(batch, 12), 1e-9)
    ages = 12 * MONTH_DAYS * (rng.exponential(1, batch.containers) / yearly) ** (1 / WEIBULL_SHAPE)
    rate = USE_PER_MONTH.get(method, USUAL_USE_PER_MONTH)
    waits = READY_DAYS[method] + rng.exponential(MONTH_DAYS / rate, batch.containers)
    found: Counter[dt.date] = Counter()
    used: Counter[dt.date] = Counter()
    hidden = 0
    for age, wait in zip(np.minimum(ages, 1e5), np.minimum(waits, 1e5), strict=True):
        spoils = made_on + dt.timedelta(days=1 + int(age))
        opened = made_on + dt.timedelta(days=1 + int(wait))
        seen = min([day for day in looks_on if day >= spoils] + [opened]) if spoils <= opened else opened
        if seen > ends:
            hidden += spoils <= ends
        elif spoils <= opened:
            found[seen] += 1
        else:
            used[seen] += 1
    fate = Fate(batch, frailty, used.total(), found.total(), hidden)
    return (
        fate,
        _look_rows(batch, looks_on, found, used, rng),
        [Use(day, batch.batch_id, n, _use(rng)) for day, n in sorted(used.items())],
    )


def _look_rows(
    batch: Batch,
    looks_on: list[dt.date],
    found: Counter[dt.date],
    used: Counter[dt.date],
    rng: np.random.Generator,
) -> list[Look]:
    """A row per find, and a row of 0 for each look at a batch that still stood on the shelf."""
    method = batch.made.recipe.method
    rows = []
    for day in sorted(set(found) | set(looks_on)):
        standing = batch.containers - sum(n for gone in (found, used) for when, n in gone.items() if when < day)
        if not standing:
            continue
        if found[day]:
            cause = CAUSES[method][int(rng.integers(len(CAUSES[method])))]
            rows.append(Look(day, batch.batch_id, found[day], cause, _action(cause, rng)))
        elif method in MENDED and rng.random() < MENDED_SHARE:
            rows.append(Look(day, batch.batch_id, 1, *MENDED[method]))
        else:
            rows.append(Look(day, batch.batch_id, 0, "", ""))
    return rows


def _action(cause: str, rng: np.random.Generator) -> str:
    if cause in {"bulging", "leak", "off smell", "mould"}:
        return "discarded"
    return str(rng.choice(["discarded", "composted", "composted", "fed to animals"]))


def _use(rng: np.random.Generator) -> str:
    return str(rng.choice(["eaten", "given", "swapped", "donated"], p=[0.84, 0.08, 0.04, 0.04]))


def _taste(scenario: Scenario, fates: list[Fate], rng: np.random.Generator) -> list[Tasting]:
    """Each trial is tasted once, by most of the household, when all its batches are ready."""
    tasters = [f"taster {letter}" for letter in "ABCDEFGHIJ"[: scenario.people]]
    leaning = dict(zip(tasters, rng.normal(0, TASTER_SD, len(tasters)), strict=True))
    trials: dict[str, list[Batch]] = {}
    for fate in fates:
        if fate.batch.choices.trial:
            trials.setdefault(fate.batch.choices.trial, []).append(fate.batch)
    rows = []
    for trial, batches in trials.items():
        last = max(batch.made.made_on for batch in batches)
        day = min(last + dt.timedelta(days=35), scenario.ends)
        for taster in tasters:
            for batch in batches:
                arm = arm_of(batch)
                score = LIKING[trial, arm] + leaning[taster] + rng.normal(0, TASTE_NOISE_SD)
                firm = FIRMNESS[arm] + rng.normal(0, TASTE_NOISE_SD) if arm in FIRMNESS else None
                if rng.random() < 0.93:
                    rows.append(
                        Tasting(day, batch.batch_id, taster, _score(score), None if firm is None else _score(firm))
                    )
    return rows


def arm_of(batch: Batch) -> str:
    """What differs in this batch's arm of its trial."""
    salt = batch.choices.salt_pct
    return batch.choices.sweetener or f"{salt:g} %"


def _score(value: float) -> int:
    return int(min(9, max(1, round(value))))
