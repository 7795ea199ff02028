"""A use by weight takes part of a container; people of plots count. All data invented."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline import answers
from pipeline.settings import Settings
from pipeline.store.load import load_folder
from pipeline.store.store import open_store

AS_OF = dt.date(2026, 11, 20)
Season = Callable[..., Path]
BATCHES = "batch_id,made_on,method,crop,containers,produce\nA,2026-08-01,cure,onion,2,23 kg\nB,2026-08-01,jam,plum,4,\n"


@pytest.mark.parametrize(
    ("uses", "left"),
    [
        ("2026-09-01,A,,2.5 kg\n", 2),
        ("2026-09-01,A,,2.5 kg\n2026-09-08,A,,9 kg\n", 1),
        ("2026-09-01,A,,12 kg\n2026-09-08,A,,11 kg\n", 0),
        ("2026-09-01,A,1,\n", 1),
        ("2026-09-01,A,1,2 kg\n", 1),
    ],
)
def test_a_weight_takes_part_of_a_container(season: Season, uses: str, left: int) -> None:
    folder = season(batches=BATCHES, consumption="used_on,batch_id,containers,weight\n" + uses)
    with open_store(None) as store:
        load_folder(store, folder, Settings(), AS_OF)
        load_folder(store, folder, Settings(), AS_OF + dt.timedelta(days=1))
        logs = answers.read_logs(store, Settings(), AS_OF)
        held = dict(logs.ledger.select("batch_id", "on_hand").iter_rows())
        assert held["A"] == left
        assert logs.histories.filter(batch_id="A", fate="used").height == 2 - left


def test_a_use_of_a_batch_of_unknown_weight_is_one_container(season: Season) -> None:
    folder = season(batches=BATCHES, consumption="used_on,batch_id,containers,weight\n2026-09-01,B,,0.3 kg\n")
    with open_store(None) as store:
        load_folder(store, folder, Settings(), AS_OF)
        logs = answers.read_logs(store, Settings(), AS_OF)
        assert dict(logs.ledger.select("batch_id", "on_hand").iter_rows())["B"] == 3


def test_weight_lost_from_a_box_is_not_the_box(season: Season) -> None:
    folder = season(batches=BATCHES, spoilage="found_on,batch_id,containers,weight,cause\n2026-09-01,A,,3 kg,rot\n")
    with open_store(None) as store:
        load_folder(store, folder, Settings(), AS_OF)
        logs = answers.read_logs(store, Settings(), AS_OF)
        assert dict(logs.ledger.select("batch_id", "on_hand").iter_rows())["A"] == 2


def test_people_of_the_plots_count_where_the_household_says_none(season: Season) -> None:
    folder = season(plots="plot,people\nP1,2\nP2,3\n")
    with open_store(None) as store:
        load_folder(store, folder, Settings(), AS_OF)
        assert answers.read_logs(store, Settings(), AS_OF).settings.people == 5.0
        assert answers.read_logs(store, Settings(people=2.0), AS_OF).settings.people == 2.0
