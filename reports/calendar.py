"""The sowing plan as a calendar file (RFC 5545) for any phone or computer calendar."""

from __future__ import annotations

import datetime as dt
import hashlib
import re
from collections.abc import Mapping
from typing import Any

import polars as pl
from icalendar import Calendar, Event, vText

from reports.words import day, full_day, kilograms, quantity

BREAKS = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]+")
"""Control characters and line ends: RFC 5545 allows none of them inside a text as it stands."""
DOMAIN = "rowshelf.invalid"
"""Right side of every event's name; RFC 2606 keeps ``.invalid`` free of any real host."""


def sowing_calendar(
    plan: pl.DataFrame, garden_name: str, stamped_on: dt.date, own_names: Mapping[str, str] | None = None
) -> bytes:
    """One all-day event per sowing, and one per planting out.

    An event's name is made from the garden, the crop, the year of the plan's first sowing and the sowing's
    place among those of its crop. Importing the file again, or a later plan for the same season, so replaces
    events instead of doubling them.

    Args:
        plan: rows of ``sowing_plan``.
        garden_name: shown as the calendar's name.
        stamped_on: the day the plan was made; written as its midnight in universal time.
        own_names: what the folder calls a crop, where it is not the name in ``plan``; no event's name hangs on it.

    Returns:
        The file's bytes: UTF-8, CRLF, folded lines. Nothing (``b""``) for a plan without sowings, since a
        calendar must hold at least one component.
    """
    if plan.is_empty():
        return b""
    calendar = Calendar()
    calendar.add("prodid", "-//Rowshelf//Sowing plan//EN")
    calendar.add("version", "2.0")
    # a plain string would leave unescaped under a name that starts with X-
    calendar.add("x-wr-calname", vText(one_line(f"{garden_name}: sowing plan")))
    stamp = dt.datetime(stamped_on.year, stamped_on.month, stamped_on.day, tzinfo=dt.UTC)
    rows = plan.sort("sow_on", "crop").to_dicts()
    season = rows[0]["sow_on"].year
    ordinals: dict[str, int] = {}
    for row in rows:
        ordinal = ordinals[row["crop"]] = ordinals.get(row["crop"], 0) + 1
        digest = hashlib.sha256(f"{garden_name}\n{row['crop']}".encode()).hexdigest()[:16]
        name = f"{season}-{ordinal}-{digest}@{DOMAIN}"
        crop = (own_names or {}).get(row["crop"], row["crop"])
        sown = all_day_event(f"sow-{name}", row["sow_on"], f"Sow {crop}: {quantity(row['amount'], row['unit'])}", stamp)
        sown.add("description", _expectation(row))
        calendar.add_component(sown)
        if row["plant_out_on"] is not None:
            title = f"Plant out {crop} sown {day(row['sow_on'])}: {quantity(row['amount'], row['unit'])}"
            planted = all_day_event(f"plant-out-{name}", row["plant_out_on"], title, stamp)
            planted.add("description", _expectation(row))
            calendar.add_component(planted)
    return bytes(calendar.to_ical())


def one_line(text: str) -> str:
    """The text with a space for every line end and control character."""
    return BREAKS.sub(" ", text)


def all_day_event(name: str, on: dt.date, title: str, stamp: dt.datetime) -> Event:
    """An all-day event; without an end it lasts that day, and it leaves the day free for others."""
    event = Event()
    event.add("uid", name)
    event.add("dtstamp", stamp)
    event.add("dtstart", on)
    event.add("summary", one_line(title))
    event.add("transp", "TRANSPARENT")
    return event


def _expectation(row: dict[str, Any]) -> str:
    """What the sowing is for and when it should be ready."""
    parts = [one_line(f"For: {row['reason']}.")] if row["reason"] else []
    if row["first_pick_on"] is not None:
        early, late = row["first_pick_low"], row["first_pick_high"]
        span = f" ({day(early)} to {day(late)})" if early and late else ""
        parts.append(f"First pick about {full_day(row['first_pick_on'])}{span}.")
    if row["last_pick_on"] is not None:
        parts.append(f"Last pick about {full_day(row['last_pick_on'])}.")
    if row["expected_kg"] is not None:
        parts.append(f"Expected: {kilograms(row['expected_kg'])}.")
    return "\n".join(parts)
