"""A day as it is said at the moment of writing: any form the logs take, a day without its year, today, yesterday."""

from __future__ import annotations

import datetime as dt

from pipeline.errors import UsageError
from pipeline.intake.cells import date, tidy
from pipeline.intake.dates import written_as
from schemas.contracts import EARLIEST_YEAR, LATEST_YEAR


def day_of(text: str, today: dt.date, date_order: str = "iso") -> dt.date | None:
    """The day that a text means; None where it is no day or has two readings.

    A day without its year is the last such day up to ``today``.
    """
    plain = tidy(text).casefold()
    back = {"today": 0, "yesterday": 1}.get(plain)
    if back is not None:
        return today - dt.timedelta(days=back)
    found = date(text, date_order).value
    if isinstance(found, dt.date):
        return found
    written = written_as(text, today.year)
    if written and written.full:
        return written.full.get(date_order) or (
            next(iter(written.full.values())) if len(set(written.full.values())) == 1 else None
        )
    years = (date(f"{plain.rstrip('.')} {year}", date_order).value for year in (today.year, today.year - 1))
    return next((day for day in years if isinstance(day, dt.date) and day <= today), None)


def as_of_day(text: str | None, today: dt.date) -> dt.date:
    """The day that ``--as-of`` names; ``today`` where nothing is named.

    Raises:
        UsageError: it is no day, has two readings, or lies beyond the years that logs may be of.
    """
    if text is None:
        return today
    found = day_of(text, today)
    if found is None:
        written = written_as(text, today.year)
        either = sorted({day.isoformat() for day in written.full.values()}) if written else []
        two = f"may be {' or '.join(either)}; " if len(either) > 1 else ""
        message = f"--as-of {text}: {two}write a date such as 2026-06-18."
        raise UsageError(message)
    if not EARLIEST_YEAR <= found.year <= LATEST_YEAR:  # beyond, the calendar has no room for the seasons around it
        message = f"--as-of {text}: write a date of the years {EARLIEST_YEAR} to {LATEST_YEAR}, such as 2026-06-18."
        raise UsageError(message)
    return found
