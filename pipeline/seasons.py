"""Which garden year is reviewed: the one that was asked for, else the last with enough logged."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import polars as pl

from pipeline.errors import UsageError
from schemas.words.days import season_label

if TYPE_CHECKING:
    from pipeline.settings import Settings

Season = tuple[dt.date, dt.date]
"""First and last day of a garden year."""

ENOUGH_RUNNING, ENOUGH_OVER = 0.5, 0.1
"""Share of what the seasons before it gave that a season must have, while it runs and when it is over."""
NEARLY_OVER = 0.75
"""From this share of a season on, it is the next one that is planned."""
MOST_OF_A_SEASON = 0.6
"""A garden year that crosses New Year is also meant by the year that holds such a share of its days."""

_TWO_YEARS = re.compile(r"(\d{4}|\d{2})\s*[-/\u2013]\s*(\d{4}|\d{2})")
_ONE_YEAR = re.compile(r"\d{4}")


@dataclass(frozen=True)
class Choice:
    """What a person chose beside the folder."""

    season: str | None = None
    """The garden year reviewed, as typed; None for the last with enough logged."""
    today: dt.date | None = None
    """The day it is; None for the day that counts as today."""


def logged_seasons(harvests: pl.DataFrame, sowings: pl.DataFrame, settings: Settings) -> dict[Season, float]:
    """How much is logged of each garden year, in order: kilos picked, or rows where nothing is weighed."""
    days = pl.concat(
        [
            harvests.select(day="picked_on", kg=pl.col("weight_kg").cast(pl.Float64)),
            sowings.select(day="sown_on", kg=pl.lit(0.0)),
        ]
    ).drop_nulls("day")
    by_day = days.group_by("day").agg(pl.len().alias("rows"), pl.col("kg").sum()).sort("day")
    weighed = by_day["kg"].sum() > 0
    found: dict[Season, float] = {}
    for day, rows, kg in by_day.iter_rows():
        season = settings.season_of(day)
        found[season] = found.get(season, 0.0) + (kg if weighed else rows)
    return found


def usual_season(logged: Mapping[Season, float], settings: Settings, as_of: dt.date) -> Season:
    """The last garden year with enough logged: while it runs, half of what those before it gave, then a tenth."""
    seasons = sorted(logged)
    for at in range(len(seasons) - 1, -1, -1):
        season, before = seasons[at], [logged[one] for one in seasons[:at]]
        enough = ENOUGH_OVER if season[1] <= as_of else ENOUGH_RUNNING
        if logged[season] >= enough * (sum(before) / len(before) if before else 0):
            return season
    return settings.season_of(as_of)


def chosen_season(text: str, logged: Mapping[Season, float], settings: Settings) -> Season:
    """The garden year that a text such as ``2025/26`` or ``2026`` names.

    Raises:
        UsageError: it is no year, may be one of two, or nothing is logged of it.
    """
    meant = _meant(text.strip(), settings)
    if len(meant) > 1:
        meant = [season for season in meant if season in logged] or meant
    if len(meant) > 1:
        either = " or ".join(season_label(*season) for season in meant)
        message = f"--season {text}: may be {either}, for the garden year starts on {_starts(settings)}. Write which."
        raise UsageError(message)
    if meant[0] not in logged:
        known = ", ".join(season_label(*season) for season in sorted(logged)) or "none yet"
        message = f"--season {text}: no picking or sowing is logged of it. Logged: {known}."
        raise UsageError(message)
    return meant[0]


def _meant(text: str, settings: Settings) -> list[Season]:
    month, day = settings.season_start
    whole_year = (month, day) == (1, 1)
    example = "2026" if whole_year else "2025/26"
    if match := _TWO_YEARS.fullmatch(text):
        first, second = (int(part) + 2000 * (len(part) == 2) for part in match.groups())
        if second == first + 1 and not whole_year and _in_calendar(first):
            return [_starting(first, settings)]
    elif _ONE_YEAR.fullmatch(text) and _in_calendar(int(text)):
        year = int(text)
        both = [_starting(year - 1, settings), _starting(year, settings)]
        most = [season for season in both if _share_in(year, season) >= MOST_OF_A_SEASON]
        return most or both
    message = f"--season {text}: write a garden year such as {example}; here it starts on {_starts(settings)}."
    raise UsageError(message)


def _in_calendar(year: int) -> bool:
    return dt.MINYEAR + 1 < year < dt.MAXYEAR - 1


def _starts(settings: Settings) -> str:
    month, day = settings.season_start
    return f"{dt.date(2024, month, day):%d}.".lstrip("0").rstrip(".") + f" {dt.date(2024, month, day):%B}"


def _starting(year: int, settings: Settings) -> Season:
    """The garden year that starts in a calendar year."""
    return settings.season_of(dt.date(year, 12, 31))


def _share_in(year: int, season: Season) -> float:
    first, last = max(season[0], dt.date(year, 1, 1)), min(season[1], dt.date(year, 12, 31))
    return max((last - first).days + 1, 0) / ((season[1] - season[0]).days + 1)


def planned_season(usual: Season, settings: Settings, as_of: dt.date) -> Season:
    """The garden year to plan: the one after the last with enough logged, or today's if much of it is to come."""
    first, last = settings.season_of(max(usual[1] + dt.timedelta(days=1), as_of))
    if (as_of - first).days > NEARLY_OVER * (last - first).days:
        return settings.season_of(last + dt.timedelta(days=1))
    return first, last


def season_sentence(season: Season, usual: Season, logged: Mapping[Season, float], as_of: dt.date) -> str:
    """Which season is reviewed, why, and how to choose another; empty where there is but one."""
    others = [season_label(*one) for one in sorted(logged) if one != season]
    if not others:
        return ""
    so_far = " so far" if season[1] > as_of else ""
    why = ", the last with enough logged" if season == usual else ", as asked for"
    return f"This is the season {season_label(*season)}{so_far}{why}; for another add --season {others[-1]}" + (
        f" (also logged: {', '.join(others[:-1])})." if others[:-1] else "."
    )
