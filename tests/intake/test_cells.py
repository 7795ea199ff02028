"""Each way of writing a cell, beside what it becomes: one line per case, to be read by eye."""

from __future__ import annotations

import datetime as dt
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.intake import cells, quantities

# NIST Handbook 44, appendix C (from memory; exact by definition): 1 lb = 453.59237 g, 1 oz = 28.349523125 g,
# 1 US liquid quart = 946.352946 ml, 1 imperial pint = 568.26125 ml.
WEIGHTS_G = [
    ("1.2 kg", 1200.0),
    ("800g", 800.0),
    ("3 lb 4 oz", 3 * 453.59237 + 4 * 28.349523125),
    ("2lb 4oz", 2 * 453.59237 + 4 * 28.349523125),
    ("2 1/2 lb", 2.5 * 453.59237),
    ("2½ lb", 2.5 * 453.59237),
    ("½ kg", 500.0),
    ("0,75 kg", 750.0),
    ("0,750 kg", 750.0),
    ("1,5 kg", 1500.0),
    ("1,234.5 g", 1234.5),
    ("1.234,5 g", 1234.5),
    ("1 234 g", 1234.0),
    ("1\u00a0234\u00a0g", 1234.0),
    ("12'500 g", 12500.0),
    ("\uff11\uff12 kg", 12000.0),
    ("1 kg 200 g", 1200.0),
    ("1 kg, 200 g", 1200.0),
    ("2 lb. 3 oz.", 2 * 453.59237 + 3 * 28.349523125),
    ("2 lb & 3 oz", 2 * 453.59237 + 3 * 28.349523125),
    ("2 lb + 3 oz", 2 * 453.59237 + 3 * 28.349523125),
    ("2 lb and 3 oz", 2 * 453.59237 + 3 * 28.349523125),
    ("2kg+500g", 2500.0),
    ("1 1/2#", 1.5 * 453.59237),
    (".5 lbs.", 0.5 * 453.59237),
    ("5 KG", 5000.0),
    ("-1 kg", -1000.0),
    ("\u22121 kg", -1000.0),
    ("1.250 kg", 1250.0),  # a kitchen scale shows three decimals
    ("1234,567 g", 1234.567),
    ("1 234,567 g", 1234.567),
    ("1,234,567 g", 1234567.0),
    ("1.234.567 g", 1234567.0),
    ("2⅙ kg", 2000 + 1000 / 6),
    ("1⅒ kg", 1100.0),
    ("3/2 kg", 1500.0),
    ("1.2345 kg", 1234.5),
    ("0.30000000000000004 kg", 300.0),
]

SET_ASIDE = [
    ("1,234 g", "two_readings"),
    ("1-2 kg", "two_readings"),
    ("1 kg 2 kg", "two_readings"),
    ("5", "unit_missing"),
    ("3 lb 4", "unit_missing"),
    ("1 l", "wrong_unit"),
    ("5 stones", "unit_unknown"),
    ("kg", "not_a_quantity"),
    ("1/0 kg", "not_a_number"),
    ("9" * 40 + " kg", "not_a_number"),
    ("nan kg", "not_a_quantity"),
    ("1.250 g", "two_readings"),
    ("21/2 lb", "two_readings"),
    ("1,234,56 g", "not_a_number"),
    ("1,234.567,8 g", "not_a_number"),
    ("1.2.3 kg", "unit_missing"),
    ("1 234 567,8.9 g", "unit_missing"),
    ("5² kg", "unit_unknown"),
    ("1e3 kg", "unit_unknown"),
    ("+-5 kg", "not_a_quantity"),
    ("1 kg/800 g", "unit_unknown"),
    ("1·5 kg", "unit_unknown"),
    ("3 x 500 g", "two_readings"),
    ("2 kg x 3", "two_readings"),
    ("1-1/2 lb", "two_readings"),
    ("1 kg and", "not_a_quantity"),
    ("1 kg +", "not_a_quantity"),
    ("2 lb and 3 lb", "two_readings"),
    ("1 kg & 2 heads", "wrong_unit"),
    ("1,234 doz", "two_readings"),
    ("a handful", "not_a_quantity"),
    ("1 kg in all", "not_a_quantity"),
    ("a dozen", "not_weighed"),
    ("=B2*2", "not_a_quantity"),
    ("3 heads", "not_weighed"),
    ("-", "not_a_quantity"),
    ("~", "not_a_quantity"),
    ("'); DROP TABLE harvests; --", "not_a_quantity"),
]


