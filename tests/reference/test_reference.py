"""The shipped reference tables: complete, within bounds, sourced, and equal to what was published."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import polars as pl
import pytest

from pipeline.reference import (
    OVERRIDE_SOURCE,
    caution_rules,
    crop_reference,
    crop_values_long,
    quality_months,
)
from schemas.codes import METHOD, STORE
from schemas.crop_values import CROP_KINDS, CROP_VALUE_NAMES, CROP_VALUES, READ_AS, REFERENCE_COLUMNS, CropValue

CROPS = crop_reference()
VALUES = crop_values_long()
SOWN_NEED = [
    "base_c",
    "upper_c",
    "degree_days_to_first_pick",
    "days_to_first_pick",
    "picking_days",
    "holding_days",
    "clock_from_planting_out",
    "yield_kg_per_m",
    "in_row_cm",
    "row_spacing_cm",
    "least_temperature_c",
    "kill_temperature_c",
    "frost_weeks",
    "keeping_days",
    "keeping_c",
    "chill_sensitive",
    "refuse_pct",
]
FRUIT = [
    *("apple", "crab apple", "pear", "quince", "plum", "cherry", "sour cherry", "peach", "apricot", "strawberry"),
    *("raspberry", "blackberry", "currant", "blackcurrant", "gooseberry", "blueberry", "cranberry", "grape"),
    *("elderberry", "fig", "rhubarb"),
]
KG_PER_LB, M_PER_FT = 0.45359237, 0.3048


def published(crop: str, name: str) -> dict[str, Any]:
    return VALUES.row(by_predicate=(pl.col("crop") == crop) & (pl.col("name") == name), named=True)


GROWERS_OWN = {"piece_kg", "bunch_kg"}
"""Given by growers only: what a bunch or a head weighs is published by unit, in ``market_units.csv``."""


@pytest.mark.parametrize("table", [VALUES, quality_months(), caution_rules()])
def test_every_row_names_its_source_and_how_it_was_read(table: pl.DataFrame) -> None:
    assert table["source"].null_count() == 0
    assert (table["source"].str.len_chars() > 5).all()
    assert set(table["read_as"].unique()) <= set(READ_AS)
    unsourced = table.filter(pl.col("read_as") == "common practice, no source")
    assert set(unsourced["source"]) <= {"common practice"}
    assert "common practice" not in set(table.filter(pl.col("read_as").is_in(READ_AS[:4]))["source"])


@pytest.mark.parametrize("value", CROP_VALUES, ids=lambda value: value.name)
def test_values_lie_within_the_bounds_and_unit_of_their_contract(value: CropValue) -> None:
    rows = VALUES.filter(pl.col("name") == value.name)
    if value.name in GROWERS_OWN:
        assert rows.is_empty()
        return
    assert rows.height > 0
    assert rows["value"].is_between(value.low, value.high).all()
    assert set(rows["unit"]) == {value.unit}


def test_each_crop_has_one_row_and_each_value_one_source() -> None:
    assert CROPS["crop"].is_unique().all()
    assert VALUES.select("crop", "name").is_unique().all()
    assert set(VALUES["crop"]) <= set(CROPS["crop"])
    assert VALUES["crop"].n_unique() >= 200
    assert set(VALUES["name"]) == set(CROP_VALUE_NAMES) - GROWERS_OWN
    assert CROPS["family"].null_count() == 0
    assert set(CROPS["kind"]) == set(CROP_KINDS)
    assert CROPS.height >= 331


def test_every_crop_that_is_sown_has_all_that_a_plan_needs() -> None:
    sown = CROPS.filter(pl.col("days_to_first_pick").is_not_null())
    assert sown.height >= 60
    assert sown.select(pl.col(SOWN_NEED).null_count()).row(0) == (0,) * len(SOWN_NEED)
    assert set(CROPS.filter("sown_again")["crop"]) <= set(sown["crop"])
    transplants = sown.filter(pl.col("clock_from_planting_out") == 1)
    assert transplants.height > 8
    assert transplants["raising_days"].is_between(21, 90).all()


def test_every_crop_of_a_temperate_garden_has_what_the_balance_of_the_season_needs() -> None:
    grown = CROPS.filter(pl.col("days_to_first_pick").is_not_null() | pl.col("crop").is_in(FRUIT))
    assert grown.height >= 85
    for name in ("keeping_days", "keeping_c", "chill_sensitive", "refuse_pct"):
        assert grown[name].null_count() == 0, name


def test_a_keeping_time_always_stands_with_its_temperature_and_what_cold_does() -> None:
    kept = CROPS.filter(pl.col("keeping_days").is_not_null() | pl.col("keeping_c").is_not_null())
    assert kept.height >= 130
    assert kept.select("keeping_days", "keeping_c", "chill_sensitive").null_count().row(0) == (0, 0, 0)


def test_every_crop_with_refuse_has_its_water_or_says_where_it_is_missing() -> None:
    lacking = CROPS.filter(pl.col("refuse_pct").is_not_null() & pl.col("water_pct").is_null())["crop"].to_list()
    assert sorted(lacking) == ["gai lan", "oregano", "sage", "tarragon"]


def test_values_of_a_crop_agree_with_one_another() -> None:
    sown = CROPS.drop_nulls("base_c")
    assert (sown["base_c"] < sown["upper_c"]).all()
    # A day gives at most upper - base, and a mild one about 5 C d.
    per_day = sown["degree_days_to_first_pick"] / sown["days_to_first_pick"]
    assert per_day.is_between(5, 25).all()
    assert set(CROPS["chill_sensitive"].drop_nulls()) == {0.0, 1.0}


@pytest.mark.parametrize(
    ("crop", "name", "value", "source", "read_as"),
    [
        # Univ. of Missouri Extension G6201, Table 1: 55 to 65 days from sowing.
        ("kohlrabi", "days_to_first_pick", (55 + 65) / 2, "G6201", "read"),
        # The same table: cabbage 70 to 80 days from planting out, 12 in apart.
        ("cabbage", "days_to_first_pick", (70 + 80) / 2, "G6201", "read"),
        ("cabbage", "in_row_cm", 30.5, "G6201", "read"),
        # Oregon State Univ. Extension (2016) after Coop et al. 1993: 1539 F d, 50 to 86 F.
        ("sweetcorn", "degree_days_to_first_pick", 1539 / 1.8, "Oregon State", "read"),
        ("sweetcorn", "base_c", (50 - 32) / 1.8, "Oregon State", "read"),
        ("sweetcorn", "upper_c", (86 - 32) / 1.8, "Oregon State", "read"),
        # Oregon Vegetable Digest XVIII(3), 1969: 800 to 1160 F d.
        ("bean", "degree_days_to_first_pick", (800 + 1160) / 2 / 1.8, "Oregon Vegetable Digest", "read"),
        # Tan, Birch, Wearing & Rickert 2000: base 0 C for broccoli.
        ("broccoli", "base_c", 0.0, "Tan, Birch", "read"),
        # High Plains Regional Climate Center: 2000 F d, middle maturity group.
        ("dry bean", "degree_days_to_first_pick", 2000 / 1.8, "High Plains", "read"),
        # New England Vegetable Management Guide, Table 16: broccoli 1 to 2 weeks, kohlrabi 2 to 4.
        ("kohlrabi", "keeping_days", (14 + 28) / 2, "New England", "read"),
        # Univ. of Minnesota Extension 2020: pumpkin 2 months, the shortest of three sources.
        ("pumpkin", "keeping_days", 60.0, "Univ. of Minnesota", "read in a copy"),
        # USDA food 11109 (cabbage): water 92.18 %, refuse 20 %.
        ("cabbage", "water_pct", 92.18, "11109", "read in a copy"),
        ("cabbage", "refuse_pct", 20.0, "11109", "read in a copy"),
        # USDA food 11529 (tomato): water 94.52 %.
        ("tomato", "water_pct", 94.52, "11529", "read in a copy"),
        # Food 11088 is the shelled bean; the one in the pod, 11973, has 72.6 %.
        ("broad bean", "water_pct", 81.0, "11088", "read in a copy"),
        # Handbook 66 in a course text: dry beans 6 to 10 months, not a year.
        ("dry bean", "keeping_days", (180 + 300) / 2, "Handbook 66", "read in a copy"),
        # Government of Western Australia (2016): feijoa 4 to 5 weeks, choko 10 to 12.
        ("feijoa", "keeping_days", (28 + 35) // 2, "Western Australia", "read"),
        ("chayote", "keeping_days", (70 + 84) / 2, "Western Australia", "read"),
        # USDA ERS: 6.25 lb of cabbage a person in 2020.
        ("cabbage", "fresh_kg_per_person_week", 6.25 * KG_PER_LB / 52.2, "USDA ERS", "read in a copy"),
        # Purdue HO-203 after Univ. of Illinois VC-14: peas 4 to 6 weeks before the last frost.
        ("pea", "frost_weeks", -6.0, "VC-14", "read in a copy"),
    ],
)
def test_value_equals_what_was_published(crop: str, name: str, value: float, source: str, read_as: str) -> None:
    row = published(crop, name)
    assert row["value"] == pytest.approx(value, rel=0.01, abs=0.06)
    assert source in row["source"]
    assert row["read_as"] == read_as


@pytest.mark.parametrize(
    ("crop", "pounds"), [("bean", 120), ("pole bean", 150), ("pea", 20), ("tomato", 100), ("turnip", 75)]
)
def test_yield_is_kansas_state_pounds_per_hundred_feet(crop: str, pounds: float) -> None:
    # Kansas State Univ. MF315, Vegetable Garden Planting Guide (Marr).
    row = published(crop, "yield_kg_per_m")
    assert row["value"] == pytest.approx(pounds * KG_PER_LB / (100 * M_PER_FT), abs=0.005)
    assert "MF315" in row["source"]


@pytest.mark.parametrize(
    ("crop", "growth_range_f"),
    [
        # Knott's Handbook (Maynard & Hochmuth 1997), best growth 60 to 65 F for the cool crops,
        # 65 to 75 F for cucumber, 70 to 75 F for tomato.
        ("kohlrabi", (60, 65)),
        ("cabbage", (60, 65)),
        ("turnip", (60, 65)),
        ("cucumber", (65, 75)),
        ("tomato", (70, 75)),
    ],
)
def test_starter_warmth_is_days_times_best_growth_above_base(crop: str, growth_range_f: tuple[float, float]) -> None:
    reference_c = (sum(growth_range_f) / 2 - 32) / 1.8
    days, base = (published(crop, name)["value"] for name in ("days_to_first_pick", "base_c"))
    row = published(crop, "degree_days_to_first_pick")
    assert row["value"] == pytest.approx(days * (reference_c - base), rel=0.03)
    assert row["read_as"] == "computed"
    assert row["note"].startswith("starter value")


@pytest.mark.parametrize(
    ("crop", "temperatures", "normal_seedlings_pct"),
    [
        # Harrington & Minges 1954, as printed in Knott's Handbook (1997).
        ("bean", (10, 15), (1, 97)),
        ("sweetcorn", (10, 15), (47, 97)),
        ("carrot", (5, 10), (48, 93)),
    ],
)
def test_least_sowing_temperature_is_where_half_the_seeds_come_up_well(
    crop: str, temperatures: tuple[float, float], normal_seedlings_pct: tuple[float, float]
) -> None:
    row = published(crop, "least_temperature_c")
    assert row["value"] == pytest.approx(np.interp(50, normal_seedlings_pct, temperatures), abs=0.05)
    assert row["read_as"] == "computed"


@pytest.mark.parametrize("method", METHOD.words)
@pytest.mark.parametrize("store", [*STORE.words, None])
def test_every_method_and_store_has_a_quality_time(method: str, store: str | None) -> None:
    months = quality_months().filter(
        pl.col("crop").is_null(), pl.col("method") == method, pl.col("store").eq_missing(store)
    )["months"]
    assert 0 <= months.item() <= 12


@pytest.mark.parametrize(
    ("method", "store", "crop", "months", "read_as"),
    [
        # USDA AIB 410 (1977): 8 to 12 months at -18 C; the short end.
        ("freeze", "freezer", None, 8.0, "read in a copy"),
        # NCHFP, Storing home-canned jams and jellies: best within 1 year.
        ("jam", "pantry", None, 12.0, "read"),
        # Clemson Univ. Extension: dried vegetables 6 months at 60 F, 3 at 80 F.
        ("dry", "cellar", None, 6.0, "read in a copy"),
        ("dry", "pantry", None, 3.0, "read in a copy"),
        # Univ. of Georgia: dried fruit 1 year at 60 F, 6 months at 80 F.
        ("dry", "cellar", "pear", 12.0, "read in a copy"),
        ("dry", "pantry", "mango", 6.0, "read in a copy"),
        # Handbook 66 in a course text: ripe dry beans 6 to 10 months.
        ("dry", "pantry", "dry bean", 6.0, "read in a copy"),
        # USDA Complete Guide to Home Canning, Guide 6: fermented pickles 4 to 6 months, refrigerated.
        ("ferment", "fridge", None, 4.0, "read in a copy"),
        ("pickle", "fridge", None, 1.0, "common practice, no source"),
    ],
)
def test_quality_time_equals_what_was_published(
    method: str, store: str, crop: str | None, months: float, read_as: str
) -> None:
    row = quality_months().row(
        by_predicate=(pl.col("method") == method) & (pl.col("store") == store) & pl.col("crop").eq_missing(crop),
        named=True,
    )
    assert row["months"] == months
    assert row["read_as"] == read_as


def test_an_unpublished_quality_time_says_so() -> None:
    row = quality_months().row(by_predicate=(pl.col("method") == "pickle") & (pl.col("store") == "fridge"), named=True)
    assert "not a published limit" in row["note"]


def test_quality_times_name_known_crops_and_one_row_each() -> None:
    table = quality_months()
    assert table.select("method", "store", "crop").is_unique().all()
    assert set(table["crop"].drop_nulls()) <= set(CROPS["crop"])
    assert set(table["method"]) == set(METHOD.words)
    assert set(table["store"].drop_nulls()) == set(STORE.words)


def test_caution_messages_end_with_the_same_advice_and_clear_no_jar() -> None:
    rules = caution_rules()
    advice = "Follow a tested recipe from your food-safety authority; local rules and qualified advice come first."
    assert rules["id"].is_unique().all()
    assert set(rules["severity"]) == {"caution", "serious"}
    assert rules["limit"].null_count() == 0
    assert rules["message"].str.ends_with(advice).all()
    assert not rules["message"].str.contains(r"(?i)\bsafe\b").any()


OWN = pl.DataFrame(
    {
        "crop": ["Zucchini", "Xingu", "sugar pea"],
        "aliases": ["Trombetta; butternut", None, "pea|eating pea"],
        "yield_kg_per_m": [4.0, None, None],
        "keeping_days": [None, 90.0, None],
        "grower_said": ["extra", "columns", "are ignored"],
    }
)


def test_own_values_replace_the_shipped_ones_and_say_so() -> None:
    rows = crop_values_long(OWN).filter(pl.col("source") == OVERRIDE_SOURCE)
    assert rows.select("crop", "name", "value", "unit", "read_as").rows() == [
        ("courgette", "yield_kg_per_m", 4.0, "kg/m", "grower"),
        ("xingu", "keeping_days", 90.0, "d", "grower"),
    ]
    crops = crop_reference(OWN)
    courgette = crops.row(by_predicate=pl.col("crop") == "courgette", named=True)
    assert courgette["yield_kg_per_m"] == 4.0
    assert courgette["base_c"] == published("courgette", "base_c")["value"]
    assert crop_values_long(OWN).height == VALUES.height + 1


def test_an_unknown_crop_is_appended_with_what_is_known_of_it() -> None:
    crops = crop_reference(OWN)
    assert crops.height == CROPS.height + 1
    xingu = crops.row(-1, named=True)
    assert (xingu["crop"], xingu["aliases"], xingu["family"], xingu["sown_again"]) == ("xingu", None, None, False)
    assert (xingu["keeping_days"], xingu["base_c"]) == (90.0, None)


def test_no_own_rows_leave_the_reference_as_shipped() -> None:
    assert crop_reference(OWN.clear()).equals(CROPS)
    assert crop_values_long(OWN.clear()).equals(VALUES)
    assert dict(CROPS.schema) == dict.fromkeys(["crop", "aliases", "family", "kind", "acid"], pl.String) | {
        "sown_again": pl.Boolean
    } | dict.fromkeys(CROP_VALUE_NAMES, pl.Float64)
    assert CROPS.columns == [*REFERENCE_COLUMNS, "acid", *CROP_VALUE_NAMES]


def test_no_crop_value_is_infinite_or_not_a_number() -> None:
    assert all(math.isfinite(value) for value in VALUES["value"])
