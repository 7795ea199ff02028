"""How each batch was made: what the household chose, and the amounts that follow from it."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

import numpy as np

from sample_data.household import Made
from sample_data.scenario import Recipe, Scenario
from sample_data.truth import (
    COOL_DRYING_HAZARD_RATIO,
    DAMP_HAZARD_RATIO,
    DRY_ENOUGH_PCT,
    JAM_SOLIDS_PCT,
    LID_HAZARD_RATIO,
    NOT_PROCESSED_HAZARD_RATIO,
    NOT_SUBMERGED_HAZARD_RATIO,
    SALT_HAZARD_RATIO_PER_HALF_POINT,
    SALT_LEVELS_PCT,
    SALT_REFERENCE_PCT,
    SOLIDS_PCT,
    STORE_C,
    STORE_HAZARD_RATIO,
    WATER_PCT,
)


@dataclass(frozen=True)
class Choices:
    """What may differ between two batches of one recipe; None where it has no meaning."""

    lid: str
    store: str
    salt_pct: float | None = None
    """Of the prepared produce where dry-salted, of all where brined."""
    brined: bool = False
    submerged: bool | None = None
    vented: bool | None = None
    starter: str = ""
    vinegar_per_water: float | None = None
    sweetener: str = ""
    sweetener_per_produce: float | None = None
    heat_processed: bool | None = None
    moisture_pct: float | None = None
    drying_c: int | None = None
    ph: float | None = None
    trial: str = ""
    note: str = ""


@dataclass(frozen=True)
class Batch:
    """One batch with all that a label says, and the hazard ratio that its make comes to."""

    batch_id: str
    made: Made
    choices: Choices
    containers: int
    produce_g: int
    salt_g: int | None
    water_ml: int | None
    vinegar_ml: int | None
    sweetener_g: int | None
    finished_g: int | None
    store_c: int
    hazard_ratio: float


# The first batches of a trial are made in turn in its two ways, alike in all else. The other lines are
# the makes that a published limit warns of: they are here so that a warning has something to find.
PLANNED: MappingProxyType[tuple[int, str, int], dict[str, Any]] = MappingProxyType(
    {
        (0, "plum jam", 0): {"sweetener": "sugar", "trial": "plum-sweet-25"},
        (0, "plum jam", 1): {"sweetener": "honey", "trial": "plum-sweet-25"},
        (0, "plum jam", 2): {"sweetener": "sugar", "trial": "plum-sweet-25"},
        (0, "plum jam", 3): {"sweetener": "honey", "trial": "plum-sweet-25"},
        (1, "quince jam", 0): {"sweetener": "sugar", "trial": "quince-sweet-26"},
        (1, "quince jam", 1): {"sweetener": "honey", "trial": "quince-sweet-26"},
        (1, "quince jam", 2): {"sweetener": "sugar", "trial": "quince-sweet-26"},
        (1, "quince jam", 3): {"sweetener": "honey", "trial": "quince-sweet-26"},
        (1, "kohlrabi ferment", 0): {"salt_pct": 2.0, "trial": "kohlrabi-salt-26"},
        (1, "kohlrabi ferment", 1): {"salt_pct": 3.0, "trial": "kohlrabi-salt-26"},
        (1, "kohlrabi ferment", 2): {"salt_pct": 2.0, "trial": "kohlrabi-salt-26"},
        (1, "kohlrabi ferment", 3): {"salt_pct": 3.0, "trial": "kohlrabi-salt-26"},
        (0, "turnip ferment", 2): {"salt_pct": 1.4, "note": "ran out of salt"},
        (0, "kohlrabi ferment", 4): {"salt_pct": 1.6, "note": "salt by spoon, weighed after"},
        (0, "cucumber pickle", 1): {"vinegar_per_water": 0.6, "note": "stretched the vinegar"},
        (0, "plum jam", 4): {"heat_processed": False, "store": "pantry", "note": "too late in the evening"},
        (0, "dried pears", 1): {"moisture_pct": 33.0, "note": "still bendy, jars were needed"},
        (0, "dried beans", 0): {"drying_c": 30, "note": "on the attic floor"},
    }
)
TRIAL_MAKE: MappingProxyType[str, dict[str, Any]] = MappingProxyType(
    {
        "jam": {"lid": "metal", "store": "cellar"},
        "ferment": {"lid": "metal", "store": "cellar", "submerged": True, "vented": True, "starter": ""},
    }
)
CAUTION_WORDS = MappingProxyType(
    {
        (0, "turnip ferment", 2): "ferment at 1.4 % salt",
        (0, "kohlrabi ferment", 4): "ferment at 1.6 % salt",
        (0, "cucumber pickle", 1): "pickle with more water than vinegar",
        (0, "plum jam", 4): "jam in the pantry, not heat-processed",
        (0, "dried pears", 1): "dried pears too damp",
        (0, "dried beans", 0): "beans dried at 30 C",
    }
)


def _pick(rng: np.random.Generator, *weighted: tuple[str, float]) -> str:
    words, weights = zip(*weighted, strict=True)
    return str(words[int(rng.choice(len(words), p=np.array(weights) / sum(weights)))])


def _ferment(made: Made, rng: np.random.Generator) -> Choices:
    return Choices(
        lid=_pick(rng, ("metal", 4), ("plastic", 4), ("glass", 4), ("cloth", 1)),
        store=_pick(rng, ("cellar", 5), ("fridge", 3), ("pantry", 3)),
        salt_pct=float(SALT_LEVELS_PCT[int(rng.integers(len(SALT_LEVELS_PCT)))]),
        brined=made.recipe.piece != "shred",
        submerged=bool(rng.random() < 0.9),
        vented=bool(rng.random() < 0.9),
        starter=_pick(rng, ("", 8), ("brine of an older batch", 1)),
        ph=round(float(rng.normal(3.6, 0.12)), 1) if rng.random() < 0.85 else None,
    )


def _pickle(_made: Made, rng: np.random.Generator) -> Choices:
    processed = bool(rng.random() < 0.7)
    return Choices(
        lid=_pick(rng, ("metal", 4), ("plastic", 2), ("glass", 3)),
        store=_pick(rng, ("cellar", 4), ("pantry", 4)) if processed else "fridge",
        salt_pct=1.5,
        vinegar_per_water=float(rng.choice([1.0, 1.25, 1.5])),
        sweetener=_pick(rng, ("sugar", 3), ("none", 1)),
        sweetener_per_produce=0.12,
        heat_processed=processed,
    )


def _jam(_made: Made, rng: np.random.Generator) -> Choices:
    return Choices(
        lid=_pick(rng, ("metal", 4), ("glass", 2)),
        store=_pick(rng, ("cellar", 3), ("pantry", 3)),
        sweetener="sugar",
        sweetener_per_produce=1.2,
        heat_processed=True,
    )


def _dry(made: Made, rng: np.random.Generator) -> Choices:
    limit = DRY_ENOUGH_PCT[made.recipe.crop]
    return Choices(
        lid=_pick(rng, ("metal", 3), ("glass", 3), ("plastic", 2)),
        store=_pick(rng, ("pantry", 3), ("cellar", 1)),
        moisture_pct=float(limit * rng.uniform(0.55, 0.8)),
        drying_c=int(rng.choice([60, 60, 62, 65])),
    )


def _bottle(_made: Made, rng: np.random.Generator) -> Choices:
    return Choices(
        lid=_pick(rng, ("metal", 3), ("glass", 2)),
        store=_pick(rng, ("cellar", 3), ("pantry", 3)),
        heat_processed=True,
        ph=round(float(rng.normal(4.1, 0.08)), 1) if rng.random() < 0.9 else None,
    )


def _freeze(_made: Made, _rng: np.random.Generator) -> Choices:
    return Choices(lid="bag", store="freezer")


def _cure(_made: Made, rng: np.random.Generator) -> Choices:
    return Choices(lid="none", store=_pick(rng, ("cellar", 2), ("pantry", 1)))


_CHOOSE = {
    "ferment": _ferment,
    "pickle": _pickle,
    "jam": _jam,
    "dry": _dry,
    "bottle": _bottle,
    "freeze": _freeze,
    "cure": _cure,
}


def make_batches(scenario: Scenario, made: list[Made], rng: np.random.Generator) -> tuple[Batch, ...]:
    """Every batch in the order it was made, labelled by year and number."""
    batches = []
    numbers: Counter[int] = Counter()
    for one in made:
        numbers[one.made_on.year] += 1
        choices = _CHOOSE[one.recipe.method](one, rng)
        planned = PLANNED.get((scenario.season_of(one.made_on), one.recipe.name, one.nth), {})
        if scenario.honest_mess and planned:
            choices = replace(choices, **(TRIAL_MAKE[one.recipe.method] if "trial" in planned else {}), **planned)
        batches.append(_batch(f"B{one.made_on:%y}-{numbers[one.made_on.year]:03d}", one, choices, rng))
    return tuple(batches)


def _batch(batch_id: str, made: Made, choices: Choices, rng: np.random.Generator) -> Batch:
    produce = sum(made.prepared_g.values())
    water, vinegar = _liquids(produce, choices)
    sweetener = None
    if choices.sweetener_per_produce and choices.sweetener != "none":
        sweetener = round(produce * choices.sweetener_per_produce / 50) * 50
    return Batch(
        batch_id,
        made,
        choices,
        max(1, round(produce / 1000 / made.recipe.kg_per_container)),
        produce,
        _salt_g(produce, water, vinegar, choices),
        water,
        vinegar,
        sweetener,
        _finished_g(produce, sweetener, made.recipe, choices),
        STORE_C[choices.store] - int(rng.integers(0, 2)),
        hazard_ratio(made.recipe.crop, made.recipe.method, choices),
    )


def _liquids(produce_g: int, choices: Choices) -> tuple[int | None, int | None]:
    if choices.vinegar_per_water is not None:
        water = round(produce_g * 0.35 / 50) * 50
        return water, round(water * choices.vinegar_per_water / 10) * 10
    return (round(produce_g * 0.6 / 50) * 50, None) if choices.brined else (None, None)


def _salt_g(produce_g: int, water_ml: int | None, vinegar_ml: int | None, choices: Choices) -> int | None:
    """Grams of salt: a share of the produce, or such that salt is that share of the whole jar."""
    if choices.salt_pct is None:
        return None
    share = choices.salt_pct / 100
    if not choices.brined:
        return round(share * produce_g)
    return round(share / (1 - share) * (produce_g + (water_ml or 0) + (vinegar_ml or 0)))


def _finished_g(produce_g: int, sweetener_g: int | None, recipe: Recipe, choices: Choices) -> int | None:
    """Weight once dried or cooked down: the solids stay, the water goes."""
    if recipe.method == "jam":
        solids = produce_g * SOLIDS_PCT[recipe.crop] + (sweetener_g or 0) * SOLIDS_PCT[choices.sweetener]
        return round(solids / JAM_SOLIDS_PCT / 50) * 50
    if choices.moisture_pct is None:
        return None
    return round(produce_g * (100 - WATER_PCT[recipe.crop]) / (100 - choices.moisture_pct))


def hazard_ratio(crop: str, method: str, choices: Choices) -> float:
    """How much faster such a batch spoils than the reference make of its method."""
    ratio = LID_HAZARD_RATIO[choices.lid] * STORE_HAZARD_RATIO[choices.store]
    if method == "ferment" and choices.salt_pct is not None:
        ratio *= SALT_HAZARD_RATIO_PER_HALF_POINT ** ((choices.salt_pct - SALT_REFERENCE_PCT) / 0.5)
    if choices.submerged is False:
        ratio *= NOT_SUBMERGED_HAZARD_RATIO
    if choices.moisture_pct is not None and choices.moisture_pct > DRY_ENOUGH_PCT[crop]:
        ratio *= DAMP_HAZARD_RATIO
    if choices.drying_c is not None and choices.drying_c < 50:
        ratio *= COOL_DRYING_HAZARD_RATIO
    if choices.heat_processed is False:
        ratio *= NOT_PROCESSED_HAZARD_RATIO
    return ratio
