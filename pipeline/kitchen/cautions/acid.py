"""How sour the foods of a batch are: by the grower's own word, by published pH, by family; not known counts as low.

A figure from memory may warn and never clears.
"""

from __future__ import annotations

from functools import cache

import polars as pl

from pipeline import reference

LOW_ACID_LINE = 4.6
"""21 CFR 114.3: the line between acid and low-acid food."""

FRUIT_FAMILIES = (
    "Actinidiaceae",
    "Ericaceae",
    "Grossulariaceae",
    "Moraceae",
    "Polygonaceae",
    "Rosaceae",
    "Rutaceae",
    "Viburnaceae",
    "Vitaceae",
)
"""Families of the crop reference whose crops are fruit in the kitchen; rhubarb counts as one."""

SOUR_FAMILIES = ("Ericaceae", "Grossulariaceae", "Rosaceae", "Rutaceae", "Vitaceae")
"""Families whose fruit is taken as acid where no published pH of the crop was read (common practice)."""

NEAR_LIMIT_FRUIT = (
    *("banana", "plantain", "fig", "elderberry", "mango", "papaya", "pawpaw", "persimmon", "mulberry"),
    *("melon", "watermelon", "cantaloupe", "honeydew", "rockmelon", "rock melon", "muskmelon"),
    *("nashi", "asian pear", "nashi pear", "white peach", "white nectarine", "lychee", "longan", "rambutan"),
    *("breadfruit", "medlar", "loquat", "jackfruit", "date", "prickly pear", "sapodilla", "cherimoya", "custard apple"),
)
"""Fruit whose own pH can exceed 4.6, by the lists that the rule cites or by its published pH."""

FREEZE_ONLY = ("white peach", "white nectarine")
"""No acid makes these fit for closed jars by any tested recipe (Univ. of Maine and USDA, 2020)."""

MASHED_ONLY_FROZEN = ("pumpkin", "winter squash")

HERBS = ("chive", "coriander", "dill", "parsley", "tarragon")
"""Leaf herbs outside the mint family; herbs are dried cooler than vegetables."""


@cache
def _published() -> dict[str, str]:
    """Class by food: acid only where the pH, or the class itself, was read."""
    classes: dict[str, str] = {}
    for row in reference.food_ph().drop_nulls("class").iter_rows(named=True):
        food = row["food"].split(" (")[0]
        read = row["read_as"] in {"read", "read in a copy"}
        if row["class"] == "low acid" or "(product)" in row["food"]:
            classes.setdefault(food, "low acid")
        elif row["class"] == "acid" or (row["ph_low"] or LOW_ACID_LINE) < 4.2:
            # Fruit that starts well below the line is bottled as acid, though single figures touch it.
            classes.setdefault(food, "acid" if read else "unproven")
        else:
            classes.setdefault(food, "low acid")
    return classes | dict.fromkeys(NEAR_LIMIT_FRUIT, "near limit") | {"tomato": "near limit"}


def low_acid_names() -> list[str]:
    """Vegetables by name, as a note may name them; leaf herbs and spices, of which little is used, left out."""
    spices = {*HERBS, "mint", "thyme", "sage", "oregano", "rosemary", "basil", "turmeric", "ginger", "horseradish"}
    products = {food.split(" (")[0] for food in reference.food_ph()["food"] if "(product)" in food}
    passed = spices | products
    return sorted(food for food, kind in _published().items() if kind == "low acid" and food not in passed)


def singular(text: str) -> str:
    """A plural English name without its ending: ``white peaches`` -> ``white peach``."""
    for ending, stem in (("ies", "y"), ("oes", "o"), ("ches", "ch"), ("shes", "sh"), ("s", "")):
        if text.endswith(ending) and not text.endswith("ss"):
            return text.removesuffix(ending) + stem
    return text


def acid_class(crop: str, family: str | None, kind: str | None, by_grower: str | None) -> str:
    """``acid``, ``near limit``, ``low acid``, ``unproven``, or ``unknown``, which counts as low.

    Unproven is a fruit held to be sour of which no figure was read. Petals, leaves and nuts of a family of sour fruit
    are no sour fruit, so the family clears only what is a fruit.
    """
    if by_grower:
        return by_grower
    published = _published()
    known = published.get(crop) or published.get(singular(crop))
    if known in {"acid", "near limit", "low acid"}:
        return known
    if known == "unproven" and kind == "fruit":
        return "unproven"
    return "acid" if family in SOUR_FAMILIES and kind in {None, "fruit"} else "unknown"


def with_acid_class(foods: pl.DataFrame, crops: pl.DataFrame) -> pl.DataFrame:
    """Add ``family``, ``kind``, ``water_pct`` and ``acid_class`` to a frame with ``crop``."""
    known = crops.select(
        "crop", "family", "kind", "water_pct", by_grower="acid" if "acid" in crops.columns else pl.lit(None)
    )
    found = foods.join(known, on="crop", how="left", maintain_order="left")
    keys = ["crop", "family", "kind", "by_grower"]
    kinds = found.select(keys).unique()
    kinds = kinds.with_columns(
        acid_class=pl.Series([acid_class(crop or "", *rest) for crop, *rest in kinds.iter_rows()], dtype=pl.String)
    )
    return found.join(kinds, on=keys, how="left", nulls_equal=True, maintain_order="left")
