"""Columns of dates: an order proved by the column, years told around them, blanks as above, one problem each."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from intake_frames import READING, Taken, take

from pipeline.intake.dates import DateColumn, years_named
from pipeline.intake.normalise import Reading

NOW = Reading(crop_lookup=READING.crop_lookup, own_units=READING.own_units, this_year=2026)


def read(folder: Path, dates: list[str], name: str = "harvests.csv", above: str = "") -> Taken:
    rows = "".join(f'"{date}",pea,1 kg\n' for date in dates)
    return take(folder / "season", f"{above}date,crop,weight\n{rows}", name, NOW)


def days(taken: Taken) -> list[str]:
    return [day.isoformat() for day in taken.core["picked_on"]]


def test_three_dates_that_can_only_be_day_first_settle_the_column_with_one_note(tmp_path: Path) -> None:
    taken = read(tmp_path, ["3/4/2026", "13/4/2026", "14/4/2026", "5/5/2026", "31/5/2026", "6/6/26"])
    assert days(taken) == ["2026-04-03", "2026-04-13", "2026-04-14", "2026-05-05", "2026-05-31", "2026-06-06"]
    assert taken.found() == [(1, "picked_on", "date_order_proved")]
    assert taken.message("date_order_proved") == (
        "3 dates of this file can only be day first and none only another way, so 3/4/2026 is read as 2026-04-03; "
        'write date_order = "day-first" under [units] in rowshelf.toml to say so for good'
    )


def test_a_column_proves_month_first_as_well(tmp_path: Path) -> None:
    taken = read(tmp_path, ["4/3/26", "4/13/26", "4/14/26", "5/31/26"])
    assert days(taken) == ["2026-04-03", "2026-04-13", "2026-04-14", "2026-05-31"]


@pytest.mark.parametrize(
    "dates",
    [
        ["3/4/2026", "13/4/2026", "14/4/2026"],  # two proofs are too few
        ["3/4/2026", "13/4/2026", "14/4/2026", "15/4/2026", "4/16/2026"],  # and one of them says the reverse
        ["3/4/2026", "13.4.2026", "14.4.2026", "15.4.2026"],  # dots open with the day whatever strokes do
    ],
)
def test_without_proof_ambiguous_dates_stay_aside(tmp_path: Path, dates: list[str]) -> None:
    taken = read(tmp_path, dates)
    assert taken.aside() == [2]
    assert taken.found() == [(2, "picked_on", "ambiguous_date")]


def test_an_ambiguous_column_is_one_problem_that_names_its_lines(tmp_path: Path) -> None:
    taken = read(tmp_path, ["3/4/2026", "2026-04-05", "5/6/2026", "7/8/2026"])
    assert taken.aside() == [2, 4, 5]
    assert taken.found() == [(2, "picked_on", "ambiguous_date")]
    assert taken.message("ambiguous_date") == (
        '3 dates (lines 2, 4, 5) can be read in two ways: write date_order = "day-first" or date_order = "month-first" '
        "under [units] in rowshelf.toml, or the dates as 2026-06-18"
    )


def test_a_dotted_date_opens_with_the_day(tmp_path: Path) -> None:
    assert days(read(tmp_path, ["3.4.2026", "4.5.26"])) == ["2026-04-03", "2026-05-04"]


@pytest.mark.parametrize(
    ("name", "above", "dates", "expected"),
    [
        ("harvests-2026.csv", "", ["18 Jun", "Jun 19", "3.7.", "Sun 5th July"], "2026-06-18 06-19 07-03 07-05"),
        ("harvests 2025-26.csv", "", ["30 Dec", "2 Jan"], "2025-12-30 2026-01-02"),
        ("harvests 2025.csv", "", ["30 Dec", "2 Jan"], "2025-12-30 2026-01-02"),
        ("harvests.csv", "What we picked in 2024,,\n", ["18 June", "1st August"], "2024-06-18 08-01"),
        ("harvests.csv", "", ["18 Jun 2025", "20 Jun", "30 Dec", "4 Jan"], "2025-06-18 06-20 12-30 2026-01-04"),
        ("harvests.csv", "", ["18 Jun", "20 Jun 2025"], "2025-06-18 06-20"),
        ("harvests.csv", "", ["2 Jan 2026", "30 Dec", "28 Dec"], "2026-01-02 2025-12-30 12-28"),
    ],
)
def test_a_day_without_a_year_takes_it_from_what_stands_around_it(
    tmp_path: Path, name: str, above: str, dates: list[str], expected: str
) -> None:
    taken = read(tmp_path, dates, name, above)
    year, wanted = "", []
    for day in expected.split():
        year = day[:4] if len(day) == 10 else year
        wanted.append(day if len(day) == 10 else f"{year}-{day}")
    assert days(taken) == wanted
    assert "year_told" in taken.problems["rule"].to_list()


def test_years_that_nothing_tells_are_asked_for_once(tmp_path: Path) -> None:
    taken = read(tmp_path, ["18 Jun", "19 Jun", "20 Jun"])
    assert taken.core.is_empty()
    assert taken.problems.select("line", "level", "message").rows() == [
        (
            2,
            "error",
            (
                "3 dates (lines 2, 3, 4) have no year, and nothing around them tells it: put it in the name of the "
                "file, such as harvests-2026.csv, or write the first of them in full, such as 2026-06-18"
            ),
        )
    ]


def test_two_digit_years_are_read_where_one_century_makes_sense(tmp_path: Path) -> None:
    taken = read(tmp_path, ["18/6/26", "18th June 26", "18-Jun-98", "18 Jun '25", "18 Jun 45"])
    assert days(taken) == ["2026-06-18", "2026-06-18", "1998-06-18", "2025-06-18"]
    assert taken.aside() == [6]


def test_day_numbers_of_a_spreadsheet_in_a_column_of_dates_are_dates(tmp_path: Path) -> None:
    taken = read(tmp_path, ["46191", "46192.5", "12"])
    assert days(taken) == ["2026-06-18", "2026-06-19"]
    assert taken.message("day_number") == "2 day numbers of a spreadsheet read as dates: 46191 is 2026-06-18"


def test_blank_dates_mean_as_above_where_that_is_the_habit(tmp_path: Path) -> None:
    taken = read(tmp_path, ["18 Jun 2026", "", "", "20 Jun 2026", "", "21 Jun 2026"])
    assert days(taken) == ["2026-06-18"] * 3 + ["2026-06-20"] * 2 + ["2026-06-21"]
    assert taken.message("date_as_above") == "3 rows without a date are taken as of the day above them"


@pytest.mark.parametrize(
    "dates",
    [
        ["2026-06-18", "2026-06-18", "", "", "2026-06-21"],  # a day is repeated, so a blank is one forgotten
        ["", "2026-06-18", "", "2026-06-19"],
        ["2026-06-18", "2026-06-12", "", "", "2026-06-15"],  # not in order
    ],
)
def test_a_blank_date_is_never_filled_without_such_a_habit(tmp_path: Path, dates: list[str]) -> None:
    taken = read(tmp_path, dates)
    assert taken.aside() == [at for at, date in enumerate(dates, start=2) if not date]


def test_ditto_marks_mean_as_above(tmp_path: Path) -> None:
    taken = read(tmp_path, ["2026-06-18", "ditto", '""', "2026-06-18"])
    assert days(taken) == ["2026-06-18"] * 4


def test_a_weekday_that_contradicts_its_day_is_not_passed_over(tmp_path: Path) -> None:
    taken = read(tmp_path, ["Thurs 18/6/26", "Fri 18/6/26"])
    assert days(taken) == ["2026-06-18"]
    assert taken.aside() == [3]


@given(
    st.lists(st.dates(dt.date(2010, 1, 1), dt.date(2026, 12, 31)), max_size=30),
    st.sampled_from(["%d/%m/%Y", "%m-%d-%y"]),
)
def test_a_column_of_one_hand_is_never_read_as_another_day(written: list[dt.date], form: str) -> None:
    column = DateColumn("iso", 2026)
    texts = pl.Series("picked_on", [f"{day:{form}}" for day in written], pl.String)
    column.prove(column.weigh(Counter(texts.to_list())))
    for day, settled in zip(written, column.settle(texts), strict=True):
        if settled[:4].isdigit() and "/" not in settled:
            assert settled == day.isoformat()


@pytest.mark.parametrize(
    ("text", "years"),
    [
        ("harvests-2026.csv", (2026,)),
        ("Picked 2025/26", (2025, 2026)),
        ("log 2026-06-18.csv", ()),
        ("2024 and 2026", ()),
        ("plot 12", ()),
    ],
)
def test_years_that_a_name_tells(text: str, years: tuple[int, ...]) -> None:
    assert years_named([text]) == years