@pytest.mark.parametrize(("text", "grams"), WEIGHTS_G)
def test_weights_as_typed(text: str, grams: float) -> None:
    cell = quantities.quantity(text, "mass", None)
    assert cell.rule == ""
    assert cell.value == pytest.approx(grams, rel=1e-12)


@pytest.mark.parametrize(("text", "rule"), SET_ASIDE)
def test_weights_with_two_readings_or_none_are_never_guessed(text: str, rule: str) -> None:
    cell = quantities.quantity(text, "mass", None)
    assert (cell.value, cell.rule) == (None, rule)
    assert cell.message


def test_a_bare_number_takes_the_unit_of_its_header() -> None:
    assert quantities.quantity("800", "mass", "g").value == 800.0
    assert quantities.quantity("2", "mass", "lb").value == pytest.approx(907.18474)


def test_messages_say_what_to_write_instead() -> None:
    assert quantities.quantity("1,234 g", "mass", None).message == (
        "'1,234' can be read in two ways: write 1234 or 1.2340"
    )
    assert quantities.quantity("5", "mass", None).message == (
        "no unit: write such as 1.2 kg, 800 g or 3 lb 4 oz, or name the unit in the header"
    )
    assert quantities.quantity("5 kilogramz", "mass", None).message == (
        "unit 'kilogramz' is not known; did you mean 'kilogram'?"
    )


@pytest.mark.parametrize("text", ["~2 kg", "about 2 kg", "ca. 2 kg", "approx 2 kg"])
def test_a_rough_weight_is_marked_estimated(text: str) -> None:
    cell = quantities.quantity(text, "mass", None)
    assert (cell.value, cell.estimated) == (2000.0, True)


def test_both_readings_are_named() -> None:
    assert quantities.quantity("1.250 g", "mass", None).message == (
        "'1.250' can be read in two ways: write 1250 or 1.25"
    )
    assert quantities.quantity("21/2 lb", "mass", None).message == (
        "'21/2' can be read in two ways: write 2 1/2 or 10.5"
    )
    assert quantities.quantity("8 oz", "volume", None).message == (
        "an ounce is a weight or a measure: write fl oz, or the weight in g"
    )
    assert quantities.quantity("1-1/2 lb", "mass", None).message == (
        "'1-1/2' may be a range: write 1 1/2, or the one number you mean"
    )


@pytest.mark.parametrize("unit", ["g", "kg", "lb"])
@pytest.mark.parametrize("typed", ["1,234", "1,230", "12,500", "1,200"])
def test_whoever_writes_what_the_message_says_is_understood(typed: str, unit: str) -> None:
    """Both readings that are offered for a number have one reading themselves, also where a comma is the point."""
    message = quantities.quantity(f"{typed} {unit}", "mass", None).message
    thousands, decimal = message.removeprefix(f"{typed!r} can be read in two ways: write ").split(" or ")
    factor = {"g": 1.0, "kg": 1000.0, "lb": 453.59237}[unit]
    for offered, value in ((thousands, float(typed.replace(",", ""))), (decimal, float(typed.replace(",", ".")))):
        assert quantities.thousand_or_point(f"{offered} {unit}").rule == ""
        assert quantities.quantity(f"{offered} {unit}", "mass", None).value == pytest.approx(value * factor)


@pytest.mark.parametrize(
    ("text", "pieces", "unit"),
    [
        ("2 doz", 24.0, "piece"),
        ("a dozen", 12.0, "piece"),
        ("half a dozen ears", 6.0, "cob"),
        ("1 1/2 dozen", 18.0, "piece"),
        ("-1 doz.", -12.0, "piece"),
    ],
)
def test_dozens_are_counted_out(text: str, pieces: float, unit: str) -> None:
    cell = quantities.quantity(text, "mass", None, countable=True)
    assert (cell.value, cell.unit, cell.estimated) == (pieces, unit, True)


