"""``rowshelf.toml``: read, checked against ``schemas/settings.py``, and frozen."""

from __future__ import annotations

import datetime as dt
import difflib
import re
import tomllib
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from pipeline.errors import UsageError
from schemas.logs import LOGS
from schemas.settings import SECTIONS, SETTINGS, Setting

DAYS_IN_MONTH = (31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


@dataclass(frozen=True)
class CropNeed:
    """What a household wants of one crop: kg per week for each month, containers per year."""

    fresh_kg_per_week: tuple[float, ...] | None = None
    containers_per_year: float | None = None


@dataclass(frozen=True)
class Settings:
    """Every setting with its default; month-days are (month, day)."""

    name: str = "My garden"
    latitude: float | None = None
    longitude: float | None = None
    elevation_m: float | None = None
    season_starts: tuple[int, int] | None = None
    last_frost: tuple[int, int] | None = None
    first_frost: tuple[int, int] | None = None
    bed_area_m2: float | None = None
    people: float | None = None
    fresh_use: str = "not logged"
    date_order: str = "iso"
    pint: str = "us"
    report: str = "metric"
    kitchen_kg_per_week: float | None = None
    jars: int | None = None
    fresh_store_c: float | None = None
    plan_crops: tuple[str, ...] | None = None
    first_sowing: tuple[int, int] | None = None
    last_sowing: tuple[int, int] | None = None
    longest_gap: int = 4
    max_sowings: int = 8
    min_sowings: int = 1
    warming: str = "ignored"
    smallest_group: int = 3
    needs: dict[str, CropNeed] = field(default_factory=dict)
    files: dict[str, str] = field(default_factory=dict)
    """The log that a file or sheet holds, by its name, or ``none``."""
    columns: dict[str, dict[str, str]] = field(default_factory=dict)
    """For each log, the column that a heading means, or ``none``."""

    @property
    def southern(self) -> bool:
        """Whether the garden lies south of the equator."""
        return self.latitude is not None and self.latitude < 0

    @property
    def season_start(self) -> tuple[int, int]:
        """First (month, day) of the garden year."""
        return self.season_starts or ((7, 1) if self.southern else (1, 1))

    def season_of(self, day: dt.date) -> tuple[dt.date, dt.date]:
        """First and last day of the garden year that ``day`` lies in."""
        month, dom = self.season_start
        first = _on(day.year, month, dom)
        if first > day:
            first = _on(day.year - 1, month, dom)
        return first, _on(first.year + 1, month, dom) - dt.timedelta(days=1)


RENAMED = {("kitchen", "kg_per_week"): "kitchen_kg_per_week", ("plan", "crops"): "plan_crops"}


def _on(year: int, month: int, day: int) -> dt.date:
    """The day, or 28 February where 29 February does not exist."""
    return dt.date(year, 2, 28) if (month, day) == (2, 29) and year % 4 else dt.date(year, month, day)


def parse_settings(content: str | None, file: str = "rowshelf.toml") -> Settings:
    """Settings from the text of ``rowshelf.toml``; None gives every default.

    Raises:
        UsageError: unreadable TOML, an unknown key (with the nearest known one) or a value out of bounds.
    """
    if content is None:
        return Settings()
    try:
        document = tomllib.loads(content.removeprefix("\ufeff"))
    except tomllib.TOMLDecodeError as error:
        message = f"{file}: not readable as TOML: {error}. Compare it with the file that `rowshelf start` writes."
        raise UsageError(message) from error
    values: dict[str, Any] = {}
    for section, body in document.items():
        _known(section, (*SECTIONS, "columns"), f"{file}: unknown section [{section}]")
        if not isinstance(body, dict):
            message = f"{file}: {section} is a section: write [{section}] on a line of its own."
            raise UsageError(message)
        if section in NAMED:
            values[section] = NAMED[section](file, body)
            continue
        if section == "needs":
            values["needs"] = {crop.casefold().strip(): _need(file, crop, need) for crop, need in body.items()}
            continue
        for key, value in body.items():
            setting = _setting(section, key, f"[{section}]", file)
            name: str = RENAMED.get((section, setting.key), setting.key)
            values[name] = _check(setting, value, f"{file}: [{section}] {key}")
    return Settings(**values)


def _files(file: str, body: dict[str, Any]) -> dict[str, str]:
    return {name: _one_of(kind, tuple(LOGS), f'{file}: [files] "{name}"') for name, kind in body.items()}


def _columns(file: str, body: dict[str, Any]) -> dict[str, dict[str, str]]:
    found: dict[str, dict[str, str]] = {}
    for log, headings in body.items():
        _known(log, tuple(LOGS), f"{file}: [columns.{log}]: no such log")
        if not isinstance(headings, dict):
            message = f'{file}: [columns]: write [columns.harvests] and below it such as "Number" = "weight".'
            raise UsageError(message)
        names = tuple(column.name for column in LOGS[log].columns)
        if headings:
            found[log] = {
                heading: _one_of(column, names, f'{file}: [columns.{log}] "{heading}"')
                for heading, column in headings.items()
            }
    return found


def _one_of(word: object, known: tuple[str, ...], where: str) -> str:
    _known(str(word), (*known, "none"), f"{where}: {word!r} is not known")
    return str(word)


NAMED: dict[str, Callable[[str, dict[str, Any]], Any]] = {"files": _files, "columns": _columns}
"""Sections whose keys are names that the grower uses."""


def _need(file: str, crop: str, body: object) -> CropNeed:
    where = f"[needs.{crop}]"
    if not isinstance(body, dict):
        message = f"{file}: {where}: write the section [needs.CROP] with fresh_kg_per_week or containers_per_year."
        raise UsageError(message)
    checked = {
        key: _check(_setting("needs", key, where, file), value, f"{file}: {where} {key}") for key, value in body.items()
    }
    return CropNeed(**checked)


def _setting(section: str, key: str, where: str, file: str) -> Setting:
    known = {setting.key: setting for setting in SETTINGS if setting.section == section}
    _known(key, tuple(known), f"{file}: unknown key {key!r} in {where}")
    return known[key]


def _known(word: str, known: tuple[str, ...], complaint: str) -> None:
    if word in known:
        return
    near = difflib.get_close_matches(word, known, n=1, cutoff=0.6)
    hint = f"Did you mean {near[0]!r}?" if near else f"Known: {', '.join(known)}."
    message = f"{complaint}. {hint}"
    raise UsageError(message)


def _check(setting: Setting, value: object, where: str) -> Any:
    if "|" in setting.kind:
        words = tuple(setting.kind.split("|"))
        if value not in words:
            _known(str(value), words, f"{where}: {value!r} is not one of its words")
        return value
    return _CHECKS[setting.kind](setting, value, where)


def _number(setting: Setting, value: object, where: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        message = f"{where}: {value!r} is not a number; write for example {setting.key} = {setting.example}."
        raise UsageError(message)
    low, high = setting.low, setting.high
    if (low is not None and value < low) or (high is not None and value > high):
        message = f"{where}: {value} is outside {low:g} to {high:g}."
        raise UsageError(message)
    return float(value)


def _whole(setting: Setting, value: object, where: str) -> int:
    number = _number(setting, value, where)
    if number != int(number):
        message = f"{where}: {value!r} is not a whole number."
        raise UsageError(message)
    return int(number)


def _text(setting: Setting, value: object, where: str) -> str:
    if not isinstance(value, str):
        message = f"{where}: {value!r} is not text; write for example {setting.key} = {setting.example}."
        raise UsageError(message)
    return value


def _month_day(setting: Setting, value: object, where: str) -> tuple[int, int]:
    match = re.fullmatch(r"(\d\d)-(\d\d)", value) if isinstance(value, str) else None
    month, day = (int(match[1]), int(match[2])) if match else (0, 0)
    if not 1 <= month <= 12 or not 1 <= day <= DAYS_IN_MONTH[month - 1]:
        message = f"{where}: {value!r} is not a month and day; write {setting.key} = {setting.example or chr(34)}."
        raise UsageError(message)
    return month, day


def _crops(setting: Setting, value: object, where: str) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(isinstance(crop, str) for crop in value):
        message = f"{where}: write a list of crop names, such as {setting.example}."
        raise UsageError(message)
    return tuple(value)


def _number_or_months(setting: Setting, value: object, where: str) -> tuple[float, ...]:
    if not isinstance(value, list):
        return (_number(setting, value, where),) * 12
    if len(value) != 12:
        message = f"{where}: {len(value)} numbers; write one number, or twelve for January to December."
        raise UsageError(message)
    return tuple(_number(setting, month, where) for month in value)


_CHECKS: dict[str, Callable[[Setting, object, str], Any]] = {
    "number": _number,
    "whole": _whole,
    "text": _text,
    "month_day": _month_day,
    "crops": _crops,
    "number_or_months": _number_or_months,
}
