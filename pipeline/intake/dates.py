"""A column of dates as one hand wrote it: what single cells leave open is settled by the column, or asked once.

A cell such as ``3/4/2026`` has two readings. A column may prove which is meant, a file's name may tell the year
that ``18 Jun`` lacks, and a blank below a date may mean "as above". Whatever is settled so is said in one note
for the column, with the line to write in ``rowshelf.toml``; whatever is not becomes one problem for the column.
"""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import pairwise
from typing import NamedTuple

import polars as pl

from pipeline.intake import cells

LEAST_PROOFS = 3
"""Dates that can be read in one order only, before a column is taken to be written in it."""
YEARS_BACK = 60
"""How far back a year of two digits, or a spreadsheet's day number, may lie."""
MID_YEAR = 7
"""In a season of two years, such as 2025-26, months from here on are of the first."""
IN_YEAR = 12 * 31
"""Places in a year, counted as months of 31 days."""
LEAST_BLANKS = 2
"""Blank dates that a column must have before they can be a habit."""
MANY_BLANKS, MANY_BLANKS_SHARE, NEARLY_ALL = 3, 0.08, 0.9
"""From so many, and such a share of the rows, blanks are a habit also where some days stand in several rows."""
DITTO = frozenset({'"', "''", '""', "〃", "do", "do.", "ditto", "idem", "id.", '-"-', "as above", "same", "same day"})
"""Marks for "as in the row above"."""
DAY_FIRST, MONTH_FIRST, YEAR_FIRST = "day-first", "month-first", "year-first"

_ISO = r"^\d{4}-\d{2}-\d{2}$"
_NUMBERS = re.compile(r"(\d{1,2})([-./ ])(\d{1,2})\2(\d{4}|\d{2})")
_NO_YEAR = re.compile(r"(\d{1,2})([-./ ])(\d{1,2})\.?")
_NAME = r"([^\W\d_]+)"
_DAY = r"(\d{1,2})(?:st|nd|rd|th|er)?"
_NAMED = re.compile(rf"{_DAY}[ ./-]*(?:of |de )?{_NAME}\.?(?:,?[ ./-]*(?:de )?'?(\d\d))?", re.IGNORECASE)
_NAME_FIRST = re.compile(rf"{_NAME}\.?[ ./-]*{_DAY}(?:,?[ ./-]+'?(\d\d))?", re.IGNORECASE)
_DAY_NUMBER = re.compile(r"(\d{5})(?:[.,]\d+)?")
_WEEKDAY = re.compile(
    r"(?:(?:mon|tues?|wed(?:nes)?|weds|thu(?:rs?)?|fri|sat(?:ur)?|sun)(?:day)?)\b[.,]* *(?=.*\d)", re.IGNORECASE
)
_YEARS = re.compile(r"(?<!\d)((?:19|20)\d\d)(?:(?:[-/_ ]|\u2013)((?:19|20)?\d\d)(?!\d))?(?!\d)")


class Written(NamedTuple):
    """What one cell of numbers or names may mean: the day in each order, or month and day without a year."""

    full: dict[str, dt.date]
    partial: dict[str, tuple[int, int]]
    proves: bool = False
    """Whether it can tell the order of the column: a dotted date, and one with a month's name, cannot."""


@dataclass
class _Settled:
    """What a column settled, for its notes."""

    by_order: int = 0
    example: tuple[str, dt.date] | None = None
    years: Counter[int] = field(default_factory=Counter)
    years_from: str = ""
    above: int = 0
    numbers: int = 0
    number_example: tuple[str, dt.date] | None = None


