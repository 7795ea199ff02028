"""Counted produce weighed: by the weight that a note gives, else by what one of it weighs.

A published weight is of produce as picked, so a count is comparable with a weighed picking; it is marked estimated.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache

import polars as pl

from pipeline.intake.quantities import NUMBER, quantity
from pipeline.reference.produce_units import PIECE, WHOLE, unit_kg

BAD = {"row": pl.Int64(), "rule": pl.String(), "message": pl.String()}

_WEIGHT = rf"({NUMBER} ?(?:kg|kgs|kilos?|g|gr|grams?|lbs?|pounds?|oz|ounces?)\b(?: ?{NUMBER} ?(?:oz|ounces?|g)\b)?)"
_IN_ALL = "together|in all|in total|altogether|all told|total|weighed"
_TOGETHER = re.compile(
    rf"(?:{_IN_ALL}|total(?:led|ling)|weigh(?:ing|s|t)?|came to|=|~|all|sum)[^\d]{{0,20}}{_WEIGHT}"
    rf"|{_WEIGHT}[^\d.;]{{0,12}}(?:{_IN_ALL}|all up)",
    re.IGNORECASE,
)
_EACH = re.compile(
    rf"{_WEIGHT} ?(?:each|apiece|a piece|per (?:piece|head|bunch|fruit|one)|ea\b)|each (?:about |of )?{_WEIGHT}",
    re.IGNORECASE,
)
_ALONE = re.compile(rf"\(?(?:about |ca\.? ?|~)?{_WEIGHT}\)?\.?", re.IGNORECASE)


def weigh_counted(
    found: dict[str, pl.Series], crops: pl.Series | None, notes: pl.Series | None, own: Mapping[tuple[str, str], float]
) -> tuple[dict[str, pl.Series], pl.DataFrame]:
    """Counts turned into weights; a crop of which no such unit has a known weight is a problem.

    Args:
        found: ``weight_kg`` (a count where ``unit`` is filled), ``weight_estimated``, ``unit``.
        crops: the crop of each row as the reference names it.
        notes: the note of each row as typed.
        own: the grower's own weights by crop and unit.

    Returns:
        ``weight_kg`` and ``weight_estimated``, and (row, rule, message) of each count that has no weight.
    """
    weight, estimated, unit = found["weight_kg"], found["weight_estimated"].fill_null(value=False), found["unit"]
    if unit.null_count() == len(unit):
        return {"weight_kg": weight, "weight_estimated": estimated}, pl.DataFrame(schema=BAD)
    kilograms, rough = weight.to_list(), estimated.to_list()
    bad: list[tuple[int, str, str]] = []
    for row in unit.is_not_null().arg_true():
        word, crop = unit[row], None if crops is None else crops[row]
        said = _said(notes[row]) if notes is not None and notes[row] else None
        if said is not None:
            kg, each = said
            kilograms[row], rough[row] = (kg * kilograms[row] if each else kg), False
            continue
        one = None if crop is None else unit_kg(crop, word, own)
        if one is None:
            bad.append((row, "piece_unknown", _unknown(crop, word)))
            kilograms[row] = None
        else:
            kilograms[row] *= one
    values = {
        "weight_kg": pl.Series("weight_kg", kilograms, pl.Float64),
        "weight_estimated": pl.Series("weight_estimated", rough, pl.Boolean),
    }
    return values, pl.DataFrame(bad, schema=BAD, orient="row")


def _unknown(crop: str | None, unit: str) -> str:
    own = {"bunch": "bunch_kg"}.get(unit, "piece_kg")
    given = f"give {own} in crops.csv, " if unit == PIECE or unit in WHOLE or unit == "bunch" else ""
    return (
        f"counted, but what one {unit} of {crop or 'this crop'} weighs is not known: write a weight, {given}"
        'or say it in the note ("1.6 kg together")'
    )


@cache
def _said(note: str) -> tuple[float, bool] | None:
    """The weight that a note gives, kilograms, and whether it is of each one; None where it gives none."""
    plain = " ".join(note.split())
    for pattern, each in ((_EACH, True), (_TOGETHER, False)):
        weights = {text for match in pattern.finditer(plain) for text in match.groups() if text}
        if len(weights) == 1:
            return _kilograms(weights.pop(), each=each)
    alone = _ALONE.fullmatch(plain)
    return _kilograms(alone[1], each=False) if alone else None


def _kilograms(text: str, *, each: bool) -> tuple[float, bool] | None:
    cell = quantity(text, "mass", None)
    return (cell.value / 1000, each) if isinstance(cell.value, float) and cell.value > 0 else None
