"""No log is passed over or misread in silence: logs among output, names that only say where. All data invented."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from pipeline.cli import main
from pipeline.settings import Settings
from pipeline.store.load import load_folder
from pipeline.store.store import open_store

AS_OF = dt.date(2026, 11, 20)
LOG = "picked_on,crop,weight\n2026-06-01,carrot,1.2 kg\n"


def notes_and_rows(folder: Path) -> tuple[tuple[str, ...], int]:
    with open_store(None) as store:
        report = load_folder(store, folder, Settings(), AS_OF)
        return report.notes, store.core("harvests").height


def test_a_log_that_lies_among_output_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "harvests.csv").write_text(LOG)
    assert main(["review", str(tmp_path), "--as-of", AS_OF.isoformat()]) == 0
    assert notes_and_rows(tmp_path) == ((), 1)
    (tmp_path / "review" / "harvests-2027.csv").write_text(LOG)
    (tmp_path / "review" / "tables" / "mine.csv").write_text(LOG)
    notes, rows = notes_and_rows(tmp_path)
    assert rows == 1
    said = "review: a folder of output, so nothing in it is read: harvests-2027.csv, tables/mine.csv lie there and are"
    assert notes == (f"{said} not counted. Move it out of that folder if it is yours.",)
    capsys.readouterr()


def test_a_name_that_only_says_where_does_not_make_a_log_of_plots_of_pickings(tmp_path: Path) -> None:
    (tmp_path / "plot1.csv").write_text("date,crop,weight_kg,plot\n2026-06-01,carrot,1.2,A\n2026-06-02,pea,0.8,B\n")
    (note,), rows = notes_and_rows(tmp_path)
    assert rows == 0
    assert note.startswith("plot1.csv: not read, its headings fit harvests")
    assert '"harvests"' in note
    with open_store(None) as store:
        load_folder(store, tmp_path, Settings(files={"plot1": "harvests"}), AS_OF)
        assert store.core("harvests")["weight_kg"].to_list() == [1.2, 0.8]


def test_a_list_of_plots_is_one_by_any_name(tmp_path: Path) -> None:
    (tmp_path / "our plots.csv").write_text("plot,area_m2,grower\nA,20,Una\nB,30,Duo\n")
    with open_store(None) as store:
        load_folder(store, tmp_path, Settings(), AS_OF)
        assert store.core("plots").height == 2
