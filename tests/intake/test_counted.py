"""Bunches, heads and bushels by published weights, notes that give the weight, salt in per cent."""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path

import polars as pl
import pytest

from pipeline import reference
from pipeline.intake import quantities
from pipeline.reference.produce_units import unit_kg
from pipeline.settings import Settings
from pipeline.store.load import load_folder
from pipeline.store.store import open_store
from schemas.units import COUNT_UNITS

AS_OF = dt.date(2026, 11, 20)
Season = Callable[..., Path]


def harvest(season: Season, crop: str, weight: str, note: str = "") -> tuple[float, bool] | str:
    """Kilograms and whether they are estimated, or the message of what is wrong."""
    folder = season(harvests=f'picked_on,crop,weight,note\n2026-07-01,{crop},"{weight}","{note}"\n')
    with open_store(None) as store:
        load_folder(store, folder, Settings(), AS_OF)
        rows = store.core("harvests").select("weight_kg", "weight_estimated").rows()
        said = store.answer("problems").filter(pl.col("level") == "error")["message"].to_list()
        return rows[0] if rows else said[0]


@pytest.mark.parametrize(
    ("crop", "weight", "kg"),
    [
        # USDA SR28 (2015): edible grams / (1 - refuse), as in market_units.csv.
        ("cauliflower", "3 heads", 3 * 0.588 / (1 - 0.61)),
        ("cabbage", "2 heads", 2 * 0.908 / (1 - 0.20)),
        ("radish", "10 roots", 10 * 0.0045 / (1 - 0.10)),
        ("radish", "10 radishes", 10 * 0.0045 / (1 - 0.10)),
        ("tomato", "a dozen", 12 * 0.123 / (1 - 0.09)),
        ("sweetcorn", "6 ears", 6 * 0.283),
        ("cauliflower", "3 pieces", 3 * 0.588 / (1 - 0.61)),
        # Extension services before statutes.
        ("tomato", "1 bushel", 24.9),
    ],
)
def test_a_count_is_weighed_as_picked_by_a_published_value(season: Season, crop: str, weight: str, kg: float) -> None:
    found = harvest(season, crop, weight)
    assert isinstance(found, tuple)
    assert found == (pytest.approx(kg, rel=0.05), True)


@pytest.mark.parametrize(
    ("crop", "weight"),
    [("carrot", "1 bunch"), ("beetroot", "2 bunches"), ("celery", "1 bunch"), ("kale", "3 handfuls")],
)
def test_a_unit_without_a_published_weight_is_never_taken_for_another(season: Season, crop: str, weight: str) -> None:
    message = harvest(season, crop, weight)
    assert isinstance(message, str)
    assert "is not known: write a weight" in message


@pytest.mark.parametrize(
    ("note", "kg"),
    [
        ("1.6 kg together", 1.6),
        ("weighed 1.6 kg", 1.6),
        ("= 1600 g", 1.6),
        ("lovely ones, 1600 g in all", 1.6),
        ("3 lb 8 oz in total", 1.5876),
        ("1,6 kg", 1.6),
        ("800 g each", 1.6),
        ("about 800g a piece", 1.6),
    ],
)
def test_the_weight_in_a_note_beside_a_count_wins(season: Season, note: str, kg: float) -> None:
    assert harvest(season, "carrot", "2 bunches", note) == (pytest.approx(kg, abs=1e-4), False)


@pytest.mark.parametrize("note", ["fed with 2 kg of compost in May", "gave 1 kg or 2 kg away", "row of 3 m", ""])
def test_other_numbers_in_a_note_are_no_weight(season: Season, note: str) -> None:
    found = harvest(season, "cabbage", "2 heads", note)
    assert found == (pytest.approx(2 * 1.14, rel=0.02), True)


def test_the_growers_own_weight_of_one_comes_first(season: Season) -> None:
    log = "picked_on,crop,weight\n2026-07-01,cabbage,2 heads\n2026-07-02,cabbage,1 bushel\n"
    folder = season(harvests=log, crops="crop,piece_kg\ncabbage,3\n")
    with open_store(None) as store:
        load_folder(store, folder, Settings(), AS_OF)
        assert store.core("harvests")["weight_kg"][0] == 6.0