class DateColumn:
    """Reads the dates of one column, some rows at a time; what a cell leaves open is settled by the column."""

    def __init__(
        self,
        date_order: str = "iso",
        this_year: int | None = None,
        told: Iterable[str] = (),
        other_years: tuple[int, ...] = (),
    ) -> None:
        """Set out what is known before the first row.

        Args:
            date_order: as set in rowshelf.toml; ``iso`` leaves it to the column.
            this_year: the year of "today"; no log is of a later one.
            told: the file's name and the lines above its header, which may name a year.
            other_years: the one year that other files of the folder name, where nothing nearer tells one.
        """
        self.order = None if date_order == "iso" else date_order
        self.proved: tuple[str, int] | None = None
        """The order that the column proves, and by how many dates."""
        self._this_year = this_year or 2098
        self._named_years = years_named(told)
        self._other_years = other_years
        self._settled = _Settled()
        self._last: dt.date | None = None
        self._blank_is_above: bool | None = None
        self._runs_down = False

    def weigh(self, counts: Counter[str]) -> Counter[str]:
        """How many dates can be read in one order only, by order."""
        only: Counter[str] = Counter()
        for text, rows in counts.items():
            written = written_as(text, self._this_year)
            if written is not None and written.proves:
                orders = list(written.full or written.partial)
                if len(orders) == 1:
                    only[orders[0]] += rows
        return only

    def prove(self, only: Counter[str]) -> None:
        """Take the order that the dates of a file prove, if it is not set."""
        ranked = only.most_common()
        if self.order is None and len(ranked) == 1 and ranked[0][1] >= LEAST_PROOFS:
            self.proved = ranked[0]
            self.order = ranked[0][0]

    def settle(self, texts: pl.Series) -> pl.Series:
        """The column with every date that it settles in ISO 8601; the rest as it stands."""
        if texts.str.contains(_ISO).fill_null(value=False).all():
            return texts
        typed: list[str | None] = texts.to_list()
        plain = [cells.tidy(text) for text in typed]
        if self._blank_is_above is None:
            places = [self._place(text) for text in plain if text]
            known = [place for place in places if place is not None]
            steps = [(later - earlier) % IN_YEAR for earlier, later in pairwise(known)]
            self._runs_down = sum(step > IN_YEAR / 2 for step in steps) > len(steps) / 2
            self._blank_is_above = self._is_habit(plain, steps, len(places) - len(known))
        days = [self._one(text) for text in plain]
        self._from_neighbours(plain, days)
        return pl.Series(
            texts.name,
            [day.isoformat() if isinstance(day, dt.date) else text for day, text in zip(days, typed, strict=True)],
            pl.String,
        )

    def _one(self, text: str) -> dt.date | None:
        """The day of a cell that needs no neighbour."""
        if not text:
            return None
        written = written_as(text, self._this_year)
        if written is None:
            found = cells.date(text, self.order or "iso").value
            return found if isinstance(found, dt.date) else self._day_number(text)
        if not written.full:
            return None
        readings = set(written.full.values())
        day = written.full.get(self.order or "") or (readings.pop() if len(readings) == 1 else None)
        if day is not None and _weekday_differs(text, day):
            return None
        if self.proved and day is not None and written.proves and len(set(written.full.values())) > 1:
            self._settled.by_order += 1
            self._settled.example = self._settled.example or (text, day)
        return day

    def _day_number(self, text: str) -> dt.date | None:
        match = _DAY_NUMBER.fullmatch(text)
        if match is None:
            return None
        day = cells.FIRST_DAY_NUMBER + dt.timedelta(days=int(match[1]))
        if not self._this_year - YEARS_BACK <= day.year <= self._this_year:
            return None
        self._settled.numbers += 1
        self._settled.number_example = self._settled.number_example or (text, day)
        return day

    def _from_neighbours(self, plain: list[str], days: list[dt.date | None]) -> None:
        """Days without a year, and dates that are left out or marked as those above, in the order of the rows."""
        ahead = next((day for day in days if day), None)
        for at, text in enumerate(plain):
            if days[at] is None:
                days[at] = self._above(text) or self._with_year(text, ahead)
            self._last = days[at] or self._last

    def _above(self, text: str) -> dt.date | None:
        blank = not text and bool(self._blank_is_above)
        if self._last is None or not (blank or text.casefold() in DITTO):
            return None
        self._settled.above += 1
        return self._last

    def _is_habit(self, plain: list[str], steps: list[int], unknown: int) -> bool:
        """Whether a blank means "as above": each day stands once, in order, and more than one row has none.

        Where a day stands in two rows one after the other, its writer repeats it, so a blank is a date forgotten;
        unless many are blank, and nearly all days stand in order.
        """
        blanks = plain.count("")
        if blanks < LEAST_BLANKS or not steps or not plain[0]:
            return False
        onward = [(IN_YEAR - step) % IN_YEAR if self._runs_down else step for step in steps]
        once = sum(0 < step < IN_YEAR / 2 for step in onward)
        in_order = sum(0 <= step < IN_YEAR / 2 for step in onward)
        if not unknown and once == len(steps):
            return True
        many = blanks >= MANY_BLANKS and blanks >= MANY_BLANKS_SHARE * len(plain)
        return many and in_order >= NEARLY_ALL * len(steps) and unknown <= (1 - NEARLY_ALL) * len(plain)

    def _place(self, text: str) -> int | None:
        """About where in its year a day lies, whether or not its year is known."""
        written = written_as(text, self._this_year)
        if written is None:
            day = cells.date(text, self.order or "iso").value
            return day.month * 31 + day.day if isinstance(day, dt.date) else None
        found = written.full.get(self.order or "") or next(iter(written.full.values()), None)
        if found is not None:
            return found.month * 31 + found.day
        month, day_of_month = written.partial.get(self.order or "") or next(iter(written.partial.values()))
        return month * 31 + day_of_month

    def _with_year(self, text: str, ahead: dt.date | None) -> dt.date | None:
        """The day of a cell without a year: in order after the row above, or of the year that the file names."""
        written = written_as(text, self._this_year) if text else None
        if written is None or not written.partial:
            return None
        readings = set(written.partial.values())
        month_day = written.partial.get(self.order or "") or (readings.pop() if len(readings) == 1 else None)
        if month_day is None:
            return None
        days, told_by = self._candidates(month_day, ahead)
        for day in days:
            if day is not None and day.year <= self._this_year and not _weekday_differs(text, day):
                self._settled.years[day.year] += 1
                self._settled.years_from = self._settled.years_from or told_by
                return day
        return None

    def _candidates(self, month_day: tuple[int, int], ahead: dt.date | None) -> tuple[list[dt.date | None], str]:
        """Days that may be meant, the likeliest first, and what tells so."""
        if self._named_years:
            first, second = self._named_years[0], self._named_years[-1]
            if first != second:
                year = first if month_day[0] >= MID_YEAR else second
            else:
                near = self._last if self._last and not self._runs_down else _on(first, (1, 1))
                crosses = near is not None and near.year == first and near.month >= 10 and month_day[0] <= 3
                year = first + crosses
            return [_on(year, month_day), _on(first, month_day)], "the name of the file"
        near = self._last or ahead
        if near is None:
            return [_on(year, month_day) for year in self._other_years], "the names of the other files"
        days = [day for year in (near.year - 1, near.year, near.year + 1) if (day := _on(year, month_day))]
        slack = dt.timedelta(days=31)
        onward = (
            [day for day in reversed(days) if day <= near + slack]
            if self._runs_down or self._last is None
            else [day for day in days if day >= near - slack]
        )
        return [*onward, *sorted(days, key=lambda day: abs((day - near).days))], "the rows around them"

    def notes(self) -> list[tuple[str, str, str]]:
        """(rule, value, sentence) for all that the column settled."""
        found = self._settled
        said: list[tuple[str, str, str]] = []
        if self.proved and found.example:
            order, proofs = self.proved
            text, day = found.example
            line = f'date_order = "{order}"' if order != YEAR_FIRST else "each date as 2026-06-18"
            where = "under [units] in rowshelf.toml" if order != YEAR_FIRST else "if it is not so"
            like_it = f", and {found.by_order - 1} like it" if found.by_order > 1 else ""
            sentence = (
                f"{proofs} dates of this file can only be {order.replace('-', ' ')} and none only another way, so "
                f"{text} is read as {day}{like_it}; write {line} {where} to say so for good"
            )
            said.append(("date_order_proved", text, sentence))
        if found.years:
            years = " and ".join(map(str, sorted(found.years)))
            count = sum(found.years.values())
            said.append(
                ("year_told", "", f"{count} dates without a year are taken as of {years}, told by {found.years_from}")
            )
        if found.above:
            said.append(("date_as_above", "", f"{found.above} rows without a date are taken as of the day above them"))
        if found.number_example:
            text, day = found.number_example
            said.append(
                ("day_number", text, f"{found.numbers} day numbers of a spreadsheet read as dates: {text} is {day}")
            )
        return said


