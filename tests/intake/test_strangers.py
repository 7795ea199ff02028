"""Folders typed by people who never saw the columns: taken as meant, each reading said in one line. Data invented."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import openpyxl
import polars as pl

from pipeline.settings import Settings
from pipeline.store.load import load_folder
from pipeline.store.store import Store, open_store

AS_OF = dt.date(2026, 11, 20)


def loaded(store: Store, folder: Path) -> tuple[int, int]:
    """Rows accepted and set aside, in all."""
    load_folder(store, folder, Settings(), AS_OF)
    summary = store.answer("load_summary")
    assert (summary["rows"] == summary["accepted"] + summary["set_aside"]).all()
    return int(summary["accepted"].sum()), int(summary["set_aside"].sum())


def said(store: Store, rule: str) -> list[str]:
    return store.answer("problems").filter(pl.col("rule") == rule)["message"].to_list()


ALLOTMENT = """Plot by the canal (invented),,,,

Date,What,Number,How much,Picked by
15 Apr,rhubarb,,1.2 kg,A
,leeks,,2 lb,A
1st May,rhubarb,,4 lb,B
12 May,cabbage,3,,B
,cabbage,2,,A
20 May,radishes,,200g,A
20 May,broad beans,,1 kg,A
,peas,,14 oz,A
TOTAL,,,about 10 kg,
"""


def test_a_count_stands_in_where_no_weight_was_written_and_a_blank_date_is_the_one_above(tmp_path: Path) -> None:
    (tmp_path / "picking 2026.csv").write_text(ALLOTMENT)
    with open_store(None) as store:
        assert loaded(store, tmp_path) == (8, 1)
        rows = store.core("harvests").select("picked_on", "crop", pl.col("weight_kg").round(2), "weight_estimated")
        assert rows.rows() == [
            (dt.date(2026, 4, 15), "rhubarb", 1.2, False),
            (dt.date(2026, 4, 15), "leek", 0.91, False),
            (dt.date(2026, 5, 1), "rhubarb", 1.81, False),
            (dt.date(2026, 5, 12), "cabbage", 3.42, True),
            (dt.date(2026, 5, 12), "cabbage", 2.28, True),
            (dt.date(2026, 5, 20), "radish", 0.2, False),
            (dt.date(2026, 5, 20), "broad bean", 1.0, False),
            (dt.date(2026, 5, 20), "pea", 0.4, False),
        ]
        assert said(store, "date_as_above") == ["3 rows without a date are taken as of the day above them"]


def test_a_year_that_another_file_names_serves_a_file_that_names_none(tmp_path: Path) -> None:
    (tmp_path / "picking 2026.csv").write_text(ALLOTMENT)
    (tmp_path / "losses.csv").write_text(
        "Date,What,How much,Why\n12 July,peas,12 oz,mildew\n26 July,courgettes,5 lb,\n"
    )
    with open_store(None) as store:
        loaded(store, tmp_path)
        assert store.core("spoilage")["found_on"].to_list() == [dt.date(2026, 7, 12), dt.date(2026, 7, 26)]
        assert said(store, "year_told")[0].endswith("told by the names of the other files")


def test_two_years_in_the_names_settle_nothing(tmp_path: Path) -> None:
    (tmp_path / "picking 2026.csv").write_text(ALLOTMENT)
    (tmp_path / "picking 2025.csv").write_text("Date,What,How much\n3 May,leeks,1 kg\n")
    (tmp_path / "losses.csv").write_text("Date,What,How much,Why\n12 July,peas,12 oz,mildew\n26 July,peas,5 lb,\n")
    with open_store(None) as store:
        loaded(store, tmp_path)
        assert store.core("spoilage").is_empty()
        assert "have no year" in said(store, "year_missing")[0]


def test_a_workbook_with_titles_a_line_of_units_and_sums_is_taken(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    picked = book.active
    picked.title = "Picked"
    for row in [
        ("A terrace (invented), 2026", None, None, None),
        (None, None, None, None),
        ("Day", "What", "How much", "Who"),
        ("(d.m.)", None, "(kg if not said)", None),
        ("29 Jan", "lemons", 2.5, "me"),
        ("8.2.", "lemons", "1,5 kg", "me"),
        ("3rd March 26", "artichokes", 0.8, "both"),
        ("Total", None, 4.8, None),
    ]:
        picked.append(row)
    thrown = book.create_sheet("Thrown out")
    for row in [
        ("Day", "What", "How many", "How much", "Why"),
        (None, None, "jars, 0 = fine", "(kg)", None),
        ("30.6.2026", "courgettes", None, 2.4, "too big"),
    ]:
        thrown.append(row)
    ideas = book.create_sheet("Ideas")
    ideas.append(("ask about the press",))
    book.save(tmp_path / "terrace.xlsx")
    with open_store(None) as store:
        assert loaded(store, tmp_path) == (4, 1)
        assert store.core("harvests")["weight_kg"].to_list() == [2.5, 1.5, 0.8]
        assert store.core("spoilage")["weight_kg"].to_list() == [2.4]
        report = load_folder(store, tmp_path, Settings(), AS_OF)
    assert any("Ideas" in note for note in report.notes)
