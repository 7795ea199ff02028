"""Days as they are written everywhere: ``18 Jun 2026``. The names of months do not hang on the machine's language."""

from __future__ import annotations

import datetime as dt

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

YEAR_DAYS = 365.25
"""Days of a year, wherever months and years are turned into days."""
MONTH_DAYS = YEAR_DAYS / 12


def day(value: dt.date) -> str:
    """A day inside a season: ``18 Jun``."""
    return f"{value.day} {MONTHS[value.month - 1]}"


def full_day(value: dt.date) -> str:
    """A day with its year: ``18 Jun 2026``."""
    return f"{day(value)} {value.year}"


def two_days(first: dt.date, last: dt.date) -> str:
    """Such as ``13 and 26 Jul`` or ``27 Jul and 9 Aug``."""
    return f"{first.day} and {day(last)}" if first.month == last.month else f"{day(first)} and {day(last)}"


def season_label(first: dt.date, last: dt.date) -> str:
    """A garden year by its calendar years: ``2026``, or ``2025/26`` where it crosses New Year."""
    return str(first.year) if first.year == last.year else f"{first.year}/{last.year % 100:02}"
