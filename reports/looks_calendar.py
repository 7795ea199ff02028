"""Looks due, ready dates and lid changes as a calendar file (RFC 5545)."""

from __future__ import annotations

import datetime as dt
import hashlib
from typing import Any

import polars as pl
from icalendar import Calendar, vText

from reports.calendar import DOMAIN, all_day_event, one_line
from reports.words import full_day
from schemas.words.food import FOOD_CAUTION

TITLES = {"look": "Look at", "ready": "Ready in taste", "lid": "Change lid"}


def shelf_calendar(events: pl.DataFrame, garden_name: str, stamped_on: dt.date) -> bytes:
    """One all-day event per look, ready date and lid change.

    An event is named after the garden, the batch and its kind: importing a later file moves it instead of doubling
    it.

    Args:
        events: ``kind`` (``look``, ``ready``, ``lid``), ``batch_id``, ``crop``, ``method``, ``happens_on``,
            ``due_on``, ``repeat_days``, ``repeat_until``, ``what``, ``source``; one row per batch and kind.
        garden_name: shown as the calendar's name.
        stamped_on: the day the events were worked out; written as its midnight in universal time.

    Returns:
        The file's bytes: UTF-8, CRLF, folded lines. Nothing (``b""``) without events, since a calendar must hold
        at least one component.
    """
    if events.is_empty():
        return b""
    calendar = Calendar()
    calendar.add("prodid", "-//Rowshelf//Shelf//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", vText(one_line(f"{garden_name}: shelf")))
    stamp = dt.datetime(stamped_on.year, stamped_on.month, stamped_on.day, tzinfo=dt.UTC)
    for row in events.iter_rows(named=True):
        digest = hashlib.sha256(f"{garden_name}\n{row['batch_id']}".encode()).hexdigest()[:16]
        title = f"{TITLES[row['kind']]}: {row['crop']}, {row['batch_id']}"
        event = all_day_event(f"{row['kind']}-{digest}@{DOMAIN}", row["happens_on"], title, stamp)
        event.add("description", _description(row))
        if row["repeat_days"] is not None:
            until = {"until": [row["repeat_until"]]} if row["repeat_until"] else {}
            event.add("rrule", {"freq": ["daily"], "interval": [row["repeat_days"]], **until})
        calendar.add_component(event)
    return bytes(calendar.to_ical())


def _description(row: dict[str, Any]) -> str:
    parts = [f"{one_line(row['what'])}."]
    if row["due_on"] < row["happens_on"]:
        parts.append(f"Due since {full_day(row['due_on'])}.")
    if row["source"]:
        parts.append(f"Source: {one_line(row['source'])}.")
    return "\n".join([*parts, FOOD_CAUTION])
