"""One cell as a grower writes it -> a typed value, or what is wrong and what to write instead.

Nothing is guessed where two readings are possible. Every function takes the cell's text and gives a
:class:`Cell`; an empty cell gives an empty value and no complaint.
"""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from collections.abc import Callable, Mapping
from functools import cache
from typing import NamedTuple

from pipeline.intake.nearest import did_you_mean
from schemas.codes import CODES, YES_NO
from schemas.words.spellings import YES_NO_WORDS


class Cell(NamedTuple):
    """A typed value, or the name of the broken rule and a sentence that says what to write instead."""

    value: object = None
    unit: str | None = None
    """For amounts and counted produce: the unit that stays with the value."""
    estimated: bool = False
    rule: str = ""
    message: str = ""


def bad(rule: str, message: str) -> Cell:
    """A cell that cannot be read."""
    return Cell(rule=rule, message=message)


def tidy(text: str | None) -> str:
    """The text without outer and doubled spaces, in the usual form of each character (digits, quotes).

    A raised or lowered digit behind a digit stays apart from it: ``5²`` is not 52.
    """
    if text is None:
        return ""
    if not text.isascii():
        text = unicodedata.normalize("NFKC", _RAISED.sub(r"^\1", text.translate(_TYPOGRAPHY)))
    return " ".join(text.replace("\x00", " ").split())


_FRACTIONS = {
    chr(code): unicodedata.normalize("NFKC", chr(code)).replace("\u2044", "/")
    for code in (0xBC, 0xBD, 0xBE, *range(0x2150, 0x2160), 0x2189)
}
_TYPOGRAPHY = str.maketrans(
    {char: f" {plain} " for char, plain in _FRACTIONS.items()}
    | dict.fromkeys("\u2018\u2019\u2032", "'")
    | dict.fromkeys("\u201c\u201d\u2033", '"')
    | dict.fromkeys("\u2212\u2013\u2014", "-")
    | dict.fromkeys("\ufeff\u200b", " ")
    | dict.fromkeys((0xAD, *range(0x200C, 0x2010), 0x2060, *range(0x202A, 0x202F), *range(0x2066, 0x206A)))
    | {"\u2044": "/"}
)
_RAISED = re.compile(r"(?<=\d)([\u00b2\u00b3\u00b9\u2070-\u209c\u2460-\u249b])")


_MONTH_NAMES = (
    "jan january januar januari janvier enero gennaio janeiro",
    "feb february februar februari fevrier febrero febbraio fevereiro",
    "mar march marz maart mars marzo marco",
    "apr april avril abril aprile",
    "may mai mei maj mayo maggio maio",
    "jun june juni juin junio giugno junho",
    "jul july juli juillet julio luglio julho",
    "aug august augustus augusti aout agosto",
    "sep sept september septembre septiembre settembre setembro",
    "oct october okt oktober octobre octubre ottobre outubro",
    "nov november novembre noviembre novembro",
    "dec december dez dezember decembre diciembre dicembre dezembro",
)
MONTHS = {name: number for number, names in enumerate(_MONTH_NAMES, start=1) for name in names.split()}
"""Names of months without accents, in some languages of Europe; no name stands for two months."""
_WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_WEEKDAY = re.compile(
    r"(mon(?:day)?|tue(?:s(?:day)?)?|wed(?:s|nesday)?|thu(?:r(?:s(?:day)?)?)?|fri(?:day)?|sat(?:urday)?|sun(?:day)?)"
    r"\.?,? (?=.*\d)",
    re.IGNORECASE,
)
_TIME = re.compile(
    r"(?:T|,? )\d{1,2}[:.h]\d{2}(?:[:.]\d{2}(?:[.,]\d+)?)?(?: ?[ap]\.?m\.?)?(?: ?(?:Z|UTC|[+-]\d{2}:?\d{2}))?$",
    re.IGNORECASE,
)


def date(text: str | None, date_order: str = "iso") -> Cell:
    """A day: ISO 8601, or a form with only one reading; a time of day behind it is left out.

    ``date_order`` (``iso``, ``day-first``, ``month-first``) settles forms such as 3/4/2026.
    """
    plain = tidy(text)
    if not plain:
        return Cell()
    weekday = _WEEKDAY.match(plain)
    plain = _TIME.sub("", plain[weekday.end() :] if weekday else plain)
    for pattern, read in _FORMS:
        if match := pattern.fullmatch(plain):
            cell = read(match, date_order)
            return _on_weekday(cell, weekday[1]) if weekday else cell
    return bad("not_a_date", next((say(match) for form, say in _NO_DAYS if (match := form.fullmatch(plain))), EXPECTED))


