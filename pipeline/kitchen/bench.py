"""What every kitchen sum looks things up in, and the form every sum answers in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

import polars as pl

from pipeline import reference
from pipeline.errors import UsageError
from pipeline.intake.nearest import did_you_mean
from pipeline.kitchen.cautions import sum_cautions
from pipeline.kitchen.cautions.acid import FRUIT_FAMILIES
from pipeline.reference.names import CropLookup


@dataclass(frozen=True)
class Crop:
    """A crop as the sums need it; ``water_pct`` and ``is_fruit`` are None where unknown."""

    name: str
    water_pct: float | None = None
    is_fruit: bool | None = None
    refuse_pct: float | None = None


@dataclass(frozen=True)
class Limit:
    """A published value as it is printed beside a sum."""

    name: str
    words: str
    source: str
    read_as: str


@dataclass(frozen=True)
class Figure:
    """One number of an answer, in ``unit``: ``g``, ``ml``, ``pct``, ``C``, ``days``, ``jars``, ``ratio`` or ``a_w``.

    ``low`` and ``high`` bound it where it is uncertain. ``toward`` is the side on which a rounded amount stays within
    its limit: ``up`` for the least, ``down`` for the most; empty where nothing hangs on it.
    """

    name: str
    label: str
    value: float
    unit: str
    low: float | None = None
    high: float | None = None
    note: str = ""
    toward: Literal["", "up", "down"] = ""


@dataclass(frozen=True)
class Caution:
    """A broken limit, as in the ``cautions`` answer."""

    rule: str
    severity: str
    found: str
    limit: str
    source: str
    read_as: str
    message: str


@dataclass(frozen=True)
class BenchSum:
    """The answer of one kitchen sum."""

    kind: str
    title: str
    figures: tuple[Figure, ...]
    working: str
    """One line of arithmetic."""
    limits: tuple[Limit, ...]
    not_told: tuple[str, ...]
    """What the sum does not tell, and what to do about that."""
    as_batch: Mapping[str, Any]
    """The batch that the sum would make, by columns of the batch log; held against the rules."""
    advice: tuple[str, ...] = ()
    cautions: tuple[Caution, ...] = ()

    def __getitem__(self, name: str) -> float:
        """The value of one figure."""
        return self.figure(name).value

    def figure(self, name: str) -> Figure:
        """One figure with its bounds."""
        return next(figure for figure in self.figures if figure.name == name)


@dataclass(frozen=True)
class Bench:
    """Published values and the crop reference, as frames of ``pipeline.reference``."""

    values: Mapping[str, Mapping[str, Any]]
    rules: pl.DataFrame
    crops: pl.DataFrame
    crop_values: pl.DataFrame
    lookup: CropLookup
    gel: pl.DataFrame
    pectin: pl.DataFrame
    jam_groups: pl.DataFrame
    yields: pl.DataFrame
    ready: pl.DataFrame

    def value(self, name: str) -> float:
        """The number of a row of ``kitchen_values``, or else of the rule table."""
        row = self.values.get(name) or self._rule(name)
        return float(row["value"])

    def bounds(self, name: str) -> tuple[float, float]:
        """The low and high end of a row of ``kitchen_values``."""
        return float(self.values[name]["low"]), float(self.values[name]["high"])

    def limit(self, name: str) -> Limit:
        """A row of ``kitchen_values`` or of the rule table, ready to print."""
        row = self.values.get(name)
        if row is None:
            rule = self._rule(name)
            return Limit(name, rule["limit"], rule["source"], rule["read_as"])
        note = f" ({row['note']})" if row["note"] else ""
        return Limit(name, f"{row['label']}: {_amount(row)}{note}", row["source"], row["read_as"])

    def limits(self, *names: str) -> tuple[Limit, ...]:
        """Several published values, in the order asked for."""
        return tuple(self.limit(name) for name in names)

    def fresh_water(self, crop: Crop | None) -> tuple[Limit, ...]:
        """Where the water of the fresh crop is published; nothing where it is unknown."""
        if crop is None or crop.water_pct is None:
            return ()
        wanted = (pl.col("crop") == crop.name) & (pl.col("name") == "water_pct")
        row = self.crop_values.row(by_predicate=wanted, named=True)
        words = f"water of fresh {crop.name}: {crop.water_pct:g} %"
        return (Limit("fresh_water", words, row["source"], row["read_as"]),)

    def crop(self, typed: str, otherwise: str = "") -> Crop:
        """The crop of any known spelling.

        Args:
            typed: the spelling.
            otherwise: what to do about a crop that the reference lacks, as a sentence.

        Raises:
            UsageError: a word that names no known crop.
        """
        name = self.lookup.get(typed)
        if name is None:
            asked = self.lookup.unclear(typed)
            if asked is not None:
                message = f"--crop {typed!r} can mean more than one thing ({asked.can_mean}). {asked.instead()}"
                raise UsageError(message)
            near = did_you_mean(typed.casefold(), self.lookup, 75) or "."
            message = f"--crop {typed!r}: no crop of that name is known{near} {otherwise}".rstrip()
            raise UsageError(message)
        row = self.crops.row(by_predicate=pl.col("crop") == name, named=True)
        is_fruit = None if row["family"] is None else row["family"] in FRUIT_FAMILIES or row["kind"] == "fruit"
        return Crop(name, row["water_pct"], is_fruit, row["refuse_pct"])

    def fruit_share(self, crop: Crop) -> str:
        """The row of ``kitchen_values`` that says how much fruit jam of this crop must have."""
        groups = self.jam_groups.filter(pl.col("crop") == crop.name)["fruit_group"].to_list()
        return "fruit_share_group_1" if groups == [1] else "fruit_share"

    def answer(self, answer: BenchSum) -> BenchSum:
        """The sum with the cautions of the batch that it would make."""
        flagged = sum_cautions(answer.as_batch, self.rules, self.crops)
        return replace(answer, cautions=tuple(Caution(**row) for row in flagged.iter_rows(named=True)))

    def _rule(self, name: str) -> dict[str, Any]:
        return self.rules.row(by_predicate=pl.col("id") == name, named=True)


def shipped_bench(own_crops: pl.DataFrame | None = None) -> Bench:
    """The bench with the shipped tables, the grower's own crops laid over them."""
    crops = reference.crop_reference(own_crops)
    return Bench(
        values={row["id"]: row for row in reference.kitchen_values().iter_rows(named=True)},
        rules=reference.caution_rules(),
        crops=crops,
        lookup=reference.crop_lookup(crops, own_crops),
        crop_values=reference.crop_values_long(own_crops),
        gel=reference.gel_temperatures(),
        pectin=reference.pectin_classes(),
        jam_groups=reference.jam_groups(),
        yields=reference.jar_yields(),
        ready=reference.ready_times(),
    )


def require_between(name: str, value: float, low: float, high: float, unit: str) -> None:
    """Check that a number can be meant.

    Raises:
        UsageError: below or at ``low``, or above ``high``.
    """
    if not low < value <= high:
        message = f"{name} {value:g} {unit}: write a number above {low:g} and at most {high:g}."
        raise UsageError(message)


def _amount(row: Mapping[str, Any]) -> str:
    unit = {"pct": " %", "": ""}.get(row["unit"] or "", f" {row['unit']}")
    if row["value"] is not None:
        return f"{row['value']:g}{unit}"
    return f"{row['low']:g} to {row['high']:g}{unit}"
