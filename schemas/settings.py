"""Every setting of ``rowshelf.toml`` once: section, key, kind, default and meaning."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Setting:
    """One key of ``rowshelf.toml``.

    ``kind``: ``text``, ``number``, ``whole``, ``month_day`` (``"07-01"``), ``crops`` (list of names),
    ``number_or_months`` (one number, or twelve) or one of several words separated by ``|``.
    """

    section: str
    key: str
    kind: str
    description: str
    default: object = None
    low: float | None = None
    high: float | None = None
    example: str = ""


SETTINGS: tuple[Setting, ...] = (
    Setting("garden", "name", "text", "name of the garden, for page titles", "My garden", example='"My garden"'),
    Setting(
        "garden",
        "latitude",
        "number",
        "degrees north; minus is south. Used for season, daylength and frost",
        None,
        -75,
        75,
        "45.0",
    ),
    Setting("garden", "longitude", "number", "degrees east; minus is west", None, -180, 180, "12.5"),
    Setting("garden", "elevation_m", "number", "height above the sea, metres", None, -430, 5500, "120"),
    Setting(
        "garden",
        "season_starts",
        "month_day",
        "first day of the garden year; left out: 1 January in the north, 1 July in the south",
        None,
        example='"01-01"',
    ),
    Setting("garden", "last_frost", "month_day", "usual day of the last spring frost", None, example='"04-25"'),
    Setting("garden", "first_frost", "month_day", "usual day of the first autumn frost", None, example='"10-15"'),
    Setting("garden", "bed_area_m2", "number", "area of all beds, square metres", None, 0.1, 1_000_000, "60"),
    Setting("household", "people", "number", "people who eat from the garden", None, 0.5, 100_000, "4"),
    Setting(
        "household",
        "fresh_use",
        "logged|part|not logged",
        "how much of what you eat fresh is written down in consumption.csv",
        "not logged",
        example='"not logged"',
    ),
    Setting(
        "units",
        "date_order",
        "iso|day-first|month-first",
        "how a date such as 3/4/2026 is meant; with iso such a date is set aside",
        "iso",
        example='"day-first"',
    ),
    Setting("units", "pint", "us|imperial", "which pint, quart, gallon and fluid ounce", "us", example='"us"'),
    Setting("units", "report", "metric|us", "units on the pages", "metric", example='"metric"'),
    Setting(
        "needs",
        "fresh_kg_per_week",
        "number_or_months",
        "fresh use wanted, kg per week: one number, or twelve for January to December",
        None,
        0,
        100_000,
        "1.5",
    ),
    Setting(
        "needs",
        "containers_per_year",
        "number",
        "containers the household uses in a year",
        None,
        0,
        1_000_000,
        "20",
    ),
    Setting(
        "kitchen",
        "kg_per_week",
        "number",
        "produce that can be prepared for keeping in a week, kg",
        None,
        0,
        1_000_000,
        "15",
    ),
    Setting(
        "kitchen",
        "fresh_store_c",
        "number",
        "temperature where fresh produce waits, C; left out: each crop is taken to stand at its own best",
        None,
        -1,
        35,
        "8",
    ),
    Setting("kitchen", "jars", "whole", "jars you own", None, 0, 1_000_000, "80"),
    Setting(
        "plan",
        "crops",
        "crops",
        "crops to plan; left out: those in the logs",
        None,
        example='["carrot", "pea"]',
    ),
    Setting("plan", "first_sowing", "month_day", "no sowing before this day", None, example='"03-01"'),
    Setting("plan", "last_sowing", "month_day", "no sowing after this day", None, example='"09-15"'),
    Setting("plan", "longest_gap", "whole", "warn when a wanted crop is missing for longer, weeks", 4, 1, 52, "4"),
    Setting("plan", "max_sowings", "whole", "most sowings of one crop in a season", 8, 1, 40, "8"),
    Setting(
        "plan",
        "min_sowings",
        "whole",
        "least sowings of a crop that is sown more than once, so that one failure is not all",
        1,
        1,
        40,
        "2",
    ),
    Setting(
        "plan",
        "warming",
        "ignored|followed",
        "followed: the planned year is moved by the trend of the logged years, if it can be told",
        "ignored",
        example='"followed"',
    ),
    Setting(
        "files",
        '"Preserves"',
        "text",
        "the log that a file or sheet of another name holds (batches, harvests, ...), or none to leave it out",
        example='"batches"',
    ),
    Setting(
        "columns.batches",
        '"Number"',
        "text",
        "the column that a heading of that log means, or none; [columns.harvests] and so on for the other logs",
        example='"containers"',
    ),
    Setting("share", "smallest_group", "whole", "no figure is shared that rests on fewer plots", 3, 2, 1000, "3"),
)
SECTIONS: tuple[str, ...] = tuple(dict.fromkeys(setting.section for setting in SETTINGS))