def years_named(texts: Iterable[str]) -> tuple[int, ...]:
    """The one year, or the two in a row (``2025-26``), that a file's name or title tells; none where several do."""
    for text in texts:
        years = {
            (int(match[1]), *([int(match[1][: 4 - len(match[2])] + match[2])] if match[2] else []))
            for match in _YEARS.finditer(text)
        }
        usual = {pair for pair in years if len(pair) == 1 or pair[1] == pair[0] + 1}
        if len(usual) == 1 == len(years):
            return usual.pop()
    return ()


def written_as(text: str, this_year: int) -> Written | None:
    """What a date of numbers, or one with a month's name and a short or no year, may mean; None for other forms."""
    plain = _WEEKDAY.sub("", cells.tidy(text), count=1)
    if match := _NUMBERS.fullmatch(plain):
        return _numbers(match, this_year)
    if match := _NO_YEAR.fullmatch(plain):
        one, two = int(match[1]), int(match[3])
        dotted = match[2] == "."
        readings = {DAY_FIRST: (two, one)} | ({} if dotted else {MONTH_FIRST: (one, two)})
        partial = {order: found for order, found in readings.items() if _on(2024, found)}
        return Written({}, partial, proves=not dotted) if partial else None
    for form, day, name in ((_NAMED, 1, 2), (_NAME_FIRST, 2, 1)):
        if match := form.fullmatch(plain):
            return _with_name(match, int(match[day]), match[name], this_year)
    return None


