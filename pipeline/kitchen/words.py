"""Numbers and amounts of kitchen sums in words, metric first and US measures beside them."""

from __future__ import annotations

from pipeline.kitchen.bench import Figure
from schemas.units import UNITS

_SIZES = {unit.name: unit.size for unit in UNITS}


def number(value: float) -> str:
    """A number with as many digits as a kitchen can use: about three, never a thousands mark."""
    size = abs(value)
    digits = 0 if size >= 100 else 1 if size >= 10 else 2 if size >= 1 else 3
    text = f"{value:.{digits}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def grams(value: float) -> str:
    """A weight in g or kg, with oz or lb."""
    ounces = value / _SIZES["oz"]
    metric = f"{number(value / 1000)} kg" if value >= 1000 else f"{number(value)} g"
    us = f"{number(ounces / 16)} lb" if ounces >= 16 else f"{number(ounces)} oz"
    return f"{metric} ({us})"


def millilitres(value: float) -> str:
    """A volume in ml or l, with US cups or quarts."""
    metric = f"{number(value / 1000)} l" if value >= 1000 else f"{number(value)} ml"
    quarts = value / _SIZES["qt"]
    us = f"{number(quarts)} qt" if quarts >= 1 else f"{number(value / _SIZES['cup'])} cups"
    return f"{metric} ({us})"


def celsius(value: float) -> str:
    """A temperature in C, with F."""
    return f"{value:.1f} C ({value * 1.8 + 32:.0f} F)"


def _activity(value: float) -> str:
    return f"{value:.3f}"


def _plain(unit: str) -> str:
    return {"pct": " %", "ratio": "", "a_w": ""}.get(unit, f" {unit}")


def _one(value: float, unit: str) -> str:
    with_measures = {"g": grams, "ml": millilitres, "C": celsius, "a_w": _activity}
    return with_measures[unit](value) if unit in with_measures else f"{number(value)}{_plain(unit)}"


def figure_text(figure: Figure) -> str:
    """One figure: its value, its bounds where it has any, and its note."""
    low, high = figure.low, figure.high
    note = f"; {figure.note}" if figure.note else ""
    if low is None or high is None or _one(low, figure.unit) == _one(high, figure.unit):
        return _one(figure.value, figure.unit) + note
    unit = _plain(figure.unit)
    span = f"{_one(low, figure.unit).removesuffix(unit)} to {_one(high, figure.unit)}"
    if figure.value in {low, high}:
        return span + note
    return f"{_one(figure.value, figure.unit)}, from {span}{note}"