def test_a_count_is_a_count_and_keeps_its_sign() -> None:
    assert quantities.quantity("3 heads", "volume", None).rule == "not_weighed"
    assert quantities.quantity("-", "volume", None).rule == "not_a_quantity"
    assert quantities.quantity("-3 heads", "mass", None, countable=True).value == -3.0


def test_the_quick_way_to_read_a_quantity_gives_what_the_slow_way_gives() -> None:
    for text in ("0 g", "7g", "12.5 kg", "0.75kg", "999999999 g", "3.1 kg"):
        assert quantities.quantity(text, "mass", None) == quantities.quantity(f"+{text}", "mass", None)


def test_counted_produce_keeps_its_count_until_the_crop_is_known() -> None:
    cell = quantities.quantity("3 heads", "mass", None, countable=True)
    assert (cell.value, cell.unit, cell.estimated) == (3.0, "head", True)


def test_us_and_imperial_measures_differ() -> None:
    assert quantities.quantity("2 qt", "volume", None).value == pytest.approx(2 * 946.352946)
    assert quantities.quantity("1 pt", "volume", None, pint="imperial").value == pytest.approx(568.26125)
    assert quantities.quantity("1 pt", "volume", None, pint="us").value == pytest.approx(473.176473)


def test_a_liquid_may_be_weighed() -> None:
    assert quantities.quantity("1 kg", "volume", None).value == 1000.0


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("24 plants", 24.0, "plants"),
        ("3 m", 3.0, "m"),
        ("1.5 m2", 1.5, "m2"),
        ("1.5m²", 1.5, "m2"),
        ("10 ft", 3.048, "m"),
        ("100 sq ft", 9.290304, "m2"),
        ("2,5 m", 2.5, "m"),
        ("10'", 3.048, "m"),
        ("24 plugs", 24.0, "plants"),
        ("12", None, None),
        ("3 rows", None, None),
        ("2 x 3 m", None, None),
        ("2 dozen", None, None),
    ],
)
def test_amounts_sown(text: str, value: float | None, unit: str | None) -> None:
    cell = quantities.amount(text, None)
    assert cell.unit == unit
    assert cell.value == (pytest.approx(value) if value else None)
    assert bool(cell.rule) == (value is None)


@pytest.mark.parametrize(
    ("text", "order", "expected"),
    [
        ("2026-06-18", "iso", "2026-06-18"),
        ("20260618", "iso", "2026-06-18"),
        ("2026/6/8", "iso", "2026-06-08"),
        ("2026-06-18T10:00", "iso", "2026-06-18"),
        ("18.6.2026", "iso", "2026-06-18"),
        ("6/18/2026", "iso", "2026-06-18"),
        ("3/3/2026", "iso", "2026-03-03"),
        ("18 Jun 2026", "iso", "2026-06-18"),
        ("18th June 2026", "iso", "2026-06-18"),
        ("June 18, 2026", "iso", "2026-06-18"),
        ("29 Feb 2028", "iso", "2028-02-29"),
        ("3/4/2026", "day-first", "2026-04-03"),
        ("3/4/2026", "month-first", "2026-03-04"),
        ("3/4/26", "day-first", "2026-04-03"),
        ("\u200e18/06/2026\u200f", "iso", "2026-06-18"),
        ("18-Jun-2026", "iso", "2026-06-18"),
        ("18-Jun-26", "day-first", "2026-06-18"),
        ("18-Jun-26", "iso", "year_unclear"),
        ("18(Jun)2026", "iso", "not_a_date"),
        ("0026-06-18", "iso", "0026-06-18"),
        ("3/4/2026", "iso", "ambiguous_date"),
        ("1/4/26", "iso", "year_unclear"),
        ("2026-02-31", "iso", "no_such_day"),
        ("29 Feb 2026", "iso", "no_such_day"),
        ("31/13/2026", "iso", "no_such_day"),
        ("4 juillet 2026", "iso", "2026-07-04"),
        ("14. Juli 2026", "iso", "2026-07-14"),
        ("1er août 2026", "iso", "2026-08-01"),
        ("4 de julio de 2026", "iso", "2026-07-04"),
        ("2026 Jul 4", "iso", "2026-07-04"),
        ("4/Jul/2026", "iso", "2026-07-04"),
        ("Saturday, July 4, 2026", "iso", "2026-07-04"),
        ("Sat 18.7.2026", "iso", "2026-07-18"),
        ("Sunday, July 4, 2026", "iso", "inconsistent"),
        ("7/14/2026 0:00", "iso", "2026-07-14"),
        ("7/14/2026 10:30 AM", "iso", "2026-07-14"),
        ("2026-06-18T23:30:00+02:00", "iso", "2026-06-18"),
        ("04.07.2026 10:30", "iso", "2026-07-04"),
        ("13/4/2026", "month-first", "2026-04-13"),
        ("31/2/2026", "day-first", "no_such_day"),
        ("31/13/26", "iso", "no_such_day"),
        ("Jul 4", "iso", "not_a_date"),
        ("1-3 July 2026", "iso", "not_a_date"),
        ("45000", "iso", "not_a_date"),
        ("yesterday", "iso", "not_a_date"),
    ],
)
def test_dates(text: str, order: str, expected: str) -> None:
    cell = cells.date(text, order)
    found = cell.value.isoformat() if isinstance(cell.value, dt.date) else cell.rule
    assert found == expected


