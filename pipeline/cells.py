"""One cell as a grower writes it -> a typed value, or what is wrong and what to write instead.

Nothing is guessed where two readings are possible. Every function takes the cell's text and gives a
:class:`Cell`; an empty cell gives an empty value and no complaint.
"""

from __future__ import annotations

import datetime as dt
import difflib
import math
import re
import unicodedata
from dataclasses import dataclass
from fractions import Fraction

from schemas.codes import CODES, YES_NO
from schemas.units import BY_SPELLING, COUNT_WORDS, DIFFERS_BY_SYSTEM, IMPERIAL_SIZE_ML, Unit


@dataclass(frozen=True)
class Cell:
    """A typed value, or the name of the broken rule and a sentence that says what to write instead."""

    value: object = None
    unit: str | None = None
    """For amounts and counted produce: the unit that stays with the value."""
    estimated: bool = False
    rule: str = ""
    message: str = ""


def _bad(rule: str, message: str) -> Cell:
    return Cell(rule=rule, message=message)


def tidy(text: str | None) -> str:
    """The text without outer and doubled spaces, in the usual form of each character (digits, quotes)."""
    if text is None:
        return ""
    plain = unicodedata.normalize("NFKC", text.translate(_TYPOGRAPHY))
    return " ".join(plain.split())


_FRACTIONS = {
    "½": "1/2",
    "¼": "1/4",
    "¾": "3/4",
    "⅓": "1/3",
    "⅔": "2/3",
    "⅛": "1/8",
    "⅜": "3/8",
    "⅝": "5/8",
    "⅞": "7/8",
    "⅕": "1/5",
}
_TYPOGRAPHY = str.maketrans(
    {char: f" {plain} " for char, plain in _FRACTIONS.items()}
    | dict.fromkeys("\u2018\u2019\u2032", "'")
    | dict.fromkeys("\u201c\u201d\u2033", '"')
    | dict.fromkeys("\u2212\u2013\u2014", "-")
    | dict.fromkeys("\x00\ufeff\u200b", " ")
    | {"\u2044": "/"}
)

LONGEST_NUMBER = 18
NUMBER = r"(?:\d+ \d+/\d+|\d+/\d+|\d{1,3}(?:[ '.,]\d{3})+(?:[.,]\d+)?|\d+(?:[.,]\d+)?|[.,]\d+)"
_UNIT = r"(?:m|ft)2|[^\d\s.,]*(?: (?:oz|ounces?|m|ft|feet|foot|metres?|meters?)(?!\w))?"
_QUANTITY = re.compile(rf"({NUMBER}) ?({_UNIT})\.?,? ?", re.IGNORECASE)
_RANGE = re.compile(r"\d ?(?:-|to|bis) ?\d")
_ABOUT = re.compile(r"^(?:~|ca\.?|circa|about|approx\.?|approximately|roughly) ?", re.IGNORECASE)


def _read_number(text: str) -> float | None:
    """The number, or None where it can be read in two ways (``1,234``); not a number where it is none."""
    if len(text) > LONGEST_NUMBER or text.endswith("/0"):
        return math.nan
    if "/" in text:
        whole, _, fraction = text.rpartition(" ")
        top, bottom = fraction.split("/")
        return float(int(whole or 0) + Fraction(int(top), int(bottom)))
    compact = text.replace(" ", "").replace("'", "")
    marks = re.sub(r"\d", "", compact)
    if len(set(marks)) == 2:  # 1.234,5 or 1,234.5: the last mark is the decimal one
        return float(compact.replace(marks[0], "").replace(",", "."))
    if len(marks) > 1:  # 1,234,567 or 1.234.567: marks in threes
        return float(compact.replace(",", "").replace(".", ""))
    if re.fullmatch(r"[1-9]\d{0,2},\d{3}", compact):
        return None
    return float(compact.replace(",", "."))


def _number_or_complaint(text: str) -> float | Cell:
    value = _read_number(text)
    if value is None:
        return _two_readings(text)
    return _bad("not_a_number", f"{text[:40]} is not a number that can be meant") if math.isnan(value) else value


def _two_readings(text: str) -> Cell:
    plain = text.replace(",", "")
    return _bad("two_readings", f"{text!r} can be read in two ways: write {plain} or {text.replace(',', '.')}")


def number(text: str | None, what: str = "a number") -> Cell:
    """A plain number; a trailing ``%`` is taken as percent."""
    plain = tidy(text).removesuffix("%").strip()
    if not plain:
        return Cell()
    sign = -1.0 if plain.startswith("-") else 1.0
    body = plain.lstrip("+-").strip()
    if not re.fullmatch(NUMBER, body):
        return _bad("not_a_number", f"expected {what}, such as 5 or 2.5")
    value = _number_or_complaint(body)
    return value if isinstance(value, Cell) else Cell(sign * value)


