"""The shelf: ledger, rate of use with its exact interval, run-out, and what to use first."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import polars as pl
import pytest
from core_frames import core
from hypothesis import given
from hypothesis import settings as trials
from hypothesis import strategies as st

from pipeline.keeping.intervals import garwood_interval
from pipeline.shelf.ledger import shelf_ledger, shelf_table, use_first
from schemas.answer_frame import as_answer
from schemas.words.days import MONTH_DAYS

AS_OF = dt.date(2026, 7, 1)


def ago(days: int) -> dt.date:
    return AS_OF - dt.timedelta(days=days)


def batch(batch_id: str, days: int, method: str, crop: str, made: int, **more: Any) -> dict[str, Any]:
    return {"batch_id": batch_id, "made_on": ago(days), "method": method, "crop": crop, "containers": made} | more


BATCHES = core(
    "batches",
    batch("B1", 365, "pickle", "beetroot", 10),
    batch("B2", 100, "pickle", "beetroot", 5),
    batch("J1", 400, "jam", "plum", 8),
    batch("F1", 365, "freeze", "pea", 60),
    batch("D1", 0, "dry", "pear", 3),
)
CONSUMPTION = core(
    "consumption",
    {"used_on": ago(200), "batch_id": "B1", "containers": 3},
    {"used_on": ago(50), "batch_id": "B1"},  # no count: one jar
    {"used_on": ago(20), "batch_id": "B2", "weight_kg": 0.4},  # no count: one jar
    {"used_on": ago(300), "batch_id": "F1", "containers": 12},
    {"used_on": ago(1), "crop": "beetroot", "weight_kg": 2.0},  # fresh, not from the shelf
)
SPOILAGE = core(
    "spoilage",
    {"found_on": ago(150), "batch_id": "B1", "containers": 2, "cause": "mould", "action": "discarded"},
    {"found_on": ago(150), "batch_id": "B1", "containers": 1, "cause": "rust"},
    {"found_on": ago(90), "batch_id": "B1", "containers": 1, "cause": "yeast film", "action": "skimmed"},
    {"found_on": ago(80), "batch_id": "B2", "containers": 1, "cause": "soft"},
    {"found_on": ago(30), "batch_id": "J1", "containers": 0},
)


def ledger(**changed: pl.DataFrame) -> pl.DataFrame:
    return shelf_ledger(
        changed.get("batches", BATCHES),
        changed.get("spoilage", SPOILAGE),
        changed.get("consumption", CONSUMPTION),
        AS_OF,
    )


def test_the_ledger_of_each_batch() -> None:
    # B1: 10 made; 3 + 1 used; 2 mouldy ones thrown away; rust and a skimmed film are not lost: 4 left.
    assert ledger().select("batch_id", "made", "used", "spoiled", "on_hand", "last_look").rows() == [
        ("J1", 8, 0, 0, 8, ago(30)),
        ("B1", 10, 4, 2, 4, ago(90)),
        ("F1", 60, 12, 0, 48, None),
        ("B2", 5, 1, 1, 3, ago(80)),
        ("D1", 3, 0, 0, 3, None),
    ]


def test_later_rows_are_not_yet_known() -> None:
    early = shelf_ledger(BATCHES, SPOILAGE, CONSUMPTION, ago(160))
    assert early.select("batch_id", "used", "spoiled", "on_hand").rows() == [
        ("J1", 0, 0, 8),
        ("B1", 3, 0, 7),
        ("F1", 12, 0, 48),
    ]


def test_garwood_interval_against_published_values() -> None:
    # x = 4: help page of R survival::cipoisson, whose upper limit 10.24153 is off in its last digits (half the
    # 97.5 % point of chi-square on 10, 20.4832 in printed tables, is 10.2416). x = 5 in 94.32: R poisson.test
    # as printed in a course note on Poisson intervals. x = 0: 3.688879, computed with R.
    low, high = garwood_interval([4, 0], 1.0)
    np.testing.assert_allclose([low[0], high[0]], [1.089865, 10.24153], rtol=1e-5)
    np.testing.assert_allclose([low[1], high[1]], [0.0, 3.688879], rtol=1e-6)
    np.testing.assert_allclose(garwood_interval(5, 94.32), [0.01721254, 0.12371005], rtol=1e-6)


def shelf() -> dict[tuple[str, str], dict[str, Any]]:
    table = shelf_table(ledger(), CONSUMPTION, AS_OF)
    return {(row["crop"], row["method"]): row for row in table.to_dicts()}


def test_rate_of_use_and_run_out() -> None:
    beetroot = shelf()["beetroot", "pickle"]
    assert [beetroot[name] for name in ("made", "used", "spoiled", "on_hand")] == [15, 5, 3, 7]
    # 5 jars in the 365 days since the first batch, which are 365 / 30.4375 = 11.992 months.
    months = 365 / MONTH_DAYS
    assert beetroot["used_per_month"] == pytest.approx(5 / months)
    # Garwood, 5 events: 1.623486 and 11.66833 (0.01721254 and 0.12371005 above, times 94.32).
    assert beetroot["low"] == pytest.approx(1.623487 / months, rel=1e-5)
    assert beetroot["high"] == pytest.approx(11.66833 / months, rel=1e-5)
    # 7 jars at 5 a year last 7 / 5 * 365 = 511 days = 73 weeks; at the high rate 7 / 11.66833 * 365 = 219 days;
    # at the low rate 7 / 1.623487 * 365 = 1574 days.
    assert beetroot["weeks_left"] == pytest.approx(73.0)
    assert beetroot["runs_out_on"] == AS_OF + dt.timedelta(days=511)
    assert beetroot["runs_out_low"] == AS_OF + dt.timedelta(days=219)
    assert beetroot["runs_out_high"] == AS_OF + dt.timedelta(days=1574)
    assert beetroot["note"] == ""


def test_stop_making_more_where_the_shelf_outlasts_two_years_of_use() -> None:
    # 12 bags in a year, 48 on hand: 4 years.
    pea = shelf()["pea", "freeze"]
    assert pea["weeks_left"] == pytest.approx(4 * 365 / 7)
    assert pea["note"] == "stop making more: lasts beyond 2 years of use"


def test_never_used_says_so_and_only_the_earliest_run_out_is_known() -> None:
    plum = shelf()["plum", "jam"]
    assert (plum["used_per_month"], plum["low"]) == (0.0, 0.0)
    # At most 3.688879 in 400 days, with 95 %: 8 jars would last 8 / 3.688879 * 400 = 867 days.
    assert plum["runs_out_low"] == AS_OF + dt.timedelta(days=867)
    assert (plum["runs_out_on"], plum["runs_out_high"], plum["weeks_left"]) == (None, None, None)
    assert plum["note"] == "never used in 13 months; stop making more: lasts beyond 2 years of use"


def test_a_batch_made_today_has_no_rate_yet() -> None:
    pear = shelf()["pear", "dry"]
    assert [pear[name] for name in ("used_per_month", "low", "high", "runs_out_on", "weeks_left")] == [None] * 5
    assert pear["note"] == ""


def test_an_empty_shelf_has_no_run_out_date() -> None:
    used = core("consumption", {"used_on": ago(5), "batch_id": "B1", "containers": 4})
    made = core("batches", batch("B1", 100, "pickle", "beetroot", 4))
    none = core("spoilage")
    row = shelf_table(shelf_ledger(made, none, used, AS_OF), used, AS_OF).to_dicts()[0]
    assert (row["on_hand"], row["weeks_left"], row["runs_out_on"], row["note"]) == (0, 0.0, None, "none left")


def test_only_the_last_two_years_tell_the_rate() -> None:
    made = core("batches", batch("B1", 2000, "jam", "plum", 40))
    used = core(
        "consumption",
        {"used_on": ago(1500), "batch_id": "B1", "containers": 20},
        {"used_on": ago(700), "batch_id": "B1", "containers": 6},
    )
    row = shelf_table(shelf_ledger(made, core("spoilage"), used, AS_OF), used, AS_OF).to_dicts()[0]
    assert row["used_per_month"] == pytest.approx(6 / (731 / MONTH_DAYS))
    assert row["on_hand"] == 14


QUALITY = pl.DataFrame(
    [
        # Invented times, to test the choice of a row.
        ("pickle", None, None, 12.0, "an invented leaflet", "read"),
        ("pickle", "fridge", None, 3.0, "an invented leaflet, fridge", "read"),
        ("pickle", None, "beetroot", 18.0, "an invented leaflet, beetroot", "from memory"),
        ("freeze", "freezer", None, 10.5, "an invented leaflet", "read in a copy"),
        ("ferment", "fridge", None, 6.0, "an invented leaflet", "read"),
        ("ferment", "cellar", None, 4.0, "an invented leaflet", "read"),
    ],
    schema=["method", "store", "crop", "months", "source", "read_as"],
    orient="row",
)


def due(*batches: dict[str, Any], spoilage: pl.DataFrame | None = None, **more: Any) -> pl.DataFrame:
    made = core("batches", *batches)
    looks = core("spoilage") if spoilage is None else spoilage
    held = shelf_ledger(made, looks, core("consumption"), AS_OF)
    return use_first(held, made, QUALITY, more.get("curves"), AS_OF, more.get("ready"))


def test_what_has_to_ripen_counts_its_quality_time_from_then() -> None:
    ripe_on = ago(60)
    ready = pl.DataFrame({"batch_id": ["K"], "ready_to": [ripe_on]})
    table = due(batch("K", 90, "ferment", "kohlrabi", 2, store="cellar"), ready=ready)
    row = table.row(0, named=True)
    # Four months from the day it was ready, not from the day it was made.
    assert row["due_on"] == pl.Series([ripe_on]).dt.offset_by("4mo")[0]
    assert row["reason"] == "best used within 4 months of being ready"


def test_the_most_fitting_published_time_counts() -> None:
    table = due(
        batch("general", 10, "pickle", "bean", 1, store="pantry"),
        batch("by store", 10, "pickle", "bean", 1, store="fridge"),
        batch("by crop", 10, "pickle", "beetroot", 1, store="fridge"),
        batch("no store", 40, "ferment", "turnip", 1),
    )
    months = dict(table.select("batch_id", "quality_months").iter_rows())
    assert months == {"general": 12.0, "by store": 3.0, "by crop": 18.0, "no store": 4.0}


def test_a_batch_without_a_store_takes_the_row_for_any_store() -> None:
    table = due(batch("P", 10, "pickle", "bean", 1))
    assert table["quality_months"].to_list() == [12.0]


@pytest.mark.parametrize(
    ("months", "reason"),
    [
        (0.0, "best used at once"),
        (0.1, "best used within 3 days"),
        (1.0, "best used within 1 month"),
        (1.5, "best used within 1.5 months"),
        (12.0, "best used within 12 months"),
    ],
)
def test_a_short_time_is_said_in_days(months: float, reason: str) -> None:
    made = core("batches", batch("P", 10, "pickle", "bean", 1))
    held = shelf_ledger(made, core("spoilage"), core("consumption"), AS_OF)
    table = use_first(held, made, QUALITY.head(1).with_columns(months=pl.lit(months)), None, AS_OF)
    assert table["reason"].to_list() == [reason]
    assert table["due_on"].to_list() == [
        ago(10) + dt.timedelta(days={0.0: 0, 0.1: 3, 1.0: 30, 1.5: 45, 12.0: 365}[months])
    ]


def test_the_quality_time_runs_in_calendar_months_and_names_its_source() -> None:
    table = due(
        batch("P", 365, "pickle", "bean", 2, store="pantry"), batch("F", 0, "freeze", "pea", 4, store="freezer")
    )
    assert table.select("batch_id", "on_hand", "age_days", "due_on", "reason", "source").rows() == [
        ("P", 2, 365, dt.date(2026, 7, 1), "best used within 12 months", "an invented leaflet (read)"),
        # Ten months from 1 July are 1 May; half a month more is 15 days.
        ("F", 4, 0, dt.date(2027, 5, 16), "best used within 10.5 months", "an invented leaflet (read in a copy)"),
    ]


def test_a_young_ferment_is_to_be_looked_at_every_three_days() -> None:
    seen = core("spoilage", {"found_on": ago(2), "batch_id": "seen", "containers": 0})
    table = due(
        batch("seen", 10, "ferment", "turnip", 1, store="cellar"),
        batch("unseen", 10, "ferment", "turnip", 1, store="cellar"),
        batch("grown", 29, "ferment", "turnip", 1, store="cellar"),
        spoilage=seen,
    )
    assert table.select("batch_id", "due_on").rows() == [
        ("unseen", ago(7)),
        ("seen", AS_OF + dt.timedelta(days=1)),
        ("grown", dt.date(2026, 10, 2)),  # made 2 June, 4 months
    ]
    assert table["reason"][0].startswith("first weeks of a ferment")
    assert table["source"][0].startswith("USDA Complete Guide to Home Canning, guide 6")


def test_what_air_can_reach_and_old_metal_lids_are_to_be_looked_at() -> None:
    table = due(
        batch("floating", 60, "pickle", "bean", 1, store="pantry", submerged=False),
        batch("cloth", 50, "ferment", "turnip", 1, store="cellar", submerged=True, lid="cloth"),
        batch("crate", 50, "cure", "onion", 1, lid="none"),
        batch("old lid", 400, "jam", "plum", 1, lid="metal"),
        batch("new lid", 300, "jam", "plum", 1, lid="metal"),
    )
    rows = {row["batch_id"]: row for row in table.to_dicts()}
    assert rows["floating"]["due_on"] == ago(53)
    assert rows["floating"]["reason"] == "not all under the liquid: look every week"
    assert rows["cloth"]["reason"] == "no tight lid: look every week"
    assert rows["old lid"]["due_on"] == ago(35)
    assert rows["old lid"]["reason"] == "metal lid older than a year: look for rust and a loose seal"
    assert rows["old lid"]["source"] == "common practice, no source"
    # Neither has a reason; oldest first, at the end of the list.
    assert table["batch_id"].to_list()[-2:] == ["new lid", "crate"]
    assert rows["crate"]["due_on"] is None
    assert rows["crate"]["reason"] == "no published time is known for it: use the oldest first"


def test_every_reason_that_has_come_due_is_named_once() -> None:
    table = due(batch("P", 500, "pickle", "bean", 1, store="pantry", lid="metal", submerged=False))
    row = table.to_dicts()[0]
    assert row["due_on"] == ago(493)
    assert row["reason"] == (
        "not all under the liquid: look every week; best used within 12 months; "
        "metal lid older than a year: look for rust and a loose seal"
    )
    assert row["source"] == "common practice, no source; an invented leaflet (read)"


def test_the_measured_curve_can_be_sooner_than_the_published_time() -> None:
    curves = pl.DataFrame(
        {
            "grouping": ["method"] * 3 + ["lid"],
            "group": ["pickle", "pickle", "pickle", "metal"],
            "age_days": [0, 80, 120, 5],
            "at_risk": [20, 20, 15, 20],
            "kept": [1.0, 0.95, 0.88, 0.1],
            "kept_low": [1.0, 0.8, 0.7, 0.0],
            "kept_high": [1.0, 1.0, 1.0, 0.5],
        }
    )
    row = due(batch("P", 100, "pickle", "bean", 1, store="pantry"), curves=curves).to_dicts()[0]
    assert row["due_on"] == AS_OF + dt.timedelta(days=20)
    assert row["reason"] == "by 120 days, 1 in 10 of your pickle containers was no longer sound"
    assert row["source"] == "this garden's log"


def test_an_empty_batch_is_not_listed() -> None:
    made = core("batches", batch("P", 100, "pickle", "bean", 1))
    used = core("consumption", {"used_on": ago(3), "batch_id": "P"})
    held = shelf_ledger(made, core("spoilage"), used, AS_OF)
    assert use_first(held, made, QUALITY, None, AS_OF).height == 0


def test_no_batches_give_empty_tables() -> None:
    none = shelf_ledger(BATCHES.clear(), SPOILAGE.clear(), CONSUMPTION.clear(), AS_OF)
    table = shelf_table(none, CONSUMPTION.clear(), AS_OF)
    first = use_first(none, BATCHES.clear(), QUALITY.clear(), None, AS_OF)
    for frame, name in ((table, "shelf"), (first, "use_first")):
        assert frame.height == 0
        assert frame.schema == as_answer(frame, name).schema


@given(
    st.integers(1, 30),
    st.lists(st.tuples(st.integers(0, 500), st.integers(0, 9)), max_size=5),
    st.lists(st.tuples(st.integers(0, 500), st.integers(0, 9)), max_size=5),
)
@trials(max_examples=40, derandomize=True, deadline=None)
def test_nothing_on_the_shelf_is_ever_negative(
    made: int, used: list[tuple[int, int]], lost: list[tuple[int, int]]
) -> None:
    table = shelf_ledger(
        core("batches", batch("B", 500, "jam", "plum", made)),
        core("spoilage", *[{"found_on": ago(d), "batch_id": "B", "containers": n} for d, n in lost]),
        core("consumption", *[{"used_on": ago(d), "batch_id": "B", "containers": n} for d, n in used]),
        AS_OF,
    )
    row = table.to_dicts()[0]
    assert min(row[name] for name in ("made", "used", "spoiled", "on_hand")) >= 0
    assert row["on_hand"] == max(made - sum(n for _, n in used) - sum(n for _, n in lost), 0)
