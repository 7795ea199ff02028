"""Every number that the kitchen sums use, against where it was published."""

from __future__ import annotations

from typing import Any

import polars as pl
import pytest

from pipeline import reference
from pipeline.kitchen.bench import shipped_bench
from pipeline.kitchen.jars import kg_per_l
from schemas.codes import METHOD, PIECE, STORE
from schemas.crop_values import READ_AS

BENCH = shipped_bench()
CROPS = set(BENCH.crops["crop"])
LB, QT_L, GAL_L = 0.45359237, 0.946352946, 3.785411784


@pytest.mark.parametrize(
    "table",
    [
        reference.kitchen_values(),
        reference.gel_temperatures(),
        reference.pectin_classes(),
        reference.jar_yields(),
        reference.ready_times(),
        reference.caution_rules(),
    ],
)
def test_every_row_names_its_source_and_how_it_was_read(table: pl.DataFrame) -> None:
    assert table.height > 0
    assert table["source"].null_count() == 0
    assert set(table["read_as"]) <= set(READ_AS)
    unsourced = table.filter(pl.col("read_as") == "common practice, no source")
    assert set(unsourced["source"]) <= {"common practice"}


@pytest.mark.parametrize(
    ("name", "value", "source"),
    [
        ("gel_jelly", 8, "Guide 7"),
        ("gel_jam", 9, "01600549"),
        ("legal_a_w", 0.85, "21 CFR 114.3(d)"),
        ("insect_freeze", 48, "01600520"),
        ("fruit_share", 45, "21 CFR 150"),
        ("honey_share", 50, "Wyoming"),
        ("under_ripe", 25, "01600537"),
        ("low_salt", 2, "7 CFR 52.3451"),
        ("warm_ferment", 24, "01600078"),
        ("cool_ferment", 16, "01600078"),
        ("ph_missing", 4.6, "21 CFR 114.3(b)"),
        ("ph_above_limit", 4.6, "CXS 260-2007"),
        ("ph_near_limit", 4.2, "Food Code"),
        ("weak_vinegar", 4, "Wisconsin"),
        ("more_water_than_vinegar", 2.5, "Colorado State"),
        ("thin_jam", 65, "21 CFR 150.140"),
        ("vegetable_too_moist", 10, "Drying and Preserving Food, Part Three"),
        ("fruit_too_moist", 20, "Drying and Preserving Food, Part Three"),
        ("cool_drying", 60, "348-597"),
        ("cool_drying_fruit", 30, "348-597"),
        ("hot_store", 35, "Guide 1"),
        ("warm_freezer", -18, "AIB 410"),
    ],
)
def test_value_equals_what_was_published(name: str, value: float, source: str) -> None:
    assert BENCH.value(name) == value
    assert source in BENCH.limit(name).source


@pytest.mark.parametrize(
    ("name", "value"),
    [
        # Common practice, no source: honey at seven eighths of the sugar, sugar as much as fruit, 1.5 % salt of
        # vegetables in vinegar.
        ("honey_practice", 87.5),
        ("sugar_practice", 100),
        ("salt_vinegar_practice", 1.5),
    ],
)
def test_practice_says_that_it_is_no_more(name: str, value: float) -> None:
    assert BENCH.value(name) == value
    assert BENCH.limit(name).read_as == "common practice, no source"


def test_ranges_equal_what_was_published() -> None:
    # US Standards for Grades of Bulk Sauerkraut, 7 CFR 52.3451 (1967).
    assert BENCH.bounds("salt_of_cabbage") == (2, 3)
    # 2 to 3 % for other shredded ferments: common practice, no source.
    assert BENCH.bounds("salt_shredded_practice") == (2, 3)
    assert BENCH.limit("salt_shredded_practice").read_as == "common practice, no source"
    # USDA SR Legacy against Table L3.3, fresh fruits in commercial storage: 0 to 5 points apart.
    assert BENCH.bounds("fresh_water_spread") == (0, 5)


@pytest.mark.parametrize(
    ("name", "computed"),
    [
        # Michigan State Univ. Extension 01600078, Sauerkraut: 3/4 cup to 25 lb, and 3 tablespoons to 5 lb. A cup of
        # salt is 292 g, a tablespoon 18 g (USDA food 02047, from memory).
        ("salt_by_cups", 100 * 0.75 * 292 / (25 * LB * 1000)),
        ("salt_by_spoons", 100 * 3 * 18 / (5 * LB * 1000)),
        # NDSU Extension, node 2254: 1 1/2 tablespoons to a quart of water.
        ("top_up_brine", 100 * 27 / (27 + 1000 * QT_L)),
        # USDA AIB 539: a gallon for 5 lb of vegetables.
        ("container_per_kg", GAL_L / (5 * LB)),
        # USDA Complete Guide to Home Canning, Guide 6, Dill pickles: 4 lb, 1/2 cup salt, 8 1/4 cups of liquid.
        ("dill_before_packing", 100 * 146 / (1952 + 146)),
        ("dill_of_all", 100 * 146 / (1814 + 1952 + 146)),
    ],
)
def test_computed_values_follow_from_the_recipes_they_name(name: str, computed: float) -> None:
    assert BENCH.value(name) == pytest.approx(computed, abs=0.06)
    assert f"{BENCH.value(name):g}" in BENCH.limit(name).words


def test_gel_points_by_altitude() -> None:
    # NCHFP, Testing jelly without added pectin: 0 to 8000 ft.
    assert BENCH.gel["altitude_ft"].to_list() == [1000 * step for step in range(9)]
    assert BENCH.gel["gel_f"].to_list() == [220, 218, 216, 214, 212, 211, 209, 207, 205]


