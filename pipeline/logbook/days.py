"""A day as it is said at the moment of writing: any form the logs take, a day without its year, today, yesterday."""

from __future__ import annotations

import datetime as dt

from pipeline.intake.cells import date, tidy


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
    years = (date(f"{plain.rstrip('.')} {year}", date_order).value for year in (today.year, today.year - 1))
    return next((day for day in years if isinstance(day, dt.date) and day <= today), None)
