"""Ready dates, what a shelf asks for, label facts and the shelf's calendar, on small tables."""

from __future__ import annotations

import datetime as dt
from typing import Any

import icalendar
import polars as pl
import pytest
import vobject
from core_frames import core

from pipeline import reference
from pipeline.keeping.salt_measures import with_salt_measures
from pipeline.kitchen.cautions import batch_cautions
from pipeline.kitchen.looks import DAYS_OF_A_LABEL, EVENT_TYPES, LABEL_TYPES, label_facts, shelf_events
from pipeline.kitchen.ready import ready_dates, ready_days
from pipeline.shelf.ledger import shelf_ledger, use_first
from reports.looks_calendar import shelf_calendar

TIMES, CROPS = reference.ready_times(), reference.crop_reference()
MADE = dt.date(2026, 9, 1)
Row = dict[str, Any]


def batches(*rows: Row) -> pl.DataFrame:
    numbered = [{"batch_id": f"b{i}", "made_on": MADE, "containers": 4} | row for i, row in enumerate(rows)]
    return core("batches", *numbered)


def ferment(crop: str, **facts: Any) -> Row:
    return {"method": "ferment", "crop": crop} | facts


@pytest.mark.parametrize(
    ("batch", "days", "source"),
    [
        # Michigan State Univ. Extension 01600078; NDSU Extension, node 2254: kraut 3 to 4 weeks at 21 to 24 C, 5 to 6
        # weeks at 16 to 18 C; between the two the slower time; below 16 C it may not ferment.
        (ferment("cabbage", store_c=22.0), (21, 28), "01600078"),
        (ferment("cabbage", store_c=19.0), (35, 42), "01600078"),
        (ferment("cabbage", store_c=16.0), (35, 42), "01600078"),
        (ferment("cabbage", store_c=15.9), (None, None), "01600078"),
        # The temperature is unknown, or that of a store where it stands once it is sour.
        (ferment("cabbage"), (21, 42), "01600078"),
        (ferment("cabbage", store="fridge", store_c=4.0), (21, 42), "01600078"),
        # USDA Complete Guide to Home Canning, Guide 6: dill pickles 5 to 6 weeks at 13 to 18 C.
        (ferment("cucumber", store_c=14.0), (35, 42), "Guide 6"),
        (ferment("cucumber", store_c=22.0), (21, 28), "Guide 6"),
        (ferment("cucumber", store_c=10.0), (None, None), "Guide 6"),
        # Univ. of California ANR: 2 to 7 weeks. Large pieces in about a month is common practice, no source; where the
        # two differ the later start is taken. Finely cut in 4 days to a week is too, and is not.
        (ferment("turnip"), (14, 49), "California"),
        (ferment("turnip", piece="shred"), (14, 49), "California"),
        (ferment("turnip", piece="chunk"), (30, 49), "California"),
        (ferment("turnip", piece="whole", store_c=20.0), (30, 49), "common practice"),
        # USDA Complete Guide to Home Canning, Guide 6 (Michigan State Univ. Extension 01600131): 4 to 5 weeks.
        ({"method": "pickle", "crop": "beetroot", "piece": "shred", "store": "pantry"}, (28, 35), "01600131"),
        # Refrigerated: common practice, no source.
        ({"method": "pickle", "crop": "beetroot", "piece": "shred", "store": "fridge"}, (4, 7), "common practice"),
        ({"method": "pickle", "crop": "beetroot", "piece": "whole", "store": "fridge"}, (30, 30), "common practice"),
        ({"method": "pickle", "crop": "beetroot", "store": "fridge"}, (4, 30), "common practice"),
        # Utah State Univ. Extension, Conditioning or curing: 1 to 2 weeks, the longest of four published times.
        ({"method": "dry", "crop": "pear"}, (7, 14), "Utah State"),
    ],
)
def test_days_until_ready(batch: Row, days: tuple[int | None, int | None], source: str) -> None:
    row = ready_days(batches(batch), TIMES, CROPS).row(0, named=True)
    assert (row["days_low"], row["days_high"]) == days
    assert source in row["ready_source"]


@pytest.mark.parametrize(
    "batch",
    [{"method": "jam", "crop": "plum"}, {"method": "dry", "crop": "carrot"}, {"method": "freeze", "crop": "pea"}],
)
def test_what_has_no_published_time_gets_none(batch: Row) -> None:
    row = ready_days(batches(batch), TIMES, CROPS).row(0, named=True)
    assert all(value is None for name, value in row.items() if name != "batch_id")


def test_conflicting_sources_are_both_named_and_the_cautious_one_is_used() -> None:
    notes = ready_days(batches(ferment("turnip"), {"method": "pickle", "crop": "turnip"}), TIMES, CROPS)["ready_note"]
    for note in notes:
        assert "common practice" in note
        assert "longer time is taken" in note


