"""The truth the simulator draws from. Every figure is invented for this garden; none is a published value."""

from __future__ import annotations

from types import MappingProxyType

from sample_data.scenario import CropTruth, Recipe

_CROPS = """
radish     4   27  340  -5   9  3 m      0.55 0.05  12 10 0.20  0
spinach    2   24  680  -9  18  5 m      0.75 0.09   7 25 0.25  0
lettuce    0   28 1150  -4  13  3 plants 0.36 0.14   9 20 0.57  0
pea        4.4 27  830  -4  16  3 m      0.80 0.11   8 60 0.01  0
bean      10   30  544  -1  20  4 m      1.60 0.22   9 12 0.01  0
courgette 10   32  500  -1  48  3 plants 6.00 0.27  11  8 0.30  0
cucumber  12   32  550  -1  32  3 plants 2.90 0.24  11  6 0.30  0
tomato    10   30 1000  -1  50  4 plants 3.00 0.50  11  9 0.10  0
kohlrabi   4   27  780  -5  22  5 m      1.90 0.13  28 30 0.35  4
turnip     4   27  750  -5  26  6 m      1.70 0.10  40 20 0.20  5
cabbage    0   30 1280  -8  34  6 plants 1.80 0.18  45 20 1.14 10
beetroot   4   30  780  -4  38  6 m      2.00 0.15  50 20 0.12 10
carrot     4   30 1010  -6  42  6 m      1.60 0.25  60 12 0.08 14
onion      4   28 1570  -5  12  4 m      1.60 0.20 150 10 0.12  8
pumpkin   10   32 1220  -1  12  6 plants 4.80 0.16  90 30 3.00  8
plum       5   30 1680 -20  18  3 tree   1.00 0.30  12  6 0.03  0
pear       5   30 2020 -20  20  4 tree   1.00 0.30  30 12 0.18  0
quince     5   30 2300 -20  14  4 tree   1.00 0.03  45 25 0.25  0
"""


def _crop(line: str) -> CropTruth:
    name, base, upper, warmth, kill, window, step, unit, crop_yield, eaten, life, refuse, piece, waits = line.split()
    return CropTruth(
        name,
        float(base),
        float(upper),
        float(warmth),
        float(kill),
        float(window),
        float(step),
        unit,
        float(crop_yield),
        float(eaten),
        float(life),
        float(refuse),
        float(piece),
        float(waits),
    )


CROPS = MappingProxyType({crop.name: crop for crop in map(_crop, _CROPS.strip().splitlines())})
"""Columns of the table above: crop, base C, upper C, C d to the first pick, kill C, days from first to last
pick, days between picks, unit, kg per unit, kg wanted fresh per person and week, days it stays good in the
kitchen, percent trimmed, kg of one piece or bunch, days a ripe row waits before anyone wants it (mean)."""

VARIETY_FACTOR = MappingProxyType({"early": 0.92, "main": 1.0, "late": 1.1, "own seed": 1.0})
SOWING_SD = 0.06
"""Standard deviation of the logarithm of the degree days between sowings of one crop."""
SPREAD_SD = 0.12
YIELD_SD = 0.18
PICK_SD = 0.25

RECIPES = (
    Recipe("kohlrabi ferment", "kohlrabi", "ferment", 1.2, 2.8, 0.36, 500, "shred", 7),
    Recipe("turnip ferment", "turnip", "ferment", 1.2, 2.8, 0.36, 500, "shred", 6),
    Recipe("cabbage ferment", "cabbage", "ferment", 2.5, 5.5, 0.62, 750, "shred", 5),
    Recipe("cucumber ferment", "cucumber", "ferment", 1.5, 3.2, 0.45, 750, "whole", 4),
    Recipe("island mix", "carrot", "ferment", 1.5, 3.0, 0.40, 500, "chunk", 4, (("kohlrabi", 0.25),)),
    Recipe("cucumber pickle", "cucumber", "pickle", 1.5, 4.0, 0.45, 500, "shred", 4),
    Recipe("beetroot pickle", "beetroot", "pickle", 1.8, 4.0, 0.45, 500, "chunk", 5),
    Recipe("courgette relish", "courgette", "pickle", 2.0, 5.0, 0.42, 500, "chunk", 4, (("onion", 0.2),)),
    Recipe("frozen peas", "pea", "freeze", 1.2, 5.0, 0.30, 500, "whole", 4),
    Recipe("frozen beans", "bean", "freeze", 1.2, 4.0, 0.40, 750, "chunk", 4),
    Recipe("frozen spinach", "spinach", "freeze", 1.0, 3.0, 0.30, 500, "chunk", 2),
    Recipe("dried beans", "bean", "dry", 1.2, 3.0, 0.60, 500, "chunk", 3),
    Recipe("dried pears", "pear", "dry", 2.0, 6.0, 0.90, 500, "shred", 4),
    Recipe("dried tomatoes", "tomato", "dry", 2.0, 5.0, 1.60, 500, "chunk", 2),
    Recipe("bottled tomatoes", "tomato", "bottle", 3.0, 8.5, 0.72, 500, "chunk", 7),
    Recipe("bottled pears", "pear", "bottle", 2.5, 6.0, 0.60, 750, "chunk", 3),
    Recipe("plum jam", "plum", "jam", 1.5, 3.4, 0.22, 350, "chunk", 6),
    Recipe("quince jam", "quince", "jam", 1.5, 3.2, 0.22, 350, "chunk", 4),
    Recipe("onions in nets", "onion", "cure", 8.0, 30.0, 3.0, 0, "whole", 3),
    Recipe("pumpkins on racks", "pumpkin", "cure", 8.0, 30.0, 4.0, 0, "whole", 3),
)
NOT_KITCHEN_WORK = frozenset({"cure"})
"""Methods that take no time in the kitchen, so the weekly limit does not hold them back."""

