"""One cell as a grower writes it -> a typed value, or what is wrong and what to write instead.

Nothing is guessed where two readings are possible. Every function takes the cell's text and gives a
:class:`Cell`; an empty cell gives an empty value and no complaint.
"""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from collections.abc import Callable
from functools import cache
from typing import NamedTuple

from pipeline.nearest import did_you_mean
from schemas.codes import CODES, YES_NO


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
    ("jan", "january"),
    ("feb", "february"),
    ("mar", "march"),
    ("apr", "april"),
    ("may",),
    ("jun", "june"),
    ("jul", "july"),
    ("aug", "august"),
    ("sep", "sept", "september"),
    ("oct", "october"),
    ("nov", "november"),
    ("dec", "december"),
)
MONTHS = {name: number for number, names in enumerate(_MONTH_NAMES, start=1) for name in names}


def date(text: str | None, date_order: str = "iso") -> Cell:
    """A day: ISO 8601, or a form with only one reading.

    ``date_order`` (``iso``, ``day-first``, ``month-first``) settles forms such as 3/4/2026.
    """
    plain = tidy(text)
    if not plain:
        return Cell()
    for pattern, read in _FORMS:
        if match := pattern.fullmatch(plain):
            return read(match, date_order)
    if _DAY_NUMBER.fullmatch(plain):
        return bad("not_a_date", "a spreadsheet's day number: format the column as a date, such as 2026-06-18")
    return bad("not_a_date", "expected a date, such as 2026-06-18")


def _year(text: str, date_order: str) -> int | Cell:
    if len(text) == 4:
        return int(text)
    if date_order == "iso":
        return bad("year_unclear", f"two-digit year: write the year in full, such as 20{text}")
    return 2000 + int(text)


def _numbered(match: re.Match[str], _order: str) -> Cell:
    return _day(match[0], int(match[1]), int(match[2]), int(match[3]))


def _day_named(match: re.Match[str], date_order: str) -> Cell:
    return _named(match[0], match[1], match[2], match[3], date_order)


def _month_named(match: re.Match[str], date_order: str) -> Cell:
    return _named(match[0], match[2], match[1], match[3], date_order)


def _named(plain: str, day: str, month: str, year_text: str, date_order: str) -> Cell:
    if month.casefold() not in MONTHS:
        return bad("not_a_date", "expected a date, such as 2026-06-18 or 18 Jun 2026")
    year = _year(year_text, date_order)
    return year if isinstance(year, Cell) else _day(plain, year, MONTHS[month.casefold()], int(day))


def _slashed(match: re.Match[str], date_order: str) -> Cell:
    first, second = int(match[1]), int(match[2])
    year = _year(match[3], date_order)
    if isinstance(year, Cell):
        return year
    if first == second or first > 12:
        return _day(match[0], year, second, first)
    if second > 12:
        return _day(match[0], year, first, second)
    if date_order == "iso":
        return bad(
            "ambiguous_date",
            f"can be read as {year}-{second:02}-{first:02} or {year}-{first:02}-{second:02}: write one of them, "
            "or set date_order in rowshelf.toml",
        )
    month, day = (second, first) if date_order == "day-first" else (first, second)
    return _day(match[0], year, month, day)


def _day(plain: str, year: int, month: int, day: int) -> Cell:
    try:
        return Cell(dt.date(year, month, day))
    except ValueError:
        return bad("no_such_day", f"there is no such day as {plain}: check day and month")


_FORMS: tuple[tuple[re.Pattern[str], Callable[[re.Match[str], str], Cell]], ...] = (
    (re.compile(r"(\d{4})[-./](\d{1,2})[-./](\d{1,2})(?:[T ][\d:.]+(?:Z|[+-][\d:]+)?)?"), _numbered),
    (re.compile(r"(\d{4})(\d\d)(\d\d)"), _numbered),
    (re.compile(r"(\d{1,2})(?:st|nd|rd|th)?[ .-]+([a-z]+)\.?,?[ .-]+(\d{4}|\d{2})", re.IGNORECASE), _day_named),
    (re.compile(r"([a-z]+)\.? (\d{1,2})(?:st|nd|rd|th)?,? (\d{4}|\d{2})", re.IGNORECASE), _month_named),
    (re.compile(r"(\d{1,2})[-./ ](\d{1,2})[-./ ](\d{4}|\d{2})"), _slashed),
)
_DAY_NUMBER = re.compile(r"[34567]\d{4}(?:\.0)?")


@cache
def _spellings(vocabulary: str) -> dict[str, str]:
    return CODES[vocabulary].lookup()


def code(text: str | None, vocabulary: str) -> Cell:
    """A word of a vocabulary in any known spelling."""
    plain = tidy(text).casefold().replace("_", " ")
    if not plain:
        return Cell()
    lookup = _spellings(vocabulary)
    if plain in lookup:
        return Cell(lookup[plain])
    words = list(CODES[vocabulary].words)
    return bad("unknown_word", f"expected one of {', '.join(words)}{did_you_mean(plain, lookup, 60)}")


def yes_no(text: str | None) -> Cell:
    """Yes or no; empty is unknown."""
    plain = tidy(text).casefold()
    if not plain:
        return Cell()
    if plain not in YES_NO:
        return bad("not_yes_or_no", "expected yes or no")
    return Cell(YES_NO[plain])


def label(text: str | None) -> Cell:
    """An identifier: one line, outer and doubled spaces removed."""
    plain = tidy(text)
    return Cell(plain) if plain else Cell()


def crop(text: str | None, lookup: dict[str, str]) -> Cell:
    """A crop in any known spelling; an unknown one is kept as typed, in lower case."""
    plain = tidy(text).casefold()
    if not plain:
        return Cell()
    return Cell(lookup.get(plain, plain))


def nearest_crop(word: str, lookup: dict[str, str]) -> str:
    """A hint naming the nearest known crop, or an empty text."""
    return did_you_mean(word, lookup, 75)
