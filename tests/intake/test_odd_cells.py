"""One odd optional cell costs the cell, not the row."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import polars as pl
import pytest
from intake_frames import take

from pipeline.settings import Settings
from pipeline.store.load import load_folder
from pipeline.store.store import open_store

HEAD = "batch_id,made_on,method,crop,containers,salt,lid,vented,store_c,ph,piece\n"


def levels(problems: pl.DataFrame) -> list[tuple[int, str, str]]:
    return sorted(problems.select("line", "column", "level").rows())


def test_a_batch_keeps_its_row_without_the_cells_that_cannot_be_read(tmp_path: Path) -> None:
    lines = "K1,2026-08-01,ferment,carrot,2,a pinch,teapot,perhaps,cool,19,fancy\n"
    taken = take(tmp_path / "season", HEAD + lines, "batches.csv")
    row = taken.core.row(0, named=True)
    assert row["containers"] == 2
    assert [row[name] for name in ("salt_g", "lid", "vented", "store_c", "ph", "piece")] == [None] * 6
    assert levels(taken.problems) == [
        (2, column, "cell") for column in ("lid", "ph", "piece", "salt", "store_c", "vented")
    ]


def test_an_odd_cell_that_every_row_needs_sets_the_row_aside(tmp_path: Path) -> None:
    lines = "K1,2026-08-01,singing,carrot,2,20 g,teapot,,,,\n"
    taken = take(tmp_path / "season", HEAD + lines, "batches.csv")
    assert taken.core.is_empty()
    assert levels(taken.problems) == [(2, "lid", "cell"), (2, "method", "error")]


@pytest.mark.parametrize(
    ("line", "level"),
    [
        ("2026-08-01,,pea,,plenty,rot", "error"),  # neither containers nor a weight is left
        ("2026-08-01,,pea,,300 g,the moon", "cell"),
        ("2026-08-01,K1,,two-ish,,mould", "error"),
        ("2026-08-01,K1,,1,plenty,mould", "cell"),
    ],
)
def test_a_cell_of_which_one_is_needed_counts_as_needed_where_it_was_the_one(
    tmp_path: Path, line: str, level: str
) -> None:
    taken = take(tmp_path / "season", f"found_on,batch_id,crop,containers,weight,cause\n{line}\n", "spoilage.csv")
    assert taken.problems["level"].to_list() == [level]
    assert taken.core.height == (level == "cell")


def test_looks_at_a_batch_with_an_odd_cell_still_count_and_cells_are_counted_beside_rows(tmp_path: Path) -> None:
    (tmp_path / "batches.csv").write_text(HEAD + "K1,2026-08-01,ferment,carrot,2,,teapot,,,,\n", encoding="utf-8")
    (tmp_path / "spoilage.csv").write_text("found_on,batch_id,containers\n2026-09-01,K1,0\n", encoding="utf-8")
    with open_store(None) as store:
        load_folder(store, tmp_path, Settings(), dt.date(2026, 11, 1))
        summary = store.answer("load_summary").select("file", "rows", "accepted", "set_aside", "cells_left_out")
    assert summary.rows() == [("batches.csv", 1, 1, 0, 1), ("spoilage.csv", 1, 1, 0, 0)]