def test_an_ambiguous_date_names_both_readings() -> None:
    assert cells.date("3/4/2026").message == (
        "can be read as 2026-04-03 or 2026-03-04: write one of them, or set date_order in rowshelf.toml"
    )


@pytest.mark.parametrize(
    ("text", "vocabulary", "expected"),
    [
        ("Fermented", "method", "ferment"),
        ("canned", "method", "bottle"),
        ("Sliced", "piece", "shred"),
        ("mold", "cause", "mould"),
        ("yeast_film", "cause", "yeast film"),
        ("fermnt", "method", None),
    ],
)
def test_words(text: str, vocabulary: str, expected: str | None) -> None:
    assert cells.code(text, vocabulary).value == expected


@pytest.mark.parametrize(
    ("text", "vocabulary", "hint"),
    [
        ("fermnt", "method", "; did you mean 'ferment'?"),
        ("mold on top", "cause", "; did you mean 'mould'?"),
        ("glass jar", "lid", "; did you mean 'glass'?"),
        ("mason", "lid", "cloth, bag, none"),  # nothing is near, so nothing is offered
        ("freeze and dry", "method", "cure, other"),  # two words of the list stand there
    ],
)
def test_an_unknown_word_offers_the_nearest(text: str, vocabulary: str, hint: str) -> None:
    assert cells.code(text, vocabulary).message.endswith(hint)


def test_a_day_number_of_a_spreadsheet_is_named_as_such() -> None:
    assert cells.date("46191").message == (
        "a spreadsheet's day number: format the column as a date, or write 2026-06-18 if that is the day"
    )


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("3.7.26", "two-digit year: write 2026-07-03 or 2026-03-07, or set date_order in rowshelf.toml"),
        ("7/15/26", "two-digit year: write 2026-07-15, or set date_order in rowshelf.toml"),
        ("26/07/04", "two-digit year: write 2004-07-26 or 2026-07-04, or set date_order in rowshelf.toml"),
        ("18-Jun-26", "two-digit year: write 2026-06-18, or set date_order in rowshelf.toml"),
        ("Jul 4", "the year is missing: write it in front, such as 2026-07-04"),
        ("4 juillet", "the year is missing: write it in front, such as 2026-07-04"),
        ("7/4", "the year is missing: write it in front, such as 2026-06-18"),
        ("week 27", "a week, not a day: write one day of it, such as 2026-06-18"),
        ("KW 27", "a week, not a day: write one day of it, such as 2026-06-18"),
        ("March 2026", "the day is missing: write such as 2026-06-18"),
        ("2026-07", "the day is missing: write such as 2026-06-18"),
        ("Sunday, July 4, 2026", "2026-07-04 is a Saturday: check the day, or leave Sunday out"),
        ("last weekend", "expected a date, such as 2026-06-18"),
    ],
)
def test_a_date_that_cannot_be_read_says_what_is_missing(text: str, message: str) -> None:
    assert cells.date(text).message == message


