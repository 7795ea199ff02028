"""Each way of writing a cell, beside what it becomes: one line per case, to be read by eye."""

from __future__ import annotations

import datetime as dt
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import cells

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
    ("5 KG", 5000.0),
    ("-1 kg", -1000.0),
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
    ("'); DROP TABLE harvests; --", "not_a_quantity"),
]


@pytest.mark.parametrize(("text", "grams"), WEIGHTS_G)
def test_weights_as_typed(text: str, grams: float) -> None:
    cell = cells.quantity(text, "mass", None)
    assert cell.rule == ""
    assert cell.value == pytest.approx(grams, rel=1e-12)


@pytest.mark.parametrize(("text", "rule"), SET_ASIDE)
def test_weights_with_two_readings_or_none_are_never_guessed(text: str, rule: str) -> None:
    cell = cells.quantity(text, "mass", None)
    assert (cell.value, cell.rule) == (None, rule)
    assert cell.message


def test_a_bare_number_takes_the_unit_of_its_header() -> None:
    assert cells.quantity("800", "mass", "g").value == 800.0
    assert cells.quantity("2", "mass", "lb").value == pytest.approx(907.18474)


def test_messages_say_what_to_write_instead() -> None:
    assert cells.quantity("1,234 g", "mass", None).message == ("'1,234' can be read in two ways: write 1234 or 1.234")
    assert cells.quantity("5", "mass", None).message == (
        "no unit: write such as 1.2 kg, 800 g or 3 lb 4 oz, or name the unit in the header"
    )
    assert cells.quantity("5 kilogramz", "mass", None).message == (
        "unit 'kilogramz' is not known; did you mean 'kilogram'?"
    )


@pytest.mark.parametrize("text", ["~2 kg", "about 2 kg", "ca. 2 kg", "approx 2 kg"])
def test_a_rough_weight_is_marked_estimated(text: str) -> None:
    cell = cells.quantity(text, "mass", None)
    assert (cell.value, cell.estimated) == (2000.0, True)


def test_counted_produce_keeps_its_count_until_the_crop_is_known() -> None:
    cell = cells.quantity("3 heads", "mass", None)
    assert (cell.value, cell.unit, cell.estimated) == (3.0, "piece", True)


def test_us_and_imperial_measures_differ() -> None:
    assert cells.quantity("2 qt", "volume", None).value == pytest.approx(2 * 946.352946)
    assert cells.quantity("1 pt", "volume", None, pint="imperial").value == pytest.approx(568.26125)
    assert cells.quantity("1 pt", "volume", None, pint="us").value == pytest.approx(473.176473)


def test_a_liquid_may_be_weighed() -> None:
    assert cells.quantity("1 kg", "volume", None).value == 1000.0


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
        ("12", None, None),
        ("3 rows", None, None),
    ],
)
def test_amounts_sown(text: str, value: float | None, unit: str | None) -> None:
    cell = cells.amount(text, None)
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
        ("3/4/2026", "iso", "ambiguous_date"),
        ("1/4/26", "iso", "year_unclear"),
        ("2026-02-31", "iso", "no_such_day"),
        ("29 Feb 2026", "iso", "no_such_day"),
        ("31/13/2026", "iso", "no_such_day"),
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


def test_an_unknown_word_offers_the_nearest() -> None:
    assert cells.code("fermnt", "method").message.endswith("did you mean 'ferment'?")


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
    assert cells.temperature("65 F").value == pytest.approx(18.3333, abs=1e-4)
    assert cells.temperature("-18").value == -18.0
    assert cells.temperature("warm").rule == "not_a_temperature"


@given(st.text(max_size=60))
def test_no_text_makes_a_reader_fail(text: str) -> None:
    """Whatever stands in a cell, a reader gives a value or a reason, never an error and never infinity."""
    readers = [
        cells.quantity(text, "mass", None),
        cells.quantity(text, "volume", "ml"),
        cells.amount(text, None),
        cells.date(text),
        cells.number(text),
        cells.count(text),
        cells.temperature(text),
        cells.code(text, "method"),
        cells.yes_no(text),
        cells.crop(text, {}),
    ]
    for cell in readers:
        assert (cell.value is None) or not cell.rule
        assert not isinstance(cell.value, float) or math.isfinite(cell.value)


@given(st.integers(0, 9999), st.integers(0, 999))
def test_kilograms_written_with_point_or_comma_are_the_same(whole: int, thousandths: int) -> None:
    point = cells.quantity(f"{whole}.{thousandths:03} kg", "mass", None)
    assert point.value == pytest.approx(whole * 1000 + thousandths)
    comma = cells.quantity(f"{whole},{thousandths:03} kg", "mass", None)
    if comma.rule:  # 1,234 kg has two readings; 0,234 and 1234,567 have one
        assert 1 <= whole <= 999
    else:
        assert comma.value == pytest.approx(point.value)