def _on_weekday(cell: Cell, name: str) -> Cell:
    if not isinstance(cell.value, dt.date) or cell.value.weekday() == _WEEKDAYS.index(name[:3].casefold()):
        return cell
    return bad("inconsistent", f"{cell.value} is a {cell.value:%A}: check the day, or leave {name} out")


def _numbered(match: re.Match[str], _order: str) -> Cell:
    return _day(match[0], int(match[1]), int(match[2]), int(match[3]))


def _day_named(match: re.Match[str], date_order: str) -> Cell:
    return _named(match[0], match[1], match[2], match[3], date_order)


def _month_named(match: re.Match[str], date_order: str) -> Cell:
    return _named(match[0], match[2], match[1], match[3], date_order)


def _year_named(match: re.Match[str], date_order: str) -> Cell:
    return _named(match[0], match[3], match[2], match[1], date_order)


def month_number(name: str) -> int | None:
    """The month that a name or its usual short form stands for."""
    letters = unicodedata.normalize("NFD", name.casefold())
    return MONTHS.get("".join(letter for letter in letters if not unicodedata.combining(letter)))


def _named(plain: str, day: str, month_name: str, year: str, date_order: str) -> Cell:
    month = month_number(month_name)
    if month is None:
        return bad("not_a_date", "expected a date, such as 2026-06-18 or 18 Jun 2026")
    whole = int(year) if len(year) == 4 else 2000 + int(year)
    found = _day(plain, whole, month, int(day))
    return _year_unclear([found]) if len(year) < 4 and date_order == "iso" and found.value else found


def _slashed(match: re.Match[str], date_order: str) -> Cell:
    plain, first, second, last = match[0], int(match[1]), int(match[2]), int(match[3])
    short = len(match[3]) < 4
    year = 2000 + last if short else last
    day_first, month_first = _day(plain, year, second, first), _day(plain, year, first, second)
    if date_order == "iso" and match[0].count(".") == 2 and day_first.value and not short:
        return day_first  # dots stand in dates that open with the day
    if date_order == "iso":
        year_first = [_day(plain, 2000 + first, second, last)] if short and first >= MOST_MONTHS_AND_DAYS else []
        return _only_reading([day_first, month_first, *year_first], short=short)
    chosen, other = (day_first, month_first) if date_order == "day-first" else (month_first, day_first)
    return other if other.value and not chosen.value else chosen


MOST_MONTHS_AND_DAYS = 20
"""A first number from here on may be a year of two digits: ``26/07/04``."""


def _only_reading(readings: list[Cell], *, short: bool) -> Cell:
    """The one day that is meant, or what to write for each that may be."""
    days = list(dict.fromkeys(str(reading.value) for reading in readings if reading.value))
    if not days:
        return readings[0]
    if short:
        return _year_unclear(readings)
    if len(days) == 1:
        return next(reading for reading in readings if reading.value)
    return bad(
        "ambiguous_date",
        f"can be read as {' or '.join(days)}: write one of them, or set date_order in rowshelf.toml",
    )


def _year_unclear(readings: list[Cell]) -> Cell:
    days = list(dict.fromkeys(str(reading.value) for reading in readings if reading.value))
    return bad("year_unclear", f"two-digit year: write {' or '.join(days)}, or set date_order in rowshelf.toml")


def _day(plain: str, year: int, month: int, day: int) -> Cell:
    try:
        return Cell(dt.date(year, month, day))
    except ValueError:
        return bad("no_such_day", f"there is no such day as {plain}: check day and month")


_NAME, _YEAR, _BETWEEN = r"([^\W\d_]+)", r"(\d{4}|\d{2})", "[ ./-]+"
_NUMBERED_DAY = r"(\d{1,2})(?:st|nd|rd|th|er)?"
_FORMS: tuple[tuple[re.Pattern[str], Callable[[re.Match[str], str], Cell]], ...] = (
    (re.compile(r"(\d{4})[-./](\d{1,2})[-./](\d{1,2})(?:[T ][\d:.]+(?:Z|[+-][\d:]+)?)?"), _numbered),
    (re.compile(r"(\d{4})(\d\d)(\d\d)"), _numbered),
    (re.compile(rf"{_NUMBERED_DAY}{_BETWEEN}(?:de )?{_NAME}\.?,?{_BETWEEN}(?:de )?{_YEAR}", re.IGNORECASE), _day_named),
    (re.compile(rf"{_NAME}{_BETWEEN}{_NUMBERED_DAY}(?:,|{_BETWEEN}),? ?{_YEAR}", re.IGNORECASE), _month_named),
    (re.compile(rf"(\d{{4}}){_BETWEEN}{_NAME}{_BETWEEN}(\d{{1,2}})"), _year_named),
    (re.compile(r"(\d{1,2})[-./ ](\d{1,2})[-./ ](\d{4}|\d{2})"), _slashed),
)