def test_a_grower_may_say_what_their_bunch_weighs(season: Season) -> None:
    log = "picked_on,crop,weight\n2026-07-01,carrot,2 bunches\n"
    folder = season(harvests=log, crops="crop,bunch_kg\ncarrot,0.6\n")
    with open_store(None) as store:
        load_folder(store, folder, Settings(), AS_OF)
        assert store.core("harvests")["weight_kg"].to_list() == [1.2]


def test_every_published_unit_is_a_crop_of_the_reference_with_a_source() -> None:
    text = files("pipeline.reference").joinpath("market_units.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    known = set(reference.crop_reference()["crop"])
    assert len(rows) >= 330
    assert {row["crop"] for row in rows} <= known
    for row in rows:
        assert 0.0001 < float(row["kg"]) < 60
        assert row["source"]
        assert row["read_as"]


@pytest.mark.parametrize("crop", ["bean", "pea", "apple", "potato", "onion"])
def test_bushels_are_of_the_fresh_crop(crop: str) -> None:
    # Statutes give 25 to 27 kg for a bushel of dry seed; fresh beans in the pod are about 13.6 kg (30 lb).
    bushel = unit_kg(crop, "bushel")
    assert bushel is None or bushel < {"bean": 16, "pea": 16}.get(crop, 30)


@pytest.mark.parametrize("unit", sorted(COUNT_UNITS))
def test_every_word_for_a_thing_is_read_as_it(unit: str) -> None:
    for word in COUNT_UNITS[unit]:
        cell = quantities.quantity(f"3 {word}", "mass", None, countable=True)
        if unit != "dozen":
            assert (cell.value, cell.unit) == (3.0, unit), word
        assert quantities.quantity(f"3 {word}", "volume", None).rule, word


SALTED = (
    "batch_id,made_on,method,crop,containers,produce,salt,water,vinegar,salt %,salt_pct_of_all,salt_pct_of_produce\n"
)


def salt_g(season: Season, row: str) -> tuple[float | None, list[str]]:
    folder = season(batches=SALTED + f"A,2026-07-01,ferment,cabbage,2,{row}\n")
    with open_store(None) as store:
        load_folder(store, folder, Settings(), AS_OF)
        core = store.core("batches")
        said = store.answer("problems").filter(pl.col("level").is_in(["error", "cell"]))["rule"].to_list()
        return (core["salt_g"][0] if core.height else None), said


@pytest.mark.parametrize(
    ("row", "grams"),
    [
        ("2 kg,2 %,,,,,", 40.0),
        ("2 kg,2.5%,,,,,", 50.0),
        ("2 kg,,,,2,,", 40.0),
        ("2 kg,40 g,,,2,,", 40.0),
        ('2 kg,"2,5 %",,,,,', 50.0),
        ("1 kg,,1 l,,,3,", 0.03 / 0.97 * 2000),
        ("1 kg,3 % of all,1 l,,,,", 0.03 / 0.97 * 2000),
        ("1 kg,,1 l,,,,2", 20.0),
        ("1 kg,2 % of produce,,500 ml,,,", 20.0),
        ("1 kg,25 g,1 l,,,,", 25.0),
    ],
)
def test_salt_in_per_cent_becomes_grams(season: Season, row: str, grams: float) -> None:
    assert salt_g(season, row) == (pytest.approx(grams), [])


@pytest.mark.parametrize(
    ("row", "rule"),
    [
        ("2 kg,2 %,1 l,,,,", "salt_percent"),
        (",2 %,,,,,", "salt_percent"),
        ("2 kg,80 g,,,2,,", "inconsistent"),
        ("2 kg,,1 l,,,2,4", "inconsistent"),
    ],
)
def test_per_cent_of_nobody_knows_what_is_asked_about(season: Season, row: str, rule: str) -> None:
    assert salt_g(season, row) == (None, [rule])
