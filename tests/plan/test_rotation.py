"""Beds to keep a family out of. Families and the rest of three years: California Master Gardener Handbook, UC ANR."""

from __future__ import annotations

import datetime as dt

import polars as pl
from core_frames import core, reference

from pipeline.plan.rotation import family_beds, rotation_notes

CROPS = reference(
    cabbage={"family": "Brassicaceae"},
    radish={"family": "Brassicaceae"},
    pea={"family": "Fabaceae"},
    leek={"family": "Amaryllidaceae"},
    weed={},
)
FIRST = dt.date(2027, 1, 1)


def sown(crop: str, year: int, bed: str | None, plot: str | None = None) -> dict[str, object]:
    return {"sowing_id": f"{crop}{year}{bed}", "sown_on": dt.date(year, 4, 1), "crop": crop, "bed": bed, "plot": plot}


def plan(*crops: str) -> pl.DataFrame:
    return pl.DataFrame({"crop": crops}, schema={"crop": pl.String})


def test_where_each_family_stood() -> None:
    sowings = core(
        "sowings",
        sown("cabbage", 2026, "B", "7"),
        sown("radish", 2026, "B", "7"),
        sown("pea", 2025, "A"),
        sown("pea", 2025, None),
        sown("weed", 2025, "A"),
    )
    assert family_beds(sowings, CROPS).rows() == [("7 B", "Brassicaceae", 2026), ("A", "Fabaceae", 2025)]


def test_planned_families_are_kept_out_of_beds_of_the_last_two_years() -> None:
    sowings = core(
        "sowings",
        sown("cabbage", 2026, "A"),
        sown("radish", 2025, "A"),
        sown("radish", 2025, "B"),
        sown("pea", 2026, "C"),
        sown("pea", 2025, "C"),
        sown("cabbage", 2024, "D"),
        sown("leek", 2026, "E"),
    )
    assert rotation_notes(plan("cabbage", "radish", "pea"), sowings, CROPS, FIRST) == [
        "Brassicaceae (cabbage, radish): not in A, B, where it stood in the last two years (in both in A).",
        "Fabaceae (pea): not in C, where it stood in the last two years (in both in all of them).",
        "A family should come back to a bed after 3 years at the earliest.",
    ]


def test_nothing_is_said_without_beds_or_of_families_that_may_come_back() -> None:
    assert rotation_notes(plan("pea"), core("sowings"), CROPS, FIRST) == []
    assert rotation_notes(plan("pea"), core("sowings", sown("pea", 2024, "A")), CROPS, FIRST) == []
    assert rotation_notes(plan(), core("sowings", sown("pea", 2026, "A")), CROPS, FIRST) == []