@given(st.dates(dt.date(2000, 1, 1), dt.date(2099, 12, 31)))
def test_every_way_to_write_a_day_gives_that_day_or_asks(day: dt.date) -> None:
    """Forms with one reading give the day; forms with two give it once the order is set, and never another day."""
    number, month = day.day, f"{day:%B}"
    for text in (day.isoformat(), f"{number} {month} {day.year}", f"{day:%A}, {month} {number}, {day.year}"):
        assert cells.date(text).value == day
    short = f"{day.year % 100:02}"
    for text, order in (
        (f"{number}/{day.month}/{day.year}", "day-first"),
        (f"{number}.{day.month}.{short}", "day-first"),
        (f"{day.month}/{number}/{day.year} 0:00", "month-first"),
        (f"{day.month}/{number}/{short}", "month-first"),
    ):
        assert cells.date(text, order).value == day
        asked = cells.date(text)
        assert asked.value == day or (asked.value is None and day.isoformat() in asked.message)


def test_percent_only_where_percent_are_meant() -> None:
    assert quantities.number("5 %", percent=True).value == 5.0
    assert quantities.number("5 %").rule == "not_a_number"
    assert quantities.number("200 g", unit="kg").message == "expected a number in kg, such as 5 or 2.5"


@pytest.mark.parametrize(
    ("text", "value"),
    [("6", 6), ("6 jars", 6), ("6 small jars", 6), ("6.0", 6), ("1 200", 1200), ("-2", -2), ("2 dozen", 24)],
)
def test_counts(text: str, value: int) -> None:
    assert quantities.count(text).value == value


@pytest.mark.parametrize(
    "text", ["6.5", "½", "1,200", "6 x 500 ml", "six", "5-6", "500 ml", "2 kg", "2k", "7 pints", "none", "9" * 24]
)
def test_what_is_no_whole_number(text: str) -> None:
    assert quantities.count(text).rule in {"not_a_whole_number", "two_readings"}


def test_yes_no_and_temperatures() -> None:
    assert [cells.yes_no(text).value for text in ("y", "TRUE", "x", "0", "no", "")] == [
        True,
        True,
        True,
        False,
        False,
        None,
    ]
    assert cells.yes_no("maybe").rule == "not_yes_or_no"
    assert quantities.temperature("65 F").value == pytest.approx(18.3333, abs=1e-4)
    assert quantities.temperature("-18").value == -18.0
    assert quantities.temperature("65", "f").value == pytest.approx(18.3333, abs=1e-4)
    assert quantities.temperature("18 °C", "f").value == 18.0
    assert quantities.temperature("15-18").rule == "not_a_temperature"
    assert quantities.temperature("warm").rule == "not_a_temperature"


@given(st.text(max_size=60))
def test_no_text_makes_a_reader_fail(text: str) -> None:
    """Whatever stands in a cell, a reader gives a value or a reason, never an error and never infinity."""
    readers = [
        quantities.quantity(text, "mass", None),
        quantities.quantity(text, "mass", "kg", countable=True),
        quantities.quantity(text, "volume", "ml"),
        quantities.amount(text, None),
        cells.date(text),
        quantities.number(text),
        quantities.count(text),
        quantities.temperature(text),
        cells.code(text, "method"),
        cells.yes_no(text),
        cells.crop(text, {}),
    ]
    for cell in readers:
        assert (cell.value is None) or not cell.rule
        assert not isinstance(cell.value, float) or math.isfinite(cell.value)


@given(st.integers(0, 9999), st.integers(0, 999))
def test_kilograms_written_with_point_or_comma_are_the_same(whole: int, thousandths: int) -> None:
    point = quantities.quantity(f"{whole}.{thousandths:03} kg", "mass", None)
    assert point.value == pytest.approx(whole * 1000 + thousandths)
    comma = quantities.quantity(f"{whole},{thousandths:03} kg", "mass", None)
    if comma.rule:  # 1,234 kg has two readings; 0,234 and 1234,567 have one
        assert 1 <= whole <= 999
    else:
        assert comma.value == pytest.approx(point.value)
