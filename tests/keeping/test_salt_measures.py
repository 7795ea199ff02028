"""Salt on its two bases, against published recipes weighed out."""

from __future__ import annotations

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.keeping.salt_measures import SALT_BANDS, with_salt_measures

SCHEMA = {"produce_kg": pl.Float64, "salt_g": pl.Float64, "water_ml": pl.Float64, "vinegar_ml": pl.Float64}
ADDED = ["salt_pct_of_produce", "salt_pct_of_all", "salt_pct", "salt_basis", "salt_band"]


def measures(*rows: tuple[float | None, float | None, float | None, float | None]) -> pl.DataFrame:
    return with_salt_measures(pl.DataFrame(rows, schema=SCHEMA, orient="row"))


@pytest.mark.parametrize(
    ("salt_g", "cabbage_kg", "percent"),
    [
        # Michigan State Univ. Extension 01600078, Sauerkraut: 3/4 cup canning salt to 25 lb of cabbage;
        # 292 g to the cup (USDA food 02047, from memory).
        (0.75 * 292, 25 * 0.45359237, 1.93),
        # The same leaflet, lot by lot: 3 tablespoons of 18 g to 5 lb.
        (3 * 18, 5 * 0.45359237, 2.38),
    ],
)
def test_published_sauerkraut_recipe_is_salt_of_produce(salt_g: float, cabbage_kg: float, percent: float) -> None:
    row = measures((cabbage_kg, salt_g, None, None)).row(0, named=True)
    assert row["salt_pct_of_produce"] == pytest.approx(percent, abs=0.005)
    assert row["salt_pct"] == row["salt_pct_of_produce"]
    assert row["salt_basis"] == "of produce"


def test_published_dill_pickle_recipe_is_salt_of_all() -> None:
    # USDA Complete Guide to Home Canning, Guide 6, Dill pickles: 4 lb cucumbers, 1/2 cup salt (146 g),
    # 1/4 cup vinegar and 8 cups water (1952 g together). 7.0 % before packing, 3.7 % of everything.
    row = measures((1.814, 146.0, 1893.0, 59.0)).row(0, named=True)
    before_packing = 100 * 146 / (1952 + 146)
    assert before_packing == pytest.approx(7.0, abs=0.05)
    assert row["salt_pct_of_all"] == pytest.approx(3.7, abs=0.05)
    assert row["salt_pct"] == row["salt_pct_of_all"]
    assert row["salt_basis"] == "of all"
    assert row["salt_band"] == "3.5 to 5 %"


def test_vinegar_alone_makes_a_batch_brined_and_empty_or_zero_liquid_does_not() -> None:
    basis = measures((1.0, 20.0, None, 300.0), (1.0, 20.0, 0.0, None), (1.0, 20.0, None, None))["salt_basis"]
    assert basis.to_list() == ["of all", "of produce", "of produce"]


@pytest.mark.parametrize(
    ("salt_g_per_kg", "band"),
    [
        (0.0, "0 to 1 %"),
        (9.99, "0 to 1 %"),
        (10.0, "1 to 1.75 %"),
        (17.5, "1.75 to 2.25 %"),
        (22.5, "2.25 to 2.75 %"),
        (27.5, "2.75 to 3.5 %"),
        (35.0, "3.5 to 5 %"),
        (49.99, "3.5 to 5 %"),
        (50.0, "5 % or more"),
        (300.0, "5 % or more"),
    ],
)
def test_a_band_holds_its_lower_end_and_not_its_upper_end(salt_g_per_kg: float, band: str) -> None:
    assert measures((1.0, salt_g_per_kg, None, None))["salt_band"].item() == band


@pytest.mark.parametrize("produce_kg", [0.3, 0.7, 1.1, 1.3, 2.3, 3.7, 4.9])
def test_salt_weighed_out_to_exactly_a_cut_falls_in_the_band_above_it(produce_kg: float) -> None:
    assert measures((produce_kg, 22.5 * produce_kg, None, None))["salt_band"].item() == "2.25 to 2.75 %"


@pytest.mark.parametrize("row", [(None, 20.0, None, None), (1.0, None, 500.0, None), (0.0, 20.0, None, None)])
def test_unknown_salt_or_produce_gives_no_measure(
    row: tuple[float | None, float | None, float | None, float | None],
) -> None:
    assert measures(row).select(ADDED).row(0) == (None,) * 5


def test_rows_keep_their_order_and_other_columns_stay() -> None:
    batches = pl.DataFrame({"batch_id": ["b", "a"], "produce_kg": [1.0, 2.0], "salt_g": [20.0, 50.0]}).with_columns(
        water_ml=pl.lit(None, dtype=pl.Float64), vinegar_ml=pl.lit(None, dtype=pl.Float64)
    )
    result = with_salt_measures(batches)
    assert result.columns == [*batches.columns, *ADDED]
    assert result["batch_id"].to_list() == ["b", "a"]
    assert result["salt_pct"].to_list() == [2.0, 2.5]


def test_no_batches_give_an_empty_frame_of_the_same_columns() -> None:
    empty = measures()
    assert empty.height == 0
    assert dict(empty.schema) == SCHEMA | dict.fromkeys(ADDED[:3], pl.Float64) | dict.fromkeys(ADDED[3:], pl.String)


amounts = st.floats(0.1, 5000, allow_nan=False)


@settings(derandomize=True, max_examples=60, deadline=None)
@given(produce_kg=st.floats(0.05, 50), salt_g=amounts, water_ml=amounts, scale=st.floats(0.1, 10))
def test_measures_do_not_depend_on_batch_size_and_of_all_is_the_smaller(
    produce_kg: float, salt_g: float, water_ml: float, scale: float
) -> None:
    small, large = measures(
        (produce_kg, salt_g, water_ml, None), (produce_kg * scale, salt_g * scale, water_ml * scale, None)
    ).iter_rows(named=True)
    assert small["salt_pct_of_all"] < small["salt_pct_of_produce"]
    assert small["salt_pct_of_all"] < 100
    assert large["salt_pct_of_all"] == pytest.approx(small["salt_pct_of_all"])
    assert large["salt_pct_of_produce"] == pytest.approx(small["salt_pct_of_produce"])
    assert small["salt_band"] in SALT_BANDS
