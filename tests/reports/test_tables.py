"""Answer tables as CSV, JSON and terminal tables, with cells that mean harm."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import math

import polars as pl
from hypothesis import given
from hypothesis import strategies as st
from invented_answers import answers, empty_answers, frame
from rich.console import Console
from rich.table import Table

from reports.tables import answer_csv, answer_json, shown
from reports.words import NBSP
from schemas.answers import ANSWERS

FORMULAS = ["=HYPERLINK(1)", "+1", "-1+1", "@SUM(A1)", "\tx", "\rx"]


def printed(table: Table) -> str:
    """What a terminal 200 characters wide, without colour, would show."""
    screen = io.StringIO()
    Console(file=screen, width=200, color_system=None, legacy_windows=False).print(table)
    return screen.getvalue()


def test_a_cell_that_a_spreadsheet_would_run_gets_an_apostrophe() -> None:
    text = answer_csv(pl.DataFrame({"value": [*FORMULAS, "carrot", "a=b", "", None], "kg": 1.5}))
    values = [row["value"] for row in csv.DictReader(io.StringIO(text, newline=""))]
    assert values == [f"'{formula}" for formula in FORMULAS] + ["carrot", "a=b", "", ""]


def test_a_heading_that_a_spreadsheet_would_run_gets_an_apostrophe() -> None:
    assert answer_csv(pl.DataFrame({"=cmd": ["x"]})) == "'=cmd\r\nx\r\n"


def test_numbers_and_days_stay_as_they_are() -> None:
    rows = pl.DataFrame({"kg": [-1.25, 0.1], "on": [dt.date(2026, 6, 18), None], "many": [-3, 4], "is": [True, None]})
    assert answer_csv(rows) == "kg,on,many,is\r\n-1.25,2026-06-18,-3,true\r\n0.1,,4,\r\n"


@given(st.lists(st.text(st.characters(exclude_characters="\x00", exclude_categories=["Cs"])), min_size=1))
def test_every_text_comes_back_from_csv_and_none_can_run(texts: list[str]) -> None:
    rows = list(csv.reader(io.StringIO(answer_csv(pl.DataFrame({"note": texts, "end": 1})), newline="")))[1:]
    for text, (cell, _) in zip(texts, rows, strict=True):
        assert cell in {text, f"'{text}"}
        assert not cell.startswith(("=", "+", "-", "@", "\t", "\r"))


def test_an_empty_answer_is_a_header_line() -> None:
    header = ",".join(column.name for column in ANSWERS["shelf"].columns)
    assert answer_csv(empty_answers()["shelf"]) == f"{header}\r\n"
    assert json.loads(answer_json(empty_answers()["shelf"])) == []


def test_json_has_iso_days_and_no_number_that_is_not_finite() -> None:
    rows = pl.DataFrame(
        {
            "on": [dt.date(2027, 3, 20), None],
            "kg": [math.nan, math.inf],
            "crop": ["p\u00e2tisson", "=1+1"],
            "n": [1, None],
        }
    )
    assert json.loads(answer_json(rows)) == [
        {"on": "2027-03-20", "kg": None, "crop": "p\u00e2tisson", "n": 1},
        {"on": None, "kg": None, "crop": "=1+1", "n": None},
    ]
    assert "p\u00e2tisson" in answer_json(rows)


def test_every_answer_survives_json_to_the_last_digit() -> None:
    for name, rows in answers().items():
        back = json.loads(answer_json(rows))
        for column in ANSWERS[name].columns:
            if column.dtype == "float":
                assert [row[column.name] for row in back] == rows[column.name].to_list()


def test_an_estimate_and_its_ends_share_a_cell() -> None:
    row = {"grouping": "method", "group": "jam", "batches": 11, "lost_share": 0.06, "lost_low": 0.03, "lost_high": 0.11}
    view = shown(frame("spoilage", [row]), ANSWERS["spoilage"], ("group", "lost_share", "batches"))
    assert view.headings == ("Group", "Share lost so far", "Batches")
    assert view.numeric == (False, True, True)
    assert [cell.replace(NBSP, " ") for cell in view.rows[0]] == ["jam", "6 % (3 to 11 %)", "11"]


def test_an_amount_and_its_unit_share_a_cell() -> None:
    row = {"crop": "lettuce", "sow_on": dt.date(2027, 3, 20), "amount": 12.0, "unit": "plants"}
    view = shown(frame("sowing_plan", [row]), ANSWERS["sowing_plan"])
    assert "12 plants" in [cell.replace(NBSP, " ") for cell in view.rows[0]]
    assert "Unit" not in view.headings


def test_every_answer_can_be_shown_and_printed() -> None:
    for name, rows in answers().items():
        view = shown(rows, ANSWERS[name])
        assert len(view.rows) == rows.height
        assert all(len(row) == len(view.headings) == len(view.numeric) for row in view.rows)
