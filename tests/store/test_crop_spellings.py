"""Crop names across a folder: unknown ones under one spelling, words with several meanings asked about once."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pipeline.answers import read_logs
from pipeline.settings import Settings
from pipeline.store.load import load_folder
from pipeline.store.store import Store, open_store

Season = Callable[..., Path]
HEADER = "picked_on,crop,weight\n"


def picked(*crops: str) -> str:
    return HEADER + "".join(f"2026-06-{day:02},{crop},1 kg\n" for day, crop in enumerate(crops, start=1))


def load(store: Store, folder: Path) -> None:
    load_folder(store, folder, Settings(), dt.date(2026, 11, 20))


def crops_of(store: Store) -> list[str]:
    return store.core("harvests")["crop"].to_list()


def problems(store: Store, rule: str) -> list[dict[str, Any]]:
    rows = store.answer("problems").sort("file", "line")
    return [row for row in rows.iter_rows(named=True) if row["rule"] == rule]


def test_an_unknown_crop_takes_its_most_used_spelling_in_all_logs(season: Season) -> None:
    folder = season(
        harvests=picked("xingus", "Xingu", "XÍNGUS", "xingus", "xingus", "tomatoes"),
        consumption="used_on,crop,weight,use\n2026-06-09,xingu,0.5 kg,eaten\n",
    )
    with open_store(None) as store:
        load(store, folder)
        assert crops_of(store) == ["xingus"] * 5 + ["tomato"]
        assert store.core("consumption")["crop"].to_list() == ["xingus"]
        assert [(row["file"], row["value"]) for row in problems(store, "unknown_crop")] == [
            ("consumption.csv", "xingu"),
            ("harvests.csv", "xingus"),
        ]
        assert "(5 rows)" in problems(store, "unknown_crop")[1]["message"]


def test_the_spelling_depends_on_the_folder_not_on_how_it_came_about(season: Season) -> None:
    first, second = picked("Xingu", "xingu"), picked("xingus", "xingus", "xingus")
    folder = season(**{"harvests-a": first, "harvests-b": second})
    with open_store(None) as store:
        load(store, folder)
        assert set(crops_of(store)) == {"xingus"}
        (folder / "harvests-b.csv").unlink()
        load(store, folder)
        assert crops_of(store) == ["xingu", "xingu"]
        (folder / "harvests-b.csv").write_text(second)
        load(store, folder)
        assert set(crops_of(store)) == {"xingus"}


@pytest.mark.parametrize("typed", ["squash", "Squashes", "beet", "romanesco", "shallots", "Turnip"])
def test_a_word_with_several_meanings_is_taken_as_typed_and_asked_about_once(season: Season, typed: str) -> None:
    folder = season(
        harvests=picked("carrot", typed, typed),
        consumption=f"used_on,crop,weight,use\n2026-06-09,{typed},0.5 kg,eaten\n",
    )
    with open_store(None) as store:
        load(store, folder)
        assert crops_of(store)[1].startswith(typed.casefold().removesuffix("s"))
        assert [row["level"] for row in problems(store, "unclear_crop")] == ["warning"]
        assert "write in crops.csv" in problems(store, "unclear_crop")[0]["message"]
        assert problems(store, "unknown_crop") == []


def test_the_question_goes_once_crops_csv_answers_it(season: Season) -> None:
    folder = season(harvests=picked("turnip", "turnips", "beets"))
    with open_store(None) as store:
        load(store, folder)
        assert len(problems(store, "unclear_crop")) == 2
        season(crops='crop,aliases\nswede,turnip\nbeetroot,"beet"\n')
        load(store, folder)
        assert crops_of(store) == ["swede", "swede", "beetroot"]
        assert problems(store, "unclear_crop") == []


def test_a_name_that_only_seldom_means_something_else_is_a_note(season: Season) -> None:
    with open_store(None) as store:
        load(store, season(harvests=picked("plums", "plum", "coriander")))
        assert crops_of(store) == ["plum", "plum", "coriander"]
        assert [row["level"] for row in problems(store, "unclear_crop")] == ["note", "note"]


def test_kinds_that_are_named_in_full_are_not_asked_about(season: Season) -> None:
    with open_store(None) as store:
        load(store, season(harvests=picked("white turnip", "true spinach", "banana shallot", "red onions")))
        assert problems(store, "unclear_crop") == []
        assert crops_of(store) == ["turnip", "spinach", "shallot", "onion"]


def test_settings_name_crops_as_freely_as_logs_do(season: Season) -> None:
    settings = Settings(plan_crops=("Xíngu", "Silver Beet", "zucchinis", "unheard of"))
    with open_store(None) as store:
        load(store, season(harvests=picked("xingus", "xingus", "chard")))
        logs = read_logs(store, settings, dt.date(2026, 11, 20))
    assert logs.settings.plan_crops == ("xingus", "chard", "courgette", "unheard of")