WEIBULL_SHAPE = 1.3
FRAILTY_VARIANCE = 0.8
CUMULATIVE_HAZARD_12_MONTHS = MappingProxyType(
    {
        "freeze": 0.02,
        "dry": 0.10,
        "pickle": 0.05,
        "ferment": 0.45,
        "jam": 0.06,
        "bottle": 0.05,
        "cure": 0.80,
    }
)
"""At the reference make: metal lid, cellar, 2 % salt, dry enough, submerged, heat-processed where due."""
SALT_HAZARD_RATIO_PER_HALF_POINT = 0.6
SALT_REFERENCE_PCT = 2.0
SALT_LEVELS_PCT = (2.0, 2.25, 2.5, 3.0, 3.5)
LID_HAZARD_RATIO = MappingProxyType({"metal": 1.0, "plastic": 1.5, "glass": 0.8, "cloth": 2.2, "bag": 1.0, "none": 1.0})
STORE_HAZARD_RATIO = MappingProxyType({"cellar": 1.0, "pantry": 1.6, "fridge": 0.5, "freezer": 1.0})
NOT_SUBMERGED_HAZARD_RATIO = 1.8
DAMP_HAZARD_RATIO = 3.0
COOL_DRYING_HAZARD_RATIO = 2.0
NOT_PROCESSED_HAZARD_RATIO = 2.0
STORE_C = MappingProxyType({"cellar": 12, "pantry": 19, "fridge": 4, "freezer": -18})

USE_PER_MONTH = MappingProxyType({"cure": 0.20, "freeze": 0.10})
"""Share of the containers at hand that is used in a month, once ready; 0.08 where a method is not named."""
USUAL_USE_PER_MONTH = 0.08
READY_DAYS = MappingProxyType({"ferment": 28, "pickle": 14, "jam": 7, "freeze": 7, "dry": 7, "bottle": 14, "cure": 10})
DAYS_BETWEEN_LOOKS = (30, 90)

WATER_PCT = MappingProxyType({"bean": 90.3, "pear": 84.0, "tomato": 94.5})
JAM_SOLIDS_PCT = 67.0
SOLIDS_PCT = MappingProxyType({"plum": 13.0, "quince": 16.0, "sugar": 100.0, "honey": 82.0})
DRY_ENOUGH_PCT = MappingProxyType({"bean": 10.0, "pear": 20.0, "tomato": 10.0})

SHARE_OF_EATEN_WEEKS_LOGGED = 0.35
SHARE_OF_GIVEN_LOGGED = 0.75
SHARE_OF_WASTE_LOGGED = 0.75

LIKING = MappingProxyType(
    {
        ("plum-sweet-25", "sugar"): 5.7,
        ("plum-sweet-25", "honey"): 7.1,
        ("quince-sweet-26", "sugar"): 6.5,
        ("quince-sweet-26", "honey"): 6.5,
        ("kohlrabi-salt-26", "2 %"): 6.9,
        ("kohlrabi-salt-26", "3 %"): 5.6,
    }
)
"""Mean liking by trial and arm, before rounding to 1 to 9."""
FIRMNESS = MappingProxyType({"2 %": 5.2, "3 %": 6.6})
TASTER_SD = 0.8
TASTE_NOISE_SD = 0.8
