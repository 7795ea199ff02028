"""What a column is: its kind, its unit, its bounds and its meaning, said once.

A :class:`Field` describes one cell as a grower writes it and the typed columns it becomes. Contracts,
blank logs, the data dictionary, Table Schema and database comments are all made from it.
"""

from __future__ import annotations

from dataclasses import dataclass

DATE, MASS, VOLUME, TEMPERATURE, NUMBER, COUNT = "date", "mass", "volume", "temperature", "number", "count"
CROP, IDENTIFIER, CODE, YES_NO, TEXT, AMOUNT = "crop", "identifier", "code", "yes_no", "text", "amount"
"""Kinds of cell. ``mass`` and ``volume`` carry a unit; ``amount`` is plants, metres or square metres."""


@dataclass(frozen=True)
class Field:
    """One column of a log.

    ``unit`` is the unit of the typed column; ``ge`` and ``le`` bound the typed value in that unit.
    """

    name: str
    kind: str
    description: str
    required: bool = False
    unit: str | None = None
    ge: float | None = None
    le: float | None = None
    code: str | None = None
    core: str | None = None
    """Name of the typed column where it differs, since it carries the unit (``weight`` -> ``weight_kg``)."""
    aliases: tuple[str, ...] = ()
    """Other header names that mean this column."""

    @property
    def core_name(self) -> str:
        """Name of the typed column."""
        return self.core or self.name

    @property
    def core_columns(self) -> tuple[tuple[str, str], ...]:
        """The typed columns this cell becomes: (name, one of ``date|float|int|bool|text``)."""
        if self.kind == AMOUNT:
            return ((f"{self.name}_value", "float"), (f"{self.name}_unit", "text"))
        if self.name == "weight":
            return ((self.core_name, "float"), (f"{self.name}_estimated", "bool"))
        return ((self.core_name, DTYPES[self.kind]),)


DTYPES: dict[str, str] = {
    DATE: "date",
    MASS: "float",
    VOLUME: "float",
    TEMPERATURE: "float",
    NUMBER: "float",
    COUNT: "int",
    CROP: "text",
    IDENTIFIER: "text",
    CODE: "text",
    YES_NO: "bool",
    TEXT: "text",
    AMOUNT: "text",
}


def day(name: str, description: str, *, required: bool = True) -> Field:
    """A calendar day; the first one of a log may be called just ``date``."""
    done = name.removesuffix("_on")
    aliases = (f"date_{done}", f"{done}_date", f"day_{done}")
    return Field(name, DATE, description, required=required, aliases=("date", *aliases) if required else aliases)


def crop(description: str = "crop, in any spelling the crop reference knows", *, required: bool = True) -> Field:
    """A crop name."""
    return Field("crop", CROP, description, required=required)


def weight(description: str, *, required: bool = True, le_kg: float = 5000.0) -> Field:
    """Produce by weight, or by count where the crop reference says what one weighs."""
    return Field(
        "weight",
        MASS,
        description,
        required=required,
        unit="kg",
        ge=0.0,
        le=le_kg,
        core="weight_kg",
        aliases=("amount", "quantity", "qty"),
    )


def grams(name: str, description: str, le_g: float = 200_000.0) -> Field:
    """A weighed ingredient, kept in grams."""
    return Field(name, MASS, description, unit="g", ge=0.0, le=le_g, core=f"{name}_g")


def kilograms(name: str, description: str) -> Field:
    """Produce by weight, kept in kilograms."""
    return Field(name, MASS, description, unit="kg", ge=0.0, le=5000.0, core=f"{name}_kg")


def millilitres(name: str, description: str, core: str | None = None) -> Field:
    """A liquid, kept in millilitres; a weight is taken at 1 g per ml."""
    return Field(name, VOLUME, description, unit="ml", ge=0.0, le=1_000_000.0, core=core or f"{name}_ml")


def celsius(name: str, description: str, *, required: bool = False, low: float, high: float) -> Field:
    """A temperature."""
    return Field(name, TEMPERATURE, description, required=required, unit="C", ge=low, le=high)


def coded(name: str, description: str, *, required: bool = False, code: str | None = None) -> Field:
    """A word from a vocabulary of ``schemas/codes.py``."""
    return Field(name, CODE, description, required=required, code=code or name)


def identifier(name: str, description: str, *, required: bool = False) -> Field:
    """A grower's own label for a thing; any text, compared without case or outer spaces."""
    thing = name.removesuffix("_id")
    aliases = (thing, f"{thing}_no", f"{thing}_number", f"{thing}_label") if thing != name else ()
    return Field(name, IDENTIFIER, description, required=required, aliases=aliases)


def yes_no(name: str, description: str) -> Field:
    """Yes or no; an empty cell is unknown."""
    return Field(name, YES_NO, description)


def text(name: str, description: str) -> Field:
    """Free text, kept as typed."""
    return Field(name, TEXT, description)


def note() -> Field:
    """Anything else, as typed."""
    return Field("note", TEXT, "anything else", aliases=("notes", "comment", "comments", "remark", "remarks"))


def containers(description: str, *, required: bool = False, low: int = 0) -> Field:
    """How many jars, bags or crates."""
    aliases = ("jars", "bags", "number_of_containers", "number_of_jars")
    return Field("containers", COUNT, description, required=required, ge=low, le=100_000, aliases=aliases)


def number(name: str, description: str, unit: str | None, low: float, high: float) -> Field:
    """A plain number."""
    return Field(name, NUMBER, description, unit=unit, ge=low, le=high)


def percent_said(name: str, description: str, aliases: tuple[str, ...] = ()) -> Field:
    """Per cent that stand for a weight; kept as said, beside the weight that is made of them."""
    return Field(name, NUMBER, description, unit="pct", ge=0.0, le=100.0, core=f"{name}_said", aliases=aliases)


def count(name: str, description: str, *, required: bool = False, low: int = 0, high: int = 100_000) -> Field:
    """A whole number."""
    return Field(name, COUNT, description, required=required, ge=low, le=high)
