"""Cells as a gardener types them: several units, several spellings, now and then another order of a date."""

from __future__ import annotations

import datetime as dt
from types import MappingProxyType

import numpy as np

from sample_data.truth import CROPS

ODD_SHARE = 0.03
"""Share of cells typed in another way than usual; all of them are readable."""
COUNTED_SHARE = 0.06

SPELLINGS = MappingProxyType(
    {
        "radish": ("Radishes",),
        "spinach": ("Spinach",),
        "lettuce": ("lettuces", "LETTUCE"),
        "pea": ("peas", "Peas"),
        "bean": ("beans", "Beans"),
        "courgette": ("Courgettes", "zucchini"),
        "cucumber": ("cucumbers", "Cucumber"),
        "tomato": ("Tomatoes", "tomatoes"),
        "kohlrabi": ("Kohlrabi", "knobs"),
        "turnip": ("turnips", "Turnip"),
        "cabbage": ("Cabbage", "cabbages"),
        "beetroot": ("beets", "Beetroot"),
        "carrot": ("carrots", "CARROT"),
        "onion": ("onions", "Onions"),
        "pumpkin": ("pumpkins", "Pumpkin"),
        "plum": ("plums", "Plums"),
        "pear": ("pears", "Pears"),
        "quince": ("quinces", "eyot apple"),
    }
)
OWN_WORDS = MappingProxyType({"kohlrabi": "knobs", "quince": "eyot apple"})
"""Words that only this garden uses; its crops.csv explains them."""
COUNT_WORD = MappingProxyType({"lettuce": "head", "cabbage": "head", "radish": "bunch", "beetroot": "root"})
PLURAL = MappingProxyType({"head": "heads", "bunch": "bunches", "root": "roots"})
OUNCE_G = 28.349523125
METHOD_SPELLINGS = MappingProxyType(
    {
        "freeze": ("freeze", "frozen"),
        "dry": ("dry", "dried"),
        "pickle": ("pickle", "pickled"),
        "ferment": ("ferment", "ferment", "fermented"),
        "jam": ("jam",),
        "bottle": ("bottle", "bottled"),
        "cure": ("cure", "cured"),
    }
)


def plain(value: float, places: int = 3) -> str:
    """A number without needless zeros."""
    return f"{value:.{places}f}".rstrip("0").rstrip(".")


def kilograms(grams: int) -> str:
    """A weight in kilograms."""
    return f"{plain(grams / 1000)} kg"


def weight(grams: int) -> str:
    """Grams below a kilogram, kilograms above."""
    return f"{grams} g" if grams < 1000 else kilograms(grams)


def grams(value: int | None) -> str:
    """A weight in grams, or nothing."""
    return "" if value is None else f"{value} g"


def liquid(millilitres: int | None) -> str:
    """A volume, or nothing."""
    if millilitres is None:
        return ""
    return f"{millilitres // 1000} L" if millilitres % 1000 == 0 else f"{millilitres} ml"


def yes_no(value: bool | None) -> str:
    """Yes, no, or nothing where it was not noted."""
    return {True: "yes", False: "no", None: ""}[value]


def number(value: float | None) -> str:
    """A plain number, or nothing."""
    return "" if value is None else plain(value)


def harvest_weight(crop: str, weight_g: int, rng: np.random.Generator, *, decimal_comma: bool) -> str:
    """The weight of a picking: mostly metric, at times pounds and ounces, heads, roots or bunches."""
    if crop in COUNT_WORD and rng.random() < COUNTED_SHARE:
        pieces = max(1, round(weight_g / 1000 / CROPS[crop].piece_kg))
        word = COUNT_WORD[crop]
        return f"{pieces} {word if pieces == 1 else PLURAL[word]}"
    roll = rng.random()
    pounds, ounces = divmod(round(weight_g / OUNCE_G), 16)
    if roll < ODD_SHARE and pounds:
        return f"{pounds} lb {ounces} oz" if ounces else f"{pounds} lb"
    cell = weight(weight_g)
    if roll > 0.8:
        cell = cell.replace(" g", "g")
    return cell.replace(".", ",") if decimal_comma or ODD_SHARE <= roll < 1.5 * ODD_SHARE else cell


def crop_name(crop: str, rng: np.random.Generator, *, own_words: bool = True) -> str:
    """The crop, now and then in another spelling."""
    words = [word for word in SPELLINGS[crop] if own_words or word != OWN_WORDS.get(crop)]
    return str(rng.choice(words)) if rng.random() < ODD_SHARE else crop


def date(day: dt.date, rng: np.random.Generator) -> str:
    """ISO, or once in a while day first where that can mean one day only."""
    if day.day > 12 and rng.random() < ODD_SHARE / 2:
        return f"{day:%d.%m.%Y}"
    return day.isoformat()
