"""What a bunch, a head, a punnet or a bushel of a crop weighs, as picked: published, each with its source.

One crop can have several rows for one unit; extension services are preferred to statutes, which for crops in the pod
mean the dry or shelled seed. Rows that name a kind in brackets serve only where nothing else stands for the crop.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import NamedTuple

WHOLE = (
    "fruit",
    "head",
    "root",
    "bulb",
    "cob",
    "tuber",
    "pod",
    "mushroom",
    "corm",
    "nut in shell",
    "nut",
    "plant",
    "unit",
)
"""Units that are one whole thing of a crop: a grower who counts ``pieces`` or ``heads`` means the one the crop has."""

PIECE = "piece"
DOZEN = "dozen"

_KIND = re.compile(r" ?\(.*")
_EXTENSION = re.compile(r"extension|univ|SR28", re.IGNORECASE)


class UnitWeight(NamedTuple):
    """The weight of one unit of a crop, kilograms as picked."""

    kg: float
    source: str
    read_as: str


@cache
def unit_weights() -> Mapping[str, Mapping[str, UnitWeight]]:
    """By crop, then by unit."""
    found: dict[str, dict[str, UnitWeight]] = {}
    of_a_kind: dict[str, dict[str, list[UnitWeight]]] = {}
    text = files("pipeline.reference").joinpath("market_units.csv").read_text(encoding="utf-8")
    for row in sorted(csv.DictReader(text.splitlines()), key=lambda row: not _EXTENSION.search(row["source"])):
        weight = UnitWeight(float(row["kg"]), row["source"], row["read_as"])
        plain = _KIND.sub("", row["unit"])
        if plain == row["unit"]:
            found.setdefault(row["crop"], {}).setdefault(plain, weight)
        elif "dry" not in row["unit"]:
            of_a_kind.setdefault(row["crop"], {}).setdefault(plain, []).append(weight)
    for crop, units in of_a_kind.items():
        for unit, weights in units.items():
            if len(weights) == 1:
                found.setdefault(crop, {}).setdefault(unit, weights[0])
    return found


def unit_kg(crop: str, unit: str, own: Mapping[tuple[str, str], float] | None = None) -> float | None:
    """Kilograms of one unit of a crop; None where nothing is published and the grower gives nothing.

    Args:
        crop: as the crop reference names it.
        unit: a word of ``COUNT_UNITS`` in ``schemas/units.py``.
        own: the grower's own weights by crop and unit (``piece`` for one whole thing, ``bunch``).
    """
    piece = (own or {}).get((crop, PIECE))
    if piece is not None and (unit in {PIECE, DOZEN} or unit in WHOLE):
        return 12 * piece if unit == DOZEN else piece
    if own and (crop, unit) in own:
        return own[crop, unit]
    units = unit_weights().get(crop, {})
    if unit in units:
        return units[unit].kg
    whole = [units[one].kg for one in WHOLE if one in units]
    if len(whole) != 1:
        return None
    return whole[0] if unit == PIECE or unit in WHOLE else 12 * whole[0] if unit == DOZEN else None