def count(text: str | None) -> Cell:
    """A whole number; a word after it (``6 jars``) is allowed."""
    plain = tidy(text)
    if not plain:
        return Cell()
    match = re.fullmatch(rf"(-?)({NUMBER})(?: ?[a-z][a-z ]*)?", plain, re.IGNORECASE)
    if not match:
        return _bad("not_a_whole_number", "expected a whole number, such as 6")
    value = _number_or_complaint(match[2])
    if isinstance(value, Cell):
        return value
    if value != int(value):
        return _bad("not_a_whole_number", "expected a whole number, such as 6")
    return Cell(-int(value) if match[1] else int(value))


def temperature(text: str | None) -> Cell:
    """Degrees Celsius; ``65 F`` is converted."""
    plain = tidy(text)
    if not plain:
        return Cell()
    match = re.fullmatch(rf"(-?) ?({NUMBER}) ?°? ?([cf]?)", plain, re.IGNORECASE)
    value = _number_or_complaint(match[2]) if match else Cell()
    if match is None or isinstance(value, Cell):
        return _bad("not_a_temperature", "expected a temperature in degrees C, such as 18, or 65 F")
    value = -value if match[1] else value
    return Cell((value - 32.0) / 1.8 if match[3].casefold() == "f" else value)


def quantity(text: str | None, wanted: str, header_unit: str | None, *, pint: str = "us") -> Cell:
    """A weight (in g), a volume (in ml), or counted produce (value = count, unit = ``piece``).

    Args:
        text: the cell.
        wanted: ``mass`` or ``volume``; a liquid may be weighed (1 g = 1 ml).
        header_unit: the unit that the header names, for a bare number.
        pint: ``us`` or ``imperial``.
    """
    plain = tidy(text)
    if not plain:
        return Cell()
    estimated = bool(_ABOUT.match(plain))
    plain = _ABOUT.sub("", plain)
    negative = plain.startswith("-")
    parts = _parts(plain.lstrip("+-").strip(), header_unit)
    if isinstance(parts, Cell):
        if parts.rule in {"unit_missing", "not_a_quantity"}:
            return _bad(
                parts.rule,
                f"{parts.message}: write such as {EXAMPLES[wanted]}, or name the unit in the header",
            )
        return parts
    total = _sum_parts(parts, wanted, pint)
    if isinstance(total, Cell):
        return total if not (estimated and not total.rule) else Cell(total.value, total.unit, estimated=True)
    return Cell(-total if negative else total, estimated=estimated)


EXAMPLES = {"mass": "1.2 kg, 800 g or 3 lb 4 oz", "volume": "500 ml, 1.5 l or 2 qt"}


def _parts(plain: str, header_unit: str | None) -> list[tuple[float, str]] | Cell:
    """Pairs of number and unit word, or what is wrong."""
    if _RANGE.search(plain):
        return _bad("two_readings", "a range: write the one number you mean")
    parts: list[tuple[float, str]] = []
    position = 0
    while position < len(plain):
        match = _QUANTITY.match(plain, position)
        if not match:
            return _bad("not_a_quantity", "expected a number and a unit")
        value = _number_or_complaint(match[1])
        if isinstance(value, Cell):
            return value
        parts.append((value, match[2].casefold().strip()))
        position = match.end()
    if len(parts) == 1 and not parts[0][1]:
        if header_unit is None:
            return _bad("unit_missing", "no unit")
        parts = [(parts[0][0], header_unit)]
    if any(not unit for _, unit in parts):
        return _bad("unit_missing", "a number without a unit")
    return parts


def _sum_parts(parts: list[tuple[float, str]], wanted: str, pint: str) -> float | Cell:
    if len(parts) == 1 and parts[0][1] in COUNT_WORDS:
        return Cell(parts[0][0], unit="piece", estimated=True)
    units: list[Unit] = []
    for _, word in parts:
        unit = BY_SPELLING.get(word)
        if unit is None:
            return _bad("unit_unknown", f"unit {word!r} is not known{_nearest(word, wanted)}")
        units.append(unit)
    kinds = {unit.quantity for unit in units}
    fits = kinds == {wanted} or (wanted == "volume" and kinds == {"mass"})
    if not fits:
        return _bad("wrong_unit", _wrong_unit(wanted, units))
    sizes = [_size(unit, pint) for unit in units]
    if sizes != sorted(set(sizes), reverse=True):
        return _bad("two_readings", "more than one quantity in the cell: write one, such as 3 lb 4 oz")
    return sum(value * size for (value, _), size in zip(parts, sizes, strict=True))


def _wrong_unit(wanted: str, units: list[Unit]) -> str:
    names = ", ".join(dict.fromkeys(unit.name for unit in units))
    return f"{names} is not a unit of {'weight' if wanted == 'mass' else 'volume'}: write such as {EXAMPLES[wanted]}"


def _size(unit: Unit, pint: str) -> float:
    if pint == "imperial" and unit.name in DIFFERS_BY_SYSTEM:
        return IMPERIAL_SIZE_ML[unit.name]
    return unit.size


