"""A log counts once: copies are named and set aside until the person decides. All data invented."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import openpyxl
import polars as pl
import pytest

from pipeline.settings import Settings
from pipeline.store.load import load_folder
from pipeline.store.store import Store, open_store

AS_OF = dt.date(2026, 11, 20)
ROWS = [(f"2026-06-{day:02}", "carrot", f"{day / 10:g} kg") for day in range(1, 13)]


def csv(rows: list[tuple[str, str, str]], delimiter: str = ",") -> str:
    return "".join(delimiter.join(row) + "\n" for row in [("picked_on", "crop", "weight"), *rows])


def loaded(folder: Path, store: Store) -> pl.DataFrame:
    load_folder(store, folder, Settings(), AS_OF)
    return store.core("harvests")


def copies(store: Store) -> pl.DataFrame:
    return store.answer("problems").filter(pl.col("rule") == "copy_of_log")


@pytest.mark.parametrize("name", ["harvests - Copy.csv", "harvests (1).csv", "harvests_backup.csv", "harvests2.csv"])
def test_the_same_rows_in_another_file_count_once(tmp_path: Path, name: str) -> None:
    (tmp_path / "harvests.csv").write_text(csv(ROWS))
    (tmp_path / name).write_text(csv(ROWS))
    with open_store(None) as store:
        held = loaded(tmp_path, store)
        assert held.height == len(ROWS)
        assert set(held["source_file"]) == {"harvests.csv"}
        found = copies(store)
        assert found["line"].to_list() == list(range(2, 14))
        assert set(found["file"]) == {name}
        summary = store.answer("load_summary")
        assert (summary["rows"] == summary["accepted"] + summary["set_aside"]).all()
    assert found["message"][0] == (
        f"{name} is a copy of harvests.csv (12 of its 12 rows stand there), and a log counts once; this row stands "
        f'there in line 2: delete or move one of the two, or write "{name}" = "harvests" under [files] in '
        "rowshelf.toml if both count"
    )


def test_a_copy_in_another_form_is_a_copy(tmp_path: Path) -> None:
    (tmp_path / "harvests.csv").write_text(csv(ROWS))
    other = [(f"{int(day[-2:])} Jun 2026", " CARROTS ", f"{float(weight[:-3]) * 1000:g} g") for day, _, weight in ROWS]
    (tmp_path / "harvests-old.csv").write_bytes(("\ufeff" + csv(other, ";")).encode("utf-16"))
    with open_store(None) as store:
        assert loaded(tmp_path, store).height == len(ROWS)
        assert set(copies(store)["file"]) == {"harvests-old.csv"}


def test_a_sheet_may_be_the_copy_of_a_file(tmp_path: Path) -> None:
    (tmp_path / "harvests.csv").write_text(csv(ROWS))
    book = openpyxl.Workbook()
    book.active.title = "harvests"
    for row in [("picked_on", "crop", "weight"), *ROWS]:
        book.active.append(row)
    book.save(tmp_path / "garden.xlsx")
    with open_store(None) as store:
        assert loaded(tmp_path, store).height == len(ROWS)
        assert set(copies(store)["file"]) == {"garden.xlsx [harvests]"}


def test_nine_rows_in_ten_make_a_copy_and_the_fuller_file_stays(tmp_path: Path) -> None:
    more = [*ROWS, ("2026-07-01", "pea", "1 kg"), ("2026-07-02", "pea", "2 kg")]
    (tmp_path / "harvests.csv").write_text(csv(ROWS))
    (tmp_path / "harvests-july.csv").write_text(csv(more))
    with open_store(None) as store:
        held = loaded(tmp_path, store)
        assert held.height == len(more)
        assert set(copies(store)["file"]) == {"harvests.csv"}


def test_a_row_of_a_copy_that_stands_nowhere_else_is_told(tmp_path: Path) -> None:
    own = ("2026-08-01", "leek", "1 kg")
    (tmp_path / "harvests.csv").write_text(csv([*ROWS, ("2026-09-01", "pea", "1 kg"), ("2026-09-02", "pea", "1 kg")]))
    (tmp_path / "harvests copy.csv").write_text(csv([*ROWS, own]))
    with open_store(None) as store:
        loaded(tmp_path, store)
        told = copies(store).filter(pl.col("line") == 14)["message"][0]
    assert "this row does not stand there, but its file is set aside" in told


def test_files_that_share_a_few_rows_both_count(tmp_path: Path) -> None:
    (tmp_path / "harvests-a.csv").write_text(csv(ROWS))
    other = [*ROWS[:6], *((f"2026-08-{day:02}", "carrot", "1 kg") for day in range(1, 7))]
    (tmp_path / "harvests-b.csv").write_text(csv(other))
    with open_store(None) as store:
        assert loaded(tmp_path, store).height == 24
        assert copies(store).is_empty()


def test_one_and_the_same_picking_in_two_plots_is_no_copy(tmp_path: Path) -> None:
    for plot in ("plot-1", "plot-2"):
        (tmp_path / plot).mkdir()
        (tmp_path / plot / "harvests.csv").write_text(csv(ROWS[:2]))
    with open_store(None) as store:
        assert loaded(tmp_path, store).height == 4


def test_a_copy_counts_again_when_the_original_goes(tmp_path: Path) -> None:
    (tmp_path / "harvests.csv").write_text(csv(ROWS))
    (tmp_path / "harvests copy.csv").write_text(csv(ROWS))
    with open_store(None) as store:
        loaded(tmp_path, store)
        (tmp_path / "harvests.csv").unlink()
        held = loaded(tmp_path, store)
        assert set(held["source_file"]) == {"harvests copy.csv"}
        assert held.height == len(ROWS)
        assert copies(store).is_empty()
        loaded(tmp_path, store)
        assert copies(store).is_empty()
