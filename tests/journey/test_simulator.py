"""The invented seasons: the same seed gives the same bytes, and nothing is made or lost on the way."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import math
import re
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pipeline.settings import parse_settings
from sample_data import keeping
from sample_data.gardens import RIVER_ISLAND, SOUTH
from sample_data.household import Household, Lot, keep_house, mostly
from sample_data.keeping import cumulative_hazard
from sample_data.making import Choices, hazard_ratio, make_batches
from sample_data.scenario import Picking, Season
from sample_data.simulate import log_bytes, main, simulate, write
from sample_data.truth import FRAILTY_VARIANCE
from sample_data.weather import Weather, degree_days
from schemas.codes import CODES
from schemas.logs import LOGS

COMMITTED = Path(__file__).parents[2] / "sample_data" / "river_island"
BALANCE_PARTS = ("eaten_kg", "given_kg", "put_by_kg", "wasted_kg", "left_kg")


@pytest.fixture(scope="module")
def island() -> Season:
    return simulate(RIVER_ISLAND.seed, RIVER_ISLAND)


@pytest.fixture(scope="module")
def south() -> Season:
    return simulate(SOUTH.seed, SOUTH)


def rows(season: Season, name: str) -> list[dict[str, str]]:
    """The rows of one log as written, without those made wrong on purpose; blank lines left out."""
    log = season.logs[name]
    wrong = {row["line"] for row in season.truth["rows_made_wrong"] if row["file"] == name}
    text = log_bytes(log).decode(log.encoding)
    names = [cell.lower().replace(" ", "_").replace("-", "_") for cell in log.header]
    lines = list(csv.reader(io.StringIO(text), delimiter=log.delimiter))
    return [
        dict(zip(names, cells, strict=True))
        for number, cells in enumerate(lines, 1)
        if number > 1 and cells and number not in wrong
    ]


def folder_bytes(folder: Path) -> dict[str, bytes]:
    """The files of a folder, but for what commands leave in it: a store, and folders of pages."""
    files = (
        path for path in sorted(folder.iterdir()) if path.is_file() and not path.name.startswith("rowshelf.duckdb")
    )
    return {path.name: path.read_bytes() for path in files}


def test_committed_files_are_what_the_simulator_makes(tmp_path: Path) -> None:
    main(["--folder", str(tmp_path / "river_island")])
    made = folder_bytes(tmp_path / "river_island")
    stale = [name for name, content in folder_bytes(COMMITTED).items() if made.get(name) != content]
    assert (stale, sorted(made)) == ([], sorted(folder_bytes(COMMITTED))), "run python -m sample_data.simulate"
    truth = "river_island_truth.json"
    assert (tmp_path / truth).read_bytes() == (COMMITTED.parent / truth).read_bytes()


def test_same_seed_same_bytes_and_another_seed_another_season(tmp_path: Path) -> None:
    for name, seed in (("a", 3), ("b", 3), ("c", 4)):
        write(simulate(seed, SOUTH), tmp_path / name)
    assert folder_bytes(tmp_path / "a") == folder_bytes(tmp_path / "b")
    assert (tmp_path / "a_truth.json").read_bytes() == (tmp_path / "b_truth.json").read_bytes()
    assert folder_bytes(tmp_path / "a")["weather.csv"] != folder_bytes(tmp_path / "c")["weather.csv"]


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_other_seeds_hold_the_same_rules(seed: int) -> None:
    truth = simulate(seed, RIVER_ISLAND).truth
    assert len(truth["rows_made_wrong"]) == 14
    assert len(truth["cautions"]) == 6
    for balance in truth["fresh"]["balance"].values():
        assert balance["picked_kg"] == pytest.approx(sum(balance[part] for part in BALANCE_PARTS), abs=5e-4)


@pytest.mark.parametrize("garden", ["island", "south"])
def test_every_gram_picked_is_accounted_for(garden: str, request: pytest.FixtureRequest) -> None:
    season: Season = request.getfixturevalue(garden)
    for crop, balance in season.truth["fresh"]["balance"].items():
        grams = {part: round(1000 * kilos) for part, kilos in balance.items()}
        assert grams["picked_kg"] == sum(grams[part] for part in BALANCE_PARTS), crop
        batches = sum(round(1000 * batch["picked_kg"].get(crop, 0)) for batch in season.truth["batches"])
        assert grams["put_by_kg"] == batches, crop


def test_picked_weights_in_the_log_are_the_truth(island: Season) -> None:
    """Metric cells are exact; pounds, heads and bunches are not, so only crops never typed so are compared."""
    typed: Counter[str] = Counter()
    odd = {"wrong"}
    for row in rows(island, "harvests-2025.csv") + rows(island, "harvests-2026.csv"):
        found = re.fullmatch(r"([\d.,]+) ?(k?g)", row["weight"])
        if found and row["sowing_id"]:
            typed[row["sowing_id"]] += round(float(found[1].replace(",", ".")) * (1000 if found[2] == "kg" else 1))
        else:
            odd.add(row["sowing_id"])
    sowings = island.truth["growing"]["sowings"]
    exact = [name for name, sowing in sowings.items() if typed[name] == round(1000 * sowing["picked_kg"])]
    wrong_rows = sum(row["file"].startswith("harvests") for row in island.truth["rows_made_wrong"])
    assert len(exact) >= len(sowings) - len(odd) - wrong_rows


def test_the_island_has_two_full_seasons(island: Season) -> None:
    harvests = [rows(island, f"harvests-{year}.csv") for year in (2025, 2026)]
    assert all(len(season) > 200 for season in harvests)
    assert 400 <= sum(map(len, harvests)) <= 1000
    batches = rows(island, "batches.csv")
    assert len(batches) >= 70
    assert len({batch["crop"] for batch in batches}) >= 12
    methods = {CODES["method"].lookup()[batch["method"]] for batch in batches}
    assert methods == {"freeze", "dry", "pickle", "ferment", "jam", "bottle", "cure"}
    assert len(rows(island, "plots.csv")) == 5
    assert {plot["share"] for plot in rows(island, "plots.csv")} == {"yes", "no"}
    assert sum(row["containers"] == "0" for row in rows(island, "spoilage.csv")) > 100
    assert 1200 <= sum(balance["picked_kg"] for balance in island.truth["fresh"]["balance"].values()) <= 2400


@pytest.mark.parametrize("garden", ["island", "south"])
def test_no_batch_gives_more_than_it_had(garden: str, request: pytest.FixtureRequest) -> None:
    season: Season = request.getfixturevalue(garden)
    made = {row["batch_id"]: int(row["containers"]) for row in rows(season, "batches.csv")}
    made_on = {batch["batch_id"]: batch["made_on"] for batch in season.truth["batches"]}
    gone: Counter[str] = Counter()
    for row in rows(season, "consumption.csv"):
        if row["batch_id"]:
            gone[row["batch_id"]] += int(row["containers"])
            assert as_iso(row["used_on"]) > made_on[row["batch_id"]]
    for row in rows(season, "spoilage.csv"):
        if row["batch_id"] and row["action"] in {"discarded", "composted", "fed to animals"}:
            gone[row["batch_id"]] += int(row["containers"])
            assert as_iso(row["found_on"]) > made_on[row["batch_id"]]
    assert all(gone[batch] <= made[batch] for batch in gone)


def as_iso(cell: str) -> str:
    """The day of a cell that is ISO, or day first with points."""
    found = re.fullmatch(r"(\d\d)\.(\d\d)\.(\d{4})", cell)
    return f"{found[3]}-{found[2]}-{found[1]}" if found else dt.date.fromisoformat(cell).isoformat()


def test_stock_on_hand_is_what_the_logs_leave(south: Season) -> None:
    gone: Counter[str] = Counter()
    for row in rows(south, "consumption.csv"):
        gone[row["batch_id"]] += int(row["containers"] or 0)
    for row in rows(south, "spoilage.csv"):
        if row["action"] not in {"skimmed", "redried", "kept"}:
            gone[row["batch_id"]] += int(row["containers"] or 0)
    for batch in south.truth["batches"]:
        assert batch["on_hand"] == batch["made"] - gone[batch["batch_id"]]


def test_no_one_is_named(island: Season, south: Season) -> None:
    for season in (island, south):
        growers = {row["grower"] for row in rows(season, "plots.csv")}
        growers |= {row["grower"] for row in rows(season, "harvests-2025.csv")}
        tasters = {row["taster"] for row in rows(season, "tastings.csv")}
        assert all(re.fullmatch(r"grower [A-G]", name) for name in growers)
        assert all(re.fullmatch(r"taster [A-J]", name) for name in tasters)
        assert "invented" in season.texts["ABOUT.md"]
        assert "invented" in parse_settings(season.texts["rowshelf.toml"]).name
        assert str(season.truth["seed"]) in season.texts["ABOUT.md"]


def test_the_south_season_crosses_new_year(south: Season) -> None:
    days = [as_iso(row["picked_on"]) for row in rows(south, "harvests-2025.csv")]
    assert min(days) < "2026-01-01" <= max(days) <= "2026-06-30"
    assert parse_settings(south.texts["rowshelf.toml"]).southern
    january = [float(row["tmax_c"]) for row in rows(south, "weather.csv") if row["date"].startswith("2026-01")]
    july = [float(row["tmax_c"]) for row in rows(south, "weather.csv") if row["date"].startswith("2025-07")]
    assert np.mean(january) > np.mean(july) + 8
    assert south.truth["rows_made_wrong"] == []


def test_settings_are_read_as_meant(island: Season) -> None:
    settings = parse_settings(island.texts["rowshelf.toml"])
    assert (settings.people, settings.fresh_use, settings.date_order) == (9, "part", "iso")
    assert settings.bed_area_m2 == sum(float(row["area_m2"]) for row in rows(island, "plots.csv"))
    assert settings.kitchen_kg_per_week == island.truth["fresh"]["kitchen_kg_per_week"]
    assert len(settings.needs) >= 8


def test_columns_are_those_of_the_logs_and_one_extra(island: Season) -> None:
    extra = {}
    for name, log in island.logs.items():
        kind = LOGS[name.removesuffix(".csv").split("-")[0]]
        known = {column.name for column in kind.columns}
        names = {cell.lower().replace(" ", "_").replace("-", "_") for cell in log.header}
        extra[name] = names - known
    assert {name: columns for name, columns in extra.items() if columns} == {"harvests-2026.csv": {"basket"}}


def test_files_come_in_the_dialects_of_real_folders(island: Season) -> None:
    by_name = {name: log_bytes(log) for name, log in island.logs.items()}
    assert by_name["batches.csv"].startswith(b"\xef\xbb\xbf")
    assert by_name["harvests-2025.csv"].startswith(b"Picked on;")
    assert b"\x96" in by_name["harvests-2025.csv"]
    with pytest.raises(UnicodeDecodeError):
        by_name["harvests-2025.csv"].decode()
    assert b"\n\n" in by_name["consumption.csv"]
    assert not any(b"\r" in content for content in by_name.values())


def test_rows_made_wrong_stand_where_the_truth_says(island: Season) -> None:
    wrong: list[dict[str, Any]] = island.truth["rows_made_wrong"]
    total = sum(len(log.rows) for log in island.logs.values())
    assert 10 <= len(wrong) <= 0.03 * total
    for row in wrong:
        log = island.logs[row["file"]]
        column = [cell.lower().replace(" ", "_").replace("-", "_") for cell in log.header].index(row["column"])
        assert log.rows[row["line"] - 2][column] == row["value"], row
    assert {(row["file"], row["value"]) for row in wrong} >= {
        ("harvests-2025.csv", "2025-06-31"),
        ("harvests-2025.csv", "450"),
        ("consumption.csv", "3/4/2026"),
        ("spoilage.csv", "B52-014"),
    }


def test_one_batch_was_left_out_of_a_look(island: Season) -> None:
    missed = island.truth["keeping"]["missed_look"]
    looks = [(as_iso(row["found_on"]), row["batch_id"]) for row in rows(island, "spoilage.csv")]
    same_day = [batch for day, batch in looks if day == missed["day"]]
    assert len(same_day) > 5
    assert missed["batch_id"] not in same_day
    mine = [day for day, batch in looks if batch == missed["batch_id"]]
    assert min(mine) < missed["day"] < max(mine)


def test_makes_that_a_published_limit_warns_of_are_in_the_log(island: Season) -> None:
    batches = {row["batch_id"]: row for row in rows(island, "batches.csv")}
    named = {words: batches[batch] for batch, words in island.truth["cautions"].items()}
    salty = named["ferment at 1.4 % salt"]
    assert grams(salty["salt"]) / grams(salty["produce"]) == pytest.approx(0.014, abs=0.0005)
    weak = named["pickle with more water than vinegar"]
    assert millilitres(weak["water"]) > millilitres(weak["vinegar"])
    jam = named["jam in the pantry, not heat-processed"]
    assert (jam["store"], jam["heat_processed"]) == ("pantry", "no")
    pears = named["dried pears too damp"]
    # 84 % water in fresh pears (USDA food 09252, from memory): 16 % solids, all still there when dried
    assert 1 - 0.16 * grams(pears["produce"]) / grams(pears["finished"]) > 0.25
    assert named["beans dried at 30 C"]["drying_c"] == "30"


def grams(cell: str) -> float:
    value, unit = cell.split()
    return float(value) * {"g": 1, "kg": 1000}[unit]


def millilitres(cell: str) -> float:
    value, unit = cell.split()
    return float(value) * {"ml": 1, "L": 1000}[unit]


def test_arms_of_a_sweetener_trial_differ_in_the_sweetener_alone(island: Season) -> None:
    arms = [row for row in rows(island, "batches.csv") if row["trial"] == "plum-sweet-25"]
    assert Counter(arm["sweetener"] for arm in arms) == {"sugar": 2, "honey": 2}
    for column in ("crop", "method", "lid", "store", "piece", "starter", "heat_processed", "container_volume"):
        assert len({arm[column] for arm in arms}) == 1, column


def test_spring_sowings_close_together_make_a_glut(island: Season) -> None:
    """The three bean sowings of 2025 ripen within fewer days than they were sown apart, and some is lost."""
    sowings = [
        (row["sowing_id"], dt.date.fromisoformat(as_iso(row["sown_on"])))
        for row in rows(island, "sowings.csv")
        if row["crop"].lower() in {"bean", "beans"} and as_iso(row["sown_on"]) < "2025-06-01"
    ]
    truth = island.truth["growing"]["sowings"]
    ready = [dt.date.fromisoformat(truth[sowing]["ready_on"]) for sowing, _ in sowings]
    sown = [day for _, day in sowings]
    assert len(sowings) == 3
    assert max(ready) - min(ready) <= max(sown) - min(sown) + dt.timedelta(days=4)
    assert island.truth["fresh"]["balance"]["bean"]["wasted_kg"] > 10
    assert island.truth["fresh"]["wasted_kg_logged"]["bean"] > 5


def test_degree_days_by_hand() -> None:
    """Half a sine wave of height 10 above its middle averages 10 / pi over the day; a warm day gives its mean."""
    weather = Weather(dt.date(2025, 6, 1), np.array([0.0, 12.0, 2.0, 31.0]), np.array([20.0, 28.0, 8.0, 38.0]))
    assert degree_days(weather, 10, 30) == pytest.approx([10 / math.pi, 10.0, 0.0, 20.0])


@pytest.mark.parametrize("garden", ["island", "south"])
def test_a_batch_names_a_plot_that_gave_its_crop(garden: str, request: pytest.FixtureRequest) -> None:
    season: Season = request.getfixturevalue(garden)
    scenario = RIVER_ISLAND if garden == "island" else SOUTH
    grown = {(line.crop, line.plot) for line in scenario.sowings} | {(tree.crop, tree.plot) for tree in scenario.trees}
    wrong = [row["line"] for row in season.truth["rows_made_wrong"] if row["file"] == "batches.csv"]
    named = [(row["crop"], row["plot"]) for row in rows(season, "batches.csv") if row["plot"]]
    assert set(named) <= grown
    assert len(named) >= len(rows(season, "batches.csv")) - len(wrong)
    assert {plot for _, plot in named} == {plot.plot for plot in scenario.plots}


def test_the_plot_of_most_of_the_oldest_produce_makes_the_batch() -> None:
    day = dt.date(2026, 7, 1)
    household = Household(RIVER_ISLAND, np.random.default_rng(1))
    household.stock["plum"] = [Lot(300, day, "", "P3"), Lot(500, day, "", "P2"), Lot(900, day, "", "P5")]
    assert mostly(household._by_plot("plum", 300)) == "P3"
    assert mostly(household._by_plot("plum", 600)) == "P2"  # 300 g of each: the first by name
    assert mostly(household._by_plot("plum", 900)) == "P2"
    assert mostly(household._by_plot("plum", 1700)) == "P5"


def test_fresh_uses_name_a_plot_that_gave_the_crop(island: Season) -> None:
    grown = {(line.crop, line.plot) for line in RIVER_ISLAND.sowings}
    grown |= {(tree.crop, tree.plot) for tree in RIVER_ISLAND.trees}
    for log in ("spoilage.csv", "consumption.csv"):
        fresh = [row for row in rows(island, log) if not row["batch_id"] and row["crop"] in {crop for crop, _ in grown}]
        assert len(fresh) > 50
        assert {(row["crop"], row["plot"]) for row in fresh} <= grown


def test_what_is_not_eaten_in_time_is_thrown_out() -> None:
    """Six kilos of lettuce in one picking: no recipe, so all is eaten, given or thrown away within weeks."""
    day = dt.date(2026, 6, 1)
    scenario = replace(RIVER_ISLAND, ends=dt.date(2026, 7, 31))
    picked = (Picking(day, "lettuce", 6000, "S26-01", "P1", "A"),)
    balance = keep_house(scenario, picked, np.random.default_rng(1)).balance["lettuce"]
    assert (balance.picked, balance.put_by, balance.left) == (6000, 0, 0)
    assert balance.eaten + balance.given + balance.wasted == 6000
    assert min(balance.eaten, balance.wasted) > 0


def test_the_oldest_is_taken_first() -> None:
    """300 g of 10 days ago and 500 g of today: 400 g takes all of the old and 100 g of the new."""
    household = Household(RIVER_ISLAND, np.random.default_rng(1))
    old, new = dt.date(2026, 6, 1), dt.date(2026, 6, 11)
    household.stock["carrot"] = [Lot(300, old, "S26-01", "P1"), Lot(500, new, "S26-02", "P2")]
    assert household.take("carrot", 400) == 400
    assert household.stock["carrot"] == [Lot(400, new, "S26-02", "P2")]
    assert household.take("carrot", 900) == 400


def test_hazard_ratio_by_hand() -> None:
    """Plastic 1.5, pantry 1.6, one point of salt above 2 % (0.6 twice), not submerged 1.8."""
    make = Choices(lid="plastic", store="pantry", salt_pct=3.0, submerged=False)
    assert hazard_ratio("turnip", "ferment", make) == pytest.approx(1.5 * 1.6 * 0.36 * 1.8)
    assert hazard_ratio("turnip", "ferment", Choices(lid="metal", store="cellar", salt_pct=2.0)) == 1.0


def test_containers_spoil_as_the_stated_truth_says(monkeypatch: pytest.MonkeyPatch) -> None:
    """With nothing eaten, the share sound after a year is (1 + v H) ** (-1 / v), the frailty averaged out."""
    monkeypatch.setattr(keeping, "USUAL_USE_PER_MONTH", 1e-9)
    household = keep_house(
        replace(RIVER_ISLAND, ends=dt.date(2026, 12, 31)),
        (Picking(dt.date(2026, 6, 1), "kohlrabi", 9000, "S26-01", "P1", "A"),),
        np.random.default_rng(1),
    )
    batch = make_batches(RIVER_ISLAND, household.made[:1], np.random.default_rng(2))[0]
    batch = replace(batch, containers=4, hazard_ratio=1.0)
    assert batch.made.recipe.method == "ferment"
    rng = np.random.default_rng(3)
    ends = batch.made.made_on + dt.timedelta(days=365)
    spoiled = sum(
        fate.spoiled + fate.hidden for fate in (keeping._follow(ends, batch, [], rng)[0] for _ in range(4000))
    )
    expected = (1 + FRAILTY_VARIANCE * cumulative_hazard(batch, 12)) ** (-1 / FRAILTY_VARIANCE)
    assert 1 - spoiled / 16000 == pytest.approx(expected, abs=0.015)  # standard error about .005


def test_truth_is_readable_and_complete() -> None:
    truth = json.loads((COMMITTED.parent / "river_island_truth.json").read_text(encoding="utf-8"))
    assert truth["about"].startswith("Invented")
    assert truth["keeping"]["salt_hazard_ratio_per_half_point"] < 1
    assert set(truth["keeping"]["weekly_hazard_mean_over_12_months"]) == set(
        truth["keeping"]["cumulative_hazard_12_months"]
    )
    kohlrabi = truth["growing"]["crops"]["kohlrabi"]
    assert kohlrabi["degree_days_here"] == pytest.approx(
        kohlrabi["reference_degree_days"] * truth["growing"]["site_factor"], abs=0.1
    )
