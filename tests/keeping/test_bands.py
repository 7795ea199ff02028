"""Numbers and free words of a batch as groups."""

from __future__ import annotations

from typing import Any

import polars as pl
import pytest
from core_frames import core

from pipeline.answers import grouping_columns
from pipeline.keeping.bands import with_bands
from pipeline.keeping.histories import container_histories
from pipeline.keeping.spoilage import grouped
from schemas.factors import BY_NAME, FACTORS, value_in_words


@pytest.mark.parametrize(
    ("cells", "column", "band"),
    [
        ({"drying_c": 44.9}, "drying_band", "under 45 C"),
        ({"drying_c": 45.0}, "drying_band", "45 to 55 C"),
        ({"drying_c": 65.0}, "drying_band", "65 C or more"),
        ({"drying_c": None}, "drying_band", None),
        ({"store_c": -18.0}, "warmth_band", "under -10 C"),
        ({"store_c": 4.0}, "warmth_band", "0 to 8 C"),
        ({"container_ml": 473.0}, "size_band", "300 to 600 ml"),
        ({"container_ml": 5000.0}, "size_band", "2500 ml or more"),
        ({"weighted_by": " Glass  weight"}, "weighted_by", "glass weight"),
        ({"salt_kind": "Sea SALT"}, "salt_kind", "sea salt"),
    ],
)
def test_each_number_and_word_has_its_group(cells: dict[str, Any], column: str, band: str | None) -> None:
    assert with_bands(pl.DataFrame([cells], schema_overrides={"drying_c": pl.Float64}))[column].to_list() == [band]


def test_every_grouping_gives_a_table() -> None:
    import datetime as dt

    rows = [
        {
            "batch_id": f"B{number}",
            "made_on": dt.date(2026, 3, 1),
            "method": "ferment",
            "crop": "cabbage",
            "containers": 3,
            "weighted_by": ("a glass", "a bag")[number % 2],
            "salt_kind": "sea",
            "process": "none",
            "acid_added": "none",
            "drying_c": 50.0,
            "store_c": 12.0,
            "container_ml": 750.0,
        }
        for number in range(4)
    ]
    batches = with_bands(core("batches", *rows)).with_columns(
        salt_band=pl.lit("2.25 to 2.75 %"), salt_basis=pl.lit("of produce"), salt_pct=pl.lit(2.5)
    )
    histories = container_histories(batches, core("spoilage"), core("consumption"), dt.date(2026, 9, 1))
    for name in BY_NAME:
        table, _ = grouped(histories, grouping_columns(name))
        assert table.height >= 1, name
    by_weight, _ = grouped(histories, grouping_columns("weighted_by"))
    assert by_weight["group"].to_list() == ["a bag", "a glass"]


def test_every_grouping_reads_in_a_sentence() -> None:
    for factor in FACTORS:
        assert factor.noun in value_in_words(factor.columns[0], "not recorded")
    assert value_in_words("weighted_by", "a glass weight") == "held down by a glass weight"
    assert value_in_words("drying", "45 to 55 C") == "dried at 45 to 55 C"
    assert value_in_words("size", "300 to 600 ml") == "in containers of 300 to 600 ml"