def _with_name(match: re.Match[str], day: int, name: str, this_year: int) -> Written | None:
    month = cells.month_number(name)
    if month is None or not _on(2024, (month, day)):
        return None
    if not match[3]:
        return Written({}, {DAY_FIRST: (month, day)})
    found = _on(_century(int(match[3]), this_year), (month, day))
    return Written({DAY_FIRST: found}, {}) if found else None


def _numbers(match: re.Match[str], this_year: int) -> Written | None:
    one, two, last = int(match[1]), int(match[3]), int(match[4])
    short = len(match[4]) == 2
    year = _century(last, this_year) if short else last
    orders = {DAY_FIRST: (year, (two, one)), MONTH_FIRST: (year, (one, two))}
    if match[2] == "." and _on(*orders[DAY_FIRST]):
        del orders[MONTH_FIRST]  # dots stand in dates that open with the day
    elif short and one >= cells.MOST_MONTHS_AND_DAYS:
        orders[YEAR_FIRST] = (_century(one, this_year), (two, last))
    full = {order: day for order, found in orders.items() if (day := _on(*found))}
    return Written(full, {}, proves=match[2] != ".") if full else None


def _century(year: int, this_year: int) -> int:
    """The full year of two digits; 0, which no day has, where neither century makes sense."""
    for full in (2000 + year, 1900 + year):
        if this_year - YEARS_BACK <= full <= this_year:
            return full
    return 0


def _on(year: int, month_day: tuple[int, int]) -> dt.date | None:
    try:
        return dt.date(year, *month_day)
    except ValueError:
        return None


def _weekday_differs(text: str, day: dt.date) -> bool:
    """Whether the cell names another weekday than that of the day."""
    match = _WEEKDAY.match(cells.tidy(text))
    return bool(match) and match is not None and not f"{day:%A}".casefold().startswith(match[0][:3].casefold())
