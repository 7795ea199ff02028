"""The sowing calendar, read back by two libraries that did not write it together."""

from __future__ import annotations

import datetime as dt

import icalendar
import polars as pl
import vobject
from invented_answers import AS_OF, answers, empty_answers, frame

from reports.calendar import sowing_calendar

LETTUCE = {
    "crop": "lettuce",
    "sow_on": dt.date(2027, 3, 20),
    "plant_out_on": dt.date(2027, 4, 13),
    "amount": 12.0,
    "unit": "plants",
    "first_pick_on": dt.date(2027, 6, 4),
    "first_pick_low": dt.date(2027, 5, 29),
    "first_pick_high": dt.date(2027, 6, 13),
    "last_pick_on": dt.date(2027, 6, 18),
    "expected_kg": 6.4,
    "reason": "fresh from June",
}


def events(data: bytes) -> list[icalendar.Event]:
    """The events as icalendar reads them."""
    return list(icalendar.Calendar.from_ical(data).walk("VEVENT"))


def names(data: bytes) -> list[str]:
    """The UIDs in the file's order."""
    return [str(event["uid"]) for event in events(data)]


def test_one_sowing_reads_as_two_all_day_events() -> None:
    data = sowing_calendar(frame("sowing_plan", [LETTUCE]), "Invented garden", AS_OF)
    sown, planted = vobject.readOne(data.decode()).vevent_list
    assert sown.summary.value.replace("\u00a0", " ") == "Sow lettuce: 12 plants"
    assert sown.dtstart.value == dt.date(2027, 3, 20)
    assert sown.dtstamp.value.isoformat() == "2026-11-20T00:00:00+00:00"
    assert sown.description.value.replace("\u00a0", " ") == (
        "For: fresh from June.\nFirst pick about 4 Jun 2027 (29 May to 13 Jun).\n"
        "Last pick about 18 Jun 2027.\nExpected: 6.4 kg."
    )
    assert planted.summary.value.replace("\u00a0", " ") == "Plant out lettuce sown 20 Mar: 12 plants"
    assert planted.dtstart.value == dt.date(2027, 4, 13)


def test_two_libraries_find_every_sowing_and_planting_out() -> None:
    plan = answers()["sowing_plan"]
    data = sowing_calendar(plan, "Invented garden", AS_OF)
    expected = sorted([*plan["sow_on"], *plan["plant_out_on"].drop_nulls()])
    assert sorted(event["dtstart"].dt for event in events(data)) == expected
    assert sorted(event.dtstart.value for event in vobject.readOne(data.decode()).vevent_list) == expected


def test_lines_end_with_crlf_and_have_at_most_75_octets() -> None:
    """RFC 5545 section 3.1."""
    row = LETTUCE | {"crop": "p\u00e2tisson \u5927\u6839 " * 12, "reason": "x" * 300}
    lines = sowing_calendar(frame("sowing_plan", [row]), "Invented garden", AS_OF).split(b"\r\n")
    assert lines[-1] == b""
    assert not [line for line in lines if len(line) > 75 or b"\n" in line or b"\r" in line]


def test_names_are_unique_and_the_same_each_time() -> None:
    plan = answers()["sowing_plan"]
    first = names(sowing_calendar(plan, "Invented garden", AS_OF))
    again = names(
        sowing_calendar(plan.sample(fraction=1.0, shuffle=True, seed=1), "Invented garden", dt.date(2027, 1, 9))
    )
    assert len(set(first)) == len(first)
    assert again == first
    assert all(name.endswith("@rowshelf.invalid") for name in first)


def test_a_later_plan_that_moves_a_sowing_keeps_its_name() -> None:
    plan = answers()["sowing_plan"]
    moved = plan.with_columns(pl.col("sow_on") + pl.duration(days=3))
    assert set(names(sowing_calendar(moved, "g", AS_OF))) == set(names(sowing_calendar(plan, "g", AS_OF)))


def test_two_gardens_do_not_overwrite_one_another() -> None:
    plan = answers()["sowing_plan"]
    assert not set(names(sowing_calendar(plan, "one", AS_OF))) & set(names(sowing_calendar(plan, "two", AS_OF)))


def test_punctuation_is_escaped_and_comes_back() -> None:
    """RFC 5545 section 3.3.11: backslash, semicolon and comma are escaped in a text."""
    row = LETTUCE | {"crop": "pea, tall; \\ late", "plant_out_on": None}
    data = sowing_calendar(frame("sowing_plan", [row]), "beds, paths; more", AS_OF)
    assert b"SUMMARY:Sow pea\\, tall\\; \\\\ late: 12" in data
    assert b"X-WR-CALNAME:beds\\, paths\\; more: sowing plan" in data
    assert str(events(data)[0]["summary"]).startswith("Sow pea, tall; \\ late: 12")


def test_a_line_break_in_a_name_cannot_write_a_line_of_the_file() -> None:
    hostile = "pea\r\nEND:VEVENT\r\nBEGIN:VEVENT\nATTACH:file:///x\r\x0b\u2028y"
    row = LETTUCE | {"crop": hostile, "reason": hostile, "plant_out_on": None}
    data = sowing_calendar(frame("sowing_plan", [row]), hostile, AS_OF)
    assert len(events(data)) == 1
    starts = [line.split(b":")[0].split(b";")[0] for line in data.replace(b"\r\n ", b"").split(b"\r\n")]
    assert b"ATTACH" not in starts
    assert starts.count(b"BEGIN") == 2


def test_an_empty_plan_gives_no_file() -> None:
    assert sowing_calendar(empty_answers()["sowing_plan"], "Invented garden", AS_OF) == b""


def test_a_sowing_without_forecast_has_a_date_and_nothing_made_up() -> None:
    row = {"crop": "garlic", "sow_on": dt.date(2026, 10, 20), "amount": 40.0, "unit": "plants"}
    (event,) = events(sowing_calendar(frame("sowing_plan", [row]), "g", AS_OF))
    assert str(event["summary"]).replace("\u00a0", " ") == "Sow garlic: 40 plants"
    assert str(event.get("description", "")) == ""
