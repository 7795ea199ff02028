"""The table of caution rules: its numbers decide, its words say so, and batches and kitchen sums share it."""

from __future__ import annotations

import polars as pl
import pytest
from test_cautions import CROPS, KRAUT, PLUM_JAM, RULES, cautions, frame

from pipeline.kitchen.cautions import batch_cautions, sum_cautions
from pipeline.reference import crop_reference
from schemas.answers import ANSWERS


def test_the_number_of_every_limit_stands_in_its_words_and_decides() -> None:
    numbered = RULES.filter(pl.col("value").is_not_null())
    for rule, value, limit in numbered.select("id", "value", "limit").iter_rows():
        assert f"{value:g}" in limit, rule
    stricter = RULES.with_columns(value=pl.when(pl.col("id") == "low_salt").then(3.0).otherwise("value"))
    batch = frame("batches", {"batch_id": "a", "containers": 1} | KRAUT)
    assert "low_salt" not in batch_cautions(batch, frame("spoilage"), RULES, CROPS)["rule"]
    assert "low_salt" in batch_cautions(batch, frame("spoilage"), stricter, CROPS)["rule"]


def test_every_rule_says_in_words_when_it_applies() -> None:
    assert RULES["condition"].null_count() == 0


def test_a_kitchen_sum_is_held_against_the_same_rules() -> None:
    facts = {"method": "ferment", "crop": "cabbage", "produce_kg": 1.0, "salt_g": 15.0}
    flagged = sum_cautions(facts, RULES, CROPS)
    assert flagged["rule"].to_list() == ["low_salt", "ph_missing"]
    assert flagged.columns == [column.name for column in ANSWERS["cautions"].columns if column.name != "batch_id"]


def test_a_rule_left_out_of_the_table_is_not_applied() -> None:
    batch = frame("batches", {"batch_id": "a", "containers": 1} | KRAUT | {"ph": None, "vented": False})
    rules = RULES.filter(pl.col("id") != "ph_missing")
    result = batch_cautions(batch, frame("spoilage"), rules, CROPS)
    assert result["rule"].to_list() == ["not_vented"]


def test_rows_follow_the_batches_then_the_rules_and_carry_the_published_limit() -> None:
    result = cautions(PLUM_JAM | {"sweetener": "honey"}, KRAUT | {"ph": None, "salt_g": 15.0, "vented": False})
    assert result.select("batch_id", "rule").rows() == [
        ("b0", "honey_infants"),
        ("b1", "low_salt"),
        ("b1", "not_vented"),
        ("b1", "ph_missing"),
    ]
    # US Standards for Grades of Bulk Sauerkraut, 7 CFR 52.3451: 2 to 3 % salt.
    assert "7 CFR 52.3451" in result["source"][1]
    assert result["limit"][1] == "at least 2 % salt"
    assert result["read_as"][1] == "read"


def test_a_missing_ph_and_a_high_one_are_told_apart() -> None:
    missing, high = cautions(KRAUT | {"ph": None}, KRAUT | {"ph": 5.2}).iter_rows(named=True)
    assert missing["severity"] == "caution"
    assert high["severity"] == "serious"
    assert "Without a measured pH" in missing["message"]
    assert "Do not taste" in high["message"]


@pytest.mark.parametrize(("finished_kg", "sensitivity"), [(0.2, "5.0"), (0.4, "2.5")])
def test_the_message_on_moisture_says_how_far_the_estimate_moves(finished_kg: float, sensitivity: str) -> None:
    batch = {"method": "dry", "crop": "tomato", "produce_kg": 1.0, "finished_kg": finished_kg}
    message = cautions(batch)["message"].item()
    assert f"moves by {sensitivity} points for each point" in message
    assert "{" not in message


def test_a_crop_of_unknown_family_is_held_against_the_looser_moisture() -> None:
    own = pl.DataFrame({"crop": ["xingu"], "aliases": [None], "water_pct": [80.0]})
    crops = crop_reference(own)
    rows = [
        {
            "batch_id": name,
            "containers": 1,
            "method": "dry",
            "crop": "xingu",
            "produce_kg": 1.0,
            "finished_kg": kg,
        }
        for name, kg in (("damp", 0.3), ("between", 0.24))
    ]
    result = batch_cautions(frame("batches", *rows), frame("spoilage"), RULES, crops)
    assert result["batch_id"].to_list() == ["damp"]