@pytest.mark.parametrize(
    ("group", "crops"),
    [
        # So Easy to Preserve, 5th ed. (2006); where ripe and sour fruit differ, the more cautious group.
        (1, ["crab apple", "cranberry", "currant", "gooseberry", "plum", "quince"]),
        (2, ["apple", "blackberry", "sour cherry", "elderberry"]),
        (3, ["apricot", "blueberry", "fig", "grape", "peach", "pear", "raspberry", "strawberry"]),
    ],
)
def test_pectin_groups(group: int, crops: list[str]) -> None:
    found = BENCH.pectin.filter(pl.col("crop").is_in(crops))
    assert found.height == len(crops)
    assert set(found["pectin_group"]) == {group}


def test_pectin_classes_of_the_second_source() -> None:
    # Michigan State Univ. Extension 01600538.
    low = set(BENCH.pectin.filter(pl.col("pectin") == "low")["crop"])
    assert {"apricot", "blueberry", "cherry", "peach", "rhubarb", "strawberry"} <= low
    high = set(BENCH.pectin.filter(pl.col("pectin") == "high")["crop"])
    assert {"apple", "crab apple", "plum", "quince", "gooseberry", "currant", "cranberry"} <= high


YIELDS = [
    # Crop, form, kg per l, and where it is published.
    ("asparagus", "spears", 1.68, 1.68, "Guide 4"),
    ("dry bean", "dry", 0.34, 0.34, "Guide 4"),
    ("bean", "cut", 0.96, 0.96, "snap beans"),
    ("pole bean", "cut", 0.96, 0.96, "snap beans"),
    ("lima bean", "in pod", 1.92, 1.92, "Guide 4"),
    ("beetroot", "without tops", 1.44, 1.44, "Guide 4"),
    ("carrot", "without tops", 1.20, 1.20, "Guide 4"),
    ("sweetcorn", "in husk", 2.16, 2.16, "Guide 4"),
    ("okra", "whole", 0.75, 0.75, "Guide 4"),
    ("pea", "in pod", 2.16, 2.16, "Guide 4"),
    ("pepper", "whole", 0.96, 0.96, "Guide 4"),
    ("potato", "whole", 1.37, 1.37, "Guide 4"),
    ("sweet potato", "whole", 1.20, 1.20, "Guide 4"),
    ("pumpkin", "cubed", 1.10, 1.10, "Guide 4"),
    ("winter squash", "cubed", 1.10, 1.10, "Guide 4"),
    ("spinach", "leaves", 1.92, 1.92, "Guide 4"),
    ("kale", "leaves", 1.92, 1.92, "Guide 4"),
    ("tomato", "whole", 1.44, 1.44, "Guide 3"),
    ("tomato", "crushed", 1.51, 1.51, "Guide 3"),
    ("tomato", "juice", 1.57, 1.57, "Guide 3"),
    ("tomato", "thin sauce", 2.40, 2.40, "Guide 3"),
    ("tomato", "thick sauce", 3.15, 3.15, "Guide 3"),
    ("cucumber", "whole", 0.96, 0.96, "MT 9607"),
    ("cabbage", "sauerkraut", 1.33, 1.33, "01600078"),
    ("apple", "sauce", 1.44, 1.44, "NCHFP"),
    ("apple", "sliced", 1.20, 1.44, "Georgia"),
    ("raspberry", "whole", 0.72, 1.44, "Georgia"),
    ("cherry", "whole", 0.96, 1.20, "Georgia"),
    ("grape", "juice", 1.92, 1.92, "Georgia"),
    ("peach", "halves", 0.96, 1.20, "Georgia"),
    ("rhubarb", "cut", 0.72, 0.72, "01600253"),
    # Frozen, per pint: 1 1/4 to 1 1/2 lb of apples, 1 to 1 1/2 lb of peaches, 1 lb of strawberries; 2 1/2 to 3 lb of
    # beetroot give 2 pints. 1 lb to the pint is 0.96 kg per l.
    ("apple", "frozen", 1.20, 1.44, "Weights and processed yields"),
    ("peach", "frozen", 0.96, 1.44, "Weights and processed yields"),
    ("strawberry", "frozen", 0.96, 0.96, "Weights and processed yields"),
    ("beetroot", "frozen", 1.20, 1.44, "Weights and processed yields"),
    ("asparagus", "frozen", 0.96, 1.44, "Weights and processed yields"),
    ("broccoli", "frozen", 0.96, 0.96, "unsigned"),
    ("cauliflower", "frozen", 0.96, 1.44, "unsigned"),
    ("pea", "frozen", 1.92, 2.40, "unsigned"),
]


@pytest.mark.parametrize(("crop", "form", "low", "high", "source"), YIELDS)
def test_produce_per_litre(crop: str, form: str, low: float, high: float, source: str) -> None:
    row: dict[str, Any] = BENCH.yields.row(by_predicate=(pl.col("crop") == crop) & (pl.col("form") == form), named=True)
    assert kg_per_l(row) == pytest.approx((low, high), abs=0.006)
    assert source in row["source"]


def test_tables_name_known_crops_and_words() -> None:
    for table in (BENCH.yields, BENCH.pectin, BENCH.ready):
        assert set(table["crop"].drop_nulls()) <= CROPS
    assert BENCH.yields.select("crop", "form").is_unique().all()
    assert set(BENCH.yields["method"]) | set(BENCH.ready["method"]) <= set(METHOD.words)
    assert set(BENCH.ready["piece"].drop_nulls()) <= set(PIECE.words)
    assert set(BENCH.ready["store"].drop_nulls()) <= set(STORE.words)


def test_no_yield_is_given_for_what_has_no_tested_process() -> None:
    # NCHFP: summer squash is not to be bottled; from memory.
    assert BENCH.yields.filter(pl.col("crop") == "courgette").height == 0
