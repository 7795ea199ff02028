"""Each unit once: what a grower may write, what it is called, and its size in our base units.

Base units: kilogram for produce, gram for salt and sugar, millilitre for liquids, metre, square metre,
degree Celsius. Factors are exact by definition (international yard and pound, 1959; US and imperial
gallon as defined in NIST Handbook 44, appendix C; from memory, the definitions are exact).
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Unit:
    """One unit: its quantity, its size in the base unit of that quantity, and the spellings it goes by."""

    name: str
    quantity: str
    """``mass`` (base: gram), ``volume`` (base: millilitre), ``length`` (base: metre), ``area``, ``count``."""
    size: float
    spellings: tuple[str, ...]


UNITS: tuple[Unit, ...] = (
    Unit("g", "mass", 1.0, ("g", "gr", "gram", "grams", "gramme", "grammes", "gms", "gm")),
    Unit("kg", "mass", 1000.0, ("kg", "kgs", "kilo", "kilos", "kilogram", "kilograms", "kilogramme")),
    Unit("mg", "mass", 0.001, ("mg", "milligram", "milligrams")),
    Unit("lb", "mass", 453.59237, ("lb", "lbs", "pound", "pounds", "#")),
    Unit("oz", "mass", 28.349523125, ("oz", "ozs", "ounce", "ounces")),
    Unit("ml", "volume", 1.0, ("ml", "millilitre", "millilitres", "milliliter", "milliliters", "cc")),
    Unit("cl", "volume", 10.0, ("cl", "centilitre", "centilitres")),
    Unit("dl", "volume", 100.0, ("dl", "decilitre", "decilitres")),
    Unit("l", "volume", 1000.0, ("l", "lt", "ltr", "litre", "litres", "liter", "liters")),
    Unit("fl oz", "volume", 29.5735295625, ("fl oz", "floz", "fluid ounce", "fluid ounces")),
    Unit("cup", "volume", 236.5882365, ("cup", "cups", "c")),
    Unit("tbsp", "volume", 14.78676478125, ("tbsp", "tbsps", "tablespoon", "tablespoons")),
    Unit("tsp", "volume", 4.92892159375, ("tsp", "tsps", "teaspoon", "teaspoons")),
    Unit("pt", "volume", 473.176473, ("pt", "pts", "pint", "pints")),
    Unit("qt", "volume", 946.352946, ("qt", "qts", "quart", "quarts")),
    Unit("gal", "volume", 3785.411784, ("gal", "gals", "gallon", "gallons")),
    Unit("m", "length", 1.0, ("m", "metre", "metres", "meter", "meters")),
    Unit("cm", "length", 0.01, ("cm", "centimetre", "centimetres", "centimeter", "centimeters")),
    Unit("ft", "length", 0.3048, ("ft", "foot", "feet", "'")),
    Unit("in", "length", 0.0254, ("in", "inch", "inches", '"')),
    Unit("m2", "area", 1.0, ("m2", "m²", "sqm", "sq m", "square metre", "square metres", "square meters")),
    Unit("sq ft", "area", 0.09290304, ("sq ft", "sqft", "ft2", "ft²", "square feet", "square foot")),
    Unit(
        "plants",
        "count",
        1.0,
        (
            *("plants", "plant", "seedlings", "seedling", "seeds", "seed", "sets", "set", "cloves", "clove"),
            *("plugs", "plug", "tubers", "tuber", "slips", "slip", "crowns", "crown", "transplants", "transplant"),
        ),
    ),
)

IMPERIAL_SIZE_ML: dict[str, float] = {
    "fl oz": 28.4130625,
    "pt": 568.26125,
    "qt": 1136.5225,
    "gal": 4546.09,
}
"""Sizes of the measures that differ between the US and imperial systems, millilitres."""

DIFFERS_BY_SYSTEM = frozenset(IMPERIAL_SIZE_ML)

COUNT_UNITS: dict[str, tuple[str, ...]] = {
    "piece": ("piece", "pieces", "pc", "pcs", "each", "ea", "whole", "nos"),
    "head": ("head", "heads", "heart", "hearts"),
    "bunch": ("bunch", "bunches", "bunchs", "bundle", "bundles"),
    "fruit": ("fruit", "fruits"),
    "root": ("root", "roots"),
    "bulb": ("bulb", "bulbs"),
    "cob": ("cob", "cobs", "ear", "ears"),
    "tuber": ("tuber", "tubers"),
    "pod": ("pod", "pods"),
    "mushroom": ("mushroom", "mushrooms"),
    "stalk": ("stalk", "stalks", "stick", "sticks", "rib", "ribs"),
    "spear": ("spear", "spears"),
    "leaf": ("leaf", "leaves"),
    "sprig": ("sprig", "sprigs"),
    "shoot": ("shoot", "shoots"),
    "nut": ("nut", "nuts"),
    "handful": ("handful", "handfuls", "hand", "hands"),
    "dozen": ("dozen", "dozens", "doz", "dz"),
    "punnet": ("punnet", "punnets"),
    "pint box": ("pint box", "pint boxes"),
    "tray": ("tray", "trays"),
    "box": ("box", "boxes"),
    "crate": ("crate", "crates"),
    "lug": ("lug", "lugs"),
    "basket": ("basket", "baskets"),
    "bucket": ("bucket", "buckets", "pail", "pails"),
    "bag": ("bag", "bags"),
    "sack": ("sack", "sacks"),
    "peck": ("peck", "pecks"),
    "bushel": ("bushel", "bushels", "bu"),
    "half bushel": ("half bushel", "half bushels"),
}
"""Things counted and not weighed, and the words for them; the reference says what one weighs of a crop."""

COUNT_WORDS: dict[str, str] = {word: unit for unit, words in COUNT_UNITS.items() for word in words}

MEASURED_AS: dict[str, tuple[str, float]] = {"qt": ("quart", 1.0), "gal": ("gallon", 1.0), "l": ("quart", 0.908083)}
"""Measures by which berries are counted, and how many of them a volume is (1 l is 0.908 US dry quarts)."""

CONTAINER_WORDS: tuple[str, ...] = (
    *("jars", "jar", "bottles", "bottle", "bags", "bag", "boxes", "box", "tubs", "tub", "pots", "pot", "tins", "tin"),
    *("cans", "can", "crocks", "crock", "crates", "crate", "trays", "tray", "packets", "packet", "packs", "pack"),
    *("containers", "container", "pieces", "piece", "points", "point", "small", "large", "big", "little", "medium"),
)
"""Words that may follow a number of containers, or a score, and change nothing about it."""

BY_SPELLING: dict[str, Unit] = {spelling: unit for unit in UNITS for spelling in unit.spellings}
