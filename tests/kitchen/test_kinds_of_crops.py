"""What a crop is in the kitchen decides with its family: not every part of a plant of a sour family is sour fruit."""

from __future__ import annotations

import polars as pl
from test_cautions import RULES, frame

from pipeline.kitchen.cautions import batch_cautions
from pipeline.reference import crop_reference

CROPS = crop_reference()
SOUR = {"hibiscus", "sorrel", "tomato", "tomatillo", "olive", "caper"}
"""Crops that are no fruit in the kitchen and sour all the same, or kept in brine."""
NO_FRUIT = CROPS.filter((pl.col("kind") != "fruit") & ~pl.col("crop").is_in(SOUR))["crop"].to_list()
UNPROVEN_FRUIT = ["nashi", "mulberry", "jackfruit", "loquat", "banana", "mango", "papaya", "fig", "white peach"]


def test_nothing_but_fruit_is_taken_as_sour() -> None:
    crops = [*NO_FRUIT, *UNPROVEN_FRUIT]
    rows = [
        {"batch_id": crop, "containers": 1, "method": "bottle", "crop": crop, "heat_processed": True, "store": "pantry"}
        for crop in crops
    ]
    flagged = batch_cautions(frame("batches", *rows), frame("spoilage"), RULES, CROPS)
    serious = set(flagged.filter(pl.col("severity") == "serious")["batch_id"])
    assert [crop for crop in crops if crop not in serious] == []


def test_dried_fruit_of_any_family_is_held_against_the_target_of_fruit() -> None:
    fruit = ["mango", "banana", "kiwifruit", "persimmon", "pineapple", "apple"]
    rows = []
    for crop in [*fruit, "carrot", "oyster mushroom"]:
        water = CROPS.filter(pl.col("crop") == crop)["water_pct"].item()
        row = {"batch_id": crop, "containers": 1, "method": "dry", "crop": crop, "produce_kg": 1.0}
        rows.append(row | {"finished_kg": (100 - water) / (100 - 19)})  # to 19 % water
    flagged = batch_cautions(frame("batches", *rows), frame("spoilage"), RULES, CROPS)
    moist = set(flagged.filter(pl.col("rule").str.contains("too_moist"))["batch_id"])
    assert moist == {"carrot", "oyster mushroom"}