EXPECTED = "expected a date, such as 2026-06-18"
FIRST_DAY_NUMBER = dt.date(1899, 12, 30)
"""Day 0 of the usual count of days in spreadsheets (some older files count from 1904)."""


def _day_number(match: re.Match[str]) -> str:
    day = FIRST_DAY_NUMBER + dt.timedelta(days=int(match[1]))
    return f"a spreadsheet's day number: format the column as a date, or write {day} if that is the day"


YEAR_MISSING = "the year is missing"
"""How the complaint about a day without a year begins."""


def _no_year(month: str, day: str) -> str:
    number = month_number(month)
    written = f"2026-{number:02}-{int(day):02}" if number else "2026-06-18"
    return f"{YEAR_MISSING}: write it in front, such as {written}"


_NO_DAYS: tuple[tuple[re.Pattern[str], Callable[[re.Match[str]], str]], ...] = (
    (re.compile(r"([34567]\d{4})(?:\.\d+)?"), _day_number),
    (re.compile(rf"{_NUMBERED_DAY}{_BETWEEN}{_NAME}\.?", re.IGNORECASE), lambda match: _no_year(match[2], match[1])),
    (
        re.compile(r"(?:(?:\d{4})?[- ]?(?:week|wk|kw|w)\.? ?\d{1,2})(?:[ ,/-]+\d{4})?", re.IGNORECASE),
        lambda _: "a week, not a day: write one day of it, such as 2026-06-18",
    ),
    (
        re.compile(rf"{_NAME}{_BETWEEN}\d{{4}}|\d{{4}}[-./]\d{{1,2}}|\d{{1,2}}[-./]\d{{4}}"),
        lambda _: "the day is missing: write such as 2026-06-18",
    ),
    (re.compile(rf"{_NAME}{_BETWEEN}{_NUMBERED_DAY}", re.IGNORECASE), lambda match: _no_year(match[1], match[2])),
    (re.compile(r"\d{1,2}[-./]\d{1,2}\.?"), lambda _: _no_year("", "1")),
)
"""Forms that say less than one day, and what to write instead."""


@cache
def _spellings(vocabulary: str) -> dict[str, str]:
    return CODES[vocabulary].lookup()


def plain_word(text: str | None) -> str:
    """A word of a vocabulary as typed, in lower case and with spaces for underscores."""
    return tidy(text).casefold().replace("_", " ")


def code(text: str | None, vocabulary: str) -> Cell:
    """A word of a vocabulary in any known spelling."""
    plain = plain_word(text)
    if not plain:
        return Cell()
    lookup = _spellings(vocabulary)
    for spelling in (plain, plain.replace("-", " ")):
        if spelling in lookup:
            return Cell(lookup[spelling])
    inside = {lookup[word] for word in plain.split() if word in lookup}
    if inside:
        hint = f"; did you mean {next(iter(inside))!r}?" if len(inside) == 1 else ""
    else:
        hint = did_you_mean(plain, lookup, 70)
    return bad("unknown_word", f"expected one of {', '.join(CODES[vocabulary].words)}{hint}")


def yes_no(text: str | None, column: str = "") -> Cell:
    """Yes or no; empty is unknown. Some columns have words of their own, such as ``airlock`` for ``vented``."""
    plain = tidy(text).casefold()
    if not plain:
        return Cell()
    known = YES_NO | YES_NO_WORDS.get(column, {})
    if plain not in known:
        return bad("not_yes_or_no", "expected yes or no, or an empty cell where it is not known")
    return Cell(known[plain])


def month(text: str | None) -> Cell:
    """A month by its number or its name."""
    plain = tidy(text).rstrip(".")
    if not plain:
        return Cell()
    number = month_number(plain) or (int(plain) if re.fullmatch(r"\d{1,2}", plain, re.ASCII) else None)
    return Cell(number) if number else bad("not_a_month", "expected a month, such as 6 or Jun")


def label(text: str | None) -> Cell:
    """An identifier: one line, outer and doubled spaces removed."""
    plain = tidy(text)
    return Cell(plain) if plain else Cell()


def crop(text: str | None, lookup: Mapping[str, str]) -> Cell:
    """A crop in any known spelling; an unknown one is kept as typed, in lower case."""
    plain = tidy(text).casefold()
    if not plain:
        return Cell()
    return Cell(lookup.get(plain, plain))


def nearest_crop(word: str, lookup: Mapping[str, str]) -> str:
    """A hint naming the nearest known crop, or an empty text."""
    return did_you_mean(word, lookup, 75)
