"""Honest mess: a few rows made wrong on purpose, each remembered with what is wrong in it."""

from __future__ import annotations

import datetime as dt

from sample_data.keeping import Kept
from sample_data.logbook import Line

ERROR, CELL, WARNING = "error", "cell", "warning"


def _nearest(lines: list[Line], day: dt.date, **having: str) -> Line:
    """The untouched line nearest to ``day`` whose cells are as said."""
    fitting = [
        line
        for line in lines
        if line.wrong is None and all(line.cells.get(column, "") == value for column, value in having.items())
    ]
    return min(fitting, key=lambda line: abs((line.day - day).days))


def _spoil(line: Line, column: str, value: str, rule: str, level: str = ERROR) -> None:
    line.cells[column] = value
    line.wrong = (column, rule, level)


def _insert(lines: list[Line], line: Line) -> None:
    """Put ``line`` behind the others of its day."""
    place = sum(other.day <= line.day for other in lines)
    lines.insert(place, line)


def spoil_harvests(first: list[Line], second: list[Line]) -> None:
    """Slips of the pen in the two harvest logs."""
    _spoil(_nearest(first, dt.date(2025, 6, 30)), "picked_on", "2025-06-31", "a date that does not exist")
    _spoil(_nearest(first, dt.date(2025, 8, 4), crop="bean"), "weight", "450", "a weight without its unit")
    _spoil(_nearest(first, dt.date(2025, 9, 9), crop="tomato"), "weight", "-0,8 kg", "a negative weight")
    _spoil(_nearest(second, dt.date(2026, 6, 5)), "picked_on", "5/6/2026", "a date that can mean two days")
    _spoil(_nearest(second, dt.date(2026, 8, 2)), "picked_on", "2062-08-02", "a date in the future")
    _spoil(
        _nearest(second, dt.date(2026, 7, 1), crop="kohlrabi"),
        "crop",
        "kolrhabi",
        "a crop that no one knows; the nearest name is kohlrabi",
        WARNING,
    )


def spoil_kitchen(batches: list[Line], kept: Kept, ends: dt.date) -> tuple[Line, Line]:
    """Wrong rows about batches; returns a spoilage row of no batch and a use of more than was made."""
    twice = batches[len(batches) // 3]
    copy = Line(twice.day, dict(twice.cells) | {"containers": "2"})
    copy.wrong = ("batch_id", "a batch id that another row has", ERROR)
    _insert(batches, copy)
    odd = dict.fromkeys(twice.cells, "") | {
        "batch_id": "B26-901",
        "made_on": "2026-08-29",
        "method": "in the smoke",
        "crop": "plum",
        "containers": "2",
        "produce": "1.5 kg",
    }
    _insert(batches, Line(dt.date(2026, 8, 29), odd, ("method", "a method that no one knows", ERROR)))
    full = next(fate for fate in kept.fates if fate.on_hand and fate.used)
    too_many = {
        "used_on": (ends - dt.timedelta(days=2)).isoformat(),
        "batch_id": full.batch.batch_id,
        "containers": str(full.batch.containers),
        "use": "eaten",
    }
    used = Line(
        ends - dt.timedelta(days=2),
        too_many,
        ("containers", "more used and spoiled than were made", ERROR),
    )
    nowhere = {"found_on": "2026-03-15", "batch_id": "B52-014", "containers": "1", "cause": "mould"}
    found = Line(
        dt.date(2026, 3, 15),
        nowhere | {"action": "discarded"},
        ("batch_id", "a batch that does not exist", ERROR),
    )
    return found, used


def spoil_rest(
    spoilage: list[Line],
    consumption: list[Line],
    tastings: list[Line],
    sowings: list[Line],
    wrong: tuple[Line, Line],
) -> None:
    """The other logs."""
    found, used = wrong
    _insert(spoilage, found)
    _insert(consumption, used)
    _spoil(
        _nearest(spoilage, dt.date(2026, 7, 20), containers="0"),
        "cause",
        "gone funny",
        "a cause that no one knows",
        CELL,
    )
    _spoil(
        _nearest(consumption, dt.date(2026, 4, 3), crop=""),
        "used_on",
        "3/4/2026",
        "a date that can mean two days",
    )
    _spoil(tastings[len(tastings) // 2], "liking", "11", "a score above 9")
    cells = dict.fromkeys(sowings[0].cells, "") | {
        "sowing_id": "S26-90",
        "sown_on": "2026-05-02",
        "crop": "radish",
        "plot": "P4",
        "amount": "a handful",
        "start": "direct",
    }
    _insert(sowings, Line(dt.date(2026, 5, 2), cells, ("amount", "an amount without number and unit", ERROR)))
