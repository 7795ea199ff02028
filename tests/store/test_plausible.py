"""Values that cannot be meant are set aside with "check the unit"; unusual ones that can be are not. Data invented."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import polars as pl
import pytest

from pipeline.settings import Settings
from pipeline.store.load import load_folder
from pipeline.store.store import open_store

AS_OF = dt.date(2026, 11, 20)
Season = Callable[..., Path]


def problems(folder: Path) -> list[tuple[str, int, str, str]]:
    """(file, line, column, level) of what is implausible."""
    with open_store(None) as store:
        load_folder(store, folder, Settings(), AS_OF)
        found = store.answer("problems").filter(pl.col("rule") == "implausible")
        assert found["message"].str.contains("check the (unit|count)").all()
        return found.select("file", "line", "column", "level").rows()


def pickings(crop: str, weights: list[str], heading: str = "weight") -> str:
    rows = (f'2026-07-{day:02},{crop},"{weight}"\n' for day, weight in enumerate(weights, start=1))
    return f"picked_on,crop,{heading}\n" + "".join(rows)


CARROTS = ["0.7", "0.9", "1.1", "0.8", "1.0", "0.95"]


@pytest.mark.parametrize(
    ("heading", "weights"),
    [
        ("weight_kg", [*CARROTS, "950"]),
        ("weight_kg", [*CARROTS, "120"]),
        ("weight", [*(f"{weight} kg" for weight in CARROTS), "1,234.5 kg"]),
        ("weight_kg", ["0.7", "1.1", "0.9", "0.8", "1.0", "1.0", "500"]),
        ("weight_g", ["800", "650", "900", "720", "1100", "850", "1.2"]),
    ],
)
def test_a_picking_far_from_all_others_of_its_crop_is_set_aside(
    season: Season, heading: str, weights: list[str]
) -> None:
    folder = season(harvests=pickings("carrot", weights, heading))
    assert problems(folder) == [("harvests.csv", 8, "weight", "error")]


@pytest.mark.parametrize(
    "weights",
    [
        ["180 kg", "220 kg", "310 kg", "150 kg", "275 kg", "400 kg"],  # a market garden
        ["0.4 kg", "0.5 kg", "0.6 kg", "0.5 kg", "0.4 kg", "60 kg"],  # small early pickings, then the main lift
        ["5 g", "8 g", "4 g", "6 g", "7 g", "300 g"],  # herbs by the sprig, then a bunch to dry
        ["380 kg"],  # the only row there is
    ],
)
def test_large_and_small_gardens_are_left_alone(season: Season, weights: list[str]) -> None:
    assert problems(season(harvests=pickings("potato", weights))) == []


def test_three_pickings_are_enough_to_see_grams_under_a_heading_of_kg(season: Season) -> None:
    assert problems(season(harvests=pickings("carrot", ["0.7", "1.1", "950"], "weight_kg"))) == [
        ("harvests.csv", 4, "weight", "error")
    ]
    assert problems(season(harvests=pickings("potato", ["0.7", "1.1", "95"], "weight_kg"))) == []


def test_a_lone_tonne_is_asked_about(season: Season) -> None:
    small = pickings("carrot", [f"{weight} kg" for weight in CARROTS])
    folder = season(harvests=small + "2026-08-01,pumpkin,1500 kg\n2026-08-03,melon,35 kg\n")
    assert problems(folder) == [("harvests.csv", 8, "weight", "error")]


BATCH = "batch_id,made_on,method,crop,containers,produce,salt,vinegar_acid_pct,store,store_c,drying_c\n"


@pytest.mark.parametrize(
    ("row", "column"),
    [
        ("A,2026-07-01,pickle,cucumber,4,2 kg,,0.05,,,", "vinegar_acid_pct"),
        ("A,2026-07-01,jam,plum,4,2 kg,,,pantry,55,", "store_c"),
        ("A,2026-07-01,dry,apple,4,2 kg,,,,,110", "drying_c"),
        ("A,2026-07-01,ferment,cabbage,4,2 kg,1.5 kg,,,,", "salt"),
    ],
)
def test_an_odd_optional_cell_costs_the_cell(season: Season, row: str, column: str) -> None:
    folder = season(batches=BATCH + row + "\n")
    assert problems(folder) == [("batches.csv", 2, column, "cell")]
    with open_store(None) as store:
        load_folder(store, folder, Settings(), AS_OF)
        core = store.core("batches")
        assert core.height == 1
        assert core[{"salt": "salt_g"}.get(column, column)][0] is None


@pytest.mark.parametrize(
    "row",
    [
        "A,2026-07-01,pickle,cucumber,4,2 kg,,5,pantry,28,",
        "A,2026-07-01,pickle,cucumber,4,2 kg,,25,,,",  # vinegar essence
        "A,2026-07-01,freeze,pea,4,2 kg,,,freezer,-24,",
        "A,2026-07-01,pickle,lemon,4,2 kg,500 g,,,,",  # salted lemons
        "A,2026-07-01,dry,apple,4,2 kg,,,,,70",
        "A,2026-07-01,dry,apple,4,2 kg,,,,,140 F",
        "A,2026-07-01,jam,plum,4,2 kg,,,pantry,55 F,",
    ],
)
def test_what_is_usual_somewhere_is_taken(season: Season, row: str) -> None:
    assert problems(season(batches=BATCH + row + "\n")) == []


def test_a_batch_of_thousands_of_jars_is_asked_about(season: Season) -> None:
    rows = "".join(f"B{n},2026-07-01,jam,plum,{n},,,,,,\n" for n in range(4, 11))
    assert problems(season(batches=BATCH + rows + "C,2026-07-02,jam,plum,6000,,,,,,\n")) == [
        ("batches.csv", 9, "containers", "error")
    ]


def test_what_is_mended_counts_again(season: Season) -> None:
    folder = season(harvests=pickings("carrot", [*CARROTS, "950"], "weight_kg"))
    with open_store(None) as store:
        load_folder(store, folder, Settings(), AS_OF)
        assert store.core("harvests").height == 6
        season(harvests=pickings("carrot", [*CARROTS, "950 g"], "weight_kg"))
        load_folder(store, folder, Settings(), AS_OF)
        assert store.core("harvests").height == 7
