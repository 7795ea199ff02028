"""Rotation: in which beds a planned family stood too lately, and which beds had one family too often."""

from __future__ import annotations

import datetime as dt

import polars as pl

REST_YEARS = 3
"""A family should come back to a bed after three years at the earliest: California Master Gardener Handbook, UC
Agriculture and Natural Resources."""
BED_SCHEMA = {"place": pl.String(), "family": pl.String(), "year": pl.Int64()}


def family_beds(sowings: pl.DataFrame, crops: pl.DataFrame) -> pl.DataFrame:
    """Where each family stood in each year.

    Args:
        sowings: core sowings; those without a bed or of a crop without a family are left out.
        crops: crop, family.

    Returns:
        place (``plot bed``, or ``bed`` where there is no plot), family, year; one row each, sorted.
    """
    joined = sowings.drop_nulls("bed").join(crops.select("crop", "family"), on="crop", how="inner")
    place = pl.concat_str("plot", "bed", separator=" ", ignore_nulls=True)
    return (
        joined.drop_nulls("family")
        .select(place.alias("place"), "family", pl.col("sown_on").dt.year().cast(pl.Int64).alias("year"))
        .unique()
        .sort("family", "place", "year")
        .select(BED_SCHEMA.keys())
    )


def rotation_notes(plan: pl.DataFrame, sowings: pl.DataFrame, crops: pl.DataFrame, first_day: dt.date) -> list[str]:
    """For each planned family, the beds to keep it out of next season; the plan itself names no beds.

    Args:
        plan: the ``sowing_plan`` answer.
        sowings: core sowings of all seasons.
        crops: crop, family.
        first_day: first day of the season that is planned.
    """
    stood = family_beds(sowings, crops).filter(pl.col("year") > first_day.year - REST_YEARS)
    planned = plan.select("crop").unique().join(crops.select("crop", "family"), on="crop", how="inner")
    notes = []
    for (family,), members in (
        planned.drop_nulls("family").sort("family", "crop").group_by("family", maintain_order=True)
    ):
        places = stood.filter(pl.col("family") == family).group_by("place").agg(pl.len().alias("n")).sort("place")
        if places.is_empty():
            continue
        again = places.filter(pl.col("n") > 1)["place"].to_list()
        where = ", ".join(places["place"])
        note = f"{family} ({', '.join(members['crop'])}): not in {where}, where it stood in the last two years"
        notes.append(f"{note}{_again(again, places.height)}.")
    if notes:
        notes.append(f"A family should come back to a bed after {REST_YEARS} years at the earliest.")
    return notes


def _again(places: list[str], n_places: int) -> str:
    if not places:
        return ""
    return f" (in both in {'all of them' if len(places) == n_places else ', '.join(places)})"
