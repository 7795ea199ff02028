"""The crop reference: which values a crop can carry, each with its unit and meaning.

``pipeline/reference/crop_values.csv`` holds them in long form (crop, name, value, source, read_as); a
grower's ``crops.csv`` may override any by a column of the same name.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class CropValue:
    """One value of the crop reference."""

    name: str
    unit: str | None
    low: float
    high: float
    description: str


CROP_VALUES: tuple[CropValue, ...] = (
    CropValue("base_c", "C", -10, 25, "temperature below which the crop does not grow"),
    CropValue("upper_c", "C", 10, 50, "temperature above which more warmth does not speed it up"),
    CropValue(
        "degree_days_to_first_pick",
        "C d",
        50,
        6000,
        "warmth from the start of the clock (sowing, or planting out) to the first pick",
    ),
    CropValue("days_to_first_pick", "d", 10, 400, "days from the start of the clock to the first pick"),
    CropValue("picking_days", "d", 1, 200, "days from first to last pick of one sowing"),
    CropValue("holding_days", "d", 0, 250, "days a ripe crop waits in the ground without loss"),
    CropValue("clock_from_planting_out", None, 0, 1, "1 where the clock starts at planting out, 0 at sowing"),
    CropValue("raising_days", "d", 0, 120, "days a transplant is raised before it is planted out"),
    CropValue("yield_kg_per_m", "kg/m", 0.01, 50, "produce of one metre of row"),
    CropValue("in_row_cm", "cm", 0.5, 300, "distance between plants in the row"),
    CropValue("row_spacing_cm", "cm", 5, 400, "distance between rows"),
    CropValue("least_temperature_c", "C", -5, 30, "soil temperature below which it is not sown"),
    CropValue("kill_temperature_c", "C", -30, 5, "air temperature that kills it"),
    CropValue("frost_weeks", "weeks", -12, 8, "earliest start, weeks from the last frost; minus is before it"),
    CropValue("keeping_days", "d", 1, 400, "days it stays good once picked, at keeping_c"),
    CropValue("keeping_c", "C", -2, 20, "temperature that keeping_days refers to"),
    CropValue("chill_sensitive", None, 0, 1, "1 where storage below keeping_c harms it"),
    CropValue("refuse_pct", "pct", 0, 90, "share of the picked weight that is trimmed away"),
    CropValue("water_pct", "pct", 1, 99, "water in the edible part"),
    CropValue("piece_kg", "kg", 0.001, 20, "your own weight of one head, fruit or root, as picked"),
    CropValue("bunch_kg", "kg", 0.001, 20, "your own weight of one bunch, as picked"),
    CropValue("fresh_kg_per_person_week", "kg/week", 0, 10, "fresh use per person and week, a last resort"),
)

CROP_VALUE_NAMES: tuple[str, ...] = tuple(value.name for value in CROP_VALUES)

READ_AS = ("read", "read in a copy", "from memory", "computed", "common practice, no source")
"""How a reference value was obtained; every row of every reference table says one of these."""

REFERENCE_COLUMNS: dict[str, str] = {
    "crop": "text",
    "aliases": "text",
    "family": "text",
    "kind": "text",
    "sown_again": "bool",
}
"""Columns of ``pipeline/reference/crops.csv`` with the names of each crop from ``crop_names.csv``."""

CROP_KINDS = ("vegetable", "fruit", "herb", "pulse", "mushroom", "nut", "flower", "spice")
"""What a crop counts as in the kitchen; melons count as vegetables, since their flesh is not sour."""

GROWERS_WORDS = ("family", "acid")
"""Columns of a grower's ``crops.csv`` that are words; ``acid`` is given by the grower alone."""
