"""Numbers and amounts of kitchen sums in words, metric first and US measures beside them."""

from __future__ import annotations

import math

from pipeline.kitchen.bench import Figure
from schemas.units import UNITS

_SIZES = {unit.name: unit.size for unit in UNITS}


def number(value: float, toward: str = "") -> str:
    """A number with as many digits as a kitchen can use: about three, never a thousands mark.

    Args:
        value: the number.
        toward: ``up`` or ``down``, the side to round to; empty for the nearest.
    """
    size = abs(value)
    digits = 0 if size >= 100 else 1 if size >= 10 else 2 if size >= 1 else 3
    text = f"{_rounded(value, digits, toward):.{digits}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _rounded(value: float, digits: int, toward: str) -> float:
    scaled = value * 10**digits
    # What is a whole number but for the last bits of a float stays it.
    if not toward or math.isclose(scaled, round(scaled), rel_tol=1e-12):
        return value
    return float(math.ceil(scaled) if toward == "up" else math.floor(scaled)) / float(10**digits)


def given(value: float) -> str:
    """A number as it was given, to six digits: for a line of arithmetic that others can follow."""
    return f"{value:.6g}" if 1e-3 <= abs(value) < 1e6 else f"{value:.0f}"


def grams(value: float, toward: str = "") -> str:
    """A weight in g or kg, with oz or lb."""
    ounces = value / _SIZES["oz"]
    metric = f"{number(value / 1000, toward)} kg" if value >= 1000 else f"{number(value, toward)} g"
    us = f"{number(ounces / 16, toward)} lb" if ounces >= 16 else f"{number(ounces, toward)} oz"
    return f"{metric} ({us})"


def millilitres(value: float, toward: str = "") -> str:
    """A volume in ml or l, with US cups or quarts."""
    metric = f"{number(value / 1000, toward)} l" if value >= 1000 else f"{number(value, toward)} ml"
    us = f"{_measure(value / _SIZES['qt'], toward)} qt"
    if value < _SIZES["qt"]:
        us = f"{_measure(value / _SIZES['cup'], toward)} cups"
    return f"{metric} ({us})"


def _measure(value: float, toward: str) -> str:
    """Quarts or cups: what is a whole one within 0.1 % is one, so that a gallon crock is not 4.01 quarts."""
    whole = round(value)
    return f"{whole}" if math.isclose(value, whole, rel_tol=1e-3) else number(value, toward)


def as_printed(value: float, toward: str) -> float:
    """A weight or volume as :func:`grams` and :func:`millilitres` print it, in g or ml: what a cook goes by."""
    return 1000 * float(number(value / 1000, toward)) if value >= 1000 else float(number(value, toward))


def celsius(value: float) -> str:
    """A temperature in C, with F."""
    return f"{value:.1f} C ({value * 1.8 + 32:.0f} F)"


def _activity(value: float) -> str:
    return f"{value:.3f}"


def _plain(unit: str) -> str:
    return {"pct": " %", "ratio": "", "a_w": ""}.get(unit, f" {unit}")


def _one(value: float, unit: str, toward: str) -> str:
    amounts = {"g": grams, "ml": millilitres}
    if unit in amounts:
        return amounts[unit](value, toward)
    measures = {"C": celsius, "a_w": _activity}
    return measures[unit](value) if unit in measures else f"{number(value, toward)}{_plain(unit)}"


def figure_text(figure: Figure) -> str:
    """One figure: its value, its bounds where it has any, and its note."""

    def text(value: float) -> str:
        return _one(value, figure.unit, figure.toward)

    low, high = figure.low, figure.high
    note = f"; {figure.note}" if figure.note else ""
    if low is None or high is None or text(low) == text(high):
        return text(figure.value) + note
    unit = _plain(figure.unit)
    span = f"{text(low).removesuffix(unit)} to {text(high)}"
    if figure.value in {low, high}:
        return span + note
    return f"{text(figure.value)}, from {span}{note}"
