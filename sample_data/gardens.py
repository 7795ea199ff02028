"""The two invented gardens: a river island in the north, and a small one south of the equator."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from sample_data.scenario import Climate, MonthDay, Plot, Scenario, SowingLine, Tree
from sample_data.truth import RECIPES


def _month_day(word: str) -> MonthDay | None:
    if word == "-":
        return None
    month, day = word.split("-")
    return int(month), int(day)


def _sowings(table: str) -> tuple[SowingLine, ...]:
    """Lines of: crop, sown, planted out or -, amount, unit, plot, bed, variety."""
    lines = []
    for line in table.strip().splitlines():
        crop, sow, out, amount, unit, plot, bed, variety = line.split(maxsplit=7)
        sown = _month_day(sow)
        if sown is None:
            message = f"{line!r}: a sowing has a day"
            raise ValueError(message)
        lines.append(SowingLine(crop, sown, _month_day(out), float(amount), unit, plot, bed, variety))
    return tuple(lines)


# Three sowings a week apart in spring catch one another up and ripen together: the gluts of this garden.
_ISLAND_SOWINGS = """
radish    03-20 -      4 m      P1 A early
radish    04-02 -      4 m      P4 B main
radish    08-18 -      5 m      P2 C main
spinach   03-18 -      8 m      P2 A main
spinach   03-28 -      7 m      P3 A main
spinach   08-10 -     10 m      P5 A main
lettuce   04-02 -     26 plants P1 B main
lettuce   04-09 -     24 plants P2 B main
lettuce   04-16 -     24 plants P4 A main
lettuce   05-22 -     18 plants P3 B early
lettuce   07-18 -     20 plants P1 B main
pea       03-20 -     12 m      P1 C main
pea       03-27 -     12 m      P3 C main
pea       04-04 -     10 m      P5 B late
bean      05-10 -      9 m      P2 D main
bean      05-16 -      8 m      P3 D main
bean      05-22 -      8 m      P4 C main
bean      06-24 -      7 m      P1 C early
courgette 05-06 -      6 plants P1 D main
courgette 05-12 -      5 plants P4 D main
courgette 05-18 -      5 plants P5 C late
cucumber  05-18 -     10 plants P2 E main
cucumber  05-28 -      8 plants P3 E main
tomato    03-15 05-18 20 plants P1 E early
tomato    03-18 05-22 18 plants P4 E main
tomato    03-18 05-24 14 plants P5 D main
kohlrabi  04-01 -      8 m      P2 F early
kohlrabi  04-14 -      8 m      P4 F main
kohlrabi  07-10 -     10 m      P3 F main
turnip    04-05 -      6 m      P5 E main
turnip    07-26 -     14 m      P2 A main
cabbage   03-10 04-20 16 plants P3 G early
cabbage   05-10 06-20 30 plants P5 F late
beetroot  04-12 -      8 m      P1 F main
beetroot  04-26 -      8 m      P4 G main
beetroot  06-15 -      8 m      P2 G late
carrot    04-08 -     10 m      P3 H main
carrot    04-22 -     10 m      P5 G main
carrot    06-18 -     14 m      P4 H late
onion     03-25 -     18 m      P1 G main
onion     03-28 -     20 m      P3 I own seed
pumpkin   05-15 -      7 plants P2 H main
pumpkin   05-18 -      6 plants P5 H own seed
"""

RIVER_ISLAND = Scenario(
    name="river_island",
    garden_name="Nowhere Eyot shared garden (invented)",
    latitude=47.0,
    weather_from=dt.date(2024, 11, 1),
    seasons=(dt.date(2025, 1, 1), dt.date(2026, 1, 1)),
    ends=dt.date(2026, 11, 20),
    climate=Climate(11.0, 10.6, 20, 9.5, 2.0, 0.72, 2.9, 0.6),
    plots=(
        Plot("P1", 42, 2, "grower A", share=True),
        Plot("P2", 52, 2, "grower B", share=True),
        Plot("P3", 47, 3, "grower C", share=True),
        Plot("P4", 36, 1, "grower D", share=False),
        Plot("P5", 50, 1, "grower E", share=True),
    ),
    sowings=_sowings(_ISLAND_SOWINGS),
    trees=(Tree("plum", "P3", 68), Tree("pear", "P2", 58), Tree("quince", "P5", 27)),
    tree_clock=(3, 1),
    site_factor=0.95,
    recipes=RECIPES,
    kitchen_kg_per_week=32,
    last_frost="04-22",
    first_frost="10-18",
    jars=320,
    seed=47,
    honest_mess=True,
)

_SOUTH_SOWINGS = """
lettuce   09-05 -     14 plants S1 A main
lettuce   09-12 -     14 plants S2 A main
pea       08-25 -      8 m      S1 B main
bean      11-05 -      6 m      S1 C main
bean      11-12 -      6 m      S2 B main
courgette 11-08 -      5 plants S1 D main
courgette 11-15 -      4 plants S2 C main
tomato    09-10 11-12 12 plants S2 D early
kohlrabi  09-10 -      6 m      S1 E early
kohlrabi  01-15 -      8 m      S2 E main
cabbage   09-05 10-15 12 plants S1 F early
carrot    09-20 -      8 m      S2 F main
onion     08-25 -     14 m      S1 G main
pumpkin   11-10 -      5 plants S2 G main
"""
_SOUTH_RECIPES = frozenset(
    {
        "kohlrabi ferment",
        "cabbage ferment",
        "frozen peas",
        "frozen beans",
        "bottled tomatoes",
        "plum jam",
        "onions in nets",
        "pumpkins on racks",
    }
)

SOUTH = replace(
    RIVER_ISLAND,
    name="south",
    garden_name="Fencepost Flat garden (invented)",
    latitude=-41.0,
    weather_from=dt.date(2025, 5, 1),
    seasons=(dt.date(2025, 7, 1),),
    ends=dt.date(2026, 6, 30),
    climate=Climate(13.4, 6.0, 200, 8.5, 1.0, 0.68, 2.2, 0.4),
    plots=(Plot("S1", 60, 2, "grower F", share=True), Plot("S2", 48, 2, "grower G", share=True)),
    sowings=_sowings(_SOUTH_SOWINGS),
    trees=(Tree("plum", "S1", 34),),
    tree_clock=(9, 1),
    site_factor=1.05,
    recipes=tuple(recipe for recipe in RECIPES if recipe.name in _SOUTH_RECIPES),
    kitchen_kg_per_week=14,
    last_frost="10-05",
    first_frost="05-15",
    jars=120,
    seed=41,
    honest_mess=False,
)