def test_dates_follow_the_order_of_the_batches() -> None:
    result = ready_dates(
        batches(ferment("cabbage", store_c=22.0), {"method": "jam", "crop": "plum"}, ferment("turnip")), TIMES, CROPS
    )
    assert result.select("batch_id", "ready_from", "ready_to").rows() == [
        ("b0", dt.date(2026, 9, 22), dt.date(2026, 9, 29)),
        ("b1", None, None),
        ("b2", dt.date(2026, 9, 15), dt.date(2026, 10, 20)),
    ]


def test_no_batches_give_an_empty_frame_of_the_right_columns() -> None:
    empty = ready_dates(batches(), TIMES, CROPS)
    full = ready_dates(batches(ferment("cabbage")), TIMES, CROPS)
    assert empty.height == 0
    assert empty.schema == full.schema


def shelf_of(as_of: dt.date, *rows: Row) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The events and the label facts of untouched batches."""
    made = with_salt_measures(batches(*rows))
    spoilage, consumption = core("spoilage"), core("consumption")
    ledger = shelf_ledger(made, spoilage, consumption, as_of)
    due = use_first(ledger, made, reference.quality_months(), None, as_of)
    ready = ready_dates(made, TIMES, CROPS)
    cautions = batch_cautions(made, spoilage, reference.caution_rules(), CROPS)
    return shelf_events(made, due, ready, as_of), label_facts(made, due, ready, cautions, as_of)


KRAUT = ferment("cabbage", store="pantry", store_c=22.0, lid="metal", produce_kg=5.0, salt_g=120.0)


def test_a_young_ferment_is_looked_at_again_and_again() -> None:
    events, _ = shelf_of(dt.date(2026, 9, 2), KRAUT)
    look, ready, lid = events.sort("happens_on").iter_rows(named=True)
    # USDA Complete Guide to Home Canning, Guide 6: several times a week.
    assert (look["kind"], look["happens_on"], look["repeat_days"]) == ("look", dt.date(2026, 9, 4), 3)
    assert look["repeat_until"] == MADE + dt.timedelta(days=28)
    assert (ready["kind"], ready["happens_on"]) == ("ready", dt.date(2026, 9, 22))
    assert "measure the pH" in ready["what"]
    # Metal lids rust after about a year: common practice, no source.
    assert (lid["kind"], lid["happens_on"]) == ("lid", dt.date(2027, 9, 1))
    assert lid["source"] == "common practice, no source"


def test_an_overdue_look_happens_today_and_says_since_when() -> None:
    events, _ = shelf_of(dt.date(2026, 9, 20), KRAUT)
    look = events.filter(pl.col("kind") == "look").row(0, named=True)
    assert (look["happens_on"], look["due_on"]) == (dt.date(2026, 9, 20), dt.date(2026, 9, 4))


def test_within_its_time_a_batch_is_told_on_the_last_day_and_afterwards_not_at_all() -> None:
    within, _ = shelf_of(dt.date(2026, 9, 24), KRAUT)
    assert within.filter(pl.col("kind") == "ready")["happens_on"].to_list() == [dt.date(2026, 9, 29)]
    after, _ = shelf_of(dt.date(2026, 9, 30), KRAUT)
    assert after.filter(pl.col("kind") == "ready").height == 0


def test_an_old_lid_is_a_look_and_no_second_event() -> None:
    events, _ = shelf_of(dt.date(2027, 10, 1), {"method": "jam", "crop": "plum", "lid": "metal", "store": "pantry"})
    assert events["kind"].to_list() == ["look"]
    assert "metal lid older than a year" in events["what"][0]


def test_no_batches_give_empty_frames_of_the_right_columns() -> None:
    events, labels = shelf_of(MADE)
    assert dict(events.schema) == EVENT_TYPES
    assert dict(labels.schema) == LABEL_TYPES
    assert events.height == labels.height == 0
    assert shelf_calendar(events, "Invented garden", MADE) == b""


def test_label_facts_of_a_ferment_and_of_honey_jam() -> None:
    jam = {
        "method": "jam",
        "crop": "plum",
        "store": "pantry",
        "produce_kg": 3.0,
        "sweetener": "honey",
        "sweetener_weight_g": 2600.0,
        "note": "turned upside down",
    }
    _, labels = shelf_of(dt.date(2026, 9, 2), KRAUT, jam)
    kraut, honey = labels.iter_rows(named=True)
    assert (kraut["salt_pct"], kraut["salt_basis"]) == (pytest.approx(2.4), "of produce")
    assert (kraut["look_on"], kraut["look_every_days"]) == (dt.date(2026, 9, 4), 3)
    assert (kraut["ready_from"], kraut["ready_to"]) == (dt.date(2026, 9, 22), dt.date(2026, 9, 29))
    # One month in a pantry, common practice, from the day it should have soured.
    assert kraut["best_by"] == dt.date(2026, 10, 29)
    assert (kraut["warnings"], kraut["cautions"]) == ([], 1)
    # NCHFP, Storing home-canned jams and jellies: best within a year.
    assert (honey["quality_months"], honey["best_by"]) == (12, dt.date(2027, 9, 1))
    assert honey["look_on"] is None
    assert honey["warnings"] == ["no honey for children under 1 year"]
    assert honey["cautions"] == 1


def test_a_batch_that_breaks_a_serious_limit_is_ready_and_best_on_no_day() -> None:
    _, labels = shelf_of(dt.date(2026, 9, 2), KRAUT | {"ph": 5.9}, KRAUT | {"ph": 3.5})
    sharp, sour = labels.iter_rows(named=True)
    assert sharp["broken"] == ["pH 5.9, limit 4.6"]
    assert [sharp[day] for day in DAYS_OF_A_LABEL] == [None] * len(DAYS_OF_A_LABEL)
    assert sour["broken"] == []
    assert None not in [sour["ready_from"], sour["ready_to"], sour["best_by"]]


def test_what_was_seen_stands_before_what_a_rule_says() -> None:
    made = with_salt_measures(batches(KRAUT | {"ph": 5.9}))
    found = core(
        "spoilage", {"found_on": MADE, "batch_id": "b0", "cause": "bulging", "containers": 1, "action": "kept"}
    )
    ledger = shelf_ledger(made, found, core("consumption"), MADE)
    due = use_first(ledger, made, reference.quality_months(), None, MADE)
    cautions = batch_cautions(made, found, reference.caution_rules(), CROPS)
    label = label_facts(made, due, ready_dates(made, TIMES, CROPS), cautions, MADE).row(0, named=True)
    assert [text.split(",")[0] for text in label["broken"]] == ["bulging", "pH 5.9"]


@pytest.mark.parametrize(
    ("row", "named"),
    [
        ({}, True),
        ({"salt_g": 400.0}, False),
        ({"crop": "cucumber", "salt_g": 40.0, "water_ml": 1000.0}, False),
        ({"crop": "cucumber", "produce_kg": 1.8, "salt_g": 145.0, "water_ml": 1900.0, "vinegar_ml": 118.0}, True),
        ({"crop": "lemon", "salt_g": 400.0}, False),
        ({"method": "pickle", "crop": "garlic", "vinegar_ml": 100.0, "store": "pantry"}, False),
    ],
)
def test_a_source_is_named_only_on_a_batch_that_is_made_its_way(row: Row, named: bool) -> None:
    _, labels = shelf_of(dt.date(2026, 9, 2), KRAUT | row)
    assert (labels["ready_source"][0] is not None) == named


def test_a_batch_that_is_used_up_gets_no_label_and_no_event() -> None:
    made = with_salt_measures(batches(KRAUT))
    used = core("consumption", {"used_on": MADE, "batch_id": "b0", "containers": 4})
    ledger = shelf_ledger(made, core("spoilage"), used, MADE)
    due = use_first(ledger, made, reference.quality_months(), None, MADE)
    ready = ready_dates(made, TIMES, CROPS)
    cautions = batch_cautions(made, core("spoilage"), reference.caution_rules(), CROPS)
    assert shelf_events(made, due, ready, MADE).height == 0
    assert label_facts(made, due, ready, cautions, MADE).height == 0


def calendar_of(*rows: Row, name: str = "Invented garden") -> bytes:
    events, _ = shelf_of(dt.date(2026, 9, 2), *rows)
    return shelf_calendar(events, name, dt.date(2026, 9, 2))


def test_two_libraries_read_the_same_events() -> None:
    data = calendar_of(KRAUT)
    read = list(icalendar.Calendar.from_ical(data).walk("VEVENT"))
    assert [str(event["summary"]) for event in read] == [
        "Look at: cabbage, b0",
        "Ready in taste: cabbage, b0",
        "Change lid: cabbage, b0",
    ]
    assert [event["dtstart"].dt for event in read] == [
        dt.date(2026, 9, 4),
        dt.date(2026, 9, 22),
        dt.date(2027, 9, 1),
    ]
    look = vobject.readOne(data.decode()).vevent_list[0]
    repeats = [day.date() for day in look.getrruleset(addRDate=True)]
    assert repeats == [dt.date(2026, 9, 4) + dt.timedelta(days=3 * step) for step in range(9)]
    assert all("Follow a tested recipe" in str(event["description"]) for event in read)


def test_a_later_file_moves_events_and_another_garden_keeps_its_own() -> None:
    def names(data: bytes) -> list[str]:
        return [str(event["uid"]) for event in icalendar.Calendar.from_ical(data).walk("VEVENT")]

    first = names(calendar_of(KRAUT))
    events, _ = shelf_of(dt.date(2026, 9, 12), KRAUT)
    later = names(shelf_calendar(events, "Invented garden", dt.date(2026, 9, 12)))
    assert len(set(first)) == 3
    assert set(first) == set(later)
    assert not set(first) & set(names(calendar_of(KRAUT, name="Another")))


def test_a_line_break_in_a_name_cannot_write_a_line_of_the_file() -> None:
    hostile = "kraut\r\nEND:VEVENT\r\nATTACH:file:///x"
    data = calendar_of(KRAUT | {"crop": hostile, "batch_id": hostile}, name=hostile)
    starts = {line.split(b":")[0].split(b";")[0] for line in data.replace(b"\r\n ", b"").split(b"\r\n")}
    assert b"ATTACH" not in starts
    assert b"kraut" not in starts