def amount(text: str | None, header_unit: str | None) -> Cell:
    """How much was sown: plants, metres of row or square metres; the unit stays with the value."""
    plain = tidy(text)
    if not plain:
        return Cell()
    parts = _parts(plain, header_unit)
    if isinstance(parts, Cell):
        if parts.rule in {"unit_missing", "not_a_quantity"}:
            return _bad(parts.rule, f"{parts.message}: write such as 24 plants, 3 m or 1.5 m2")
        return parts
    if len(parts) > 1:
        return _bad("two_readings", "more than one amount in the cell: write one, such as 24 plants")
    value, word = parts[0]
    unit = BY_SPELLING.get(word)
    base = {"length": "m", "area": "m2", "count": "plants"}
    if unit is None or unit.quantity not in base:
        return _bad("unit_unknown", f"{word!r} is not an amount to sow: write plants, m or m2")
    return Cell(value * unit.size, unit=base[unit.quantity])


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
_ISO = re.compile(r"(\d{4})[-./](\d{1,2})[-./](\d{1,2})(?:[T ][\d:.]+(?:Z|[+-][\d:]+)?)?")
_BASIC = re.compile(r"(\d{4})(\d\d)(\d\d)")
_SLASHED = re.compile(r"(\d{1,2})[-./ ](\d{1,2})[-./ ](\d{4}|\d{2})")
_DAY_NAMED = re.compile(r"(\d{1,2})(?:st|nd|rd|th)?[ -.]+([a-z]+)\.?,?[ -.]+(\d{4})", re.IGNORECASE)
_MONTH_NAMED = re.compile(r"([a-z]+)\.? (\d{1,2})(?:st|nd|rd|th)?,? (\d{4})", re.IGNORECASE)


def date(text: str | None, date_order: str = "iso") -> Cell:
    """A day: ISO 8601, or a form with only one reading.

    ``date_order`` (``iso``, ``day-first``, ``month-first``) settles forms such as 3/4/2026.
    """
    plain = tidy(text)
    if not plain:
        return Cell()
    if match := _ISO.fullmatch(plain) or _BASIC.fullmatch(plain):
        return _day(plain, int(match[1]), int(match[2]), int(match[3]))
    if match := _DAY_NAMED.fullmatch(plain):
        return _named(plain, match[1], match[2], match[3])
    if match := _MONTH_NAMED.fullmatch(plain):
        return _named(plain, match[2], match[1], match[3])
    if match := _SLASHED.fullmatch(plain):
        return _slashed(plain, int(match[1]), int(match[2]), match[3], date_order)
    return _bad("not_a_date", "expected a date, such as 2026-06-18")


def _named(plain: str, day: str, month: str, year: str) -> Cell:
    if month.casefold() not in MONTHS:
        return _bad("not_a_date", "expected a date, such as 2026-06-18 or 18 Jun 2026")
    return _day(plain, int(year), MONTHS[month.casefold()], int(day))


def _slashed(plain: str, first: int, second: int, year_text: str, date_order: str) -> Cell:
    if len(year_text) == 2:
        if date_order == "iso":
            return _bad("year_unclear", f"two-digit year: write the year in full, such as 20{year_text}")
        year_text = f"20{year_text}"
    year = int(year_text)
    if first == second or first > 12:
        return _day(plain, year, second, first)
    if second > 12:
        return _day(plain, year, first, second)
    if date_order == "iso":
        return _bad(
            "ambiguous_date",
            f"can be read as {year}-{second:02}-{first:02} or {year}-{first:02}-{second:02}: write one of them, "
            "or set date_order in rowshelf.toml",
        )
    month, day = (second, first) if date_order == "day-first" else (first, second)
    return _day(plain, year, month, day)


def _day(plain: str, year: int, month: int, day: int) -> Cell:
    try:
        return Cell(dt.date(year, month, day))
    except ValueError:
        return _bad("no_such_day", f"there is no such day as {plain}: check day and month")


def code(text: str | None, vocabulary: str) -> Cell:
    """A word of a vocabulary in any known spelling."""
    plain = tidy(text).casefold().replace("_", " ")
    if not plain:
        return Cell()
    lookup = CODES[vocabulary].lookup()
    if plain in lookup:
        return Cell(lookup[plain])
    words = list(CODES[vocabulary].words)
    near = difflib.get_close_matches(plain, list(lookup), n=1, cutoff=0.6)
    hint = f"; did you mean {lookup[near[0]]!r}?" if near else ""
    return _bad("unknown_word", f"expected one of {', '.join(words)}{hint}")


def yes_no(text: str | None) -> Cell:
    """Yes or no; empty is unknown."""
    plain = tidy(text).casefold()
    if not plain:
        return Cell()
    if plain not in YES_NO:
        return _bad("not_yes_or_no", "expected yes or no")
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
    near = difflib.get_close_matches(word, list(lookup), n=1, cutoff=0.75)
    return f"; did you mean {lookup[near[0]]!r}?" if near else ""


def _nearest(word: str, wanted: str) -> str:
    near = difflib.get_close_matches(word, [*BY_SPELLING, *COUNT_WORDS], n=1, cutoff=0.6)
    return f"; did you mean {near[0]!r}?" if near else f": write such as {EXAMPLES[wanted]}"
