"""Numbers, dates and titles as a gardener reads them."""

from __future__ import annotations

import datetime as dt
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reports import words
from schemas.answer_table import Column
from schemas.answers import ANSWERS


def plain(text: str) -> str:
    """The text with ordinary spaces, so that a test can be read."""
    return text.replace(words.NBSP, " ")


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, "\u2013"),
        (math.nan, "\u2013"),
        (0.0, "0"),
        (0.004, "<0.01"),
        (-0.004, ">-0.01"),
        (0.35, "0.35"),
        (0.5, "0.5"),
        (0.998, "1"),
        (1.24, "1.2"),
        (12.04, "12"),
        (99.96, "100"),
        (145.4, "145"),
        (1240.0, "1,240"),
    ],
)
def test_an_amount_has_as_many_digits_as_matter(value: float | None, text: str) -> None:
    assert words.amount(value) == text


@given(st.floats(min_value=0.01, max_value=1e6))
def test_an_amount_is_within_5_percent_of_its_value_or_half_a_hundredth(value: float) -> None:
    shown = float(words.amount(value).replace(",", ""))
    assert abs(shown - value) <= max(0.051 * value, 0.00501)


@pytest.mark.parametrize(
    ("share", "text"),
    [
        (None, "\u2013"),
        (0.0, "0 %"),
        (0.0004, "under 0.1 %"),
        (0.004, "0.4 %"),
        (0.0096, "1 %"),
        (0.123, "12 %"),
        (0.72, "72 %"),
        (0.994, "99.4 %"),
        (0.9997, "over 99.9 %"),
        (1.0, "100 %"),
    ],
)
def test_a_share_is_never_rounded_onto_none_or_all(share: float | None, text: str) -> None:
    assert plain(words.percent(share)) == text


@given(st.floats(min_value=0, max_value=1, exclude_min=True, exclude_max=True))
def test_only_zero_reads_as_0_percent_and_only_one_as_100(share: float) -> None:
    assert plain(words.percent(share)) not in {"0 %", "0.0 %", "100 %", "100.0 %"}


def test_an_estimate_is_read_with_its_interval() -> None:
    assert plain(words.percent_interval(0.72, 0.41, 0.91)) == "72 % (41 to 91 %)"
    assert plain(words.percent_interval(0.72, None, None)) == "72 %"
    assert plain(words.percent_interval(None, 0.1, 0.2)) == "\u2013"


def test_days_are_written_with_the_month_as_a_word() -> None:
    assert plain(words.day(dt.date(2026, 6, 18))) == "18 Jun"
    assert plain(words.full_day(dt.date(2026, 6, 18))) == "18 Jun 2026"
    assert plain(words.day_span(dt.date(2026, 1, 1), dt.date(2026, 12, 31))) == "1 Jan to 31 Dec 2026"
    assert plain(words.day_span(dt.date(2026, 7, 1), dt.date(2027, 6, 30))) == "1 Jul 2026 to 30 Jun 2027"
    assert words.season_name(dt.date(2026, 1, 1), dt.date(2026, 12, 31)) == "2026"
    assert plain(words.season_name(dt.date(2026, 7, 1), dt.date(2027, 6, 30))) == "1 Jul 2026 to 30 Jun 2027"
    assert words.day(None) == "\u2013"


def test_one_jar_and_two_jars() -> None:
    assert plain(words.plural(1, "jar")) == "1 jar"
    assert plain(words.plural(1200, "batch", "batches")) == "1,200 batches"


def test_a_small_p_value_is_not_written_as_nought() -> None:
    assert words.chance(0.0243) == "0.024"
    assert words.chance(0.0001) == "under 0.001"


@pytest.mark.parametrize(
    ("name", "dtype", "unit", "value", "text"),
    [
        ("lost_share", "float", "share", 0.083, "8 %"),
        ("p_value", "float", None, 0.039, "0.039"),
        ("kg", "float", "kg", 1240.5, "1,240"),
        ("on_hand", "int", "containers", 1240, "1,240"),
        ("is_glut", "bool", None, True, "yes"),
        ("sow_on", "date", None, dt.date(2027, 3, 20), "20 Mar 2027"),
        ("note", "text", None, "=1+1", "=1+1"),
        ("note", "text", None, None, "\u2013"),
        ("kept_12m", "float", "share", None, "not known yet"),
        ("runs_out_on", "date", None, None, "not known yet"),
    ],
)
def test_a_cell_reads_by_its_column(name: str, dtype: str, unit: str | None, value: words.Value, text: str) -> None:
    assert plain(words.cell(Column(name, dtype, "", unit), value)) == text


def test_a_day_is_read_with_its_range() -> None:
    column = Column("runs_out_on", "date", "")
    on, early = dt.date(2027, 3, 20), dt.date(2027, 1, 26)
    assert plain(words.interval_cell(column, on, early, dt.date(2027, 7, 2))) == "20 Mar 2027 (26 Jan to 2 Jul)"
    late = plain(words.interval_cell(column, on, early, dt.date(2028, 7, 2)))
    assert late == "20 Mar 2027 (26 Jan to 2 Jul 2028)"
    assert plain(words.interval_cell(column, on, early, None)) == "20 Mar 2027 (26 Jan or later)"


def test_a_ratio_keeps_its_range() -> None:
    column = Column("hazard_ratio_per_half_point", "float", "", "ratio")
    assert words.interval_cell(column, 0.62, 0.41, 0.94) == "0.62 (0.41 to 0.94)"


def test_titles_say_name_and_unit_in_words() -> None:
    titles = {
        (table.name, column.name): words.column_title(column, table.name)
        for table in ANSWERS.values()
        for column in table.columns
    }
    assert titles["spoilage", "lost_share"] == "Share lost so far"
    assert titles["glut_waste", "picked_kg"] == "Picked (kg)"
    assert titles["yields", "kg_per_m2"] == "Yield (kg per m\u00b2)"
    assert titles["glut_waste", "weeks_without"] == "Weeks without a picking"
    assert titles["plan_comparison", "weeks_without"] == "Crop-weeks with under half of the need"
    assert not [title for title in titles.values() if "_" in title or title != title.strip()]


@pytest.mark.parametrize("table", ANSWERS)
def test_no_two_columns_of_a_table_share_a_title(table: str) -> None:
    titles = [words.column_title(column, table) for column in ANSWERS[table].columns]
    assert len(set(titles)) == len(titles)
